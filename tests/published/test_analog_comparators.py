"""Comparators, references and thermistors against application notes and data sheets."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.parts.library import load_library
from subwright.physics.networks.comparators import (
    divider_sense_v,
    inverting_levels_v,
    non_inverting_design,
    offset_at_sense_v,
    sensing_thresholds_v,
    shunt_reference_v,
)
from subwright.physics.networks.dividers import divider_ratio
from subwright.physics.networks.thermistor import (
    Thermistor,
    b_constant_k,
    constant_b_ohm,
    divider_self_heating_k,
    slope_per_k,
    steinhart_hart_fit,
    steinhart_hart_temperature_c,
)

B57330 = tuple(
    zip(
        (-20.0, 0.0, 25.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 125.0),
        (68104.0, 27326.0, 10000.0, 4158.0, 3019.0, 2227.0, 1668.0, 1266.0, 973.0, 531.0),
        strict=True,
    )
)


def test_three_equal_resistors() -> None:
    """AN-74 (SNOA654): thresholds at 2/3 and 1/3 of the supply, hysteresis VCC/3."""
    high, low = inverting_levels_v(r1_ohm=10e3, r2_ohm=10e3, r3_ohm=10e3, supply_v=15.0)
    assert (high, low) == pytest.approx((10.0, 5.0), rel=1e-12)
    assert high - low == pytest.approx(15.0 / 3)


def test_three_equal_resistors_with_open_collector() -> None:
    """The same with a 3k pull-up and V_OL 0.25 V (node equations): 7.996 and 4.083 V at 12 V."""
    levels = inverting_levels_v(r1_ohm=1e6, r2_ohm=1e6, r3_ohm=1e6, supply_v=12.0, pullup_ohm=3e3, low_v=0.25)
    assert levels == pytest.approx((7.996, 4.083), abs=5e-4)


def non_inverting(pullup_ohm: float, low_v: float) -> tuple[float, float]:
    falling, rising = sensing_thresholds_v(
        top_ohm=10e3,
        bottom_ohm=np.inf,
        feedback_ohm=1e6,
        reference_v=2.5,
        pullup_v=12.0,
        pullup_ohm=pullup_ohm,
        low_v=low_v,
    )
    return float(rising), float(falling)


def test_non_inverting() -> None:
    """LMV331/393/339 data, SNOS018G eq. 6 to 8: 2.525 V, 2.405 V, hysteresis 0.120 V."""
    rising, falling = non_inverting(0.0, 0.0)
    assert (rising, falling) == pytest.approx((2.525, 2.405), abs=5e-4)
    assert rising - falling == pytest.approx(0.120, abs=5e-4)


def test_non_inverting_open_collector() -> None:
    """ADCMP391/392 data, eq. 2 to 4: 2.5237 V and 2.4059 V."""
    assert non_inverting(10e3, 0.13) == pytest.approx((2.5237, 2.4059), abs=5e-5)


def test_non_inverting_design() -> None:
    """TI circuit 060078 (SBOA313): 1.7 V and 1.3 V from 3 V: R1/R2 = 0.1333, reference 1.500 V."""
    assert non_inverting_design(1.7, 1.3, 3.0) == pytest.approx((0.1333, 1.500), abs=5e-5)


def test_two_resistor_hysteresis() -> None:
    """Ball, Analog Interfacing: 2.5 V, 1k and 100k, output 0 or 5 V: 2.5247 and 2.4752 V, 49.5 mV."""
    high, low = inverting_levels_v(r1_ohm=1e3, r2_ohm=np.inf, r3_ohm=100e3, supply_v=2.5, pullup_v=5.0)
    assert (high, low) == pytest.approx((2.5247, 2.4752), abs=6e-5)
    assert 1e3 * (high - low) == pytest.approx(49.5, abs=0.05)


@pytest.mark.parametrize(("below", "volts"), [(1, 1.667), (2, 3.333)])
def test_window_string(below: int, volts: float) -> None:
    """TI SBOA221A: three equal resistors on 5 V give 1.66 and 3.33 V."""
    assert 5.0 * divider_ratio((3 - below) * 10e3, below * 10e3) == pytest.approx(volts, abs=5e-4)


def test_comparator_family_limits() -> None:
    """339/393 family (TI SNOSBJ3D, ST, onsemi) over temperature: 9 mV, 400 nA, 700 mV, 6 mA, VCC - 2 V."""
    lm339 = load_library().comparator("LM339")
    assert (lm339.vos_max_v, lm339.ib_max_a, lm339.vol_max_v) == (9e-3, 400e-9, 0.7)
    assert (lm339.sink_a, lm339.input_headroom_v, lm339.supply_max_v) == (6e-3, 2.0, 36)
    assert lm339.channels == 4
    assert lm339.open_collector


@pytest.mark.parametrize(
    ("part", "low", "high"),
    [("TL431A", 2.470, 2.520), ("TL431B", 2.483, 2.507)],
)
def test_shunt_reference_grades(part: str, low: float, high: float) -> None:
    """TL431 family, NXP rev. 02: limits as printed (three decimals) at 25 °C."""
    record = load_library().reference(part)
    assert record.vref_v * (1 - record.tolerance) == pytest.approx(low, rel=0, abs=6e-4)
    assert record.vref_v * (1 + record.tolerance) == pytest.approx(high, rel=0, abs=6e-4)
    assert record.i_min_a == 1e-3


def test_shunt_reference_divider() -> None:
    """TL431 data: V_KA = V_ref (1 + R1/R2) + I_ref R1."""
    assert shunt_reference_v(2.495, 10e3, 10e3, 2e-6) == pytest.approx(2.495 * 2 + 2e-6 * 10e3)


def test_offset_and_bias_at_the_battery() -> None:
    """Derived: 36k/10k/120k turns 5 mV of offset into 24.5 mV, and 250 nA of bias into 9 mV."""
    assert offset_at_sense_v(5e-3, 36e3, 10e3, 120e3) == pytest.approx(24.5e-3, rel=1e-3)
    still, moved = (divider_sense_v(2.5, 36e3, 10e3, bias_a=bias) for bias in (0.0, 250e-9))
    assert float(still) - float(moved) == pytest.approx(9e-3, rel=1e-3)


@pytest.mark.parametrize(
    ("point", "b"), [((1451.0, 85.0), 3435.4), ((4158.0, 50.0), 3382.0), ((973.0, 100.0), 3456.0)]
)
def test_b_constants_of_one_thermistor(point: tuple[float, float], b: float) -> None:
    """EPCOS/TDK B57330V2103: B25/85, B25/50, B25/100."""
    assert b_constant_k(10e3, 25.0, *point) == pytest.approx(b, abs=1.0)


@pytest.mark.parametrize(("celsius", "ohm"), B57330)
def test_table_rows_come_back(celsius: float, ohm: float) -> None:
    """EPCOS/TDK B57330V2103 R/T table; forward and backward."""
    ntc = Thermistor(r25_ohm=10e3, b_k=3435.0, table=B57330)
    assert ntc.resistance_ohm(celsius) == pytest.approx(ohm, rel=1e-9)
    assert ntc.temperature_c(ohm) == pytest.approx(celsius, abs=1e-6)


def test_the_library_has_that_table() -> None:
    """EPCOS/TDK B57330V2103."""
    tables = [n.table for n in load_library().ntcs.values()]
    assert any(t and all(row in {tuple(map(float, r)) for r in t} for row in B57330) for t in tables)


@pytest.mark.parametrize(
    ("celsius", "ohm"), [(0.0, 27672.0), (25.0, 10000.0), (80.0, 1676.0), (100.0, 978.0)]
)
def test_glass_bead_between_rows(celsius: float, ohm: float) -> None:
    """AMF58-103F3435 rows against a Steinhart–Hart fit through three others of them: 0.5 K."""
    fit = steinhart_hart_fit(np.array([0.0, 25.0, 100.0]), np.array([27672.0, 10000.0, 978.0]))
    assert steinhart_hart_temperature_c(ohm, fit) == pytest.approx(celsius, abs=0.5)


@pytest.mark.parametrize(
    ("celsius", "ohm", "share"),
    [
        (35.0, 6921.0, 0.002),
        (45.0, 4901.0, 0.006),
        (85.0, 1458.0, 0.001),
        (90.0, 1272.0, 0.002),
        (100.0, 978.0, 0.003),
    ],
)
def test_a_row_left_out_lies_between_its_neighbours(celsius: float, ohm: float, share: float) -> None:
    """AMF58-103F3435: each row from the others by ln R against 1/T; the gap to 80 °C is the worst."""
    part = load_library().ntcs["NTC 10k 3435 glass"]
    assert part.table
    assert any(row == pytest.approx((celsius, ohm)) for row in part.table)
    rows = tuple(row for row in part.table if row[0] != celsius)
    ntc = Thermistor(r25_ohm=part.r25_ohm, b_k=part.b_k, table=rows)
    assert ntc.resistance_ohm(celsius) == pytest.approx(ohm, rel=share)


def test_glass_bead_b() -> None:
    """AMF58-103F3435: B25/85 from its rows is 3427 K, within its 1 % of 3435 K."""
    b = b_constant_k(10e3, 25.0, 1458.0, 85.0)
    assert b == pytest.approx(3427, abs=1.0)
    assert abs(b / 3435 - 1) < 0.01


@pytest.mark.parametrize(
    ("b", "celsius", "ohm"),
    [
        (3435.0, 0.0, 28704.0),
        (3435.0, 50.0, 4101.2),
        (3435.0, 70.0, 2207.2),
        (3435.0, 85.0, 1451.3),
        (3435.0, 100.0, 987.0),
        (3950.0, 0.0, 33621.0),
        (3950.0, 50.0, 3588.2),
        (3950.0, 60.0, 2486.2),
        (3950.0, 70.0, 1759.8),
        (3950.0, 80.0, 1270.3),
        (3950.0, 100.0, 697.5),
    ],
)
def test_constant_b_law(b: float, celsius: float, ohm: float) -> None:
    """IEC 60539-1 definition; printed digits."""
    assert constant_b_ohm(10e3, b, celsius) == pytest.approx(ohm, rel=1e-4)


def test_constant_b_misses_the_table() -> None:
    """B57330 table against B 3435: about 5 % off at 0 °C and over 10 % at -20 °C."""
    assert constant_b_ohm(10e3, 3435.0, 0.0) / 27326.0 - 1 == pytest.approx(0.05, abs=0.005)
    assert constant_b_ohm(10e3, 3435.0, -20.0) / 68104.0 - 1 > 0.10


def test_divider_at_the_trip() -> None:
    """B57330 at 70 °C under 10k from 5 V: 0.9107 V."""
    assert 5.0 * divider_ratio(10e3, 2227.0) == pytest.approx(0.9107, abs=5e-5)


@pytest.mark.parametrize(("celsius", "percent"), [(25.0, -3.86), (70.0, -2.92)])
def test_slope(celsius: float, percent: float) -> None:
    """-B/T² with B 3435."""
    assert 100 * slope_per_k(3435.0, celsius) == pytest.approx(percent, abs=5e-3)


def test_trip_error_of_r25() -> None:
    """±5 % of R is ±1.71 K at 70 °C (first order)."""
    shift = Thermistor(r25_ohm=10e3, b_k=3435.0).spread(70.0, 0.05, 0.0) - 1.0
    assert shift / abs(slope_per_k(3435.0, 70.0)) == pytest.approx(1.71, rel=0, abs=5e-3)


def test_trip_error_of_b() -> None:
    """±1 % of B is ±0.52 K at 70 °C (first order)."""
    shift = np.log(Thermistor(r25_ohm=10e3, b_k=3435.0).spread(70.0, 0.0, 0.01))
    assert -shift / abs(slope_per_k(3435.0, 70.0)) == pytest.approx(0.52, rel=0, abs=5e-3)


def test_self_heating() -> None:
    """NTCLE100E3, 7 mW/K: 2.5 V across 10k is 0.625 mW and 0.09 K."""
    heat = divider_self_heating_k(5.0, 10e3, 10e3, 7e-3)
    assert heat * 7e-3 == pytest.approx(0.625e-3)
    assert heat == pytest.approx(0.09, abs=1e-3)
