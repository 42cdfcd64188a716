"""Lay the windings of many candidate transformers at once: heights, lengths, sections, fields.

A candidate is a row of the core table, two turn counts, and a wire and a strand count for each winding.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from subwright.physics.foil import foil_lay
from subwright.physics.leakage import mean_square_field_share, ring_breadth
from subwright.physics.windings import Lay, bobbin_lay, bundle_diameter, ring_lay, twist_length_factor
from subwright.stages.transformer_records import TransformerSpec
from subwright.stages.transformer_tables import CoreTable, WireTable

__all__ = [
    "TWIST_FACTOR",
    "TWIST_PITCH",
    "Candidates",
    "Laid",
    "foil_share",
    "lay_alone",
    "lay_both",
    "lay_winding",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TWIST_PITCH = 10.0  # length of one twist over the bundle's diameter; common practice
TWIST_FACTOR = float(twist_length_factor(1.0, TWIST_PITCH))


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidates:
    """Candidate designs as columns of one length."""

    row: Ints  # of the core table
    primary_turns: Floats  # whole, as all counts here
    secondary_turns: Floats
    primary_wire: Ints  # row of the primary's wire table
    primary_strands: Floats
    secondary_wire: Ints
    secondary_strands: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Laid:
    """How one winding of each candidate lies; resistances need a temperature and come later."""

    build_m: Floats  # this winding's own height
    top_m: Floats  # from the core's surface to its top
    layers: Ints
    layers_below: Ints  # of a winding split round the other
    bundle_m: Floats
    strand_m: Floats  # length of one strand of one half, leads included
    copper_m2: Floats  # section of one half
    section_m2: Floats  # copper of the whole winding in the window
    share: Floats  # mean square field over (N·I/b)²
    breadth_m: Floats
    fits: NDArray[np.bool_]

    def taken(self, at: Ints) -> Laid:
        """The rows ``at``, in that order."""
        return Laid(**{column.name: getattr(self, column.name)[at] for column in fields(self)})


def foil_share(table: CoreTable, wires: WireTable, row: Ints, wire: Ints) -> Floats:
    """Share of a foil's width that is left when it is cut to the winding width; 1 for wire.

    Parameters
    ----------
    table, wires : cores and wires. row, wire : columns, one shape.

    Returns
    -------
    share, dimensionless, the same shape.
    """
    room = table.width_m[row] / wires.width_m[wire]
    return np.where(wires.foil[wire], np.minimum(room, 1.0), 1.0)


def lay_winding(
    spec: TransformerSpec,
    table: CoreTable,
    wires: WireTable,
    row: Ints,
    turns: Floats,
    wire: Ints,
    strands: Floats,
    halves: int,
    start_m: Floats,
    interfaces: Floats,
    portions: Floats | float = 1.0,
) -> Laid:
    """Lay one winding of every candidate on its core.

    Parameters
    ----------
    spec : the builder's wishes. table : cores. wires : wires of this winding.
    row, turns, wire, strands : columns, shape (n,).
    halves : halves of the winding, 1 or 2.
    start_m : height at which it begins, m, shape (n,).
    interfaces : boundaries between primary and secondary portions, shape (n,).
    portions : portions of the winding of which this is one, shape (n,).

    Returns
    -------
    Laid, shape (n,). On rings and bobbins alike the height is that of whole layers; of foil each turn of
    each half is one. Foil doesn't go on rings.
    """
    overall, foil = wires.overall_m[wire], wires.foil[wire]
    copper = wires.copper_m2[wire] * foil_share(table, wires, row, wire)
    bundled = halves * strands
    twisted = table.twisted[row] & ~foil
    pitch_m = np.where(twisted, bundle_diameter(bundled, overall), overall)
    side_by_side = np.where(twisted, 1.0, bundled)
    twist = np.where(twisted & (bundled > 1), TWIST_FACTOR, 1.0)
    strand_layers = np.where(twisted, np.maximum(pitch_m / overall, 1.0), 1.0)
    n = row.size
    top, metres = np.empty(n), np.empty(n)
    layers, fits, breadth = np.empty(n, dtype=np.int64), np.empty(n, dtype=bool), np.empty(n)
    ring = table.ring[row]

    def keep(at: Ints, lay: Lay) -> None:
        layers[at], top[at], metres[at], fits[at] = lay

    at = np.flatnonzero(ring)
    if at.size:
        r = row[at]
        size = (table.hole_m[r], table.outer_m[r], table.height_m[r])
        lay = ring_lay(turns[at], side_by_side[at], pitch_m[at], *size, start_m[at], spec.ring_share)
        keep(at, lay)
        fits[at] &= ~foil[at]  # no foil goes through a ring's hole
        # the field at half this winding's height; where nothing fits any height will do
        middle = np.minimum((start_m[at] + lay.build_m) / 2.0, 0.49 * table.hole_m[r])
        breadth[at] = ring_breadth(*size, middle)
    breadth[~ring] = table.width_m[row[~ring]]
    at = np.flatnonzero(~ring & ~foil)
    if at.size:
        r = row[at]
        window = (table.window_height_m[r], table.turn_m[r], start_m[at])
        keep(at, bobbin_lay(turns[at], side_by_side[at], pitch_m[at], table.width_m[r], *window))
    at = np.flatnonzero(~ring & foil)
    if at.size:
        r = row[at]
        window = (table.window_height_m[r], table.turn_m[r], start_m[at])
        keep(at, foil_lay(turns[at], bundled[at], overall[at], *window))
        side_by_side = np.where(foil, bundled, side_by_side)
    return Laid(
        build_m=top - start_m,
        top_m=top,
        layers=layers,
        layers_below=np.zeros_like(layers),
        bundle_m=pitch_m,
        strand_m=metres * twist / side_by_side + 2.0 * spec.lead_m,
        copper_m2=strands * copper,
        section_m2=turns * bundled * copper,
        share=np.asarray(
            mean_square_field_share(np.maximum(layers, 1) * strand_layers * portions, interfaces)
        ),
        breadth_m=breadth,
        fits=fits,
    )


def lay_both(
    spec: TransformerSpec,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    candidates: Candidates,
    primary_halves: int,
    halves: int,
) -> tuple[Laid, Laid]:
    """Lay primary and secondary: one on the other, or the primary between two halves of the secondary.

    Parameters
    ----------
    spec, table, candidates : as for ``evaluate``.
    wires : wires of the primary and of the secondary.
    primary_halves, halves : halves of the primary and of the secondary.

    Returns
    -------
    (primary, secondary), shape (n,).
    """
    c = candidates
    second = _Split(
        spec, table, wires[1], c.row, c.secondary_turns, c.secondary_wire, c.secondary_strands, halves
    )
    lower = second.lower(np.zeros(c.row.size))
    if lower is None:
        # The primary lies on the core: the same under every secondary that follows it in the columns.
        first, run = _runs(c.row, c.primary_turns, c.primary_wire, c.primary_strands)
        start, interfaces = np.zeros(first.size), second.interfaces[first]
    else:
        first = run = np.arange(c.row.size)
        start, interfaces = np.where(second.split, lower.top_m + spec.insulation_m, 0.0), second.interfaces
    primary = lay_winding(
        spec,
        table,
        wires[0],
        c.row[first],
        c.primary_turns[first],
        c.primary_wire[first],
        c.primary_strands[first],
        primary_halves,
        start,
        interfaces,
    ).taken(run)
    return primary, second.whole(lower, primary.top_m + spec.insulation_m)


def _runs(*columns: NDArray[Any]) -> tuple[Ints, Ints]:
    """First index of every run of equal rows, and for each row its run; columns of one length."""
    new = np.ones(columns[0].size, dtype=bool)
    new[1:] = False
    for column in columns:
        new[1:] |= column[1:] != column[:-1]
    return np.flatnonzero(new), np.cumsum(new) - 1


def lay_alone(
    spec: TransformerSpec,
    table: CoreTable,
    wires: WireTable,
    row: Ints,
    turns: Floats,
    wire: Ints,
    strands: Floats,
    halves: int,
    start_m: Floats,
) -> Laid:
    """Lay a secondary with nothing between its portions, to compare choices of wire before pairing them.

    Parameters
    ----------
    spec, table, wires, row, turns, wire, strands, halves, start_m : as for ``lay_winding``.

    Returns
    -------
    Laid, shape (n,).
    """
    second = _Split(spec, table, wires, row, turns, wire, strands, halves)
    lower = second.lower(start_m)
    return second.whole(lower, np.where(second.split, lower.top_m, start_m) if lower else start_m)


class _Split:
    """A secondary that may be split into a portion below the primary and one above."""

    def __init__(
        self,
        spec: TransformerSpec,
        table: CoreTable,
        wires: WireTable,
        row: Ints,
        turns: Floats,
        wire: Ints,
        strands: Floats,
        halves: int,
    ) -> None:
        self.split = (table.interfaces[row] > 1) & (turns > 1)
        self.interfaces = np.where(self.split, 2.0, 1.0)
        self._lead_m = spec.lead_m
        self._below = np.where(self.split, turns // 2, turns)
        self._above = turns - np.where(self.split, self._below, 0)

        def lay(part: Floats, start_m: Floats) -> Laid:
            return lay_winding(
                spec,
                table,
                wires,
                row,
                part,
                wire,
                strands,
                halves,
                start_m,
                self.interfaces,
                self.interfaces,
            )

        self._lay = lay

    def lower(self, start_m: Floats) -> Laid | None:
        """The portion below the primary; None where no candidate is split."""
        return self._lay(self._below, start_m) if np.any(self.split) else None

    def whole(self, lower: Laid | None, start_m: Floats) -> Laid:
        """Both portions together, the upper one beginning at ``start_m``."""
        upper = self._lay(self._above, start_m)
        if lower is None:
            return upper

        def pick(split: NDArray[Any], plain: NDArray[Any]) -> NDArray[Any]:
            return np.where(self.split, split, plain)

        return Laid(
            build_m=pick(lower.build_m + upper.build_m, upper.build_m),
            top_m=upper.top_m,
            layers=pick(lower.layers + upper.layers, upper.layers),
            layers_below=pick(lower.layers, np.zeros_like(lower.layers)),
            bundle_m=upper.bundle_m,
            strand_m=pick(lower.strand_m + upper.strand_m - 2.0 * self._lead_m, upper.strand_m),
            copper_m2=upper.copper_m2,
            section_m2=pick(lower.section_m2 + upper.section_m2, upper.section_m2),
            share=pick(np.maximum(lower.share, upper.share), upper.share),
            breadth_m=pick(np.minimum(lower.breadth_m, upper.breadth_m), upper.breadth_m),
            fits=upper.fits & (lower.fits | ~self.split),
        )
