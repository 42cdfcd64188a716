"""Wind and heat many candidate transformers at once.

The same functions serve the search over all candidates and the final design of one, so the two can't
disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.physics.magnetic_thermal import ring_surface, rise_spread
from subwright.physics.magnetics import flux_peak_square_wave
from subwright.physics.winding_loss import COPPER_DENSITY_KG_PER_M3, copper_resistivity
from subwright.physics.windings import ring_wound_size
from subwright.stages.transformer_auxiliary import lay_auxiliary
from subwright.stages.transformer_lay import Candidates, Laid, lay_alone, lay_both, lay_winding
from subwright.stages.transformer_leakage import lead_inductance_h, leakage_estimate_h
from subwright.stages.transformer_records import TransformerNeed, TransformerSpec
from subwright.stages.transformer_tables import (
    DENSITY_LIMIT_A_PER_M2,
    CoreTable,
    WireTable,
    core_loss_w,
    heating_voltage,
)

__all__ = [
    "Candidates",
    "Evaluation",
    "Laid",
    "ampere_turns_per_turn",
    "density_limit",
    "evaluate",
    "lay_alone",
    "lay_both",
    "lay_winding",
    "lead_inductance_h",
    "leakage_estimate_h",
    "primary_halves",
    "secondary_halves",
    "winding_loss_w",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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


def primary_halves(need: TransformerNeed) -> int:
    """Halves of the primary: 2 where centre-tapped, else 1."""
    return 2 if need.primary == "centre-tapped" else 1


def ampere_turns_per_turn(need: TransformerNeed) -> float:
    """Magnetomotive force of the whole primary per turn, rms, A; its halves conduct in turns."""
    return math.sqrt(primary_halves(need)) * need.primary_rms_a


def secondary_halves(need: TransformerNeed) -> int:
    """Halves of the secondary: 2 where centre-tapped, else 1."""
    return 2 if need.secondary == "centre-tapped" else 1


def density_limit(spec: TransformerSpec) -> float:
    """Largest rms current density on the heating basis, A/m²."""
    if spec.current_density_a_per_m2 is not None:
        return spec.current_density_a_per_m2
    return DENSITY_LIMIT_A_PER_M2


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


def evaluate(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    candidates: Candidates,
    laid: tuple[Laid, Laid],
    copper_c: float,
    heat_share: float,
    core_c: float | None = None,
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
    core_c : temperature of the core, °C; None takes the worst that the spec permits.

    Returns
    -------
    Evaluation, shape (n,).
    """
    c, (primary, secondary) = candidates, laid
    first, halves = primary_halves(need), secondary_halves(need)

    def flux(volts_v: float, area_m2: Floats) -> Floats:
        return np.asarray(
            flux_peak_square_wave(volts_v, need.duty, need.switching_hz, c.primary_turns, area_m2[c.row])
        )

    core_w = core_loss_w(table, c.row, flux(heating_voltage(need), table.area_m2), need, core_c)
    mmf = c.primary_turns * ampere_turns_per_turn(need)
    own_p, eddy_p = winding_loss_w(
        wires[0], c.primary_wire, primary, first, need.primary_rms_a, mmf, copper_c
    )
    own_s, eddy_s = winding_loss_w(
        wires[1], c.secondary_wire, secondary, halves, need.secondary_rms_a, mmf, copper_c
    )
    heating_w = core_w + heat_share * (own_p + eddy_p + own_s + eddy_s)
    third = lay_auxiliary(spec, table, c.row, c.primary_turns, secondary.top_m)
    top_m = secondary.top_m if third is None else third.top_m
    surface = table.surface_m2[c.row].copy()
    ring = np.flatnonzero(table.ring[c.row])
    if ring.size:
        r = c.row[ring]
        top = np.minimum(top_m[ring], table.hole_m[r] / 2.0)
        outer, height, _ = ring_wound_size(table.hole_m[r], table.outer_m[r], table.height_m[r], top)
        surface[ring] = ring_surface(outer, height)
    spread = rise_spread(heating_w, table.volume_m3[c.row], surface)
    maker = table.rth_k_per_w[c.row] * heating_w
    build = top_m / table.build_limit_m[c.row]
    copper_m3 = (
        first * primary.strand_m * primary.copper_m2 + halves * secondary.strand_m * secondary.copper_m2
    )
    section = primary.section_m2 + secondary.section_m2
    fits = primary.fits & secondary.fits
    if third is not None:
        copper_m3 = copper_m3 + 2.0 * third.strand_m * third.copper_m2
        section, fits = section + third.section_m2, fits & third.fits
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
        fill=section / table.window_m2[c.row],
        build_share=build,
        density_a_per_m2=density * math.sqrt(heat_share),
        copper_kg=copper_m3 * COPPER_DENSITY_KG_PER_M3,
        fits=fits & (build <= 1.0 + 1e-12),
        surface_m2=surface,
        leakage_h=leakage_estimate_h(spec, table, c, laid),
    )
