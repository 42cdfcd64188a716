"""The chain with a boost converter: Kirchhoff's books balance, and its limits join without a step."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.chain import find_clipping, solve_chain, solve_waveforms
from subwright.build.chain_boost import BoostModel
from subwright.build.chain_model import LoadPoint
from subwright.build.electrical import Electrical, design_electrical
from subwright.build.waveform import programme, silence, sine
from subwright.parts.library import load_library
from subwright.stages.common import Level
from subwright.stages.converter_boost import BoostValues, boost_crest

WAGON = Path(__file__).parents[3] / "examples" / "harvest-wagon.build.toml"


@cache
def electrical() -> Electrical:
    spec = service.open_build(WAGON).spec
    return design_electrical(spec, 180.0, 2.0, load_library(), lambda _what, _share: None)


def model() -> BoostModel:
    found = electrical().model
    assert isinstance(found, BoostModel)
    return found


LOAD = LoadPoint(conductance_s=0.5)


@pytest.mark.parametrize("emf", [6.0, 6.6, 7.2, 8.0, 9.0, 11.5, 14.4, 16.0, 24.0, 33.0])
@pytest.mark.parametrize("wave", [sine(), programme(9.0), silence()], ids=["sine", "programme", "silence"])
def test_every_watt_is_explained_from_cranking_to_far_above_the_rail(emf: float, wave: object) -> None:
    made = electrical()
    at = np.array([emf])
    peak = find_clipping(at, LOAD, made.source, made.amplifier, model())
    point = solve_chain(at, peak, wave, LOAD, made.source, made.amplifier, model())  # type: ignore[arg-type]
    assert abs(point.imbalance()[0]) < 2e-5
    assert point.rail_crest_v[0] > 0.9 * point.terminal_least_v[0] - 1.0
    assert all(watts[0] >= -1e-9 for watts in point.losses_w.values())


def test_the_rail_is_held_sags_and_follows_without_a_step() -> None:
    made = electrical()
    emf = np.linspace(5.5, 40.0, 300)
    peak = find_clipping(emf, LOAD, made.source, made.amplifier, model())
    rails = solve_chain(emf, peak, sine(), LOAD, made.source, made.amplifier, model()).rail_crest_v
    assert np.all(np.diff(rails) > -1e-6)
    assert np.max(np.diff(rails)) < 0.8  # of some 0.1 V of battery: the steepest is the sagging rail's slope
    held = np.isclose(rails, model().set_v, rtol=1e-9)
    assert held[(emf > 11.0) & (emf < 16.0)].all()
    assert rails[0] < 0.98 * model().set_v
    assert rails[-1] > emf[-1] - 2.0
    assert rails[-1] < emf[-1]


def test_it_is_the_same_from_any_beginning() -> None:
    made = electrical()
    emf = np.array([6.5, 9.0, 12.0, 32.0])
    peak = find_clipping(emf, LOAD, made.source, made.amplifier, model())
    fresh = solve_waveforms(emf, peak, (sine(),), LOAD, made.source, made.amplifier, model())
    other = solve_waveforms(emf[::-1], peak[::-1], (sine(),), LOAD, made.source, made.amplifier, model())
    begun = solve_waveforms(emf, peak, (sine(),), LOAD, made.source, made.amplifier, model(), fresh.state)
    for name in ("rail_crest_v", "battery_a", "primary_rms_a"):
        first = getattr(fresh.points[0], name)
        np.testing.assert_allclose(getattr(other.points[0], name)[::-1], first, rtol=1e-7)
        np.testing.assert_allclose(getattr(begun.points[0], name), first, rtol=1e-7)


def test_an_instant_is_the_stages_own_closed_form() -> None:
    """The chain at a crest, its edges and core set to nothing, against the cycle of ``boost_crest``."""
    made = electrical()
    bare = replace(
        model(), turn_on_s=0.0, turn_off_s=0.0, recovery_s=0.0, node_f=0.0, gate_w=0.0, control_w=0.0,
        control_a=0.0, zener_ohm=np.inf, core_k=0.0, bleeder_s=0.0, input_esr_ohm=0.0,
        choke_ripple_ohm=0.0,
    )  # fmt: skip
    emf = np.array([12.0])
    peak = find_clipping(emf, LOAD, made.source, made.amplifier, bare)
    point = solve_chain(emf, peak, sine(), LOAD, made.source, made.amplifier, bare)
    values = BoostValues(
        inductance_h=bare.inductance_h, switching_hz=bare.switching_hz, choke_ohm=bare.choke_ohm,
        choke_ripple_ohm=0.0, switch_ohm=bare.switch_ohm, link_ohm=bare.link_ohm, diode_v=bare.diode_v,
        diode_ohm=bare.diode_ohm, input_esr_ohm=0.0, rail_esr_ohm=bare.rail_esr_ohm, turn_on_s=0.0,
        turn_off_s=0.0, recovery_s=0.0, node_f=0.0, gate_w=0.0,
    )  # fmt: skip
    own = boost_crest(values, 12.0, made.source.total_ohm, bare.set_v, float(point.rail_peak_a[0]))
    assert point.primary_peak_a[0] == pytest.approx(own.peak_a, rel=2e-3)  # ripple's own losses apart
    assert point.battery_peak_a[0] == pytest.approx(own.choke_a, rel=2e-3)


def test_recovery_takes_charge_back_through_the_switch() -> None:
    made = electrical()
    emf = np.array([12.0])
    peak = find_clipping(emf, LOAD, made.source, made.amplifier, model())
    slow = replace(model(), recovery_s=20e-9)
    plain = solve_chain(emf, peak, sine(), LOAD, made.source, made.amplifier, model())
    lossy = solve_chain(emf, peak, sine(), LOAD, made.source, made.amplifier, slow)
    assert plain.losses_w["rectifier recovery"][0] == pytest.approx(0.0, abs=1e-9)
    # charge per cycle is the choke's current times 20 ns, against the rail
    by_hand = 20e-9 * slow.switching_hz * slow.set_v * plain.battery_a[0]
    assert lossy.losses_w["rectifier recovery"][0] == pytest.approx(by_hand, rel=0.08)
    assert abs(lossy.imbalance()[0]) < 2e-5


def test_a_battery_that_can_not_is_refused() -> None:
    made = electrical()
    with pytest.raises(SubwrightError) as caught:
        solve_chain(
            np.array([6.0]), np.array([29.0]), sine(), LOAD, replace(made.source, battery_ohm=0.2),
            made.amplifier, model(),
        )  # fmt: skip
    assert caught.value.remedy


def test_levels_are_those_of_the_design() -> None:
    made = electrical()
    for level in (Level.IDLE, Level.PROGRAMME, Level.FULL):
        assert np.all(np.abs(made.chain[level].imbalance()) < 2e-5)
