"""Passive radiators and band-pass boxes against printed values.

Band-pass table: bandwidth factor b and ripple by damping S of the symmetrical fourth-order band-pass, from
memory of margerand-1988, to its printed digits. Passive radiator: limits that small-1974-passive states.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.acoustics.air import AIR_20C
from subwright.physics.acoustics.alignments import b4
from subwright.physics.acoustics.resonant_boxes import (
    PassiveRadiator,
    band_pass_edges,
    band_pass_shape,
    passive_radiator_response,
    radiator_tuning_hz,
)
from subwright.physics.acoustics.vented_box import response


@pytest.mark.parametrize(
    ("s", "b", "ripple_db"), [(0.7, 0.7206, 0.0), (0.6, 0.9560, 0.35), (0.5, 1.2712, 1.25)]
)
def test_bandwidth_and_ripple_by_damping(s: float, b: float, ripple_db: float) -> None:
    """The printed b are 0.1 % below theory throughout, the rounding of S = 0.707 to 0.7 aside."""
    low, high = band_pass_edges(1.0, s)
    assert high - low == pytest.approx(b, rel=1.5e-3)
    shape = band_pass_shape(30.0, 0.4, 0.1, 0.7, s)
    assert shape.ripple_db == pytest.approx(ripple_db, abs=0.006)


@pytest.mark.parametrize(
    ("s", "qtc", "gain_db"),
    [(0.7, 0.7, -0.35), (0.7, 1.0, 5.85), (0.5, 1.0, 0.0), (0.6, 0.7, -3.03), (0.5, 0.7, -6.20)],
)
def test_gain_of_the_band_pass(s: float, qtc: float, gain_db: float) -> None:
    """Mid-band gain 20·lg(2·S·Qtc)² (fincham-1979): a narrow band is loud, a wide one quiet."""
    assert band_pass_shape(30.0, 0.4, 0.1, qtc, s).gain_db == pytest.approx(gain_db, abs=0.01)


@pytest.mark.parametrize(
    ("qts", "vas_l", "qtc", "s", "rear_l", "front_l", "fb_hz"),
    [
        (0.35, 80.0, 0.70, 0.7, 26.67, 19.21, 60.0),
        (0.30, 100.0, 0.70, 0.7, 22.50, 17.64, 70.0),
        (0.40, 60.0, 0.80, 0.6, 20.00, 13.82, 60.0),
    ],
)
def test_chambers_of_the_band_pass(
    qts: float, vas_l: float, qtc: float, s: float, rear_l: float, front_l: float, fb_hz: float
) -> None:
    """Vr = Vas/[(Qtc/Qts)² − 1], Vf = (2·S·Qts)²·Vas, fb = fs·Qtc/Qts (margerand-1988), fs 30 Hz."""
    shape = band_pass_shape(30.0, qts, vas_l * 1e-3, qtc, s)
    assert shape.rear_m3 * 1e3 == pytest.approx(rear_l, rel=5e-4)
    assert shape.front_m3 * 1e3 == pytest.approx(front_l, rel=5e-4)
    assert shape.tuning_hz == pytest.approx(fb_hz, rel=1e-6)


def test_edges_of_a_flat_band_pass() -> None:
    """S = 1/√2 is Butterworth, b = 0.7071: edges at fb·0.7071 and fb·1.4142 for Qtc 1."""
    low, high = band_pass_edges(1.0, math.sqrt(0.5))
    assert (low, high) == pytest.approx((0.70711, 1.41421), rel=1e-5)


def test_a_very_compliant_radiator_makes_the_vented_b4() -> None:
    """small-1974-passive: with δ → ∞ the passive-radiator system is the vented system."""
    flat = b4()
    ratio = np.geomspace(0.3, 5.0, 60)
    delta = 1e7
    tuning_ratio = flat.h / math.sqrt(1.0 + delta)
    passive = passive_radiator_response(ratio, flat.qts, flat.alpha, delta, tuning_ratio)
    vented = response(ratio, flat.qts, flat.alpha, flat.h)
    np.testing.assert_allclose(np.abs(passive), np.abs(vented), rtol=1e-4)
    butterworth = 1.0 / np.sqrt(1.0 + ratio**-8.0)
    np.testing.assert_allclose(np.abs(passive), butterworth, rtol=1e-4)


@pytest.mark.parametrize("delta", [0.5, 1.0, 2.0, 5.0])
def test_notch_and_tuning_of_a_passive_radiator(delta: float) -> None:
    """small-1974-passive: fb = fp·√(1 + δ), the notch lies at fp."""
    volume = 0.05
    cap = delta * volume / AIR_20C.stiffness_pa
    unit = PassiveRadiator(sd_m2=0.05, mms_kg=0.2, cms_m_per_n=cap / 0.05**2, rms_kg_per_s=1e-9)
    assert radiator_tuning_hz(unit, volume) / unit.fs_hz == pytest.approx(math.sqrt(1.0 + delta), rel=1e-9)
    assert abs(complex(passive_radiator_response(0.6, 0.4, 1.0, delta, 0.6))) < 1e-12


@pytest.mark.parametrize(
    ("low", "high"), [(0.7, 0.7214), (0.6, 0.9569), (0.5, 1.2720)], ids=["flat", "rippled", "wide"]
)
def test_bandwidth_by_theory(low: float, high: float) -> None:
    """Difference of the −3 dB edges, from the second-order low-pass of damping S."""
    s, b = low, high
    corner = math.sqrt(1.0 - 2.0 * s * s + math.sqrt((1.0 - 2.0 * s * s) ** 2 + 1.0))
    assert corner / (2.0 * s) == pytest.approx(b, rel=2e-4)
    edges = band_pass_edges(1.0, s)
    assert edges[1] - edges[0] == pytest.approx(b, rel=2e-4)
