"""Heat through the walls (ISO 6946, ISO 10456, from memory) and rounded port mouths (derived)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from subwright.base.errors import RangeError
from subwright.physics.acoustics.box_heat import wall_resistance_k_per_w
from subwright.physics.acoustics.ports import FLANGED_RATIO, flared_ends_m


@pytest.mark.parametrize(
    ("thickness_mm", "material", "u_w_per_m2k"),
    [(18.0, "mdf", 2.574), (12.0, "mdf", 2.893), (25.0, "mdf", 2.280), (18.0, "plywood", 2.733)],
)
def test_transmittance_of_a_wall(thickness_mm: float, material: str, u_w_per_m2k: float) -> None:
    """1/U = 0.13 + t/λ + 0.13 with λ 0.14 (fibreboard) and 0.17 (plywood) W/(m·K)."""
    resistance = wall_resistance_k_per_w(1.0, thickness_mm / 1e3, material)
    assert 1.0 / resistance == pytest.approx(u_w_per_m2k, rel=5e-4)
    assert wall_resistance_k_per_w(2.0, thickness_mm / 1e3, material) == pytest.approx(0.5 * resistance)


def test_unknown_walls_are_refused() -> None:
    with pytest.raises(RangeError):
        wall_resistance_k_per_w(1.0, 0.018, "cardboard")
    with pytest.raises(RangeError):
        wall_resistance_k_per_w(0.0, 0.018, "mdf")


def test_no_flare_is_two_flanged_ends() -> None:
    """8/(3π) of the radius at each end: 0.850 of the diameter in all (Rayleigh)."""
    assert flared_ends_m(0.1, 0.0) / 0.1 == pytest.approx(0.8488, abs=5e-5)
    assert flared_ends_m(0.1, 1e-7) == pytest.approx(flared_ends_m(0.1, 0.0), rel=1e-5)


@pytest.mark.parametrize("flare_mm", [5.0, 20.0, 50.0])
def test_a_flare_by_adaptive_quadrature(flare_mm: float) -> None:
    """The same integral along the axis instead of along the arc."""
    throat, flare = 0.05, flare_mm / 1e3

    def radius(x: float) -> float:
        return throat + flare - math.sqrt(flare**2 - x**2)

    inside, _ = quad(lambda x: (throat / radius(x)) ** 2, 0.0, flare, limit=200)
    mouth = throat + flare
    end = FLANGED_RATIO * mouth * (throat / mouth) ** 2
    assert flared_ends_m(2 * throat, flare) == pytest.approx(2.0 * (inside - flare + end), rel=1e-6)


def test_a_wider_mouth_always_counts_less() -> None:
    ends = [flared_ends_m(0.1, flare) for flare in np.linspace(0.0, 0.08, 20)]
    assert np.all(np.diff(ends) < 0.0)
