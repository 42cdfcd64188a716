"""Ports against printed and derived values; each row says where it comes from."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.acoustics.ports import (
    air_speed_m_per_s,
    effective_length_m,
    equivalent_radius_m,
    hydraulic_diameter_m,
    minimum_area_m2,
    minimum_diameter_m,
    rectangular_end_m,
    round_end_m,
    speed_limit_m_per_s,
    tube_resonance_hz,
    tuning_hz,
)


@pytest.mark.parametrize(
    ("end", "printed"),
    [
        ("flanged", 0.849),  # Rayleigh's piston; Jaouen and Chevillotte 2018 (read)
        ("free", 0.613),  # Levine and Schwinger 1948, from memory; Jaouen and Chevillotte give 0.62
    ],
)
def test_round_end(end: str, printed: float) -> None:
    assert float(round_end_m(2.0, end)) == pytest.approx(printed, abs=6e-4)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("ends", "printed"),
    [(("free", "free"), 0.614), (("flanged", "free"), 0.732), (("flanged", "flanged"), 0.850)],
)
def test_both_ends_on_the_diameter(ends: tuple[str, str], printed: float) -> None:
    # Common restatements (read in secondary pages)
    total = sum(float(round_end_m(1.0, end)) for end in ends)  # type: ignore[arg-type]
    assert total == pytest.approx(printed, abs=1.5e-3)


@pytest.mark.parametrize(
    ("ends", "printed_mm"),
    [(("flanged", "free"), 308.2), (("flanged", "flanged"), 296.5), (("free", "free"), 320.1)],
)
def test_length_of_a_port(ends: tuple[str, str], printed_mm: float) -> None:
    # Derived, Helmholtz: Ø 100 mm, 60 L, 32 Hz; effective 381.4 mm
    area = math.pi * 0.05**2
    effective = float(effective_length_m(area, 0.060, 32.0))
    assert 1e3 * effective == pytest.approx(381.4, abs=1.0)
    length = effective - sum(float(round_end_m(0.1, end)) for end in ends)  # type: ignore[arg-type]
    assert 1e3 * length == pytest.approx(printed_mm, abs=1.0)
    assert float(tuning_hz(area, 0.060, effective)) == pytest.approx(32.0, rel=1e-12)


def test_length_by_the_metric_rule() -> None:
    # Cookbook rule, from memory: L[cm] = 23562.5 D²/(fb² V) − 0.732 D, 31.0 cm; its c is 344.1 m/s
    rule = 23562.5 * 10.0**2 / (32.0**2 * 60.0) - 0.732 * 10.0
    assert rule == pytest.approx(31.0, abs=0.05)
    ours = float(effective_length_m(math.pi * 0.05**2, 0.060, 32.0))
    ours -= float(round_end_m(0.1, "flanged")) + float(round_end_m(0.1, "free"))
    assert 100.0 * ours == pytest.approx(rule, rel=7e-3)


def test_length_by_the_inch_rule() -> None:
    # Common form (read in a secondary page): L = 1.463e7 R²/(fb² V) − 1.463 R in inches; its c is 344.4 m/s
    inch = 0.0254
    radius, volume = 0.05 / inch, 0.060 / inch**3
    rule = (1.463e7 * radius**2 / (32.0**2 * volume) - 1.463 * radius) * inch
    ours = float(effective_length_m(math.pi * 0.05**2, 0.060, 32.0))
    ours -= float(round_end_m(0.1, "flanged")) + float(round_end_m(0.1, "free"))
    assert ours == pytest.approx(rule, rel=1e-2)


def test_minimum_port() -> None:
    # Small 1973 Part II, from memory: 0.8 fb Vd and √(fb Vd); fb 35 Hz, Vd 120 cm3
    assert 1e3 * minimum_diameter_m(35.0, 120e-6) == pytest.approx(64.8, rel=5e-3)
    assert minimum_area_m2(35.0, 120e-6) == pytest.approx(0.25 * math.pi * 0.0648**2, rel=2e-2)


def test_speed_limit() -> None:
    # 5 % of the speed of sound, 17.2 m/s (secondary pages)
    assert speed_limit_m_per_s() == pytest.approx(17.2, abs=0.05)


def test_speed_from_displacement() -> None:
    # Derived, kinematics: 415 cm3 peak at 30 Hz through Ø 100 mm: 9.97 m/s; Ø 76 mm for 17.2 m/s
    speed = float(air_speed_m_per_s(415e-6, 30.0, 0.25 * math.pi * 0.1**2))
    assert speed == pytest.approx(9.97, rel=2e-3)
    diameter = 0.1 * math.sqrt(speed / 17.2)
    assert 1e3 * diameter == pytest.approx(76.0, abs=0.5)


def test_resonance_of_the_tube() -> None:
    # Textbook: 0.40 m tube 429 Hz; 372 Hz with 61.3 mm of ends
    assert float(tube_resonance_hz(0.40)) == pytest.approx(429.0, rel=1e-2)
    assert float(tube_resonance_hz(0.40, 0.0613)) == pytest.approx(372.0, rel=1e-2)


def test_slot_radii() -> None:
    # Geometry: 300 × 40 mm
    assert 1e3 * equivalent_radius_m(0.3, 0.04) == pytest.approx(61.8, abs=0.05)
    assert 1e3 * hydraulic_diameter_m(0.3, 0.04) == pytest.approx(70.6, abs=0.05)


@pytest.mark.parametrize(("aspect", "printed"), [(1.0, 0.839), (2.0, 0.815), (4.0, 0.750), (10.0, 0.630)])
def test_rectangular_end(aspect: float, printed: float) -> None:
    # Derived: exact self-integral of 1/R over the rectangle
    end = rectangular_end_m(aspect, 1.0, "flanged")
    assert end / equivalent_radius_m(aspect, 1.0) == pytest.approx(printed, rel=5e-3)


def test_rectangular_end_by_summing() -> None:
    # Second route: the same integral by the midpoint rule over the difference of two points
    a, b = 0.3, 0.04
    u = (np.arange(4000) + 0.5) * a / 4000
    v = ((np.arange(800) + 0.5) * b / 800)[:, None]
    integrand = (a - u) * (b - v) / np.hypot(u, v)
    integral = 4.0 * integrand.sum() * (a / 4000) * (b / 800)
    assert rectangular_end_m(a, b, "flanged") == pytest.approx(integral / (2.0 * math.pi * a * b), rel=2e-3)


def test_slot_along_a_wall_is_half_of_a_mirrored_one() -> None:
    assert rectangular_end_m(0.3, 0.04, "flanged", along_wall=True) == pytest.approx(
        rectangular_end_m(0.3, 0.08, "flanged"), rel=1e-12
    )
