"""The coupled chain: energy, closed forms, and refusals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import NoSolutionError
from subwright.build.chain import find_clipping, solve_chain, solve_waveforms
from subwright.build.chain_model import ConverterModel, LoadPoint, Source
from subwright.build.waveform import programme, silence, sine


@dataclass(frozen=True)
class IdealStage:
    """A switching stage of known series resistance and idle power."""

    on_ohm: float = 0.05
    idle: float = 4.0
    from_battery: bool = False
    recirculates: bool = True

    def input_power_w(self, v, i, rail):
        return v * i + i**2 * self.on_ohm + self.idle + 0 * rail

    def loss_split_w(self, v, i, rail):
        return {"conduction": i**2 * self.on_ohm + 0 * rail, "idle": self.idle + 0 * (v + rail)}

    def clip_peak_v(self, rail, load_ohm):
        return 0.95 * rail * load_ohm / (load_ohm + self.on_ohm)


@dataclass(frozen=True)
class SquareRootStage(IdealStage):
    """A stage whose loss has a root of the rail in it, as output capacitance has."""

    def input_power_w(self, v, i, rail):
        return super().input_power_w(v, i, rail) + 1e-3 * np.sqrt(rail)


@dataclass(frozen=True)
class LinearStage:
    """A class-B pair: draws the output current from the working rail."""

    rest_a: float = 0.05
    from_battery: bool = False
    recirculates: bool = False

    def input_power_w(self, v, i, rail):
        return rail * (np.abs(i) + 2 * self.rest_a)

    def loss_split_w(self, v, i, rail):
        return {"devices": rail * np.abs(i) - v * i, "bias": 2 * self.rest_a * rail + 0 * v}

    def clip_peak_v(self, rail, load_ohm):
        return rail - 4.0


def model(**changes) -> ConverterModel:
    values = {
        "ratio": 3.5,
        "switching_hz": 50e3,
        "share": 0.92,
        "switch_ohm": 5e-3,
        "primary_winding_ohm": 1.5e-3,
        "link_ohm": 0.6e-3,
        "secondary_winding_ohm": 20e-3,
        "diode_ohm": 15e-3,
        "diode_v": 0.75,
        "leakage_h": 20e-9,
        "input_esr_ohm": 5e-3,
        "reservoir_esr_ohm": 15e-3,
        "turn_off_s": 50e-9,
        "gate_w": 0.5,
        "control_w": 0.3,
        "core_w": 2.0,
        "core_v": 12.6,
        "core_exponent": 2.6,
        "shunt_s": 5e-3,
    }
    values.update(changes)
    return ConverterModel(**values)


SOURCE = Source(battery_ohm=6e-3, cable_ohm=5e-3, contact_ohm=2e-3)
CORNERS = np.array([11.5, 12.6, 14.4, 15.5])


@pytest.mark.parametrize("stage", [IdealStage(), LinearStage()])
@pytest.mark.parametrize("wave", [sine(), programme(9.0)])
@pytest.mark.parametrize(
    "load", [LoadPoint(conductance_s=0.25), LoadPoint(conductance_s=0.2, susceptance_s=0.1)]
)
def test_every_watt_is_accounted_for(stage, wave, load):
    peak = find_clipping(CORNERS, load, SOURCE, stage, model())
    point = solve_chain(CORNERS, peak, wave, load, SOURCE, stage, model())
    np.testing.assert_allclose(point.imbalance(), 0.0, atol=1e-8)
    assert all(np.all(watts >= -1e-12) for watts in point.losses_w.values())


@pytest.mark.parametrize("wave", [sine(), programme(9.0)])
@pytest.mark.parametrize("clamp_ohm", [20.0, 82.0, 4700.0])
def test_balance_holds_with_clamp_recovery_and_a_regulated_gate_supply(wave, clamp_ohm):
    m = model(
        leakage_h=80e-9,
        clamp_ohm=clamp_ohm,
        recovery=2e-3,
        ring_s=1e-4,
        control_a=70e-3,
        zener_v=11.0,
        zener_ohm=1800.0,
        control_w=0.0,
        aux_a=25e-3,
        bleeder_s=1 / 4700.0,
    )
    load = LoadPoint(conductance_s=0.25)
    peak = find_clipping(CORNERS, load, SOURCE, IdealStage(), m)
    point = solve_chain(CORNERS, peak, wave, load, SOURCE, IdealStage(), m)
    np.testing.assert_allclose(point.imbalance(), 0.0, atol=1e-8)
    assert all(np.all(watts >= 0) for watts in point.losses_w.values())
    assert np.all(point.losses_w["rectifier recovery"] > 0)
    assert np.all(point.losses_w["rectifier snubber"] > 0)
    np.testing.assert_allclose(IdealStage().clip_peak_v(point.rail_crest_v, 4.0), peak, rtol=1e-9)


def test_a_clamp_returns_part_of_the_leakage_energy():
    """At V = 60 V from 12.6 V the resistor turns 79 % of the energy into heat and gives 21 % back."""
    held_w = 20.0
    m = model(clamp_ohm=60.0 * (60.0 - 12.6) / held_w)
    net_a, heat_w = m.clamp_currents(np.array([held_w]), np.array([12.6]))
    np.testing.assert_allclose(heat_w, held_w * (60.0 - 12.6) / 60.0, rtol=1e-12)
    np.testing.assert_allclose(net_a, -held_w / 60.0, rtol=1e-12)


def test_a_clamp_at_rest_costs_a_resistor_across_the_battery():
    m = model(clamp_ohm=82.0)
    net_a, heat_w = m.clamp_currents(np.array([0.0]), np.array([12.6]))
    np.testing.assert_allclose(heat_w, 12.6**2 / 82.0, rtol=1e-12)
    np.testing.assert_allclose(net_a, 12.6 / 82.0, rtol=1e-12)


REGULATED = {
    "ratio": 5.4,
    "set_v": 43.0,
    "leakage_h": 120e-9,
    "clamp_ohm": 56.0,
    "recovery": 1.5e-3,
    "ring_shunt_s": 5e-3,
    "choke_ohm": 0.036,
    "choke_core_w": 0.1,
    "choke_ripple_a": 2.7,
    "reservoir_w": 0.02,
    "aux_a": 10e-3,
    "aux_primary_a": 0.1,
    "bleeder_s": 1 / 4700.0,
}


@pytest.mark.parametrize("stage", [IdealStage(), LinearStage()])
@pytest.mark.parametrize("wave", [sine(), programme(9.0)])
@pytest.mark.parametrize(
    "load", [LoadPoint(conductance_s=0.25), LoadPoint(conductance_s=0.2, susceptance_s=0.1)]
)
@pytest.mark.parametrize("returned", [None, 1.3])
def test_every_watt_is_accounted_for_behind_an_output_choke(stage, wave, load, returned):
    changes = dict(REGULATED)
    if returned is not None:
        changes.update(clamp_ohm=None, return_drop_v=returned, rest_factor=1.0)
    m = model(**changes)
    peak = find_clipping(CORNERS, load, SOURCE, stage, m)
    point = solve_chain(CORNERS, peak, wave, load, SOURCE, stage, m)
    np.testing.assert_allclose(point.imbalance(), 0.0, atol=1e-8)
    assert all(np.all(watts >= -1e-12) for watts in point.losses_w.values())


def test_a_regulated_rail_holds_while_the_duty_has_room_and_then_follows_the_battery():
    m = model(**REGULATED)
    load = LoadPoint(conductance_s=0.25)
    emf = np.array([8.5, 9.5, 12.6, 14.4, 15.5])
    peak = find_clipping(emf, load, SOURCE, IdealStage(), m)
    point = solve_chain(emf, peak, sine(), load, SOURCE, IdealStage(), m)
    np.testing.assert_allclose(point.rail_crest_v[2:], 43.0, rtol=1e-12)
    assert point.rail_crest_v[0] < point.rail_crest_v[1] < 43.0
    np.testing.assert_allclose(IdealStage().clip_peak_v(point.rail_crest_v, 4.0), peak, rtol=1e-8)


def test_a_lossless_regulated_converter_is_an_ideal_transformer_of_power():
    tight = model(ratio=5.4, set_v=43.0, switch_ohm=1e-9, primary_winding_ohm=1e-9, link_ohm=1e-9,
                  secondary_winding_ohm=1e-9, diode_ohm=1e-9, diode_v=0.0, leakage_h=0.0, input_esr_ohm=0.0,
                  reservoir_esr_ohm=0.0, turn_off_s=0.0, gate_w=0.0, control_w=0.0, core_w=0.0,
                  shunt_s=0.0)  # fmt: skip
    none = Source(battery_ohm=0.0, cable_ohm=0.0, contact_ohm=0.0)
    stage = IdealStage(on_ohm=0.0, idle=1e-9)
    emf = np.array([12.0])
    point = solve_chain(emf, np.array([40.0]), sine(), LoadPoint(conductance_s=0.25), none, stage, tight)
    np.testing.assert_allclose(point.output_w, 200.0, rtol=1e-6)
    np.testing.assert_allclose(point.battery_w, 200.0, rtol=1e-6)
    # Flat-topped primary: each half carries n I for half the share, and n d = V_rail/V_battery.
    duty = 43.0 / (5.4 * 12.0)
    crest_a = 5.4 * (40.0**2 / 4.0 / 43.0)
    expected = crest_a * np.sqrt(duty / 2.0 * 3.0 / 8.0)  # power goes as sin², its square averages 3/8
    np.testing.assert_allclose(point.primary_rms_a, expected, rtol=1e-5)


def test_a_bridges_diodes_return_the_leakage_energy():
    m = model(return_drop_v=1.3, rest_factor=1.0)
    net_a, heat_w = m.clamp_currents(np.array([10.0]), np.array([24.0]))
    np.testing.assert_allclose(heat_w, 10.0 * 1.3 / 25.3, rtol=1e-12)
    np.testing.assert_allclose(-net_a * 24.0 + heat_w, 10.0, rtol=1e-12)


def test_balance_fails_when_a_loss_is_dropped():
    point = solve_chain(
        CORNERS, np.full(4, 30.0), sine(), LoadPoint(conductance_s=0.25), SOURCE, IdealStage(), model()
    )
    short = {name: watts for name, watts in point.losses_w.items() if name != "rectifier"}
    total = point.output_w + sum(short.values())
    assert np.all(np.abs(point.battery_w - total) / point.battery_w > 1e-3)


@settings(max_examples=60, deadline=None)
@given(
    ratio=st.floats(2.0, 5.0),
    switch=st.floats(1e-3, 2e-2),
    leak=st.floats(0.0, 2e-7),
    load=st.floats(2.0, 16.0),
    share=st.floats(0.75, 0.97),
)
def test_energy_balances_over_random_converters(ratio, switch, leak, load, share):
    m = model(ratio=ratio, switch_ohm=switch, leakage_h=leak, share=share)
    where = LoadPoint(conductance_s=1 / load)
    reach = find_clipping(CORNERS, where, SOURCE, IdealStage(), m)
    assert np.all(np.isfinite(reach))
    assert np.all(reach > 0)
    peak = 0.4 * reach  # below the collapse of even the softest converter drawn
    point = solve_chain(CORNERS, peak, sine(), where, SOURCE, IdealStage(), m)
    np.testing.assert_allclose(point.imbalance(), 0.0, atol=1e-8)


def test_clipping_is_found_also_where_the_first_guess_asks_too_much():
    m = model(ratio=4.0, switch_ohm=15.6e-3, leakage_h=169e-9, share=0.75)
    peak = find_clipping(CORNERS, LoadPoint(conductance_s=0.5), SOURCE, IdealStage(), m)
    assert np.all(peak > 20.0)


def test_waveforms_solved_together_are_those_solved_alone():
    load, stage, m = LoadPoint(conductance_s=0.25, susceptance_s=0.05), IdealStage(), model()
    waves = (silence(), programme(9.0, 16), sine(16))
    peak = find_clipping(CORNERS, load, SOURCE, stage, m)
    together = solve_waveforms(CORNERS, peak, waves, load, SOURCE, stage, m)
    again = solve_waveforms(CORNERS, peak, waves, load, SOURCE, stage, m, together.state)
    for wave, joint, warm in zip(waves, together.points, again.points, strict=True):
        alone = solve_chain(CORNERS, peak, wave, load, SOURCE, stage, m)
        for name in ("battery_w", "battery_peak_a", "terminal_least_v", "rail_crest_v", "primary_rms_a"):
            np.testing.assert_allclose(getattr(joint, name), getattr(alone, name), rtol=1e-9)
            np.testing.assert_allclose(getattr(warm, name), getattr(alone, name), rtol=1e-9)
        for name, watts in alone.losses_w.items():
            np.testing.assert_allclose(joint.losses_w[name], watts, rtol=1e-8, atol=1e-12)


@pytest.mark.parametrize("changes", [{}, REGULATED])
def test_clipping_is_the_same_from_any_beginning(changes):
    load, stage, m = LoadPoint(conductance_s=0.25), IdealStage(), model(**changes)
    peak = find_clipping(CORNERS, load, SOURCE, stage, m)
    crest = solve_waveforms(CORNERS, 0.7 * peak, (sine(16),), load, SOURCE, stage, m).crests[0]
    again = find_clipping(CORNERS, load, SOURCE, stage, m, crest)
    np.testing.assert_allclose(again, peak, rtol=1e-9)


def test_clipping_is_where_the_sagged_rail_just_reaches():
    load = LoadPoint(conductance_s=0.25)
    stage = IdealStage()
    peak = find_clipping(CORNERS, load, SOURCE, stage, model())
    point = solve_chain(CORNERS, peak, sine(), load, SOURCE, stage, model())
    np.testing.assert_allclose(stage.clip_peak_v(point.rail_crest_v, 4.0), peak, rtol=1e-9)
    assert np.all(np.diff(peak) > 0)


def test_lossless_battery_bridge_gives_the_textbook_ceiling():
    """Bridged from 12 V into 4 Ω a clean sine gives V²/(2R) = 18 W, half of the square wave's V²/R = 36 W."""
    stage = IdealStage(on_ohm=0.0, idle=0.0, from_battery=True)
    object.__setattr__(stage, "clip_peak_v", lambda rail, load: rail)
    load = LoadPoint(conductance_s=0.25)
    none = Source(battery_ohm=0.0, cable_ohm=0.0, contact_ohm=0.0)
    peak = find_clipping(np.array([12.0]), load, none, stage, None)
    point = solve_chain(np.array([12.0]), peak, sine(), load, none, stage, None)
    np.testing.assert_allclose(point.output_w, 18.0, rtol=1e-9)
    np.testing.assert_allclose(point.battery_a, 1.5, rtol=1e-9)


