"""One transformer at the temperature that its own loss gives it: windings, resistance, leakage, core loss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from subwright.base.errors import ConvergenceError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material
from subwright.physics.leakage import concentric_leakage, ring_breadth, ring_leakage_spread
from subwright.physics.magnetics import MU_0, flux_peak_square_wave, inductance
from subwright.physics.winding_loss import COPPER_DENSITY_KG_PER_M3, wire_resistance
from subwright.stages.transformer_model import (
    Candidates,
    Evaluation,
    Laid,
    evaluate,
    lay_both,
    lead_inductance_h,
    primary_halves,
    secondary_halves,
)
from subwright.stages.transformer_records import TransformerNeed, TransformerSpec, Winding
from subwright.stages.transformer_tables import (
    CoreTable,
    WireTable,
    core_loss_w,
    hottest_c,
    mean_square,
    nominal_voltage,
    wire_table,
)

__all__ = ["GUESS_SHARE", "Heated", "Wound", "first_guess_k", "full_evaluation", "heat", "wind"]

_BOBBIN_SPREAD: Final = (0.8, 1.3)  # of the concentric leakage estimate; own allowance
_COPPER_CEILING_C: Final = 200.0
_CORE_CEILING_C: Final = 140.0  # the loss curves end there
_SETTLED_K: Final = 0.2  # a tenth of that is left after the step that finds it
GUESS_SHARE: Final = 0.97  # of the rise found with copper and core at the hottest permitted


@dataclass(frozen=True, kw_only=True, slots=True)
class Wound:
    """Core, turns and wires of one transformer, as they lie; nothing here depends on its currents."""

    table: CoreTable
    one: Candidates  # of length 1, its wires counted from zero in tables that hold only them
    wire_ids: tuple[str, str]
    laid: tuple[Laid, Laid]

    @property
    def row(self) -> int:
        """Row of the core table."""
        return int(self.one.row[0])

    @property
    def core(self) -> Core:
        """The core."""
        return self.table.cores[self.row]

    @property
    def material(self) -> Material:
        """Its grade."""
        return self.table.materials[self.row]

    @property
    def stack(self) -> int:
        """Cores stacked."""
        return int(self.table.stack[self.row])


@dataclass(frozen=True, kw_only=True, slots=True)
class Heated:
    """One transformer at its own temperature.

    ``leakage_h`` is (expected, low, high) with the leads, referred to a half-primary; ``facing_m2`` and
    ``gap_m`` the area in which the windings face each other and the distance between them.
    """

    temperature_c: float
    evaluation: Evaluation
    primary: Winding
    secondary: Winding
    al_h: float
    al_tolerance: float
    magnetising_h: float
    leakage_h: tuple[float, float, float]
    lead_h: float
    facing_m2: float
    breadth_m: float  # of the leakage field
    gap_m: float
    core_w: float  # at core_v on a half-primary
    core_v: float
    core_exponent: float  # of that loss over the voltage


def wind(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    one: Candidates,
    wire_ids: tuple[str, str],
    library: Library,
) -> Wound:
    """Lay both windings of one candidate.

    Parameters
    ----------
    spec, need, library : as for the search. table : cores.
    one : the candidate, of length 1. wire_ids : its wires.
    """
    hot = hottest_c(spec, need)
    wires = (wire_table(wire_ids[0], need, hot, library), wire_table(wire_ids[1], need, hot, library))
    none = np.zeros(1, dtype=np.int64)
    alone = Candidates(
        row=one.row,
        primary_turns=one.primary_turns,
        secondary_turns=one.secondary_turns,
        primary_wire=none,
        primary_strands=one.primary_strands,
        secondary_wire=none,
        secondary_strands=one.secondary_strands,
    )
    laid = lay_both(spec, table, wires, alone, primary_halves(need), secondary_halves(need))
    return Wound(table=table, one=alone, wire_ids=wire_ids, laid=laid)


def first_guess_k(spec: TransformerSpec, need: TransformerNeed, wound: Wound, library: Library) -> float:
    """Where to begin the search for a transformer's own temperature: its rise at the hottest permitted, K."""
    hot = hottest_c(spec, need)
    wires = (
        wire_table(wound.wire_ids[0], need, hot, library),
        wire_table(wound.wire_ids[1], need, hot, library),
    )
    result = evaluate(spec, need, wound.table, wires, wound.one, wound.laid, hot, mean_square(spec, need))
    return float(result.rise_high_k[0])


