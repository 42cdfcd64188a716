"""The boost choke on a gapped core or a ring of powder: turns, strands, saturation, losses, temperature."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, floor, isfinite, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material, Wire
from subwright.physics.chokes import least_turns
from subwright.physics.core_loss import igse_coefficient
from subwright.physics.dowell import dowell_factor, dowell_thickness, porosity
from subwright.physics.electrical import copper_factor
from subwright.physics.inductors import fringed_inductance_h, gap_for_inductance_m
from subwright.physics.magnetic_thermal import RiseSpread, rise_spread
from subwright.physics.powder import biased_flux_t, field_a_per_m, kept_share, kept_turns
from subwright.physics.winding_loss import copper_resistivity, skin_depth
from subwright.stages.converter_boost_records import BoostChoke
from subwright.stages.converter_powder import LEAST_KEPT, MOST_TURNS, per_turn_h, powder_ring

__all__ = ["ChokeNeed", "choke_core_w", "choke_rise", "design_boost_choke"]

_CREST_SHARE: Final = 0.75  # of saturation at 100 °C at the highest crest; common practice
_FAULT_SHARE: Final = 0.95  # of it at the most that the current limit lets through
_FILL: Final = 0.40  # copper over the window; common practice
_GAP_STEP_M: Final = 0.05e-3  # what feeler gauges and spacers come in
_MOST_GAP: Final = 0.20  # of the centre leg's width: beyond it fringing is no longer an estimate
_LEAD_M: Final = 0.1
_WIRES_M: Final = (0.5e-3, 1.0e-3)
_BEST_WIRE_M: Final = 0.8e-3
_DENSITY_A_PER_M2: Final = 6e6  # full sine; the programme takes a fraction of it; common practice
_MOST_TURNS_MORE: Final = 8  # over the least, in search of less core loss
_HOT_C: Final = 100.0
_POWDER_C: Final = 100.0  # a powder's binder ages above 110 °C; common practice
_COOL_AT_C: Final = 110.0  # of the choke at the programme: wire of 155 °C, formers of less


@dataclass(frozen=True, kw_only=True, slots=True)
class ChokeNeed:
    """What the choke must do; H, A, V, Hz, °C."""

    inductance_h: float
    crest_a: float  # highest, half the ripple counted
    fault_a: float  # most that the current limit lets through
    rms_a: float  # full sine, nominal battery
    programme_rms_a: float
    ripple_a: float  # peak to peak, nominal battery
    input_v: float
    duty: float
    switching_hz: float
    ambient_c: float


def design_boost_choke(library: Library, wanted: str, need: ChokeNeed) -> BoostChoke:
    """Smallest core, of the drawer first, that stays unsaturated and cool.

    A ring of powder stands beside the gapped cores at hand: it is taken where no gapped core is as near, or
    where it is no larger and loses no more.

    Parameters
    ----------
    library : parts with the drawer merged. wanted : "auto" or a core id. need : what it must do.

    Returns
    -------
    BoostChoke in whole turns, with a gap in steps of 0.05 mm or as a ring of powder; of the turns that
    serve, those of least loss.

    Raises
    ------
    NoSolutionError : no core whose loss is known at this frequency holds it.
    PartNotFoundError : the stated core is unknown.

    Source
    ------
    Flux linkage and reluctance, Erickson & Maksimović ch. 13 [erickson2001]; fringing McLyman
    [mclyman-handbook]; ripple copper loss Dowell [dowell1966]; core loss iGSE [venkatachalam2002].
    """
    cores = list(library.cores.values()) if wanted == "auto" else [library.core(wanted)]
    cores.sort(key=lambda core: (library.in_drawer(core.id) == 0, core.v_e_m3, core.id))
    wire = _wire(library)
    ring: BoostChoke | None = None
    for core in cores:
        material = library.materials[core.material]
        powder = powder_ring(library, core)
        if wire is None or not (powder or (core.shape != "ring" and material.transformer_grade)):
            continue  # a ring of ferrite can't be gapped at the bench
        if powder and ring is not None:
            continue
        try:
            material.fit_at(need.switching_hz)
        except RangeError:
            continue
        built = _best_turns(library, core, material, wire, need)
        if built is None:
            continue
        if powder:
            ring = built
            continue
        # The cores come in order: a ring found before is as near as this one and no larger, or nearer.
        if ring is None:
            return built
        nearer = ring.in_drawer and not built.in_drawer
        ring_w, gapped_w = (_lost_w(library, one, need) for one in (ring, built))
        if nearer or ring_w <= gapped_w:
            return replace(ring, beside=built.core.id, beside_w=gapped_w, lost_w=ring_w)
        return replace(built, beside=ring.core.id, beside_w=ring_w, lost_w=gapped_w)
    if ring is not None:
        return ring
    energy = 0.5 * need.inductance_h * need.crest_a**2
    raise NoSolutionError(
        message="No core at hand holds the boost choke.",
        quantity="energy in the choke at the highest crest",
        value=f"{show(energy, 'energy')} ({show(need.inductance_h, 'inductance')} at "
        f"{show(need.crest_a, 'current')})",
        limit=f"{100 * _CREST_SHARE:.0f} % of saturation, {100 * _FILL:.0f} % of the window, "
        f"{show(_COOL_AT_C, 'temperature')}; gapped E or ETD cores and powder rings with loss data at "
        f"{show(need.switching_hz, 'frequency')}",
        source="parts library and drawer",
        remedy="Raise converter.switching or converter.ripple (both let the choke be smaller), add a larger "
        "core to the drawer, or lower goal.power.",
    )


def _wire(library: Library) -> Wire | None:
    low, high = _WIRES_M
    fits = [w for w in library.wires.values() if w.kind == "enamelled" and low <= w.conductor_m <= high]
    return min(
        fits,
        key=lambda w: (library.in_drawer(w.id) == 0, abs(w.conductor_m - _BEST_WIRE_M), w.id),
        default=None,
    )


def _lost_w(library: Library, choke: BoostChoke, need: ChokeNeed) -> float:
    """Copper and core loss with programme, W."""
    return sum(_losses(choke, library.materials[choke.core.material], need, need.programme_rms_a))


def _least_turns(core: Core, material: Material, saturation_t: float, need: ChokeNeed) -> int:
    """Turns to begin with; 0 where a powder ring has none that serve."""
    if material.bias_half_a_per_m is not None:
        each_h, tolerance = per_turn_h(core, material)
        return kept_turns(
            (1.0 - tolerance) * each_h,
            need.inductance_h,
            need.crest_a,
            core.l_e_m,
            material.bias_half_a_per_m,
            MOST_TURNS,
        )
    return max(
        least_turns(need.inductance_h, need.crest_a, _CREST_SHARE * saturation_t, core.a_min_m2),
        least_turns(need.inductance_h, need.fault_a, _FAULT_SHARE * saturation_t, core.a_min_m2),
    )


def _best_turns(
    library: Library, core: Core, material: Material, wire: Wire, need: ChokeNeed
) -> BoostChoke | None:
    saturation = core.saturation_t or material.bsat_100_t
    powder = material.bias_half_a_per_m is not None
    wound, cool_c = (_powdered, _POWDER_C) if powder else (_wound, _COOL_AT_C)
    least = _least_turns(core, material, saturation, need)
    if least == 0:
        return None
    best: tuple[float, BoostChoke] | None = None
    for turns in range(least, least + _MOST_TURNS_MORE):
        choke = wound(library, core, material, wire, turns, saturation, need)
        if choke is None:
            continue
        copper, core_w = _losses(choke, material, need, need.programme_rms_a)
        rise = float(choke_rise(choke, copper + core_w).high_k)
        if need.ambient_c + rise <= cool_c and (best is None or copper + core_w < best[0]):
            best = (copper + core_w, choke)
    return None if best is None else best[1]


def _strands(core: Core, wire: Wire, turns: int, need: ChokeNeed) -> int:
    """Strands for the current, up to twice as many where there is room; 0 where there is none."""
    needed = max(1, ceil(need.rms_a / (_DENSITY_A_PER_M2 * wire.area_m2)))
    room = floor(_FILL * core.window_area_m2 / (turns * wire.area_m2))
    return min(room, 2 * needed) if room >= needed else 0  # more than twice is only harder to wind


def _wound(
    library: Library,
    core: Core,
    material: Material,
    wire: Wire,
    turns: int,
    saturation_t: float,
    need: ChokeNeed,
) -> BoostChoke | None:
    strands = _strands(core, wire, turns, need)
    if strands == 0:
        return None
    width, path = core.winding_width_m, core.l_e_m
    exact = gap_for_inductance_m(turns, need.inductance_h, core.a_e_m2, path, material.mu_i, width)
    if not isfinite(exact) or exact > _MOST_GAP * sqrt(core.a_min_m2):
        return None
    gap = max(_GAP_STEP_M, round(exact / _GAP_STEP_M) * _GAP_STEP_M)
    inductance = fringed_inductance_h(turns, gap, core.a_e_m2, path, material.mu_i, width)
    flux = inductance / (turns * core.a_min_m2)
    if flux * need.crest_a > 1.03 * _CREST_SHARE * saturation_t:  # a gap step may cost that much
        return None
    if flux * need.fault_a > 1.03 * _FAULT_SHARE * saturation_t:
        return None
    length = turns * core.mean_turn_m + _LEAD_M
    return BoostChoke(
        core=core,
        turns=turns,
        gap_m=gap,
        inductance_h=inductance,
        wire=wire,
        strands=strands,
        wire_length_m=length,
        cold_ohm=length * wire.resistance_ohm_per_m() / strands,
        ripple_factor=_ripple_factor(core, wire, turns * strands, need.switching_hz),
        fill=turns * strands * wire.area_m2 / core.window_area_m2,
        fill_limit=_FILL,
        flux_crest_t=flux * need.crest_a,
        flux_limit_t=_CREST_SHARE * saturation_t,
        flux_fault_t=flux * need.fault_a,
        saturation_t=saturation_t,
        saturation_a=saturation_t / flux,
        in_drawer=library.in_drawer(core.id) > 0,
    )


def _powdered(
    library: Library,
    core: Core,
    material: Material,
    wire: Wire,
    turns: int,
    saturation_t: float,
    need: ChokeNeed,
) -> BoostChoke | None:
    """On a ring of powder: half of its inductance stays at the highest crest; the limit can't saturate it."""
    half = material.bias_half_a_per_m
    assert half is not None
    strands = _strands(core, wire, turns, need)
    crest, fault = (field_a_per_m(turns, a, core.l_e_m) for a in (need.crest_a, need.fault_a))
    kept = kept_share(crest, half)
    flux_fault = biased_flux_t(material.mu_i, fault, half)
    if strands == 0 or kept < LEAST_KEPT or flux_fault > _FAULT_SHARE * saturation_t:
        return None
    length = turns * core.mean_turn_m + _LEAD_M
    return BoostChoke(
        core=core,
        turns=turns,
        gap_m=0.0,
        inductance_h=per_turn_h(core, material)[0] * turns**2 * kept,
        wire=wire,
        strands=strands,
        wire_length_m=length,
        cold_ohm=length * wire.resistance_ohm_per_m() / strands,
        ripple_factor=_ripple_factor(core, wire, turns * strands, need.switching_hz),
        fill=turns * strands * wire.area_m2 / core.window_area_m2,
        fill_limit=_FILL,
        flux_crest_t=biased_flux_t(material.mu_i, crest, half),
        flux_limit_t=biased_flux_t(material.mu_i, half, half),
        flux_fault_t=flux_fault,
        saturation_t=saturation_t,
        saturation_a=half * core.l_e_m / turns,
        in_drawer=library.in_drawer(core.id) > 0,
        kept=kept,
    )


