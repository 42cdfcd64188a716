"""Switching, snubber and capacitor formulas: limits, refusals and second routes."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics import capacitors as cap
from subwright.physics import snubbers as sn
from subwright.physics import switching as sw
from subwright.physics.bounds import require


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 25.0, 60.0, 100.0, 150.0])
def test_hot_ratio_rises_through_both_printed_points(celsius: float) -> None:
    assert sw.hot_ratio(25.0, 1.55) == pytest.approx(1.0, rel=1e-12)
    assert sw.hot_ratio(100.0, 1.55) == pytest.approx(1.55, rel=1e-12)
    assert sw.hot_ratio(celsius + 1.0, 1.55) > sw.hot_ratio(celsius, 1.55)


def test_output_charge_and_energy_are_integrals_of_the_capacitance() -> None:
    volts = np.linspace(0.0, 80.0, 200_001)[1:]
    middle = volts - 0.5 * (volts[1] - volts[0])
    step = volts[1] - volts[0]
    farads = 300e-12 * np.sqrt(25.0 / middle)
    assert sw.output_charge_coul(300e-12, 25.0, 80.0) == pytest.approx(float(np.sum(farads) * step), rel=2e-3)
    assert sw.coss_energy_j(300e-12, 25.0, 80.0) == pytest.approx(
        float(np.sum(farads * middle) * step), rel=1e-5
    )


def test_snubber_heat_from_a_simulated_charge_and_discharge() -> None:
    # Charge an RC through one full cycle of a square step and add up what the resistor takes.
    resistor, farad, step, hertz = 22.0, 1e-9, 30.0, 100e3
    dt = resistor * farad / 4000
    time = (np.arange(80_000) + 0.5) * dt
    current = step / resistor * np.exp(-time / (resistor * farad))
    one_edge = float(np.sum(current**2 * resistor) * dt)
    assert sn.snubber_loss_w(farad, step, hertz) == pytest.approx(2 * one_edge * hertz, rel=1e-5)


def test_avalanche_energy_from_the_falling_current() -> None:
    # The inductance sees V_br - V: the current falls in a straight line while the switch holds V_br.
    inductance, amps, breakdown, supply = 60e-9, 40.0, 70.0, 28.0
    fall = inductance * amps / (breakdown - supply)
    assert sn.avalanche_energy_j(inductance, amps, breakdown, supply) == pytest.approx(
        0.5 * breakdown * amps * fall, rel=1e-12
    )


def test_ring_is_recovered_from_what_the_bench_would_see() -> None:
    inductance, parasitic, added = 120e-9, 450e-12, 1e-9
    bare = 1 / (2 * math.pi * math.sqrt(inductance * parasitic))
    loaded = 1 / (2 * math.pi * math.sqrt(inductance * (parasitic + added)))
    found = sn.added_capacitance_method_f(added, bare, loaded)
    assert found == pytest.approx(parasitic, rel=1e-12)
    assert sn.ring_inductance_h(bare, found) == pytest.approx(inductance, rel=1e-12)


def test_hold_up_is_its_own_inverse_and_loses_energy_at_the_stated_power() -> None:
    farad = cap.hold_up_capacitance_f(300.0, 8e-3, 45.0, 38.0)
    assert cap.hold_up_time_s(300.0, farad, 45.0, 38.0) == pytest.approx(8e-3, rel=1e-12)
    assert 0.5 * farad * (45.0**2 - 38.0**2) == pytest.approx(300.0 * 8e-3, rel=1e-12)


def test_pulse_ripple_current_from_the_waveform() -> None:
    share, load = 0.85, 7.0
    pulses = np.where(np.arange(100_000) < share * 100_000, load / share, 0.0)
    assert cap.pulse_ripple_current_a(load, share) == pytest.approx(float(np.std(pulses)), rel=1e-9)


def test_rectifier_loss_of_a_steady_current_is_drop_times_current() -> None:
    assert sw.rectifier_loss_w(0.5, 0.01, 8.0, 8.0) == pytest.approx(8.0 * (0.5 + 0.01 * 8.0), rel=1e-12)


REFUSALS: list[tuple[str, Callable[[], object]]] = [
    ("NaN current", lambda: sw.conduction_loss_w(0.01, math.nan, 0.5)),
    ("duty above one", lambda: sw.conduction_loss_w(0.01, 1.0, 1.1)),
    ("no gate current", lambda: sw.switching_time_s(20e-9, 0.0)),
    ("negative dead time", lambda: sw.dead_time_loss_w(1.0, 1.0, -1e-9, 1e5)),
    ("rms below average", lambda: sw.rectifier_loss_w(0.5, 0.01, 5.0, 4.0)),
    ("case above junction limit", lambda: sw.junction_power_limit_w(150.0, 160.0, 1.0)),
    ("ring not slowed", lambda: sn.added_capacitance_method_f(1e-9, 10e6, 10e6)),
    ("snubber multiple", lambda: sn.snubber_capacitance_f(1e-10, 8.0)),
    ("supply above breakdown", lambda: sn.avalanche_energy_j(1e-8, 1.0, 30.0, 31.0)),
    ("cold electrolytic", lambda: cap.electrolytic_life_s(1e7, 105.0, 20.0)),
    ("ripple empties the capacitor", lambda: cap.full_wave_dc_v(10.0, 1.0, 10e-6)),
    ("voltage rising in hold-up", lambda: cap.hold_up_capacitance_f(1.0, 1.0, 10.0, 12.0)),
    ("pulse share of zero", lambda: cap.pulse_ripple_v(1.0, 0.0, 1e5, 1e-3)),
]


@pytest.mark.parametrize(("name", "call"), REFUSALS, ids=[name for name, _ in REFUSALS])
def test_out_of_range_is_refused_with_a_remedy(name: str, call: Callable[[], object]) -> None:
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.quantity, name
    assert caught.value.limit
    assert caught.value.remedy


def test_range_check_names_the_first_bad_element_of_an_array() -> None:
    with pytest.raises(RangeError) as caught:
        require("current", np.array([1.0, -2.0, np.nan]), "A", at_least=0.0, at_most=5.0)
    assert caught.value.value == "-2 A"
    assert caught.value.limit == "≥ 0 A and ≤ 5 A"


def test_range_check_lets_good_values_pass() -> None:
    require("current", np.array([0.0, 5.0]), "A", at_least=0.0, at_most=5.0)
    require("ratio", 0.5, "", above=0.0, below=1.0)
