"""Heat that is shut into a box: how warm the air inside gets."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from subwright.base.errors import RangeError

__all__ = ["CONDUCTIVITY_W_PER_M_K", "SURFACE_M2_K_PER_W", "wall_resistance_k_per_w"]

SURFACE_M2_K_PER_W = 0.13  # still air, level heat flow, each side
# Timber boards at their usual density; ISO 10456, from memory.
CONDUCTIVITY_W_PER_M_K: Mapping[str, float] = MappingProxyType({"mdf": 0.14, "plywood": 0.17})


def wall_resistance_k_per_w(area_m2: float, thickness_m: float, material: str) -> float:
    """Thermal resistance in K/W from the air inside a closed box to still air outside.

    (Rsi + t/λ + Rse)/A: films of still air on both sides of the board. Air through a port is left out, so
    this is the cautious end.

    Parameters
    ----------
    area_m2 : of the walls, m².
    thickness_m : of the board, m.
    material : "mdf" or "plywood".

    Raises
    ------
    RangeError : no area, or a material without a conductivity.

    Source
    ------
    [iso-6946] (surface resistances), [iso-10456] (conductivities). 1 m² of 18 mm MDF: 0.389 K/W.

    >>> round(wall_resistance_k_per_w(1.0, 0.018, "mdf"), 3)
    0.389
    """
    if not area_m2 > 0.0 or material not in CONDUCTIVITY_W_PER_M_K:
        raise RangeError(
            message="The heat through these walls can't be reckoned.",
            quantity="walls",
            value=f"{area_m2:.3g} m² of {material}",
            limit="an area above 0 of " + " or ".join(CONDUCTIVITY_W_PER_M_K),
            source="iso-10456",
            remedy="Choose a listed board.",
        )
    films = 2.0 * SURFACE_M2_K_PER_W
    return (films + thickness_m / CONDUCTIVITY_W_PER_M_K[material]) / area_m2
