"""Output chokes wound on a gapped E or ETD core, or on a ring of powder, of the drawer or library."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, isfinite, sqrt

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material, Wire
from subwright.physics.chokes import least_turns
from subwright.physics.inductors import fringed_inductance_h, gap_for_inductance_m
from subwright.physics.magnetic_thermal import rise_spread
from subwright.physics.powder import biased_flux_t, field_a_per_m, kept_share, kept_turns
from subwright.stages.converter_powder import LEAST_KEPT, MOST_TURNS, per_turn_h, powder_ring

__all__ = ["Choke", "OutputChoke", "design_choke"]

_FLUX_OF_SATURATION = 0.75  # at 100 °C
_DENSITY_A_PER_M2 = 5e6
_FILL = 0.35
_HOT_RATIO = 1.31  # copper at 100 °C over 20 °C
_GAP_STEP_M = 0.05e-3  # what feeler gauges and spacers come in
_MOST_GAP = 0.20  # of the centre leg's width: beyond it fringing is no longer an estimate
_WIRES_M = (0.6e-3, 1.25e-3)  # conductor diameters tried
_POWDER_RISE_K = 45.0  # copper and core: the binder of a powder ages above 110 °C; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class Choke:
    """One choke; a coupled one has ``windings`` equal windings on the same core, wound in the same sense."""

    core: Core
    windings: int
    turns: int
    gap_m: float  # in the centre leg, or half of it as a spacer under each outer leg; 0 for a powder ring
    inductance_h: float  # of one winding, fringing counted; of a powder ring what is left at the crest
    wire: Wire
    strands: int
    resistance_ohm: float  # one winding, hot
    flux_peak_t: float
    flux_limit_t: float
    fill: float
    wire_length_m: float  # one strand of one winding
    core_w: float  # at the design's ripple
    kept: float = 1.0  # of a powder ring's inductance without current, what is left at the crest
    beside: str = ""  # core of the other kind that would do too
    beside_w: float = 0.0  # what that would lose in copper and core, W
    lost_w: float = 0.0  # what this one does

    @property
    def how(self) -> str:
        """What carries the direct current, in words."""
        if self.core.shape != "ring":
            return f"gap {show(self.gap_m, 'length')} in all"
        return f"no gap, {show(self.inductance_h / self.kept, 'inductance')} without current"


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputChoke:
    """The coupled output choke of a regulated converter and what it decides."""

    choke: Choke
    set_v: float  # rail that the controller holds
    share_nominal: float  # conducting share at nominal battery, full sine
    share_most: float
    holds_from_v: float  # least battery at which the rail still holds at the crest of a full sine
    ripple_a: float  # peak to peak, highest battery
    critical_a: float  # rail current below which the choke's current has gaps
    feedback_top_ohm: float  # divider from the positive rail to the controller's reference
    feedback_bottom_ohm: float


def design_choke(
    library: Library,
    inductance_h: float,
    peak_a: float,
    ripple_a: float,
    ripple_hz: float,
    rms_a: float,
    windings: int,
    wanted: str = "auto",
) -> Choke:
    """Smallest core that holds a choke's energy and copper, of the drawer first.

    A ring of powder stands beside the gapped cores at hand: it is taken where no gapped core is as near, or
    where it is no larger and loses no more.

    Parameters
    ----------
    library : parts with the drawer merged.
    inductance_h : least inductance of one winding, H.
    peak_a : peak of the summed current of the windings, A.
    ripple_a : peak-to-peak ripple of that sum, A. ripple_hz : its frequency, Hz.
    rms_a : rms current of one winding, A.
    windings : 1, or 2 for a coupled choke.
    wanted : core id, or "auto".

    Returns
    -------
    Choke with whole turns and a gap in steps of 0.05 mm, or a powder ring's without.

    Raises
    ------
    NoSolutionError : no core at hand holds it.

    Source
    ------
    Flux linkage and reluctance [derived], Erickson & Maksimović ch. 13 [erickson2001]; fringing McLyman
    [mclyman-handbook]; 5 A/mm² and 35 % of the window, common practice.
    """
    cores = [library.core(wanted)] if wanted != "auto" else list(library.cores.values())
    best: tuple[bool, float, str, Choke] | None = None
    ring: tuple[bool, float, str, Choke] | None = None
    for core in cores:
        if powder_ring(library, core):
            wound = _on_powder(library, core, inductance_h, peak_a, ripple_a, ripple_hz, rms_a, windings)
            if wound is not None:
                rank = (library.in_drawer(core.id) == 0, core.v_e_m3, core.id, wound)
                ring = rank if ring is None or rank[:3] < ring[:3] else ring
            continue
        if core.shape == "ring" or not library.materials[core.material].transformer_grade:
            continue  # a ring can't be gapped at the bench
        if wanted == "auto" and not library.materials[core.material].covers(ripple_hz):
            continue  # nobody has printed what it loses at this frequency
        choke = _on_core(library, core, inductance_h, peak_a, ripple_a, ripple_hz, rms_a, windings)
        if choke is None:
            continue
        rank = (library.in_drawer(core.id) == 0, core.v_e_m3, core.id, choke)
        if best is None or rank[:3] < best[:3]:
            best = rank
    if ring is not None and (
        best is None
        or ring[0] < best[0]
        or (ring[:2] <= best[:2] and _loss_w(ring[3], rms_a) <= _loss_w(best[3], rms_a))
    ):
        return _beside(ring[3], None if best is None else best[3], rms_a)
    if best is None:
        energy = 0.5 * inductance_h * peak_a**2
        raise NoSolutionError(
            message="No E or ETD core and no powder ring at hand holds this choke.",
            quantity="energy in the choke",
            value=show(energy, "energy"),
            limit="the largest gapped core or powder ring in the drawer or library",
            source="parts library and drawer",
            remedy="Raise converter.ripple (less inductance) or converter.switching, lower goal.power, or "
            "add a larger core to the drawer.",
        )
    return _beside(best[3], None if ring is None else ring[3], rms_a)


def _wire(library: Library) -> Wire | None:
    low, high = _WIRES_M
    wires = [w for w in library.wires.values() if w.kind == "enamelled" and low <= w.conductor_m <= high]
    return min(
        wires,
        key=lambda w: (library.in_drawer(w.id) == 0, abs(w.conductor_m - 0.8e-3), w.overall_m, w.id),
        default=None,
    )


def _beside(chosen: Choke, other: Choke | None, rms_a: float) -> Choke:
    """The choke that is taken, with what the other kind would lose."""
    if other is None:
        return chosen
    lost_w, beside_w = _loss_w(chosen, rms_a), _loss_w(other, rms_a)
    return replace(chosen, beside=other.core.id, beside_w=beside_w, lost_w=lost_w)


def _loss_w(choke: Choke, rms_a: float) -> float:
    """Copper of all windings and core, W."""
    return choke.windings * choke.resistance_ohm * rms_a**2 + choke.core_w


def _on_powder(
    library: Library,
    core: Core,
    inductance_h: float,
    peak_a: float,
    ripple_a: float,
    ripple_hz: float,
    rms_a: float,
    windings: int,
) -> Choke | None:
    """A choke on a powder ring: turns until the inductance is there at the crest."""
    material: Material = library.materials[core.material]
    half, wire = material.bias_half_a_per_m, _wire(library)
    if half is None or wire is None or not material.covers(ripple_hz):
        return None
    each_h, tolerance = per_turn_h(core, material)
    turns = kept_turns((1.0 - tolerance) * each_h, inductance_h, peak_a, core.l_e_m, half, MOST_TURNS)
    field = field_a_per_m(max(turns, 1), peak_a, core.l_e_m)
    kept = kept_share(field, half)
    strands = max(1, ceil(rms_a / (_DENSITY_A_PER_M2 * wire.area_m2)))
    fill = windings * turns * strands * wire.area_m2 / core.window_area_m2
    if turns == 0 or kept < LEAST_KEPT or fill > _FILL:
        return None
    length = turns * core.mean_turn_m + 0.1
    real_h = each_h * turns**2 * kept
    fit = material.fit_at(ripple_hz)
    swing = 0.5 * ripple_a * real_h / (turns * core.a_e_m2)
    choke = Choke(
        core=core,
        windings=windings,
        turns=turns,
        gap_m=0.0,
        inductance_h=real_h,
        wire=wire,
        strands=strands,
        resistance_ohm=length * wire.resistance_ohm_per_m() * _HOT_RATIO / strands,
        flux_peak_t=biased_flux_t(material.mu_i, field, half),
        flux_limit_t=biased_flux_t(material.mu_i, half, half),
        fill=fill,
        wire_length_m=length,
        core_w=fit.k * ripple_hz**fit.alpha * swing**fit.beta * core.v_e_m3 * core.loss_factor,
        kept=kept,
    )
    rise = rise_spread(_loss_w(choke, rms_a), core.v_e_m3, core.surface_m2)
    return choke if float(rise.high_k) <= _POWDER_RISE_K else None


def _on_core(
    library: Library,
    core: Core,
    inductance_h: float,
    peak_a: float,
    ripple_a: float,
    ripple_hz: float,
    rms_a: float,
    windings: int,
) -> Choke | None:
    material = library.materials[core.material]
    limit_t = _FLUX_OF_SATURATION * material.bsat_100_t
    turns = least_turns(inductance_h, peak_a, limit_t, core.a_min_m2)
    area, path, width = core.a_e_m2, core.l_e_m, core.winding_width_m
    for _ in range(3):
        exact = gap_for_inductance_m(turns, inductance_h, area, path, material.mu_i, width)
        if not isfinite(exact):
            return None
        gap = int(exact / _GAP_STEP_M) * _GAP_STEP_M  # rounded down: never too little inductance
        actual = fringed_inductance_h(turns, gap, area, path, material.mu_i, width)
        flux = actual * peak_a / (turns * core.a_min_m2)
        if flux <= limit_t:
            break
        turns += 1
    else:
        return None
    if gap > _MOST_GAP * sqrt(core.a_min_m2):
        return None
    wire = _wire(library)
    if wire is None:
        return None
    strands = max(1, ceil(rms_a / (_DENSITY_A_PER_M2 * wire.area_m2)))
    fill = windings * turns * strands * wire.area_m2 / core.window_area_m2
    if fill > _FILL:
        return None
    length = turns * core.mean_turn_m + 0.1
    swing = 0.5 * ripple_a * flux / peak_a  # peak flux density of the ripple
    fit = material.fit_at(ripple_hz)
    return Choke(
        core=core,
        windings=windings,
        turns=turns,
        gap_m=gap,
        inductance_h=actual,
        wire=wire,
        strands=strands,
        resistance_ohm=length * wire.resistance_ohm_per_m() * _HOT_RATIO / strands,
        flux_peak_t=flux,
        flux_limit_t=limit_t,
        fill=fill,
        wire_length_m=length,
        core_w=fit.k * ripple_hz**fit.alpha * swing**fit.beta * core.v_e_m3,
    )
