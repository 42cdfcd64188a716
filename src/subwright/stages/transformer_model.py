"""Wind and heat many candidate transformers at once.

A candidate is a row of the core table, two turn counts, and a wire and a strand count for each winding. The
same function serves the search over all of them and the final design of one, so the two can't disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import (
    concentric_leakage,
    mean_square_field_share,
    ring_breadth,
    twisted_pair_inductance_per_metre,
)
from subwright.physics.magnetic_thermal import ring_surface, rise_spread
from subwright.physics.magnetics import flux_peak_square_wave
from subwright.physics.winding_loss import COPPER_DENSITY_KG_PER_M3, copper_resistivity
from subwright.physics.windings import (
    bobbin_lay,
    bundle_diameter,
    ring_lay,
    ring_wound_size,
    twist_length_factor,
)
from subwright.stages.transformer_records import TransformerNeed, TransformerSpec
from subwright.stages.transformer_tables import (
    DENSITY_LIMIT_A_PER_M2,
    CoreTable,
    WireTable,
    core_loss_w,
    heating_voltage,
)

__all__ = [
    "LEAD_SPACING_M",
    "TWIST_FACTOR",
    "TWIST_PITCH",
    "Candidates",
    "Evaluation",
    "Laid",
    "density_limit",
    "evaluate",
    "lay_alone",
    "lay_both",
    "lay_winding",
    "lead_inductance_h",
    "leakage_estimate_h",
    "secondary_halves",
    "winding_loss_w",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAD_SPACING_M = 10e-3  # between a half-primary's leads, centre to centre; common practice
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


@dataclass(frozen=True, kw_only=True, slots=True)
class Evaluation:
    """What each candidate comes to; columns of one length. Losses in W, copper at full sine."""

    flux_peak_t: Floats
    core_w: Floats
    primary_w: Floats
    secondary_w: Floats
    primary_eddy_w: Floats  # proximity loss, contained in primary_w
    secondary_eddy_w: Floats
    heating_w: Floats
    rise_low_k: Floats
    rise_high_k: Floats
    fill: Floats
    build_share: Floats
    density_a_per_m2: Floats  # the denser winding, heating basis
    copper_kg: Floats
    fits: NDArray[np.bool_]
    surface_m2: Floats
    leakage_h: Floats  # primary to secondary with the primary's leads, referred to a half-primary


def secondary_halves(need: TransformerNeed) -> int:
    """Halves of the secondary: 2 where centre-tapped, else 1."""
    return 2 if need.secondary == "centre-tapped" else 1


def density_limit(spec: TransformerSpec) -> float:
    """Largest rms current density on the heating basis, A/m²."""
    if spec.current_density_a_per_m2 is not None:
        return spec.current_density_a_per_m2
    return DENSITY_LIMIT_A_PER_M2


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
    Laid, shape (n,). On rings and bobbins alike the height is that of whole layers.
    """
    overall, copper = wires.overall_m[wire], wires.copper_m2[wire]
    bundled = halves * strands
    twisted = table.twisted[row]
    pitch_m = np.where(twisted, bundle_diameter(bundled, overall), overall)
    side_by_side = np.where(twisted, 1.0, bundled)
    twist = np.where(twisted & (bundled > 1), TWIST_FACTOR, 1.0)
    strand_layers = np.where(twisted, np.maximum(pitch_m / overall, 1.0), 1.0)
    n = row.size
    top, metres = np.empty(n), np.empty(n)
    layers, fits, breadth = np.empty(n, dtype=np.int64), np.empty(n, dtype=bool), np.empty(n)
    ring = table.ring[row]
    at = np.flatnonzero(ring)
    if at.size:
        r = row[at]
        size = (table.hole_m[r], table.outer_m[r], table.height_m[r])
        lay = ring_lay(turns[at], side_by_side[at], pitch_m[at], *size, start_m[at], spec.ring_share)
        layers[at], top[at], metres[at], fits[at] = lay
        # the field at half this winding's height; where nothing fits any height will do
        middle = np.minimum((start_m[at] + lay.build_m) / 2.0, 0.49 * table.hole_m[r])
        breadth[at] = ring_breadth(*size, middle)
    at = np.flatnonzero(~ring)
    if at.size:
        r = row[at]
        lay = bobbin_lay(
            turns[at],
            side_by_side[at],
            pitch_m[at],
            table.width_m[r],
            table.window_height_m[r],
            table.turn_m[r],
            start_m[at],
        )
        layers[at], top[at], metres[at], fits[at] = lay
        breadth[at] = table.width_m[r]
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


def winding_loss_w(
    wires: WireTable, wire: Ints, laid: Laid, halves: int, rms_a: float, mmf_a: Floats, copper_c: float
) -> tuple[Floats, Floats]:
    """Loss of one winding of every candidate, full sine.

    Parameters
    ----------
    wires, wire, laid : as laid. halves : halves of the winding.
    rms_a : rms current of one half, A.
    mmf_a : rms magnetomotive force of the winding, ampere-turns, shape (n,).
    copper_c : copper temperature, °C.

    Returns
    -------
    (loss by the winding's own current, proximity loss), W. The half that rests lies in the field of the one
    that conducts, so the eddies of all strands count.
    """
    direct = copper_resistivity(copper_c) * laid.strand_m / laid.copper_m2
    own = halves * rms_a**2 * direct * wires.skin[wire]
    strand_metres = laid.strand_m * halves * laid.copper_m2 / wires.copper_m2[wire] * wires.strands[wire]
    field = np.square(mmf_a / laid.breadth_m) * laid.share
    return own, strand_metres * wires.eddy_w_per_m[wire] * field