def test_class_b_full_sine_takes_the_textbook_current():
    """Ideal class B at full swing: mean rail current Ip/π each, efficiency π/4 of the rail's power."""
    stage = LinearStage(rest_a=0.0)
    tight = model(switch_ohm=1e-9, primary_winding_ohm=1e-9, link_ohm=1e-9, secondary_winding_ohm=1e-9,
                  diode_ohm=1e-9, diode_v=0.0, leakage_h=0.0, input_esr_ohm=0.0, reservoir_esr_ohm=0.0,
                  turn_off_s=0.0, gate_w=0.0, control_w=0.0, core_w=0.0, shunt_s=0.0)  # fmt: skip
    none = Source(battery_ohm=0.0, cable_ohm=0.0, contact_ohm=0.0)
    emf = np.array([12.0])
    point = solve_chain(emf, 3.5 * emf, sine(200), LoadPoint(conductance_s=0.25), none, stage, tight)
    np.testing.assert_allclose(point.rail_a, 3.5 * 12.0 / 4 / np.pi, rtol=1e-4)
    np.testing.assert_allclose(point.output_w / point.battery_w, np.pi / 4, rtol=1e-4)


def test_collapse_is_refused_with_the_limit():
    with pytest.raises(NoSolutionError, match="collapses"):
        solve_chain(
            CORNERS, np.full(4, 400.0), sine(), LoadPoint(conductance_s=1.0), SOURCE, IdealStage(), model()
        )


@pytest.mark.parametrize("crest", [6.0, 9.0, 12.0, 18.0])
def test_programme_has_the_crest_factor_asked_for(crest):
    wave = programme(crest)
    assert -10 * np.log10(wave.mean_square) == pytest.approx(crest, rel=1e-9)
    assert wave.weight.sum() == pytest.approx(1.0)


def test_programme_crest_factor_range_is_refused():
    with pytest.raises(NoSolutionError, match="crest factor"):
        programme(3.0)


def test_a_source_that_can_do_nothing_is_refused_and_not_a_square_root_of_less_than_nothing():
    """Seen with a spoilt build file: a cable of several ohms let the idling rail fall below zero."""
    weak = Source(battery_ohm=6e-3, cable_ohm=4.0, contact_ohm=2e-3)
    with pytest.raises(NoSolutionError, match="collapses"):
        find_clipping(CORNERS, LoadPoint(conductance_s=0.25), weak, SquareRootStage(idle=40.0), model())
