"""Conductors, fuses, boards and RC timing: inverses, limits and refusals."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics import board
from subwright.physics import electrical as el
from subwright.physics import rc_timing as rc
from subwright.physics.batteries import BATTERIES, BatteryKind, corner_defaults


@pytest.mark.parametrize("amps", [1.0, 3.0, 30.0, 400.0])
def test_preece_inverts(amps: float) -> None:
    assert el.preece_current_a(el.preece_diameter_m(amps)) == pytest.approx(amps, rel=1e-12)


def test_preece_in_inches_has_the_printed_constant() -> None:
    # 10244 d^1.5 with d in inches (Brooks).
    assert el.preece_current_a(25.4e-3 * 0.1) == pytest.approx(10244 * 0.1**1.5, rel=1e-3)


def test_chassis_return_counts_one_conductor() -> None:
    both = el.cable_loop_resistance_ohm(3.0, 1e-3, 20.0)
    assert el.cable_loop_resistance_ohm(3.0, 1e-3, 20.0, 0.0) == pytest.approx(0.5 * both, rel=1e-12)


def test_derated_current_brings_the_conductor_to_its_limit() -> None:
    rated, limit, reference, ambient = 70.0, 100.0, 25.0, 60.0
    allowed = rated * el.derating_factor(ambient, limit, reference)
    assert el.conductor_temperature_c(allowed, rated, ambient, limit, reference) == pytest.approx(
        limit, rel=1e-12
    )


def test_adiabatic_section_from_the_energy_it_takes() -> None:
    # I² t rho = c A² dT, rho rising with T: k² = c (234.5 + 20)/rho20 ln((234.5 + 160)/(234.5 + 70)).
    # Heat capacity of copper 3.45e6 J/(m³ K); IEC 60949 writes the same with its own rounding.
    beta = 234.5
    k2 = 3.45e6 * (beta + 20.0) * 58.0e6 * math.log((beta + 160.0) / (beta + 70.0))
    assert math.sqrt(k2) * 1e-6 == pytest.approx(115.0, rel=5e-3)
    assert el.adiabatic_section_m2(2000.0, 0.25) == pytest.approx(2000.0 * 0.5 / math.sqrt(k2), rel=5e-3)


@pytest.mark.parametrize("kind", list(BATTERIES))
def test_peukert_never_gains_capacity_above_the_rated_rate(kind: BatteryKind) -> None:
    exponent = BATTERIES[kind].peukert
    for amps in (5.0, 20.0, 80.0):
        hours = el.peukert_time_s(100 * 3600.0, amps, exponent) / 3600
        assert hours * amps <= 100.0 * (1 + 1e-12)


@pytest.mark.parametrize("kind", list(BATTERIES))
@pytest.mark.parametrize("system", [12, 24, 36, 48])
def test_corner_defaults_rise_and_stay_in_extra_low_voltage(kind: BatteryKind, system: int) -> None:
    volts = [default.volts for default in corner_defaults(kind, system)]
    assert volts == sorted(volts)
    assert volts[2] == pytest.approx(system, rel=0.07)
    assert volts[-1] < 60.0
    assert all(default.why for default in corner_defaults(kind, system))


@pytest.mark.parametrize("amps", [0.2, 2.0, 8.0])
@pytest.mark.parametrize("layer", ["external", "internal"])
def test_track_width_inverts(amps: float, layer: board.Layer) -> None:
    width = board.track_width_m(amps, 25.0, 70e-6, layer)
    assert board.track_current_a(width, 25.0, 70e-6, layer) == pytest.approx(amps, rel=1e-9)


def test_delay_simulated_step_by_step() -> None:
    ohm, farad, supply, threshold = 47e3, 100e-6, 5.0, 2.5
    step = 1e-4
    volts, time = 0.0, 0.0
    while volts < threshold:
        volts += (supply - volts) * (1 - math.exp(-step / (ohm * farad)))
        time += step
    assert rc.rc_charge_time_s(ohm, farad, threshold, supply) == pytest.approx(time, abs=step)


def test_lowpass_is_the_modulus_of_the_divider() -> None:
    reactance = 1 / (1j * 2 * math.pi * 20.0 * 10e-6)
    assert rc.rc_lowpass_v(40.0, 20.0, 100e3, 10e-6) == pytest.approx(
        40.0 * abs(reactance / (100e3 + reactance)), rel=1e-12
    )


def test_charge_energy_is_what_the_resistor_takes() -> None:
    ohm, farad, volts = 22.0, 10e-3, 14.4
    time = (np.arange(400_000) + 0.5) * (20 * ohm * farad / 400_000)
    current = volts / ohm * np.exp(-time / (ohm * farad))
    heat = float(np.sum(current**2 * ohm) * (time[1] - time[0]))
    assert rc.resistor_charge_energy_j(farad, volts) == pytest.approx(heat, rel=1e-6)


REFUSALS: list[tuple[str, Callable[[], object]]] = [
    ("hot copper", lambda: el.copper_factor(400.0)),
    ("no section", lambda: el.conductor_resistance_ohm(1.0, 0.0)),
    ("negative cable", lambda: el.cable_loop_resistance_ohm(-1.0, 1e-3)),
    ("wire off the rule", lambda: el.preece_current_a(1e-6)),
    ("wire too thin for the rule", lambda: el.preece_diameter_m(0.5)),
    ("slow fuse", lambda: el.adiabatic_section_m2(100.0, 60.0)),
    ("air at the insulation's limit", lambda: el.derating_factor(100.0, 100.0)),
    ("Peukert exponent", lambda: el.peukert_time_s(1e5, 1.0, 0.9)),
    ("threshold above supply", lambda: rc.rc_charge_time_s(1e3, 1e-6, 6.0, 5.0)),
    ("fault below the detector", lambda: rc.rc_dc_detect_time_s(1e5, 1e-5, 0.5)),
    ("track rise", lambda: board.track_width_m(1.0, 200.0)),
    ("thick copper", lambda: board.track_width_m(1.0, 20.0, 400e-6)),
    ("thick lead", lambda: board.hole_and_pad_m(8e-3)),
    ("spacing voltage", lambda: board.power_spacing_m(700.0)),
]


@pytest.mark.parametrize(("name", "call"), REFUSALS, ids=[name for name, _ in REFUSALS])
def test_out_of_range_is_refused_with_a_remedy(name: str, call: Callable[[], object]) -> None:
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.quantity, name
    assert caught.value.limit
    assert caught.value.remedy