def lay_both(
    spec: TransformerSpec,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    candidates: Candidates,
    halves: int,
) -> tuple[Laid, Laid]:
    """Lay primary and secondary: one on the other, or the primary between two halves of the secondary.

    Parameters
    ----------
    spec, table, candidates : as for ``evaluate``.
    wires : wires of the primary and of the secondary.
    halves : halves of the secondary.

    Returns
    -------
    (primary, secondary), shape (n,).
    """
    c = candidates
    second = _Split(
        spec, table, wires[1], c.row, c.secondary_turns, c.secondary_wire, c.secondary_strands, halves
    )
    lower = second.lower(np.zeros(c.row.size))
    start = np.where(second.split, lower.top_m + spec.insulation_m, 0.0) if lower else np.zeros(c.row.size)
    primary = lay_winding(
        spec,
        table,
        wires[0],
        c.row,
        c.primary_turns,
        c.primary_wire,
        c.primary_strands,
        2,
        start,
        second.interfaces,
    )
    return primary, second.whole(lower, primary.top_m + spec.insulation_m)


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


def evaluate(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    candidates: Candidates,
    laid: tuple[Laid, Laid],
    copper_c: float,
    heat_share: float,
    core_factor: Floats | None = None,
) -> Evaluation:
    """Flux, losses, temperature rise and fill of every candidate.

    Parameters
    ----------
    spec, need : what is wished and asked.
    table, wires : cores; wires of the primary and of the secondary, made for ``copper_c``.
    candidates : columns, shape (n,).
    laid : primary and secondary as they lie.
    copper_c : copper temperature, °C.
    heat_share : mean square of the heating current over that of the full sine.
    core_factor : temperature factor of the core loss, shape (n,); None takes each core's worst.

    Returns
    -------
    Evaluation, shape (n,).
    """
    c, (primary, secondary) = candidates, laid
    halves = secondary_halves(need)

    def flux(volts_v: float, area_m2: Floats) -> Floats:
        return np.asarray(
            flux_peak_square_wave(volts_v, need.duty, need.switching_hz, c.primary_turns, area_m2[c.row])
        )

    factor = table.worst_factor[c.row] if core_factor is None else core_factor
    core_w = core_loss_w(table, c.row, flux(heating_voltage(need), table.area_m2), need, factor)
    mmf = c.primary_turns * (math.sqrt(2.0) * need.primary_rms_a)
    own_p, eddy_p = winding_loss_w(wires[0], c.primary_wire, primary, 2, need.primary_rms_a, mmf, copper_c)
    own_s, eddy_s = winding_loss_w(
        wires[1], c.secondary_wire, secondary, halves, need.secondary_rms_a, mmf, copper_c
    )
    heating_w = core_w + heat_share * (own_p + eddy_p + own_s + eddy_s)
    surface = table.surface_m2[c.row].copy()
    ring = np.flatnonzero(table.ring[c.row])
    if ring.size:
        r = c.row[ring]
        top = np.minimum(secondary.top_m[ring], table.hole_m[r] / 2.0)
        outer, height, _ = ring_wound_size(table.hole_m[r], table.outer_m[r], table.height_m[r], top)
        surface[ring] = ring_surface(outer, height)
    spread = rise_spread(heating_w, table.volume_m3[c.row], surface)
    maker = table.rth_k_per_w[c.row] * heating_w
    build = secondary.top_m / table.build_limit_m[c.row]
    copper_m3 = 2.0 * primary.strand_m * primary.copper_m2 + halves * secondary.strand_m * secondary.copper_m2
    density = np.maximum(need.primary_rms_a / primary.copper_m2, need.secondary_rms_a / secondary.copper_m2)
    return Evaluation(
        flux_peak_t=flux(need.v_primary_max_v, table.area_min_m2),
        core_w=core_w,
        primary_w=own_p + eddy_p,
        secondary_w=own_s + eddy_s,
        primary_eddy_w=eddy_p,
        secondary_eddy_w=eddy_s,
        heating_w=heating_w,
        rise_low_k=np.fmin(spread.low_k, maker),
        rise_high_k=np.fmax(spread.high_k, maker),
        fill=(primary.section_m2 + secondary.section_m2) / table.window_m2[c.row],
        build_share=build,
        density_a_per_m2=density * math.sqrt(heat_share),
        copper_kg=copper_m3 * COPPER_DENSITY_KG_PER_M3,
        fits=primary.fits & secondary.fits & (build <= 1.0 + 1e-12),
        surface_m2=surface,
        leakage_h=leakage_estimate_h(spec, table, c, laid),
    )


def lead_inductance_h(spec: TransformerSpec, copper_m2: Floats | float) -> Floats:
    """Inductance of the loop that a half-primary's two leads make; the secondary's count little.

    Parameters
    ----------
    spec : the builder's wishes, for the length of the leads.
    copper_m2 : copper section of one half-primary, m².

    Returns
    -------
    inductance, H, shape of ``copper_m2``.
    """
    lead_m = 2.0 * np.sqrt(np.asarray(copper_m2) / math.pi)  # strands of one end, tinned into one lead
    spacing_m = np.maximum(LEAD_SPACING_M, lead_m)
    return np.asarray(twisted_pair_inductance_per_metre(lead_m, spacing_m) * spec.lead_m)


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
