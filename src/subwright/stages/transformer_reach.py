"""Pairs of windings that can't give the rail, told before they are wound on each other.

A secondary lies lowest on the lowest primary of its turn set. Higher up its turns are longer and its build is
at least as high, so resistance and leakage only grow. A pair whose rail falls short with the secondary down
there falls short wherever it ends up, and need not be wound and heated in full.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import concentric_leakage, ring_breadth
from subwright.stages.transformer_lay import Laid
from subwright.stages.transformer_leakage import lead_inductance_h
from subwright.stages.transformer_rail import loaded_rail_v
from subwright.stages.transformer_records import RailNeed, TransformerNeed, TransformerSpec
from subwright.stages.transformer_tables import CoreTable

__all__ = ["Lying", "lying", "may_reach"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, slots=True)
class Lying:
    """One winding by turn group and wire choice, as low as it can lie; what doesn't fit is infinite.

    Shape (groups, options); ``taken`` and ``least`` give columns.
    """

    half_ohm: Floats  # one half, without what the neighbour's field adds
    turn_m: Floats
    build_m: Floats
    narrowness_per_m: Floats  # one over the breadth of the leakage field at the top
    lead_h: Floats  # of a half-primary's leads

    def taken(self, group: Ints, option: Ints | int) -> Lying:
        """The windings of these groups and options, in that order."""
        at = group * self.half_ohm.shape[1] + option
        return self._each(lambda values: values.take(at))

    def least(self, keep: Bools) -> Lying:
        """The least of every value among the options kept, by group."""
        return self._each(lambda values: np.min(np.where(keep, values, np.inf), axis=1)[:, None])

    def _each(self, change: Callable[[Floats], Floats]) -> Lying:
        return Lying(
            half_ohm=change(self.half_ohm),
            turn_m=change(self.turn_m),
            build_m=change(self.build_m),
            narrowness_per_m=change(self.narrowness_per_m),
            lead_h=change(self.lead_h),
        )


def lying(
    spec: TransformerSpec,
    table: CoreTable,
    laid: Laid,
    own_w: Floats,
    halves: int,
    rms_a: float,
    row: Ints,
    turns: Floats,
    place: tuple[Ints, Ints],
    shape: tuple[int, int],
) -> Lying:
    """Put laid windings where their group and option belong.

    Parameters
    ----------
    spec, table : the builder's wishes and the cores. laid : columns. own_w : loss by the winding's own
        current, W. halves : of the winding. rms_a : in one half, A.
    row, turns : columns. place : group and option of every column. shape : number of groups and of options.
    """

    def placed(values: Floats) -> Floats:
        whole = np.full(shape, np.inf)
        whole[place] = values
        return whole

    breadth = table.width_m[row].copy()
    ring = np.flatnonzero(table.ring[row])
    if ring.size:
        r = row[ring]
        top = np.minimum(laid.top_m[ring], 0.49 * table.hole_m[r])
        breadth[ring] = ring_breadth(table.hole_m[r], table.outer_m[r], table.height_m[r], top)
    return Lying(
        half_ohm=placed(own_w / (halves * rms_a**2)),
        turn_m=placed((laid.strand_m - 2.0 * spec.lead_m) / turns),
        build_m=placed(laid.build_m),
        narrowness_per_m=placed(1.0 / breadth),
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
    primary, secondary : windings of every pair, or the least of what several pairs have.

    Returns
    -------
    false where the rail falls short even with the least resistance and leakage; shape (n,).

    Source
    ------
    The rail as in ``transformer_merit.rail_voltages``. [derived]
    """
    ratio = turns[1] / turns[0]
    interfaces = np.where((table.interfaces[row] > 1) & (turns[1] > 1), 2.0, 1.0)
    windings = concentric_leakage(
        turns[0],
        np.maximum(0.5 * (primary.turn_m + secondary.turn_m), 1e-3),
        1.0 / primary.narrowness_per_m,
        primary.build_m + secondary.build_m,
        interfaces * spec.insulation_m,
        interfaces,
    )
    # On a ring a primary between two halves of the secondary lies higher than here: its field is not known.
    leakage = primary.lead_h + np.where(table.ring[row] & (interfaces > 1), 0.0, windings)
    loaded = loaded_rail_v(need, rail, ratio, primary.half_ohm, secondary.half_ohm, leakage)
    return np.asarray(loaded >= rail.needed_v * (1.0 - 1e-6))
