"""What the finished transformer brings to the whole: parts with stresses, heat, tolerances and reasons."""

from __future__ import annotations

import math
from typing import Final

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.magnetics import MU_0
from subwright.stages.common import Contributor, Corner, Loss, PartUse, Rating
from subwright.stages.transformer_model import density_limit
from subwright.stages.transformer_records import TransformerNeed, TransformerResult, TransformerSpec, Winding
from subwright.stages.transformer_tables import (
    FLUX_DERATING,
    heating_voltage,
    hottest_c,
    lost_pulse_factor,
)

__all__ = ["contributors_of", "losses_of", "parts_of", "reasons_of"]

_CORE_LOSS_TOLERANCE: Final = 0.4  # a measured ring over a typical sheet; see the comparison in the tests
_RESIDUAL_GAP_M: Final = 10e-6  # left between the ground faces of a core pair; common practice


def parts_of(result: TransformerResult, spec: TransformerSpec, library: Library) -> tuple[PartUse, ...]:
    """Core, wire and tape with their stresses."""
    core, material = result.core, result.material
    others = tuple(dict.fromkeys(r.core_id for r in result.search.pareto if r.core_id != core.id))
    ratings = (
        Rating(
            quantity="peak flux density",
            unit="T",
            applied=result.flux_peak_t[Corner.MAX],
            limit=result.flux_limit_t,
            source="derived" if spec.flux_limit_t is None else "transformer.flux_limit",
            at="highest battery, longest on-time",
        ),
        Rating(
            quantity="flux density after one lost pulse",
            unit="T",
            applied=result.flux_lost_pulse_t,
            limit=result.lost_pulse_limit_t,
            source=material.provenance.document,
            at=f"highest battery; {FLUX_DERATING:.0%} of the hot saturation value",
        ),
        Rating(
            quantity="temperature rise",
            unit="K",
            applied=result.rise_high_k,
            limit=result.rise_limit_k,
            source="transformer.max_rise",
            at=f"{spec.rise_basis} heating, least favourable rule",
        ),
        Rating(
            quantity="copper share of the window",
            unit="",
            applied=result.fill,
            limit=result.fill_limit,
            source="mclyman-handbook" if core.shape == "ring" else "mclyman-an109",
        ),
        Rating(
            quantity="winding height over the height available",
            unit="",
            applied=result.build_share,
            limit=1.0,
            source="common-practice",
        ),
        Rating(
            quantity="core temperature",
            unit="°C",
            applied=result.temperature_c,
            limit=material.curie_c,
            source=material.provenance.document,
        ),
    )
    uses = [
        PartUse(
            role="transformer core",
            letter="T",
            part_id=core.id,
            description=core.description,
            quantity=float(result.stack),
            value=" : ".join("+".join([str(w.turns)] * w.halves) for w in result.windings),
            tolerance=core.al_tolerance,
            ratings=ratings,
            in_drawer=library.in_drawer(core.id) >= result.stack,
            substitutes=others[:4],
            provenance=core.provenance.document,
        )
    ]
    uses += [_wire_use(result, winding, spec, library) for winding in result.windings]
    uses.append(
        PartUse(
            role="transformer insulation",
            letter="W",
            part_id="polyester tape 50 µm",
            description=f"polyester film tape, 130 °C, {show(result.tape_width_m, 'length')} wide",
            quantity=math.ceil(result.tape_length_m * 10.0) / 10.0,
            unit="m",
            provenance="common practice, no source",
        )
    )
    return tuple(uses)


def _wire_use(
    result: TransformerResult, winding: Winding, spec: TransformerSpec, library: Library
) -> PartUse:
    fixed = spec.current_density_a_per_m2 is not None
    return PartUse(
        role=f"{winding.name} wire",
        letter="W",
        part_id=winding.wire.id,
        description=winding.wire.description,
        quantity=round(winding.cut_length_m * winding.strands * winding.halves, 2),
        unit="m",
        value=f"{winding.strands} × {show(winding.wire.conductor_m, 'length')}"
        f"{' per half' if winding.halves == 2 else ''}{_cut_to(winding)}",
        ratings=(
            Rating(
                quantity="current density",
                unit="A/m²",
                applied=winding.heating_density_a_per_m2,
                limit=density_limit(spec),
                source="transformer.current_density" if fixed else "pressman1998",
                at=f"{spec.rise_basis} heating",
            ),
            Rating(
                quantity="wire temperature",
                unit="°C",
                applied=result.temperature_c,
                limit=winding.wire.temp_c,
                source=winding.wire.provenance.document,
            ),
        ),
        in_drawer=library.in_drawer(winding.wire.id) > 0,
        provenance=winding.wire.provenance.document,
    )


