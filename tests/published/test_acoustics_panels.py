"""Panels and boxes: Leissa 1973 from memory, derived rows, EN 622-5 from memory."""

from __future__ import annotations

import math

import pytest

from subwright.physics.acoustics.panels import (
    MATERIALS,
    PanelMaterial,
    clamped_hz,
    flexural_rigidity_nm,
    inner_volume_m3,
    simply_supported_hz,
)


def board(modulus_pa: float, density: float) -> PanelMaterial:
    return PanelMaterial(
        name="board",
        density_kg_per_m3=density,
        modulus_along_pa=modulus_pa,
        modulus_across_pa=modulus_pa,
        poisson=0.3,
        source="derived",
        note="",
    )


def test_rigidity() -> None:
    # Textbook: 3.5 GPa, 18 mm, 0.3
    assert flexural_rigidity_nm(3.5e9, 0.018, 0.3) == pytest.approx(1869.0, rel=1e-3)


def test_simply_supported_panel() -> None:
    # Form read in a reference solution sheet: 0.40 × 0.50 m, 19 mm, 3 GPa, 750 kg/m3 gives 185 Hz.
    # A public note that takes a root of the bracket gets 58 Hz for this panel; that is wrong.
    found = simply_supported_hz(0.40, 0.50, 0.019, board(3e9, 750.0))
    assert found == pytest.approx(185.0, rel=5e-3)


def test_clamped_square() -> None:
    # Leissa: frequency parameter 35.99, here by Rayleigh's method within half a per cent
    material = board(3.5e9, 720.0)
    stiffness = flexural_rigidity_nm(3.5e9, 0.018, 0.3)
    exact = 35.99 / (2.0 * math.pi * 0.4**2) * math.sqrt(stiffness / (720.0 * 0.018))
    assert clamped_hz(0.4, 0.4, 0.018, material) == pytest.approx(exact, rel=5e-3)


@pytest.mark.parametrize(("thickness_m", "printed_hz"), [(0.018, 430.0), (0.022, 525.0)])
def test_clamped_mdf(thickness_m: float, printed_hz: float) -> None:
    # Derived: 0.40 × 0.40 m, 3.5 GPa, 720 kg/m3
    assert clamped_hz(0.4, 0.4, thickness_m, board(3.5e9, 720.0)) == pytest.approx(printed_hz, rel=1e-2)


def test_inner_volume_and_wood() -> None:
    # Derived: 500 × 400 × 380 mm, 18 mm: 58.1 L; panels of 740 kg/m3 weigh 13.2 kg
    inner = inner_volume_m3(0.500, 0.400, 0.380, 0.018)
    assert 1e3 * inner == pytest.approx(58.1, abs=0.05)
    wood = (0.500 * 0.400 * 0.380 - inner) * 740.0
    assert wood == pytest.approx(13.2, abs=0.05)


def test_board_values_are_within_their_standards() -> None:
    # MDF 600 to 800 kg/m3 (secondary page), at least 2.2 GPa (EN 622-5, from memory)
    mdf = MATERIALS["mdf"]
    assert 600.0 <= mdf.density_kg_per_m3 <= 800.0
    assert mdf.modulus_along_pa >= 2.2e9
    plywood = MATERIALS["plywood"]
    assert 650.0 <= plywood.density_kg_per_m3 <= 700.0
