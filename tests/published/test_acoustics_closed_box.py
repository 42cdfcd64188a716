"""Closed box: Small, Closed-Box Loudspeaker Systems (1972-73), from memory and recomputed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.acoustics.air import SMALL_AIR
from subwright.physics.acoustics.closed_box import (
    box_pressure_pa,
    compliance_ratio_for_q,
    cutoff_ratio,
    displacement_peak_ratio,
    efficiency_volume_constant,
    group_delay_at_resonance_s,
    power_displacement_constant,
    response,
    response_peak,
    response_peak_ratio,
    system_ratio,
)


def test_b2_box_for_a_driver() -> None:
    # Derived: fs 28 Hz, Qts 0.42, Vas 90 L, Qtc 0.7071
    alpha = compliance_ratio_for_q(0.42, 0.7071)
    assert alpha == pytest.approx(1.834, rel=2e-3)
    assert 90.0 / alpha == pytest.approx(49.1, rel=2e-3)
    assert 28.0 * float(system_ratio(alpha)) == pytest.approx(47.1, rel=2e-3)


@pytest.mark.parametrize(
    ("qtc", "printed"),
    [
        (0.500, 1.554),
        (0.577, 1.272),
        (0.7071, 1.000),
        (0.80, 0.897),
        (0.90, 0.829),
        (1.00, 0.786),
        (1.10, 0.757),
        (1.20, 0.736),
        (1.50, 0.699),
        (2.00, 0.674),
    ],
)
def test_f3_over_fc(qtc: float, printed: float) -> None:
    assert float(cutoff_ratio(qtc)) == pytest.approx(printed, rel=2e-3)


@pytest.mark.parametrize(("qtc", "printed"), [(0.5, 0.680), (0.7071, 0.577), (1.0, 0.531)])
def test_f10_over_fc(qtc: float, printed: float) -> None:
    assert float(cutoff_ratio(qtc, -10.0)) == pytest.approx(printed, rel=2e-3)


@pytest.mark.parametrize(
    ("qtc", "peak_db", "at"),
    [(1.0, 1.25, 1.414), (1.2, 2.41, 1.238), (1.5, 4.03, 1.134), (2.0, 6.30, 1.069)],
)
def test_response_peak(qtc: float, peak_db: float, at: float) -> None:
    assert 20.0 * math.log10(response_peak(qtc)) == pytest.approx(peak_db, abs=0.005)
    assert response_peak_ratio(qtc) == pytest.approx(at, rel=1e-3)
    # The same by looking for it on the response
    x = np.linspace(0.5, 3.0, 20001)
    level = np.abs(response(x, qtc))
    assert 20.0 * math.log10(level.max()) == pytest.approx(peak_db, abs=0.005)
    assert x[level.argmax()] == pytest.approx(at, rel=1e-3)


def test_displacement_peak() -> None:
    # Q 1.0: 1.155 times static at 0.707 fc; none up to 0.7071
    assert response_peak(1.0) == pytest.approx(1.155, rel=1e-3)
    assert displacement_peak_ratio(1.0) == pytest.approx(0.707, rel=1e-3)
    assert displacement_peak_ratio(0.7071) == 0.0
    assert response_peak(0.7071) == 1.0


def test_efficiency_volume_constant() -> None:
    # Greatest 2.0e-6 at Qtc about 1.1, 1.36e-6 for B2; with the constants of the paper
    qtc = np.linspace(0.5, 2.0, 1501)
    constant = np.asarray(efficiency_volume_constant(qtc, air=SMALL_AIR))
    assert constant.max() == pytest.approx(2.0e-6, rel=2e-2)
    assert qtc[constant.argmax()] == pytest.approx(1.1, abs=0.05)
    assert float(efficiency_volume_constant(math.sqrt(0.5), air=SMALL_AIR)) == pytest.approx(
        1.36e-6, rel=5e-3
    )


def test_power_displacement_constant() -> None:
    # 0.85 at Qtc 1.1, 0.424 for B2; 0.424 is 4π³ρ/c with the constants of the paper
    assert power_displacement_constant(math.sqrt(0.5), air=SMALL_AIR) == pytest.approx(0.424, rel=2e-3)
    assert power_displacement_constant(1.1, air=SMALL_AIR) == pytest.approx(0.85, rel=1e-2)


def test_pressure_in_the_box() -> None:
    # Derived from the gas law: 480 cm3 in 56.6 L
    pressure = float(box_pressure_pa(480e-6, 56.6e-3))
    assert pressure == pytest.approx(1203.0, rel=1e-3)
    assert 20.0 * math.log10(pressure / math.sqrt(2.0) / 20e-6) == pytest.approx(152.6, abs=0.05)


def test_group_delay_at_resonance() -> None:
    # Derived: fc 40 Hz, Q 0.7071
    assert 1e3 * group_delay_at_resonance_s(40.0, 0.7071) == pytest.approx(5.63, rel=5e-3)


@pytest.mark.parametrize(
    ("qtc", "printed_percent"),
    [(0.5, -13.5), (0.577, -16.3), (0.7071, -20.8), (1.0, -29.8), (1.2, -35.1)],
)
def test_undershoot_of_the_step_response(qtc: float, printed_percent: float) -> None:
    # Transient figure of the paper, recomputed; here from the response by its inverse transform
    from scipy.signal import TransferFunction, step

    time = np.linspace(0.0, 20.0, 20001)
    _, y = step(TransferFunction([1.0, 0.0, 0.0], [1.0, 1.0 / qtc, 1.0]), T=time)
    assert 100.0 * y.min() == pytest.approx(printed_percent, abs=0.5)
