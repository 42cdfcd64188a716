"""Panels of a box: stiffness, lowest plate resonance, mass, and integer cut sizes of a butt-jointed box."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.base.errors import RangeError

__all__ = [
    "MATERIALS",
    "PanelMaterial",
    "clamped_hz",
    "flexural_rigidity_nm",
    "inner_volume_m3",
    "panel_area_density_kg_per_m2",
    "simply_supported_hz",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class PanelMaterial:
    """A board: density and elasticity along and across its length."""

    name: str
    density_kg_per_m3: float
    modulus_along_pa: float
    modulus_across_pa: float
    poisson: float
    source: str
    note: str


MATERIALS: Mapping[str, PanelMaterial] = MappingProxyType(
    {
        "mdf": PanelMaterial(
            name="MDF",
            density_kg_per_m3=740.0,
            modulus_along_pa=3.0e9,
            modulus_across_pa=3.0e9,
            poisson=0.3,
            source="en-622-5",
            note="Minimum 2.2 GPa for 12 to 19 mm, typical product 2.5 to 4 GPa; values from memory.",
        ),
        "plywood": PanelMaterial(
            name="birch plywood",
            density_kg_per_m3=680.0,
            modulus_along_pa=9.0e9,
            modulus_across_pa=7.0e9,
            poisson=0.1,
            source="common-practice",
            note="18 mm board; plywood handbooks, from memory.",
        ),
    }
)


def flexural_rigidity_nm(modulus_pa: float, thickness_m: float, poisson: float = 0.3) -> float:
    """Flexural rigidity E·t³/[12·(1 − ν²)] in N·m.

    Parameters
    ----------
    modulus_pa : Pa.
    thickness_m : m.
    poisson : Poisson's ratio, below 0.5.

    Returns
    -------
    Rigidity, N·m.

    Raises
    ------
    RangeError : modulus or thickness not positive, or an impossible Poisson's ratio.

    Source
    ------
    [leissa-1973]. 3.5 GPa, 18 mm, 0.3: 1869 N·m.

    >>> round(flexural_rigidity_nm(3.5e9, 0.018, 0.3))
    1869
    """
    if not (modulus_pa > 0.0 and thickness_m > 0.0 and 0.0 <= poisson < 0.5):
        raise RangeError(
            message="A panel needs a positive modulus and thickness, and a Poisson's ratio from 0 to 0.5.",
            quantity="modulus, thickness, Poisson's ratio",
            value=f"{modulus_pa:.3g} Pa, {thickness_m:.3g} m, {poisson:.3g}",
            limit="above 0, above 0, 0 … 0.5",
            source="leissa-1973",
            remedy="Correct the panel material.",
        )
    return modulus_pa * thickness_m**3 / (12.0 * (1.0 - poisson**2))


def panel_area_density_kg_per_m2(material: PanelMaterial, thickness_m: float) -> float:
    """Mass per area of a panel in kg/m².

    Source
    ------
    [derived], geometry.
    """
    return material.density_kg_per_m3 * thickness_m


def simply_supported_hz(
    length_m: float, width_m: float, thickness_m: float, material: PanelMaterial
) -> float:
    """Lowest resonance in Hz of a rectangular panel whose edges can turn but not move.

    f = (π/2)·[√D1/a² + √D2/b²]/√m, which for an isotropic board is (π/2)·√(D/m)·(1/a² + 1/b²). Glued butt
    joints lie between this and clamped edges, so this is the cautious end.

    Parameters
    ----------
    length_m, width_m : free span between supports, m; the stiff direction lies along the length.
    thickness_m : m.
    material : board.

    Source
    ------
    [leissa-1973]; the orthotropic form takes the twisting term as √(D1·D2), [derived]. 0.40 × 0.50 m, 19 mm,
    3 GPa, 750 kg/m³: 185 Hz.
    """
    along = flexural_rigidity_nm(material.modulus_along_pa, thickness_m, material.poisson)
    across = flexural_rigidity_nm(material.modulus_across_pa, thickness_m, material.poisson)
    mass = panel_area_density_kg_per_m2(material, thickness_m)
    return 0.5 * math.pi * (math.sqrt(along) / length_m**2 + math.sqrt(across) / width_m**2) / math.sqrt(mass)


def clamped_hz(length_m: float, width_m: float, thickness_m: float, material: PanelMaterial) -> float:
    """Lowest resonance in Hz of a rectangular panel with clamped edges, isotropic.

    f = 22.37/(2π·a²)·√(D/m)·√[1 + 0.605·(a/b)² + (a/b)⁴]; within 0.5 % of the exact value.

    Parameters
    ----------
    length_m, width_m : span between supports, m.
    thickness_m : m.
    material : board; the geometric mean of its two moduli is used.

    Source
    ------
    [leissa-1973] (Rayleigh's method with beam functions; exact 35.99 for a square). 0.40 × 0.40 m, 18 mm, 3.5
    GPa, 720 kg/m³: 430 Hz.
    """
    modulus = math.sqrt(material.modulus_along_pa * material.modulus_across_pa)
    rigidity = flexural_rigidity_nm(modulus, thickness_m, material.poisson)
    mass = panel_area_density_kg_per_m2(material, thickness_m)
    a, b = length_m, width_m
    shape = math.sqrt(1.0 + 0.605 * (a / b) ** 2 + (a / b) ** 4)
    return 22.37 / (2.0 * math.pi * a * a) * math.sqrt(rigidity / mass) * shape


def inner_volume_m3(width_m: float, height_m: float, depth_m: float, thickness_m: float) -> float:
    """Inner volume in m³ of a box from its outer sides.

    Parameters
    ----------
    width_m, height_m, depth_m : outer sides, m.
    thickness_m : panel thickness, m.

    Raises
    ------
    RangeError : when the panels leave no room inside.

    Source
    ------
    [derived], geometry. 500 × 400 × 380 mm, 18 mm: 58.1 L.
    """
    sides = [side - 2.0 * thickness_m for side in (width_m, height_m, depth_m)]
    if min(sides) <= 0.0:
        raise RangeError(
            message="The panels leave no room inside the box.",
            quantity="smallest outer side",
            value=f"{1e3 * min(width_m, height_m, depth_m):.4g} mm",
            limit=f"more than twice the panel thickness, {2e3 * thickness_m:.4g} mm",
            remedy="Make the box larger or the panels thinner.",
        )
    return sides[0] * sides[1] * sides[2]
