"""From the candidate that the search chose to the finished result: own temperature, sheet, parts, reasons."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from subwright.base.errors import ConvergenceError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material
from subwright.physics.core_loss import temperature_factor
from subwright.physics.leakage import (
    concentric_leakage,
    interwinding_capacitance,
    ring_breadth,
    ring_leakage_spread,
    twisted_pair_inductance_per_metre,
    winding_self_capacitance,
)
from subwright.physics.magnetics import (
    MU_0,
    flux_after_lost_pulse,
    flux_peak_square_wave,
    inductance,
    magnetising_peak_current,
    on_time,
)
from subwright.physics.winding_loss import COPPER_DENSITY_KG_PER_M3, wire_resistance
from subwright.physics.windings import ring_wound_size
from subwright.stages.common import Corner
from subwright.stages.transformer_bill import contributors_of, losses_of, parts_of, reasons_of
from subwright.stages.transformer_model import (
    Candidates,
    Evaluation,
    Laid,
    evaluate,
    lay_both,
    lead_inductance_h,
    secondary_halves,
)
from subwright.stages.transformer_records import (
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
    Winding,
)
from subwright.stages.transformer_search import Found
from subwright.stages.transformer_sheet import phasing_checks, winding_steps
from subwright.stages.transformer_tables import (
    FLUX_DERATING,
    CoreTable,
    WireTable,
    core_loss_w,
    hottest_c,
    mean_square,
    nominal_voltage,
    wire_table,
)

__all__ = ["SOURCES", "build_result"]

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
_BOBBIN_SPREAD: Final = (0.8, 1.3)  # of the concentric leakage estimate; own allowance
_RING_TAPE_M: Final = 10e-3
_COPPER_CEILING_C: Final = 200.0
_SETTLED_K: Final = 0.2  # a tenth of that is left after the step that finds it


def _one(candidates: Candidates, index: int) -> Candidates:
    """The chosen candidate, its wires counted from zero in tables that hold only them."""
    at = slice(index, index + 1)
    none = np.zeros(1, dtype=np.int64)
    return Candidates(
        row=candidates.row[at],
        primary_turns=candidates.primary_turns[at],
        secondary_turns=candidates.secondary_turns[at],
        primary_wire=none,
        primary_strands=candidates.primary_strands[at],
        secondary_wire=none,
        secondary_strands=candidates.secondary_strands[at],
    )


def _at_own_temperature(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    ids: tuple[str, str],
    one: Candidates,
    laid: tuple[Laid, Laid],
    heat_share: float,
    guess_k: float,
    library: Library,
) -> tuple[float, Evaluation, tuple[WireTable, WireTable]]:
    """Loss and temperature that agree: (winding temperature, evaluation, wires).

    The resistance is held at that of 200 °C above, where the answer is "far too hot" either way.
    """
    row = int(one.row[0])
    material = table.materials[row]
    temperature = need.ambient_c + guess_k
    for _ in range(40):
        held = min(temperature, _COPPER_CEILING_C)
        wires = (wire_table(ids[0], need, held, library), wire_table(ids[1], need, held, library))
        factor = np.atleast_1d(
            np.asarray(temperature_factor(min(held, 140.0), material.ct0, material.ct1, material.ct2))
        )
        result = evaluate(spec, need, table, wires, one, laid, held, heat_share, factor)
        rise = float(result.rise_high_k[0])
        if abs(need.ambient_c + rise - temperature) < _SETTLED_K or held < temperature:
            return need.ambient_c + rise, result, wires
        temperature = need.ambient_c + rise
    raise ConvergenceError(
        message="The transformer's temperature doesn't settle: its loss rises faster than it sheds heat.",
        quantity="temperature",
        value=show(temperature, "temperature"),
        limit=show(hottest_c(spec, need), "temperature"),
        remedy="Choose a larger core or more copper.",
    )


def _winding(
    name: Literal["primary", "secondary"],
    spec: TransformerSpec,
    wires: WireTable,
    laid: Laid,
    turns: int,
    strands: int,
    halves: int,
    rms_a: float,
    loss_w: float,
    eddy_w: float,
    heat_share: float,
    temperature_c: float,
    *,
    own_build_m: float,
) -> Winding:
    copper, length = float(laid.copper_m2[0]), float(laid.strand_m[0])
    density = rms_a / copper
    cut = length + 2.0 * spec.cut_margin_m
    return Winding(
        name=name,
        wire=wires.wires[0],
        halves=halves,
        turns=turns,
        strands=strands,
        layers=int(laid.layers[0]),
        layers_below=int(laid.layers_below[0]),
        build_m=own_build_m,
        bundle_m=float(laid.bundle_m[0]),
        strand_length_m=length,
        cut_length_m=math.ceil(cut * 100.0) / 100.0,  # whole centimetres, never short
        resistance_dc_ohm=float(wire_resistance(length, copper, min(temperature_c, _COPPER_CEILING_C))),
        resistance_ac_ohm=loss_w / (halves * rms_a**2),
        copper_m2=copper,
        rms_a=rms_a,
        current_density_a_per_m2=density,
        heating_density_a_per_m2=density * math.sqrt(heat_share),
        full_w=loss_w,
        proximity_share=eddy_w / loss_w,
        mass_kg=float(halves * length * copper * COPPER_DENSITY_KG_PER_M3),
        foil_width_m=copper / strands / wires.wires[0].conductor_m if wires.foil[0] else 0.0,
    )


def _inductance_factor(core: Core, material: Material, stack: int) -> tuple[float, float]:
    """A_L of the stack, H, and its tolerance: the catalogue's, or from the grade's permeability."""
    if core.al_h is not None and core.material == material.id:
        return core.al_h * stack, core.al_tolerance
    return MU_0 * material.mu_i / core.c1_per_m * stack, material.mu_i_tolerance


def _leakage(
    spec: TransformerSpec,
    table: CoreTable,
    row: int,
    primary: Winding,
    secondary: Winding,
    laid: tuple[Laid, Laid],
    interfaces: int,
) -> tuple[tuple[float, float, float], float, float]:
    """((leakage, low, high), facing area of the windings, gap between them), referred to a half-primary."""
    both = (primary, secondary)
    turn = sum((w.strand_length_m - 2.0 * spec.lead_m) / w.turns for w in both) / 2.0
    if table.ring[row]:
        height = float(laid[0].top_m[0])
        size = (float(table.hole_m[row]), float(table.outer_m[row]), float(table.height_m[row]))
        breadth = float(ring_breadth(*size, min(height, 0.49 * size[0])))
        covered = min(
            w.turns * w.bundle_m * (1 if table.twisted[row] else w.strands * w.halves) / breadth for w in both
        )
        spread = tuple(float(x) for x in ring_leakage_spread(min(covered, 1.0)))
    else:
        breadth, spread = float(table.width_m[row]), _BOBBIN_SPREAD
    gaps = interfaces * spec.insulation_m
    value = float(
        concentric_leakage(
            primary.turns, turn, breadth, primary.build_m + secondary.build_m, gaps, interfaces
        )
    )
    enamel = sum((w.wire.overall_m - w.wire.conductor_m) / 2.0 for w in both)
    return (
        (value, value * spread[0], value * spread[1]),
        breadth * turn * interfaces,
        spec.insulation_m + enamel,
    )


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
    table, c = found.table, found.candidates
    row = int(c.row[index])
    core, material, stack = table.cores[row], table.materials[row], int(table.stack[row])
    primary_turns, secondary_turns = int(c.primary_turns[index]), int(c.secondary_turns[index])
    ids = (
        found.wires[0].wires[c.primary_wire[index]].id,
        found.wires[1].wires[c.secondary_wire[index]].id,
    )
    one = _one(c, index)
    heat_share = mean_square(spec, need)
    halves = secondary_halves(need)
    pair_of_tables = tuple(wire_table(wire_id, need, hottest_c(spec, need), library) for wire_id in ids)
    laid = lay_both(spec, table, (pair_of_tables[0], pair_of_tables[1]), one, halves)
    guess = 0.97 * float(found.evaluation.rise_high_k[index])
    temperature, e, wires = _at_own_temperature(spec, need, table, ids, one, laid, heat_share, guess, library)
    loss_full_w = float(e.core_w[0] + e.primary_w[0] + e.secondary_w[0])
    guess *= 1.1 * loss_full_w / float(e.heating_w[0]) if heat_share < 1.0 else 1.0
    _, full, _ = _at_own_temperature(spec, need, table, ids, one, laid, 1.0, guess, library)
    sandwich = bool(table.interfaces[row] > 1) and secondary_turns > 1
    total = float(laid[1].top_m[0])
    barriers = 2 if sandwich else 1
    primary_build = float(laid[0].build_m[0])
    primary = _winding(
        "primary", spec, wires[0], laid[0], primary_turns, int(one.primary_strands[0]), 2, need.primary_rms_a,
        float(e.primary_w[0]), float(e.primary_eddy_w[0]), heat_share, temperature, own_build_m=primary_build,
    )  # fmt: skip
    secondary = _winding(
        "secondary", spec, wires[1], laid[1], secondary_turns, int(one.secondary_strands[0]), halves,
        need.secondary_rms_a, float(e.secondary_w[0]), float(e.secondary_eddy_w[0]), heat_share, temperature,
        own_build_m=total - primary_build - barriers * spec.insulation_m,
    )  # fmt: skip

    al_h, al_tolerance = _inductance_factor(core, material, stack)
    magnetising = float(inductance(primary_turns, al_h))
    windings_h, facing_m2, gap_m = _leakage(spec, table, row, primary, secondary, laid, barriers)
    lead_h = float(lead_inductance_h(spec, primary.copper_m2))
    leakage = tuple(value + lead_h for value in windings_h)
    area_min = float(table.area_min_m2[row])
    corner_flux = _corner_flux(need, primary_turns, area_min)
    lost = float(flux_after_lost_pulse(corner_flux[Corner.MAX], held=need.rectifier_filter == "choke"))
    saturation = float(table.saturation_t[row])

    nominal_v = nominal_voltage(need)
    material_factor = float(
        temperature_factor(min(temperature, 140.0), material.ct0, material.ct1, material.ct2)
    )
    flux_nominal = flux_peak_square_wave(
        nominal_v, need.duty, need.switching_hz, primary_turns, float(table.area_m2[row])
    )
    core_w = float(
        core_loss_w(table, one.row, np.atleast_1d(flux_nominal), need, np.array([material_factor]))[0]
    )
    copper_w = primary.full_w + secondary.full_w
    passed = nominal_v * need.primary_rms_a * math.sqrt(2.0 * need.duty)
    if table.ring[row]:
        size = (table.hole_m[row], table.outer_m[row], table.height_m[row])
        outer, height, hole_left = (float(x) for x in ring_wound_size(*size, total))
    else:
        outer, height, hole_left = core.outer_m, core.height_m, 0.0
    lay: Literal["twisted", "flat"] = "twisted" if table.twisted[row] else "flat"
    turn = (primary.strand_length_m - 2.0 * spec.lead_m) / primary_turns
    tape_length, tape_width = _tape(table, row, spec, turn, barriers + 1)
    cold = (
        float(wire_resistance(primary.strand_length_m, primary.copper_m2)),
        float(wire_resistance(secondary.strand_length_m, secondary.copper_m2)),
    )
    pair = float(twisted_pair_inductance_per_metre(primary.wire.conductor_m, primary.wire.overall_m))
    result = TransformerResult(
        core=core,
        stack=stack,
        material=material,
        primary_turns=primary_turns,
        secondary_turns=secondary_turns,
        ratio=secondary_turns / primary_turns,
        ratio_min=need.ratio_min,
        ratio_max=need.ratio_max,
        flux_peak_t=corner_flux,
        flux_limit_t=float(table.flux_limit_t[row]),
        flux_lost_pulse_t=lost,
        lost_pulse_limit_t=FLUX_DERATING * saturation,
        saturation_t=saturation,
        primary=primary,
        secondary=secondary,
        lay=lay,
        interleave="sandwich" if sandwich else "plain",
        fill=float(e.fill[0]),
        fill_limit=float(table.fill_limit[row]),
        build_share=float(e.build_share[0]),
        hole_left_m=hole_left,
        core_w=core_w,
        core_v=nominal_v,
        core_exponent=float(table.beta[row]),
        copper_w=copper_w,
        copper_programme_w=copper_w * need.programme_mean_square,
        heating_w=float(e.heating_w[0]),
        rise_low_k=float(e.rise_low_k[0]),
        rise_high_k=float(e.rise_high_k[0]),
        rise_full_low_k=float(full.rise_low_k[0]),
        rise_full_high_k=float(full.rise_high_k[0]),
        rise_limit_k=spec.max_rise_k,
        ambient_c=need.ambient_c,
        temperature_c=temperature,
        leakage_h=leakage[0],
        leakage_low_h=leakage[1],
        leakage_high_h=leakage[2],
        lead_h=lead_h,
        leakage_halves_h=pair * primary.strand_length_m,
        capacitance_f=float(interwinding_capacitance(facing_m2, gap_m)),
        self_capacitance_f=_self_capacitance(secondary, facing_m2 / barriers),
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
            core, stack, primary, secondary, lay, sandwich=sandwich, insulation_m=spec.insulation_m
        ),
        checks=phasing_checks(
            primary,
            secondary,
            (magnetising, magnetising * (1.0 - al_tolerance), magnetising * (1.0 + al_tolerance)),
            (leakage[0], leakage[1], leakage[2]),
            cold,
        ),
        search=found.statistics,
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
        contributors=contributors_of(result, al_tolerance, al_h),
        reasons=(*choice, *reasons_of(result, spec, need)),
    )