def _ripple_factor(core: Core, wire: Wire, wires: int, switching_hz: float) -> float:
    """Resistance for the ripple over that at rest: all layers in one field, as in any single winding."""
    depth = float(skin_depth(switching_hz, float(copper_resistivity(_HOT_C))))
    per_layer = max(1, floor(core.winding_width_m / wire.overall_m))
    layers = ceil(wires / per_layer)
    covered = min(float(porosity(min(per_layer, wires), wire.conductor_m, core.winding_width_m)), 1.0)
    return float(dowell_factor(dowell_thickness(wire.conductor_m, depth, covered), float(layers)))


def _losses(choke: BoostChoke, material: Material, need: ChokeNeed, rms_a: float) -> tuple[float, float]:
    """Copper and core loss near the hot end, W."""
    ohm = choke.cold_ohm * copper_factor(_HOT_C)
    copper = ohm * (rms_a**2 + choke.ripple_factor * need.ripple_a**2 / 12.0)
    return copper, choke_core_w(choke, material, need.input_v, need.duty, 1.0 - need.duty, need.switching_hz)


def choke_core_w(
    choke: BoostChoke, material: Material, on_v: float, on_share: float, off_share: float, switching_hz: float
) -> float:
    """Core loss of the ripple's triangle, W.

    Parameters
    ----------
    choke, material : as wound. on_v : across the choke while the switch is on, V.
    on_share, off_share : of the period, 0 to 1. switching_hz : Hz.

    Returns
    -------
    ``k_i ΔB^β f^α (d1^(1-α) + d2^(1-α)) V_e``, W; the grade's, at 100 °C. Bias raises it by an amount that no
    data at hand state.

    Source
    ------
    Improved generalised Steinmetz equation on a triangle. [venkatachalam2002]
    """
    fit = material.fit_at(switching_hz)
    swing = on_v * on_share / (switching_hz * choke.turns * choke.core.a_e_m2)
    k_i = igse_coefficient(fit.k, fit.alpha, fit.beta)
    edges = on_share ** (1.0 - fit.alpha) + off_share ** (1.0 - fit.alpha)
    density = k_i * switching_hz**fit.alpha * swing**fit.beta * edges
    return float(density * choke.core.v_e_m3 * choke.core.loss_factor)


def choke_rise(choke: BoostChoke, loss_w: float) -> RiseSpread:
    """Temperature rise of the wound choke in still air, K, by several rules."""
    return rise_spread(loss_w, choke.core.v_e_m3, choke.core.surface_m2)
