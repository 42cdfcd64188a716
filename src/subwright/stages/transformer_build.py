"""From the candidate that the search chose to the finished result: own temperature, sheet, parts, reasons."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, Literal

from subwright.parts.library import Library
from subwright.physics.leakage import (
    interwinding_capacitance,
    twisted_pair_inductance_per_metre,
    winding_self_capacitance,
)
from subwright.physics.magnetics import (
    flux_after_lost_pulse,
    flux_peak_square_wave,
    magnetising_peak_current,
    on_time,
)
from subwright.physics.winding_loss import wire_resistance
from subwright.physics.windings import ring_wound_size
from subwright.stages.common import Corner
from subwright.stages.transformer_auxiliary import auxiliary_leakage_h, auxiliary_winding, lay_auxiliary
from subwright.stages.transformer_bill import contributors_of, losses_of, parts_of, reasons_of
from subwright.stages.transformer_heated import Wound, full_evaluation, heat, wind
from subwright.stages.transformer_model import (
    Candidates,
    ampere_turns_per_turn,
)
from subwright.stages.transformer_records import (
    SearchStatistics,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
    Winding,
    tap_turns,
)
from subwright.stages.transformer_search import Found
from subwright.stages.transformer_sheet import phasing_checks, winding_steps
from subwright.stages.transformer_tables import (
    FLUX_DERATING,
    CoreTable,
)

__all__ = ["SOURCES", "build_result", "finish", "take_out"]

SOURCES: Final = (
    "venkatachalam2002",
    "dowell1966",
    "ferreira1994",
    "mulder1994",
    "mclyman-handbook",
    "mclyman-an109",
    "orenchak2004",
    "pressman1998",
    "snelling1988",
    "iec-60028",
    "iec-62044-1",
    "common-practice",
    "derived",
)
_RING_TAPE_M: Final = 10e-3


def _self_capacitance(winding: Winding, facing_m2: float) -> float:
    """Capacitance across the whole of a winding, F; its layers face each other over the windings' area."""
    enamel = winding.wire.overall_m - winding.wire.conductor_m
    layer = interwinding_capacitance(facing_m2, max(enamel, 1e-5))
    return float(winding_self_capacitance(layer, max(winding.layers, 1)))


def _corner_flux(need: TransformerNeed, turns: int, area_m2: float) -> dict[Corner, float]:
    volts = {**need.corner_v, Corner.MAX: need.v_primary_max_v}
    return {
        corner: float(flux_peak_square_wave(volts[corner], need.duty, need.switching_hz, turns, area_m2))
        for corner in Corner
        if corner in volts
    }


def _tape(
    table: CoreTable, row: int, spec: TransformerSpec, turn_m: float, barriers: int
) -> tuple[float, float]:
    """Length and width of insulation tape, m, a third added for laps."""
    film_m = 50e-6
    wraps = math.ceil(spec.insulation_m / film_m)
    if table.ring[row]:
        middle = math.pi * (table.hole_m[row] + table.outer_m[row]) / 2.0
        return float(1.33 * wraps * barriers * middle * turn_m / _RING_TAPE_M), _RING_TAPE_M
    return float(1.33 * wraps * barriers * turn_m), float(table.width_m[row])


def build_result(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    found: Found,
    index: int,
    choice: tuple[str, ...],
) -> TransformerResult:
    """Finish one candidate of a search.

    Parameters
    ----------
    spec, need, library : as for the search. found : the search. index : candidate.
    choice : sentences on how it came to be chosen, put before those on how it is built.

    Returns
    -------
    TransformerResult at the temperature that its own loss gives it.

    Raises
    ------
    ConvergenceError : loss and temperature don't settle.

    Source
    ------
    Estimates of leakage and capacitance: physics.leakage. [snelling1988] [derived]
    """
    wound = take_out(spec, need, library, found, index)
    guess_k = float(found.evaluation.rise_high_k[index])
    return finish(spec, need, library, wound, guess_k, found.statistics, choice)


def take_out(
    spec: TransformerSpec, need: TransformerNeed, library: Library, found: Found, index: int
) -> Wound:
    """One candidate of a search, apart from the others; arguments as for ``build_result``."""
    table, c = found.table, found.candidates
    at = slice(index, index + 1)
    one = Candidates(
        row=c.row[at],
        primary_turns=c.primary_turns[at],
        secondary_turns=c.secondary_turns[at],
        primary_wire=c.primary_wire[at],
        primary_strands=c.primary_strands[at],
        secondary_wire=c.secondary_wire[at],
        secondary_strands=c.secondary_strands[at],
    )
    ids = (
        found.wires[0].wires[c.primary_wire[index]].id,
        found.wires[1].wires[c.secondary_wire[index]].id,
    )
    return wind(spec, need, table, one, ids, library)


