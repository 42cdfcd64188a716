"""Rings of powder as chokes: which serve, what a turn on them has."""

from __future__ import annotations

from typing import Final

from subwright.parts.library import Library
from subwright.parts.schema import Core, Material
from subwright.physics.magnetics import MU_0

__all__ = ["LEAST_KEPT", "MOST_TURNS", "per_turn_h", "powder_ring"]

LEAST_KEPT: Final = 0.5  # of its inductance, at the crest: beyond it ripple grows fast; common practice
MOST_TURNS: Final = 150  # by hand


def powder_ring(library: Library, core: Core) -> bool:
    """Whether a core is a ring of powder, whose permeability under direct current is known.

    Parameters
    ----------
    library : with the core's material. core : to judge.
    """
    return core.shape == "ring" and library.materials[core.material].bias_half_a_per_m is not None


def per_turn_h(core: Core, material: Material) -> tuple[float, float]:
    """Inductance of one turn without current, H, and its tolerance, dimensionless.

    Parameters
    ----------
    core, material : of a ring.

    Source
    ------
    Catalogue, or μ0 μi A/l with the material's tolerance. [iec-60205]
    """
    if core.al_h is not None:
        return core.al_h, core.al_tolerance
    return MU_0 * material.mu_i / core.c1_per_m, material.mu_i_tolerance