def _at_own_temperature(
    spec: TransformerSpec,
    need: TransformerNeed,
    wound: Wound,
    heat_share: float,
    guess_k: float,
    library: Library,
) -> tuple[float, Evaluation, tuple[WireTable, WireTable]]:
    """Loss and temperature that agree: (winding temperature, evaluation, wires).

    The resistance is held at that of 200 °C above, where the answer is "far too hot" either way.
    """
    ids = wound.wire_ids
    temperature = need.ambient_c + guess_k
    for _ in range(40):
        held = min(temperature, _COPPER_CEILING_C)
        wires = (wire_table(ids[0], need, held, library), wire_table(ids[1], need, held, library))
        result = evaluate(
            spec,
            need,
            wound.table,
            wires,
            wound.one,
            wound.laid,
            held,
            heat_share,
            min(held, _CORE_CEILING_C),
        )
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
) -> tuple[tuple[float, float, float], tuple[float, float], float]:
    """((leakage, low, high), (facing area, breadth), gap of the windings), referred to a half-primary."""
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
        (breadth * turn * interfaces, breadth),
        spec.insulation_m + enamel,
    )


def heat(
    spec: TransformerSpec,
    need: TransformerNeed,
    wound: Wound,
    guess_k: float,
    library: Library,
    *,
    last_c: float | None = None,
) -> Heated:
    """Heat one transformer until loss and temperature agree.

    Parameters
    ----------
    spec, need, library : as for the search. wound : the transformer.
    guess_k : its rise at the hottest permitted temperature, K; where the search for its own begins.
    last_c : its temperature at much the same currents, °C, to begin from instead. Rounds that hand it on come
        ever closer, where each one that stops within 0.2 K by itself may jump by as much.

    Raises
    ------
    ConvergenceError : loss and temperature don't settle.
    """
    table, one, laid, row, core, material = (
        wound.table, wound.one, wound.laid, wound.row, wound.core, wound.material,
    )  # fmt: skip
    primary_turns, secondary_turns = int(one.primary_turns[0]), int(one.secondary_turns[0])
    heat_share = mean_square(spec, need)
    halves = secondary_halves(need)
    start_k = GUESS_SHARE * guess_k if last_c is None else last_c - need.ambient_c
    temperature, e, wires = _at_own_temperature(spec, need, wound, heat_share, start_k, library)
    barriers = 2 if bool(table.interfaces[row] > 1) and secondary_turns > 1 else 1
    primary_build = float(laid[0].build_m[0])
    secondary_build = float(laid[1].top_m[0]) - primary_build - barriers * spec.insulation_m
    primary = _winding(
        "primary", spec, wires[0], laid[0], primary_turns, int(one.primary_strands[0]),
        primary_halves(need), need.primary_rms_a,
        float(e.primary_w[0]), float(e.primary_eddy_w[0]), heat_share, temperature, own_build_m=primary_build,
    )  # fmt: skip
    secondary = _winding(
        "secondary", spec, wires[1], laid[1], secondary_turns, int(one.secondary_strands[0]), halves,
        need.secondary_rms_a, float(e.secondary_w[0]), float(e.secondary_eddy_w[0]), heat_share, temperature,
        own_build_m=secondary_build,
    )  # fmt: skip
    al_h, al_tolerance = _inductance_factor(core, material, wound.stack)
    windings_h, (facing_m2, breadth_m), gap_m = _leakage(spec, table, row, primary, secondary, laid, barriers)
    lead_h = float(lead_inductance_h(spec, primary.copper_m2))
    core_v = nominal_voltage(need)
    core_c = min(temperature, _CORE_CEILING_C)
    flux = flux_peak_square_wave(
        core_v, need.duty, need.switching_hz, primary_turns, float(table.area_m2[row])
    )
    return Heated(
        temperature_c=temperature,
        evaluation=e,
        primary=primary,
        secondary=secondary,
        al_h=al_h,
        al_tolerance=al_tolerance,
        magnetising_h=float(inductance(primary_turns, al_h)),
        leakage_h=(windings_h[0] + lead_h, windings_h[1] + lead_h, windings_h[2] + lead_h),
        lead_h=lead_h,
        facing_m2=facing_m2,
        breadth_m=breadth_m,
        gap_m=gap_m,
        core_w=float(core_loss_w(table, one.row, np.atleast_1d(flux), need, core_c)[0]),
        core_v=core_v,
        core_exponent=float(table.beta[row] + table.beta_per_k[row] * (core_c - 100.0)),
    )


def full_evaluation(
    spec: TransformerSpec,
    need: TransformerNeed,
    wound: Wound,
    heated: Heated,
    guess_k: float,
    library: Library,
) -> Evaluation:
    """The same transformer under a full sine for good, at the temperature that this gives it.

    Parameters
    ----------
    spec, need, wound, guess_k, library : as for ``heat``. heated : what ``heat`` made of it.
    """
    e = heated.evaluation
    guess = GUESS_SHARE * guess_k
    if mean_square(spec, need) < 1.0:
        full_w = float(e.core_w[0] + e.primary_w[0] + e.secondary_w[0])
        guess *= 1.1 * full_w / float(e.heating_w[0])
    return _at_own_temperature(spec, need, wound, 1.0, guess, library)[1]