def finish(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    wound: Wound,
    guess_k: float,
    statistics: SearchStatistics,
    choice: tuple[str, ...],
) -> TransformerResult:
    """Everything about one transformer.

    Parameters
    ----------
    spec, need, library : as for the search. wound : the transformer.
    guess_k : its rise at the hottest permitted temperature, K.
    statistics, choice : of the search that chose it.

    Returns
    -------
    TransformerResult at the temperature that its own loss gives it.
    """
    table, row, core, material, stack = wound.table, wound.row, wound.core, wound.material, wound.stack
    heated = heat(spec, need, wound, guess_k, library)
    e, full = heated.evaluation, full_evaluation(spec, need, wound, heated, guess_k, library)
    primary, secondary, leakage = heated.primary, heated.secondary, heated.leakage_h
    magnetising, al_tolerance = heated.magnetising_h, heated.al_tolerance
    sandwich = bool(table.interfaces[row] > 1) and secondary.turns > 1
    total = float(wound.laid[1].top_m[0])
    third = lay_auxiliary(spec, table, wound.one.row, wound.one.primary_turns, wound.laid[1].top_m)
    auxiliary, auxiliary_h = None, 0.0
    if third is not None:
        total = float(third.top_m[0])
        auxiliary = auxiliary_winding(spec, table, primary.turns, third, heated.temperature_c)
        auxiliary_h = auxiliary_leakage_h(spec, primary, secondary, auxiliary, heated.breadth_m)
        auxiliary_h += heated.lead_h
    barriers = 2 if sandwich else 1
    area_min = float(table.area_min_m2[row])
    corner_flux = _corner_flux(need, primary.turns, area_min)
    lost = float(flux_after_lost_pulse(corner_flux[Corner.MAX], held=need.rectifier_filter == "choke"))
    saturation = float(table.saturation_t[row])

    copper_w = primary.full_w + secondary.full_w
    passed = heated.core_v * ampere_turns_per_turn(need) * math.sqrt(need.duty)
    if table.ring[row]:
        size = (table.hole_m[row], table.outer_m[row], table.height_m[row])
        outer, height, hole_left = (float(x) for x in ring_wound_size(*size, total))
    else:
        outer, height, hole_left = core.outer_m, core.height_m, 0.0
    lay: Literal["twisted", "flat"] = "twisted" if table.twisted[row] else "flat"
    turn = (primary.strand_length_m - 2.0 * spec.lead_m) / primary.turns
    tape_length, tape_width = _tape(table, row, spec, turn, barriers + (1 if auxiliary is None else 2))
    cold = (
        float(wire_resistance(primary.strand_length_m, primary.copper_m2)),
        float(wire_resistance(secondary.strand_length_m, secondary.copper_m2)),
    )
    pair = float(twisted_pair_inductance_per_metre(primary.wire.conductor_m, primary.wire.overall_m))
    result = TransformerResult(
        core=core,
        stack=stack,
        material=material,
        primary_turns=primary.turns,
        secondary_turns=secondary.turns,
        ratio=secondary.turns / primary.turns,
        ratio_min=need.ratio_min,
        ratio_max=need.ratio_max,
        flux_peak_t=corner_flux,
        flux_limit_t=float(table.flux_limit_t[row]),
        flux_lost_pulse_t=lost,
        lost_pulse_limit_t=FLUX_DERATING * saturation,
        saturation_t=saturation,
        primary=primary,
        secondary=secondary,
        auxiliary=auxiliary,
        lay=lay,
        interleave="sandwich" if sandwich else "plain",
        fill=float(e.fill[0]),
        fill_limit=float(table.fill_limit[row]),
        build_share=float(e.build_share[0]),
        hole_left_m=hole_left,
        core_w=heated.core_w,
        core_v=heated.core_v,
        core_exponent=heated.core_exponent,
        copper_w=copper_w,
        copper_programme_w=copper_w * need.programme_mean_square,
        heating_w=float(e.heating_w[0]),
        rise_low_k=float(e.rise_low_k[0]),
        rise_high_k=float(e.rise_high_k[0]),
        rise_full_low_k=float(full.rise_low_k[0]),
        rise_full_high_k=float(full.rise_high_k[0]),
        rise_limit_k=spec.max_rise_k,
        ambient_c=need.ambient_c,
        temperature_c=heated.temperature_c,
        leakage_h=leakage[0],
        leakage_low_h=leakage[1],
        leakage_high_h=leakage[2],
        lead_h=heated.lead_h,
        leakage_halves_h=pair * primary.strand_length_m if primary.halves == 2 else 0.0,
        leakage_auxiliary_h=auxiliary_h,
        capacitance_f=float(interwinding_capacitance(heated.facing_m2, heated.gap_m)),
        self_capacitance_f=_self_capacitance(secondary, heated.facing_m2 / barriers),
        magnetising_h=magnetising,
        magnetising_low_h=magnetising * (1.0 - al_tolerance),
        magnetising_high_h=magnetising * (1.0 + al_tolerance),
        magnetising_peak_a=float(
            magnetising_peak_current(
                need.v_primary_max_v,
                on_time(need.switching_hz, need.duty),
                magnetising * (1.0 - al_tolerance),
            )
        ),
        regulation=copper_w / passed,
        copper_kg=float(e.copper_kg[0]),
        outer_m=outer,
        height_m=height,
        tape_length_m=tape_length,
        tape_width_m=tape_width,
        steps=winding_steps(
            core,
            stack,
            primary,
            secondary,
            lay,
            sandwich=sandwich,
            insulation_m=spec.insulation_m,
            auxiliary=auxiliary,
            tap=tap_turns(need.tap_share, secondary.turns),
        ),
        checks=phasing_checks(
            primary,
            secondary,
            (magnetising, magnetising * (1.0 - al_tolerance), magnetising * (1.0 + al_tolerance)),
            (leakage[0], leakage[1], leakage[2]),
            cold,
            auxiliary=auxiliary,
            tap=tap_turns(need.tap_share, secondary.turns),
        ),
        search=statistics,
        need=need,
        choice=choice,
        parts=(),
        losses=(),
        contributors=(),
        sources=SOURCES,
        reasons=(),
    )
    return replace(
        result,
        parts=parts_of(result, spec, library),
        losses=losses_of(result, need),
        contributors=contributors_of(result, al_tolerance, heated.al_h),
        reasons=(*choice, *reasons_of(result, spec, need)),
    )
