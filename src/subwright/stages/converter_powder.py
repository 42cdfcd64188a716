"""Rings of powder as chokes: which serve, what a turn on them has."""

from __future__ import annotations

from typing import Final, Protocol

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material
from subwright.physics.magnetics import MU_0

__all__ = ["LEAST_KEPT", "MOST_TURNS", "choke_beside", "per_turn_h", "powder_ring"]


class _Compared(Protocol):
    """A choke that was compared with one of the other kind."""

    @property
    def beside(self) -> str:
        """The other one's core."""

    @property
    def beside_w(self) -> float:
        """What the other one would lose, W."""

    @property
    def lost_w(self) -> float:
        """What this one loses, W."""


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


def choke_beside(core_id: str, choke: _Compared) -> str:
    """What a choke of the other kind would lose, in a sentence: gapped core or ring of powder.

    Parameters
    ----------
    core_id : of the choke that is taken. choke : with what it was compared with.
    """
    return (
        f"Choke on {core_id}: {show(choke.lost_w, 'power')} in copper and core; on {choke.beside} it would "
        f"be {show(choke.beside_w, 'power')}. What lies in the drawer goes first, then size and loss decide."
    )
