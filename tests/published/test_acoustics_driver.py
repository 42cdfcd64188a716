"""Driver constants, efficiency and impedance readings against printed values."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from subwright.physics.acoustics.air import AIR_20C, SMALL_AIR
from subwright.physics.acoustics.boxes import OpenAir
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.impedance import (
    lossy_inductance_ohm,
    q_from_impedance,
    vas_from_known_volume_m3,
    vas_from_known_volume_simple_m3,
)
from subwright.physics.acoustics.parameters import (
    DriverModel,
    compound_pair,
    efficiency_from_motor,
    grouped,
    parallel_q,
    reference_efficiency,
    sensitivity_db,
    with_source_resistance,
)

# Worked set of the derived rows: Mms 140 g, Bl 14.5 T·m, Re 3.4 Ω, Sd 0.0500 m2, fs 28 Hz
OMEGA_S = 2.0 * math.pi * 28.0
WORKED = DriverModel(
    re_ohm=3.4,
    bl_tm=14.5,
    mms_kg=0.140,
    cms_m_per_n=1.0 / (OMEGA_S**2 * 0.140),
    rms_kg_per_s=OMEGA_S * 0.140 / 5.0,
    sd_m2=0.0500,
)


@pytest.mark.parametrize(
    ("air", "printed"),
    [
        (SMALL_AIR, 9.64e-7),  # Small 1972, from memory; 4π²/c³ computes to 9.61e-7, 3 parts per thousand
        (AIR_20C, 9.77e-7),  # the same constant at 343.2 m/s
    ],
)
def test_constant_of_reference_efficiency(air: object, printed: float) -> None:
    constant = reference_efficiency(1.0, 1.0, 1.0, air=air)  # type: ignore[arg-type]
    assert constant == pytest.approx(printed, rel=4e-3)


def test_worked_driver() -> None:
    # Derived with the formulas of Small 1972 and Beranek and Mellow ch. 6
    assert WORKED.cms_m_per_n == pytest.approx(2.308e-4, rel=5e-3)
    assert 1e3 * WORKED.vas_m3() == pytest.approx(81.8, rel=5e-3)
    assert WORKED.qes == pytest.approx(0.398, rel=5e-3)
    mechanical = efficiency_from_motor(14.5, 0.05, 3.4, 0.14)
    assert 100.0 * mechanical == pytest.approx(0.440, rel=5e-3)
    assert reference_efficiency(28.0, WORKED.vas_m3(), WORKED.qes) == pytest.approx(mechanical, rel=1e-12)
    assert sensitivity_db(mechanical) == pytest.approx(88.5, abs=0.15)


def test_q_combination() -> None:
    # Small 1972: Qms 3.7 and Qes 0.35
    assert parallel_q(3.7, 0.35) == pytest.approx(0.3198, abs=5e-5)


def test_q_behind_a_source_resistance() -> None:
    # Small 1972, derived row: 0.46, 3.4 Ω, 0.3 Ω
    assert with_source_resistance(0.46, 3.4, 0.3) == pytest.approx(0.5006, rel=1e-3)


def test_two_drivers_in_parallel_at_constant_voltage() -> None:
    # Small 1972 and Keele, from memory: +3.01 dB of efficiency, +6.02 dB at constant voltage
    pair = grouped(WORKED, 2, "parallel")
    one = efficiency_from_motor(WORKED.bl_tm, WORKED.sd_m2, WORKED.re_ohm, WORKED.mms_kg)
    two = efficiency_from_motor(pair.bl_tm, pair.sd_m2, pair.re_ohm, pair.mms_kg)
    assert 10.0 * math.log10(two / one) == pytest.approx(3.01, abs=0.005)
    frequency = np.array([60.0])
    # Radiation left out, because the doubled source also feels the doubled radiation load.
    silent = OpenAir(radiates=False)
    ratio = np.abs(
        solve(pair, silent, frequency).pressure_pa_per_v / solve(WORKED, silent, frequency).pressure_pa_per_v
    )
    assert 20.0 * math.log10(float(ratio[0])) == pytest.approx(6.02, abs=0.005)


def test_compound_pair() -> None:
    # Standard texts, from memory: fs and Qts stay, Vas halves, efficiency halves
    pair = compound_pair(WORKED)
    assert pair.fs_hz == pytest.approx(WORKED.fs_hz, rel=1e-12)
    assert pair.qts == pytest.approx(WORKED.qts, rel=1e-12)
    assert pair.vas_m3() == pytest.approx(0.5 * WORKED.vas_m3(), rel=1e-12)
    one = reference_efficiency(WORKED.fs_hz, WORKED.vas_m3(), WORKED.qes)
    two = reference_efficiency(pair.fs_hz, pair.vas_m3(), pair.qes)
    assert two == pytest.approx(0.5 * one, rel=1e-12)


@pytest.mark.parametrize("bl_tm", [1.0, 20.0, 150.0, 8000.0])
def test_efficiency_ceiling(bl_tm: float) -> None:
    # Keele, AES preprint 3193 (1991), abstract read: a direct radiator's efficiency, with the input
    # counted as
    # V²/Re, can't exceed 25 %, radiation loading included. A light, stiffly driven cone comes close.
    driver = DriverModel(re_ohm=4.0, bl_tm=bl_tm, mms_kg=0.02, cms_m_per_n=1e-3, rms_kg_per_s=0.01, sd_m2=1.0)
    frequency = np.geomspace(5.0, 500.0, 400)
    shares = solve(driver, OpenAir(), frequency).power_shares(1.0)
    efficiency = shares.radiated_w / (1.0 / driver.re_ohm)
    assert np.all(efficiency <= 0.25 * (1.0 + 1e-12))
    if bl_tm == 150.0:
        assert efficiency.max() > 0.24


def test_q_from_impedance_readings() -> None:
    # Small 1972, section on measurement (form read in a restatement, numbers derived)
    found = q_from_impedance(6.00, 66.0, 21.657, 41.557)
    assert found.side_impedance_ohm == pytest.approx(19.90, abs=0.005)
    assert found.fs_hz == pytest.approx(30.00, rel=1e-3)
    assert found.qms == pytest.approx(5.00, rel=1e-3)
    assert found.qes == pytest.approx(0.500, rel=1e-3)
    assert found.qts == pytest.approx(0.4545, rel=1e-3)


def test_vas_from_a_known_volume() -> None:
    # Small 1972 and Leach's notation (form read in a restatement, numbers derived)
    assert 1e3 * vas_from_known_volume_m3(0.030, 30.0, 0.50, 55.2, 0.93) == pytest.approx(72.7, rel=3e-3)
    assert 1e3 * vas_from_known_volume_simple_m3(0.030, 30.0, 55.2) == pytest.approx(71.6, rel=3e-3)
    # The two agree when Qec/Qes = fc/fs
    both = vas_from_known_volume_m3(0.030, 30.0, 0.50, 55.2, 0.50 * 55.2 / 30.0)
    assert both == pytest.approx(vas_from_known_volume_simple_m3(0.030, 30.0, 55.2), rel=1e-12)


@pytest.mark.parametrize(
    ("frequency_hz", "magnitude", "phase_deg", "real", "imag"),
    [(1000.0, 9.64, 61.9, 4.54, 8.51), (100.0, 1.98, 61.9, None, None)],
)
def test_lossy_inductance(
    frequency_hz: float, magnitude: float, phase_deg: float, real: float | None, imag: float | None
) -> None:
    # Leach 2002 (form read; K 0.0235 and n 0.688 from memory as that paper's 12-inch example)
    z = complex(lossy_inductance_ohm(frequency_hz, 0.0235, 0.688))
    assert abs(z) == pytest.approx(magnitude, rel=3e-3)
    assert math.degrees(cmath.phase(z)) == pytest.approx(phase_deg, abs=0.05)
    if real is not None and imag is not None:
        assert z.real == pytest.approx(real, rel=2e-3)
        assert z.imag == pytest.approx(imag, rel=2e-3)


@pytest.mark.parametrize(("n", "phase_deg"), [(1.0, 90.0), (0.5, 45.0), (0.0, 0.0)])
def test_limits_of_the_lossy_inductance(n: float, phase_deg: float) -> None:
    # Vanderkooy 1989 and Leach 2002, from memory: inductor, semi-inductor, resistor
    z = complex(lossy_inductance_ohm(100.0, 0.01, n))
    assert math.degrees(cmath.phase(z)) == pytest.approx(phase_deg, abs=1e-9)
