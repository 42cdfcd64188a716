"""Reversed battery, pulses, suppressors, relays: values as printed in the works named beside each row."""

from __future__ import annotations

from math import log

import pytest

from subwright.parts.library import load_library
from subwright.physics.electrical import reverse_mosfet_loss_w
from subwright.physics.rc_timing import resistor_charge_energy_j
from subwright.physics.transients import (
    CLAMPED_DUMP_V,
    CRANKING_V,
    JUMP_START_V,
    LONG_OVER_VOLTAGE_V,
    PULSES,
    REVERSED_V,
    clamp_pulse,
)

LIBRARY = load_library()


def pulse(system_v: int, name: str) -> tuple[float, float, float]:
    found = next(p for p in PULSES[system_v] if p.name.startswith(name))
    return found.peak_v, found.source_ohm, found.width_s


@pytest.mark.parametrize(
    ("system_v", "name", "printed"),
    [
        (12, "pulse 1", (-150.0, 10.0, 2e-3)),  # TI LM749x0-Q1: −150 V, 10 Ω; 2 ms ISO 7637-2 from memory
        (12, "pulse 2a", (112.0, 2.0, 50e-6)),  # ISO 7637-2:2011, level IV, from memory
        (12, "pulse 3a", (-220.0, 50.0, 150e-9)),  # the same
        (12, "pulse 3b", (150.0, 50.0, 150e-9)),  # the same
        (24, "pulse 2a", (112.0, 2.0, 50e-6)),  # the same
        (24, "pulse 3b", (300.0, 50.0, 150e-9)),  # the same
        (12, "load dump", (101.0 - 14.0, 0.5, 0.4)),  # ISO 16750-2 test A, table in J. KIEES 30-8 (2019)
        (24, "load dump", (202.0 - 28.0, 1.0, 0.35)),  # same table
    ],
)
def test_pulses(system_v: int, name: str, printed: tuple[float, float, float]) -> None:
    assert pulse(system_v, name) == pytest.approx(printed, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "printed"),
    [
        (CLAMPED_DUMP_V[12], 35.0),  # ISO 16750-2 test B, read in TI LM749x0-Q1
        (JUMP_START_V[12], 24.0),  # the same sheet; Littelfuse AUMOV guide 2015 p. 8
        (LONG_OVER_VOLTAGE_V[12], 18.0),  # ISO 16750-2, from memory
        (LONG_OVER_VOLTAGE_V[24], 36.0),  # the same
        (REVERSED_V[12], -14.0),  # the same
        (CRANKING_V[12][0][0], 8.0),  # ISO 16750-2:2010 level I: first dip, from memory
        (CRANKING_V[12][0][1], 9.5),  # and plateau
        (CRANKING_V[12][2][0], 3.0),  # level III
        (CRANKING_V[12][3][1], 6.5),  # level IV
    ],
)
def test_levels(value: float, printed: float) -> None:
    assert value == pytest.approx(printed, rel=1e-12)


@pytest.mark.parametrize(
    ("volts", "printed"), [(30.0, 10.0), (110.0, 0.5)]
)  # rating note: 10 A 250 V AC contact, direct current, resistive
def test_relay_direct_current(volts: float, printed: float) -> None:
    assert LIBRARY.relay("relay 12 V 10 A").breaks_a(volts) == pytest.approx(printed, rel=1e-9)


def test_relay_coil_time() -> None:
    # 12 V board relay's sheet: 275 Ω, 2.29 H
    assert LIBRARY.relay("relay 12 V 10 A").coil_time_s == pytest.approx(2.29 / 275.0, rel=0.005)


def test_a_diode_across_the_coil_makes_the_release_about_three_times_as_long() -> None:
    # relay module's sheet: "release time with diode about 3 times"; ours with 12 V, 0.7 V, drop-out 0.6 V
    part = LIBRARY.relay("relay 12 V 10 A")
    decay = part.coil_time_s * log((part.nominal_v + 0.7) / (part.drop_out_v + 0.7))
    assert (part.release_s + decay) / part.release_s == pytest.approx(3.0, rel=0.1)


@pytest.mark.parametrize(
    ("part", "standoff", "clamp", "surge"),
    [  # multi-sourced series' sheets, from memory
        ("SMCJ24A", 24.0, 38.9, 38.6),
        ("SMCJ33A", 33.0, 53.3, 28.1),
        ("5KP24A", 24.0, 38.9, 129.0),
        ("SM8S24A", 24.0, 38.9, 170.0),
        ("SM8S33A", 33.0, 53.3, 124.0),
    ],
)
def test_suppressor_ratings(part: str, standoff: float, clamp: float, surge: float) -> None:
    record = LIBRARY.suppressor(part)
    assert (record.standoff_v, record.clamp_v, record.surge_a) == (standoff, clamp, surge)
    assert record.clamp_v * record.surge_a == pytest.approx(record.pulse_w, rel=0.02)


def test_reverse_mosfet_against_a_diode() -> None:
    # 50 A through 2 mΩ hot: 5 W; a Schottky of 0.5 V: 25 W (identity)
    assert reverse_mosfet_loss_w(50.0, 2e-3) == pytest.approx(5.0)
    assert 50.0 * 0.5 == 25.0


def test_pre_charge() -> None:
    # 10 mF to 14.4 V: 1.04 J in the resistor whatever its value (identity)
    assert resistor_charge_energy_j(10e-3, 14.4) == pytest.approx(1.04, abs=0.005)


def test_an_unclamped_dump_is_beyond_a_small_suppressor() -> None:
    # 101 V, 2 Ω, 400 ms on a 24 V part: tens of joules; SMCJ parts are rated 1.5 kW for 1 ms, about 2 J.
    part = LIBRARY.suppressor("SMCJ24A")
    hit = clamp_pulse(14.0, 87.0, 0.4 / 2.3026, 2.0, part.break_max_v, part.slope_ohm)
    assert hit.energy_j > 20 * 1500.0 * 1.44e-3
