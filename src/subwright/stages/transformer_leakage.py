"""Leakage inductance of many candidate transformers at once: windings and leads."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import (
    concentric_leakage,
    flat_pair_inductance_per_metre,
    ring_breadth,
    twisted_pair_inductance_per_metre,
)
from subwright.stages.transformer_lay import TWIST_FACTOR, Candidates, Laid
from subwright.stages.transformer_records import TransformerSpec
from subwright.stages.transformer_tables import CoreTable

__all__ = ["lead_inductance_h", "leakage_estimate_h"]

Floats = NDArray[np.float64]

_SLEEVE_M: Final = 0.5e-3  # wall of the sleeving between two twisted leads, each; common practice
_FLAT_ASPECT: Final = 8.0  # width over thickness of leads laid flat; common practice
_FLAT_INSULATION_M: Final = 0.2e-3  # film between two flat leads; common practice


def lead_inductance_h(spec: TransformerSpec, copper_m2: Floats | float) -> Floats:
    """Inductance of the loop that a half-primary's two leads make; the secondary's count little.

    Parameters
    ----------
    spec : the builder's wishes, for length, distance and form of the leads.
    copper_m2 : copper section of one half-primary, m².

    Returns
    -------
    inductance, H, shape of ``copper_m2``. Apart: two round leads at their distance, or touching where they
    are thicker. Twisted: sleeved and touching, the twist's length added. Flat: strips eight times as wide
    as thick, face to face with film between; an upper estimate.
    """
    copper = np.asarray(copper_m2)
    lead_m = 2.0 * np.sqrt(copper / math.pi)  # strands of one end, tinned into one lead
    if spec.lead_form == "flat":
        thick_m = np.sqrt(copper / _FLAT_ASPECT)
        per_metre = flat_pair_inductance_per_metre(_FLAT_ASPECT * thick_m, thick_m, _FLAT_INSULATION_M)
    elif spec.lead_form == "twisted":
        per_metre = TWIST_FACTOR * twisted_pair_inductance_per_metre(lead_m, lead_m + 2.0 * _SLEEVE_M)
    else:
        per_metre = twisted_pair_inductance_per_metre(lead_m, np.maximum(spec.lead_spacing_m, lead_m))
    return np.asarray(per_metre * spec.lead_m)


def leakage_estimate_h(
    spec: TransformerSpec, table: CoreTable, candidates: Candidates, laid: tuple[Laid, Laid]
) -> Floats:
    """Expected leakage of every candidate, with the leads of the half-primary.

    Parameters
    ----------
    spec : the builder's wishes. table : cores. candidates : columns, shape (n,).
    laid : primary and secondary as they lie.

    Returns
    -------
    inductance referred to one half-primary, H, shape (n,).
    """
    c, (primary, secondary) = candidates, laid
    leads = 2.0 * spec.lead_m
    turn = 0.5 * (
        (primary.strand_m - leads) / c.primary_turns + (secondary.strand_m - leads) / c.secondary_turns
    )
    breadth = table.width_m[c.row].copy()
    ring = np.flatnonzero(table.ring[c.row])
    if ring.size:
        r = c.row[ring]
        top = np.minimum(primary.top_m[ring], 0.49 * table.hole_m[r])
        breadth[ring] = ring_breadth(table.hole_m[r], table.outer_m[r], table.height_m[r], top)
    interfaces = np.where((table.interfaces[c.row] > 1) & (c.secondary_turns > 1), 2.0, 1.0)
    build = np.where(primary.fits & secondary.fits, primary.build_m + secondary.build_m, 0.0)
    windings = concentric_leakage(
        c.primary_turns,
        np.maximum(turn, 1e-3),
        breadth,
        np.maximum(build, 0.0),
        interfaces * spec.insulation_m,
        interfaces,
    )
    return np.asarray(windings + lead_inductance_h(spec, primary.copper_m2))
