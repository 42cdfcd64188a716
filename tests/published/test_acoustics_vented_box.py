"""Vented box: Thiele 1961/71 and Small 1973, from memory and recomputed unless a comment says otherwise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.acoustics.air import SMALL_AIR
from subwright.physics.acoustics.alignments import (
    b4,
    c4_from_k,
    c4_ripple_db,
    flat_alignment,
    qb3_from_a2,
    sbb4,
    super_c4,
)
from subwright.physics.acoustics.vented_box import (
    coefficients,
    compliance_ratio_from_peaks,
    cutoff_ratio,
    displacement_limited_power_w,
    displacement_ratio,
    efficiency_volume_constant,
    fs_from_peaks_hz,
    keele_fit,
    margolis_small_fit,
    programme_power_rating_w,
    response,
    tuning_from_peaks_hz,
)


def test_b4_lossless() -> None:
    # Thiele's row 5: 0.383, 1.000, 1.414, 1.000
    found = b4()
    assert found.qts == pytest.approx(0.3827, abs=5e-5)
    assert found.h == pytest.approx(1.0, rel=1e-12)
    assert found.alpha == pytest.approx(1.4142, abs=5e-5)
    assert found.f3_ratio == pytest.approx(1.0, rel=1e-6)
    assert cutoff_ratio(found.qts, found.alpha, found.h, level_db=-10.0) == pytest.approx(0.760, abs=5e-4)


def test_b4_with_leakage() -> None:
    # Public alignment table for QL 7 (read in a secondary page)
    found = b4(7.0)
    assert found.qts == pytest.approx(0.4048, abs=5e-5)
    assert found.h == pytest.approx(1.000, abs=5e-4)
    assert found.alpha == pytest.approx(1.0613, abs=5e-5)
    assert found.f3_ratio == pytest.approx(1.000, abs=5e-4)
    f10 = cutoff_ratio(found.qts, found.alpha, found.h, 7.0, level_db=-10.0)
    assert f10 == pytest.approx(0.7598, abs=5e-4)


def test_qb3_conditions_meet_b4() -> None:
    # Small's eqs 65-66 (read in a public derivation)
    edge, flat = qb3_from_a2(2.0 + math.sqrt(2.0)), b4()
    assert edge.qts == pytest.approx(flat.qts, rel=1e-9)
    assert edge.alpha == pytest.approx(flat.alpha, rel=1e-9)


@pytest.mark.parametrize(
    ("qts", "alpha", "h", "f3_fs", "f3_fb"),
    [
        (0.180, 10.45, 1.997, 2.68, 1.34),  # Thiele's row 1, which prints 10.48
        (0.259, 4.46, 1.413, 1.77, 1.254),  # row 3
        (0.303, 2.95, 1.224, 1.448, 1.183),  # row 4
        (0.415, 1.053, 0.928, 0.866, 0.934),  # row 6 (1.055, 0.867, 0.935)
        (0.518, 0.558, 0.755, 0.641, 0.849),  # row 8 (0.559, 0.641, 0.847)
    ],
)
def test_lossless_rows(qts: float, alpha: float, h: float, f3_fs: float, f3_fb: float) -> None:
    found = flat_alignment(qts)
    assert found.alpha == pytest.approx(alpha, rel=5e-3)
    assert found.h == pytest.approx(h, rel=5e-3)
    assert found.f3_ratio == pytest.approx(f3_fs, rel=5e-3)
    assert found.f3_ratio / found.h == pytest.approx(f3_fb, rel=5e-3)


@pytest.mark.parametrize(
    ("qts", "alpha", "h", "f3_fs"),
    [(0.25, 4.582, 1.563, 1.967), (0.35, 1.796, 1.140, 1.270), (0.38, 1.355, 1.058, 1.115)],
)
def test_qb3_with_leakage(qts: float, alpha: float, h: float, f3_fs: float) -> None:
    # Small's Fig. 11 is a chart; the numbers were recomputed
    found = flat_alignment(qts, 7.0)
    assert found.family == "QB3"
    assert found.alpha == pytest.approx(alpha, rel=1e-3)
    assert found.h == pytest.approx(h, rel=1e-3)
    assert found.f3_ratio == pytest.approx(f3_fs, rel=1e-3)


@pytest.mark.parametrize(
    ("qts", "alpha", "h", "f3_fs"), [(0.30, 2.806, 1.103, 1.714), (0.35, 1.835, 1.093, 1.299)]
)
def test_sub_chebyshev_with_leakage(qts: float, alpha: float, h: float, f3_fs: float) -> None:
    # Derived with the family's coefficients, k > 1
    found = super_c4(qts, 7.0)
    assert found.alpha == pytest.approx(alpha, rel=1e-3)
    assert found.h == pytest.approx(h, rel=1e-3)
    assert found.f3_ratio == pytest.approx(f3_fs, rel=1e-3)


@pytest.mark.parametrize(("k", "ripple_db"), [(0.597, 0.07), (0.476, 0.28), (0.415, 0.51)])
def test_c4_ripple(k: float, ripple_db: float) -> None:
    # Chebyshev filter theory; the same ripple must show on the response of the box (swapped a1 and a3
    # would not)
    assert c4_ripple_db(k) == pytest.approx(ripple_db, abs=0.005)
    box = c4_from_k(k)
    ratio = np.geomspace(box.f3_ratio, 12.0, 40001)
    level = 20.0 * np.log10(np.abs(response(ratio, box.qts, box.alpha, box.h)))
    assert level.max() == pytest.approx(c4_ripple_db(k), abs=2e-3)


def test_c4_poles_are_those_of_the_chebyshev_filter() -> None:
    # Independent route: the poles of scipy's Chebyshev prototype of the same ripple, turned into a high-pass
    from scipy.signal import cheb1ap

    box = c4_from_k(0.476)
    a = coefficients(box.qts, box.alpha, box.h)
    _, poles, _ = cheb1ap(4, c4_ripple_db(0.476))
    highpass = np.poly(1.0 / poles).real
    scale = highpass[-1] ** 0.25  # to a constant term of one
    wanted = highpass / scale ** np.arange(5)
    assert [float(a.a1), float(a.a2), float(a.a3)] == pytest.approx(wanted[1:4].tolist(), rel=1e-9)


def test_sbb4() -> None:
    # Hobby literature, low confidence in the definition; alpha 2.78, f3/fs 1.66 recomputed
    found = sbb4(0.30)
    assert found.h == 1.0
    assert found.alpha == pytest.approx(2.78, abs=5e-3)
    assert found.f3_ratio == pytest.approx(1.66, abs=5e-3)


def test_keele_fit() -> None:
    # Keele 1973/75 (form read in a restatement)
    found = keele_fit(0.383)
    assert 1.0 / found.volume_ratio == pytest.approx(1.047, rel=2e-3)
    assert found.tuning_ratio == pytest.approx(0.996, rel=2e-3)
    assert found.f3_ratio == pytest.approx(0.997, rel=2e-3)


def test_margolis_small_fit() -> None:
    # Margolis and Small 1981, from memory
    found = margolis_small_fit(0.35)
    assert 1.0 / found.volume_ratio == pytest.approx(1.598, rel=2e-3)
    assert found.tuning_ratio == pytest.approx(1.156, rel=2e-3)
    assert found.f3_ratio == pytest.approx(1.229, rel=2e-3)


@pytest.mark.parametrize("qts", [0.25, 0.30, 0.35, 0.40])
def test_fit_for_ql_7_is_near_the_exact_alignment(qts: float) -> None:
    # A fit, not the alignment: 25 % in volume, 6 % in tuning, 12 % in f3
    fit, exact = margolis_small_fit(qts), flat_alignment(qts, 7.0)
    assert 1.0 / fit.volume_ratio == pytest.approx(exact.alpha, rel=0.25)
    assert fit.tuning_ratio == pytest.approx(exact.h, rel=0.06)
    assert fit.f3_ratio == pytest.approx(exact.f3_ratio, rel=0.12)


def test_efficiency_volume_constants() -> None:
    # Small Part I prints 3.9e-6 for the best lossless box, near Qts 0.50; B4 3.56e-6; QL 7: 2.54e-6
    def constant(qts: float, ql: float = math.inf) -> float:
        box = flat_alignment(qts, ql)
        return efficiency_volume_constant(qts, box.alpha, box.f3_ratio, air=SMALL_AIR)

    lossless = [constant(q) for q in np.linspace(0.35, 0.60, 26)]
    assert max(lossless) == pytest.approx(3.9e-6, rel=2e-2)
    assert constant(b4().qts) == pytest.approx(3.56e-6, rel=5e-3)
    assert max(constant(q, 7.0) for q in np.linspace(0.35, 0.60, 26)) == pytest.approx(2.54e-6, rel=1e-2)


def test_displacement_limited_power() -> None:
    # Small Part II eq. 36 (read): constant 0.424
    assert displacement_limited_power_w(1.0, 1.0, 1.0, air=SMALL_AIR) == pytest.approx(0.424, rel=2e-3)


def test_programme_rating_is_below_the_sine_limit() -> None:
    # Small Part II: 3.0 f3^4 Vd^2 for programme, from memory; a sine above fb may reach 7.2 (lossless),
    # 6.9 (QL 7)
    assert programme_power_rating_w(30.0, 1e-4) == pytest.approx(3.0 * 30.0**4 * 1e-8, rel=1e-12)
    for ql, printed in ((math.inf, 7.2), (7.0, 6.9)):
        box = b4(ql)
        ratio = np.geomspace(1.0, 6.0, 20001)
        peak = np.abs(displacement_ratio(ratio, box.qts, box.alpha, box.h, ql)).max()
        assert displacement_limited_power_w(1.0, 1.0, peak, air=SMALL_AIR) == pytest.approx(printed, rel=1e-2)


def test_displacement_of_b4() -> None:
    # Theory: null at fb when lossless; 0.101 of static with QL 7; second peak 0.248 of static at 1.43 fb
    flat, leaky = b4(), b4(7.0)
    assert abs(displacement_ratio(1.0, flat.qts, flat.alpha, flat.h)) == pytest.approx(0.0, abs=1e-12)
    at_fb = abs(displacement_ratio(1.0, leaky.qts, leaky.alpha, leaky.h, 7.0))
    assert float(at_fb) == pytest.approx(0.101, abs=5e-4)
    ratio = np.geomspace(1.02, 5.0, 20001)
    moved = np.abs(displacement_ratio(ratio, leaky.qts, leaky.alpha, leaky.h, 7.0))
    assert moved.max() == pytest.approx(0.248, abs=2e-3)
    assert ratio[moved.argmax()] == pytest.approx(1.43, abs=0.02)


def test_b4_is_two_biquads() -> None:
    # Butterworth: pole Qs 0.5412 and 1.3066
    a = coefficients(b4().qts, b4().alpha, 1.0)
    poles = np.roots([1.0, float(a.a1), float(a.a2), float(a.a3), 1.0])
    qs = sorted({round(abs(p) / (-2.0 * p.real), 4) for p in poles})
    assert qs == pytest.approx([0.5412, 1.3066], abs=1e-4)


def test_readings_of_the_impedance_peaks() -> None:
    # Small Parts II and IV, Thiele 1961; fL 17.065, fH 52.741, fC 46.613 Hz
    tuning = tuning_from_peaks_hz(17.065, 52.741, 46.613)
    assert tuning == pytest.approx(30.00, rel=1e-3)
    assert compliance_ratio_from_peaks(17.065, 52.741, tuning) == pytest.approx(1.414, rel=2e-3)
    assert fs_from_peaks_hz(17.065, 52.741, tuning) == pytest.approx(30.0, rel=1e-3)