def losses_of(result: TransformerResult, need: TransformerNeed) -> tuple[Loss, ...]:
    """Heat in core and windings, nominal corner."""
    return (
        Loss(
            where="transformer core",
            full_w=result.core_w,
            programme_w=result.core_w,
            idle_w=result.core_w,
        ),
        *(
            Loss(
                where=f"transformer {winding.name}",
                full_w=winding.full_w,
                programme_w=winding.full_w * need.programme_mean_square,
            )
            for winding in (result.primary, result.secondary)
        ),
    )


def contributors_of(result: TransformerResult, al_tolerance: float, al_h: float) -> tuple[Contributor, ...]:
    """What the tolerances of core, windings and rules do to the results."""
    core, stack = result.core, result.stack
    tolerance_of = {
        "magnetising inductance": Contributor(
            result="magnetising inductance",
            part="transformer core",
            tolerance=al_tolerance,
            sensitivity=1.0,
        ),
        "leakage": Contributor(
            result="leakage inductance",
            part="secondary wire",
            tolerance=result.leakage_high_h / result.leakage_h - 1.0,
            sensitivity=1.0,
        ),
        "rise": Contributor(
            result="temperature rise",
            part="transformer core",
            tolerance=1.0 - result.rise_low_k / result.rise_high_k,
            sensitivity=-1.0,
        ),
    }
    rows = list(tolerance_of.values())
    rows.append(
        Contributor(
            result="core loss", part="transformer core", tolerance=_CORE_LOSS_TOLERANCE, sensitivity=1.0
        )
    )
    if core.shape != "ring":
        # a gap g in series with the core's own path lowers A_L by μe g / (l_e + μe g)
        permeability = al_h / stack * core.l_e_m / (MU_0 * core.a_e_m2)
        gap = permeability * _RESIDUAL_GAP_M / core.l_e_m
        rows.append(
            Contributor(
                result="magnetising inductance",
                part="10 µm left between the core halves",
                tolerance=gap / (1.0 + gap),
                sensitivity=-1.0,
            )
        )
    return tuple(rows)


def reasons_of(result: TransformerResult, spec: TransformerSpec, need: TransformerNeed) -> tuple[str, ...]:
    """Sentences on flux, heat and windings."""
    p, s = result.primary, result.secondary
    factor = lost_pulse_factor(need)
    high = Corner.MAX
    flux = (
        f"Flux peaks at {show(result.flux_peak_t[high], 'flux density')} at the highest battery; after one "
        f"lost pulse it reaches {factor:g} times that, {show(result.flux_lost_pulse_t, 'flux density')}, of "
        f"the {show(result.lost_pulse_limit_t, 'flux density')} allowed ({FLUX_DERATING:.0%} of saturation "
        f"at {show(hottest_c(spec, need), 'temperature')})."
    )
    rise = (
        f"Rise {result.rise_low_k:.0f} to {result.rise_high_k:.0f} K by different published rules on the "
        f"{spec.rise_basis} basis, {result.rise_full_low_k:.0f} to {result.rise_full_high_k:.0f} K for a "
        f"sine that never ends; the limit is {spec.max_rise_k:.0f} K, core loss reckoned at "
        f"{show(heating_voltage(need), 'voltage')}."
    )
    shown = [flux, rise, *(_wire_reason(w) for w in (p, s))]
    if result.lay == "flat" and max(p.layers, s.layers) > 1 and max(p.strands, s.strands) > 1:
        shown.append(
            "Strands in different layers of a flat winding don't share the current evenly; let the strands "
            "change layers half way."
        )
    return tuple(shown)


def _cut_to(winding: Winding) -> str:
    return f", cut {show(winding.foil_width_m, 'length')} wide" if winding.foil_width_m > 0 else ""


def _wire_reason(winding: Winding) -> str:
    layers = "1 layer" if winding.layers == 1 else f"{winding.layers} layers"
    half = " a half" if winding.halves == 2 else ""
    return (
        f"{winding.name.capitalize()}: {winding.strands} × {winding.wire.id}{half}"
        f"{_cut_to(winding)}, {layers}, "
        f"{winding.heating_density_a_per_m2 / 1e6:.1f} A/mm² on the heating basis; "
        f"{winding.proximity_share:.0%} of its loss is proximity effect."
    )
