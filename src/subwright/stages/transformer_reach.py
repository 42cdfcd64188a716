"""Pairs of windings that can't give the rail, told before they are wound on each other.

A secondary lies lowest on the lowest primary of its turn set. Higher up its turns are longer and its build is
at least as high, so resistance and leakage only grow. A pair whose rail falls short with the secondary down
there falls short wherever it ends up, and need not be wound and heated in full.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import concentric_leakage, ring_breadth
from subwright.physics.push_pull import pulse_average
from subwright.stages.transformer_lay import Laid
from subwright.stages.transformer_leakage import lead_inductance_h
from subwright.stages.transformer_records import RailNeed, TransformerNeed, TransformerSpec
from subwright.stages.transformer_tables import CoreTable

__all__ = ["Lying", "lying", "may_reach"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Lying:
    """One winding by turn group and wire choice, as low as it can lie; what doesn't fit is infinite.

    Columns of one length: ``options`` wire choices for each group in turn.
    """

    options: int
    half_ohm: Floats  # one half, without what the neighbour's field adds
    turn_m: Floats
    build_m: Floats
    top_m: Floats
    lead_h: Floats  # of a half-primary's leads

    def taken(self, group: Ints, option: Ints) -> Lying:
        """The windings of these groups and options, in that order."""
        at = group * self.options + option
        return Lying(
            self.options,
            *(c.take(at) for c in (self.half_ohm, self.turn_m, self.build_m, self.top_m, self.lead_h)),
        )


def lying(
    spec: TransformerSpec,
    laid: Laid,
    own_w: Floats,
    halves: int,
    rms_a: float,
    turns: Floats,
    group: Ints,
    option: Ints,
    shape: tuple[int, int],
) -> Lying:
    """Put laid windings where their group and option belong.

    Parameters
    ----------
    spec : the builder's wishes. laid : columns. own_w : loss by the winding's own current, W.
    halves : of the winding. rms_a : in one half, A. turns : columns.
    group, option : place of every column. shape : number of groups and of options.
    """
    at = group * shape[1] + option

    def placed(values: Floats) -> Floats:
        whole = np.full(shape[0] * shape[1], np.inf)
        whole[at] = values
        return whole

    return Lying(
        options=shape[1],
        half_ohm=placed(own_w / (halves * rms_a**2)),
        turn_m=placed((laid.strand_m - 2.0 * spec.lead_m) / turns),
        build_m=placed(laid.build_m),
        top_m=placed(laid.top_m),
        lead_h=placed(lead_inductance_h(spec, laid.copper_m2)),
    )


def may_reach(
    spec: TransformerSpec,
    need: TransformerNeed,
    rail: RailNeed,
    table: CoreTable,
    row: Ints,
    turns: tuple[Floats, Floats],
    primary: Lying,
    secondary: Lying,
) -> Bools:
    """Which pairs may give the rail at full power.

    Parameters
    ----------
    spec, need, rail, table : what is wished and asked; cores.
    row : of the core table, shape (n,). turns : of primary and secondary.
    primary, secondary : windings of every pair.

    Returns
    -------
    false where the rail falls short even with the least resistance and leakage; shape (n,).

    Source
    ------
    The rail as in ``transformer_merit.rail_voltages``. [derived]
    """
    ratio = turns[1] / turns[0]
    interfaces = np.where((table.interfaces[row] > 1) & (turns[1] > 1), 2.0, 1.0)
    breadth = table.width_m[row].copy()
    ring = np.flatnonzero(table.ring[row])
    if ring.size:
        r = row[ring]
        top = np.minimum(primary.top_m[ring], 0.49 * table.hole_m[r])
        breadth[ring] = ring_breadth(table.hole_m[r], table.outer_m[r], table.height_m[r], top)
    windings = concentric_leakage(
        turns[0],
        np.maximum(0.5 * (primary.turn_m + secondary.turn_m), 1e-3),
        breadth,
        primary.build_m + secondary.build_m,
        interfaces * spec.insulation_m,
        interfaces,
    )
    # On a ring a primary between two halves of the secondary lies higher than here: its field is not known.
    leakage = primary.lead_h + np.where(table.ring[row] & (interfaces > 1), 0.0, windings)
    loop = rail.path_ohm + primary.half_ohm + (rail.diode_ohm + secondary.half_ohm) / ratio**2
    averaging = need.duty * pulse_average(need.duty / (2.0 * need.switching_hz), leakage, loop)
    drop = ratio**2 * (rail.source_ohm + loop / averaging)
    loaded = ratio * rail.emf_v - rail.diode_v - rail.crest_a * drop
    return np.asarray(loaded >= rail.needed_v * (1.0 - 1e-6))
