"""The class-D output inductor wound on a real core: turns, gap, wire, saturation and loss."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, isfinite, pi, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material, Wire
from subwright.physics.chokes import least_turns
from subwright.physics.inductors import fringed_inductance_h, gap_for_inductance_m

__all__ = ["WoundInductor", "wind_inductor"]

_FERRITE_SHARE: Final = 0.75  # of saturation at 100 °C; common practice
_POWDER_SHARE: Final = 0.11  # there a powder core keeps about 80 % of its inductance; makers' curves, memory
_DENSITY_A_PER_M2: Final = 5e6  # programme heats far less than the sine; common practice
_FILL: Final = 0.35
_HOT_RATIO: Final = 1.31  # copper at 100 °C over 20 °C
_GAP_STEP_M: Final = 0.05e-3  # what spacers and feeler gauges come in
_MOST_GAP: Final = 0.20  # of the centre leg's width
_LEAD_M: Final = 0.1
_STRAND_M: Final = (0.5e-3, 1.0e-3)  # thin strands in parallel bend and stay cool at the carrier
_BEST_STRAND_M: Final = 0.7e-3
_MU_0: Final = 4e-7 * pi


@dataclass(frozen=True, kw_only=True, slots=True)
class WoundInductor:
    """One inductor as wound.

    Attributes
    ----------
    core_id, in_drawer : core, and whether enough lie in the drawer.
    turns, gap_m : whole turns; gap in the centre leg, m (0 for a powder ring).
    spacer_m : under each outer leg instead, m.
    inductance_h : with that gap, fringing included, H.
    wire_id, strands, wire_m : wire, strands in parallel, length of one strand, m.
    resistance_ohm : hot, Ω. fill : copper share of the window, and fill_limit.
    peak_a : crest into the least impedance and half the ripple, A. saturation_a : at the flux limit, A.
    flux_t, flux_limit_t : at ``peak_a``, T. core_w : at idle ripple, W.
    """

    core_id: str
    in_drawer: bool
    turns: int
    gap_m: float
    spacer_m: float
    inductance_h: float
    wire_id: str
    strands: int
    wire_m: float
    resistance_ohm: float
    fill: float
    fill_limit: float
    peak_a: float
    saturation_a: float
    flux_t: float
    flux_limit_t: float
    core_w: float


def wind_inductor(
    library: Library,
    wanted: str,
    inductance_h: float,
    *,
    peak_a: float,
    rms_a: float,
    bus_v: float,
    switching_hz: float,
    count: int,
) -> WoundInductor:
    """Smallest core, of the drawer first, that carries the crest unsaturated.

    Parameters
    ----------
    library : parts with the drawer merged. wanted : "auto" or a core id.
    inductance_h : wanted, H. peak_a : crest into the least impedance, without ripple, A.
    rms_a : full sine, A.
    bus_v : across one leg, V. switching_hz : Hz. count : inductors needed.

    Returns
    -------
    WoundInductor, its inductance within a gap step of the wanted one.

    Raises
    ------
    NoSolutionError : no core holds it.
    PartNotFoundError : the stated core is unknown.
    """
    cores = list(library.cores.values()) if wanted == "auto" else [library.core(wanted)]
    if wanted != "auto":
        _refuse_unfit(library, cores[0])
    cores.sort(key=lambda c: (library.in_drawer(c.id) < count, c.v_e_m3, c.id))
    wire = _strand(library, count)
    for core in cores:
        material = library.materials[core.material]
        built = None
        if wire is not None and core.shape != "ring" and material.transformer_grade:
            built = _gapped(
                library, core, material, wire, inductance_h, peak_a, rms_a, bus_v, switching_hz, count
            )
        elif wire is not None and core.shape == "ring" and material.family == "iron powder":
            built = _powder(
                library, core, material, wire, inductance_h, peak_a, rms_a, bus_v, switching_hz, count
            )
        if built is not None:
            return built
    _refuse_unrated(library, cores, switching_hz)
    raise NoSolutionError(
        message="No core whose loss at this frequency is known carries this output inductor's crest current.",
        quantity="output inductor",
        value=f"{show(inductance_h, 'inductance')} at {show(peak_a, 'current')}",
        limit=f"{100 * _FERRITE_SHARE:.0f} % of a ferrite's saturation ({100 * _POWDER_SHARE:.0f} % of a "
        f"powder's), {100 * _FILL:.0f} % of the window",
        source="parts library and drawer",
        remedy='Set amplifier.inductor_core = "bought", raise amplifier.switching, or add a larger core to '
        "the drawer.",
    )


def _refuse_unfit(library: Library, core: Core) -> None:
    """Raise where a stated core can't be judged or can't be gapped, with the reason."""
    material = library.materials[core.material]
    if not material.steinmetz:
        reason = f"Nobody says what {material.id} loses, so {core.id} can't be judged as an output inductor."
    elif core.shape == "ring" and material.family != "iron powder":
        reason = f"{core.id} is a ring of ferrite: it has no gap and saturates at once."
    else:
        return
    raise NoSolutionError(
        message=reason,
        quantity="amplifier.inductor_core",
        value=f"{core.id}, {material.family}",
        limit="gapped power ferrite, or a ring of iron powder, with loss data",
        source=material.provenance.document,
        remedy='Set amplifier.inductor_core = "auto" or "bought", state another core, or add the loss of its '
        "material to your drawer.",
    )


def _refuse_unrated(library: Library, cores: list[Core], switching_hz: float) -> None:
    """Raise where no core's material has loss data at this frequency."""
    fits = [fit for core in cores for fit in library.materials[core.material].steinmetz]
    highest = max((fit.f_high_hz for fit in fits), default=0.0)
    if any(fit.f_low_hz <= switching_hz <= fit.f_high_hz for fit in fits):
        return
    raise NoSolutionError(
        message="Nobody says what these cores lose at this switching frequency.",
        quantity="amplifier.switching",
        value=show(switching_hz, "frequency"),
        limit=f"at most {show(highest, 'frequency')} for the core materials at hand",
        source="parts library and drawer",
        remedy='Lower amplifier.switching, or set amplifier.inductor_core = "bought".',
    )


def _strand(library: Library, count: int) -> Wire | None:
    low, high = _STRAND_M
    fits = [w for w in library.wires.values() if w.kind == "enamelled" and low <= w.conductor_m <= high]
    return min(
        fits,
        key=lambda w: (library.in_drawer(w.id) == 0, abs(w.conductor_m - _BEST_STRAND_M), w.id),
        default=None,
    )


def _gapped(
    library: Library,
    core: Core,
    material: Material,
    wire: Wire,
    wanted_h: float,
    peak_a: float,
    rms_a: float,
    bus_v: float,
    switching_hz: float,
    count: int,
) -> WoundInductor | None:
    ripple_a = bus_v / (4.0 * switching_hz * wanted_h)
    crest = peak_a + 0.5 * ripple_a
    limit = _FERRITE_SHARE * material.bsat_100_t
    turns = least_turns(wanted_h, crest, limit, core.a_min_m2)
    strands = max(1, ceil(rms_a / (_DENSITY_A_PER_M2 * wire.area_m2)))
    if turns * strands * wire.area_m2 > _FILL * core.window_area_m2:
        return None
    most_gap = _MOST_GAP * sqrt(core.a_min_m2)
    # fringing only widens it
    if _MU_0 * turns**2 * core.a_e_m2 / wanted_h - core.l_e_m / material.mu_i > most_gap:
        return None
    exact = gap_for_inductance_m(
        turns, wanted_h, core.a_e_m2, core.l_e_m, material.mu_i, core.winding_width_m
    )
    if not isfinite(exact) or exact > most_gap:
        return None
    gap = max(_GAP_STEP_M, round(exact / _GAP_STEP_M) * _GAP_STEP_M)
    real = fringed_inductance_h(turns, gap, core.a_e_m2, core.l_e_m, material.mu_i, core.winding_width_m)
    crest = peak_a + bus_v / (8.0 * switching_hz * real)
    return _finished(
        library, core, material, wire, turns, gap, real, strands, crest, limit, bus_v, switching_hz, count
    )


def _powder(
    library: Library,
    core: Core,
    material: Material,
    wire: Wire,
    wanted_h: float,
    peak_a: float,
    rms_a: float,
    bus_v: float,
    switching_hz: float,
    count: int,
) -> WoundInductor | None:
    per_turn = core.al_h or _MU_0 * material.mu_i * core.a_e_m2 / core.l_e_m
    turns = max(1, round(sqrt(wanted_h / per_turn)))
    real = per_turn * turns**2
    strands = max(1, ceil(rms_a / (_DENSITY_A_PER_M2 * wire.area_m2)))
    if turns * strands * wire.area_m2 > _FILL * core.window_area_m2:
        return None
    crest = peak_a + bus_v / (8.0 * switching_hz * real)
    limit = _POWDER_SHARE * material.bsat_100_t
    return _finished(
        library, core, material, wire, turns, 0.0, real, strands, crest, limit, bus_v, switching_hz, count
    )


def _finished(
    library: Library,
    core: Core,
    material: Material,
    wire: Wire,
    turns: int,
    gap_m: float,
    real_h: float,
    strands: int,
    crest_a: float,
    limit_t: float,
    bus_v: float,
    switching_hz: float,
    count: int,
) -> WoundInductor | None:
    flux = real_h * crest_a / (turns * core.a_min_m2)
    # a gap step may cost a few per cent of the limit, which keeps a quarter in hand itself
    if flux > 1.05 * limit_t:
        return None
    try:
        fit = material.fit_at(switching_hz)
    except RangeError:
        return None  # nobody says what it would lose
    swing = bus_v / (8.0 * switching_hz * turns * core.a_e_m2)  # half the idle ripple's flux
    length = turns * core.mean_turn_m + _LEAD_M
    return WoundInductor(
        core_id=core.id,
        in_drawer=library.in_drawer(core.id) >= count,
        turns=turns,
        gap_m=gap_m,
        spacer_m=0.5 * gap_m,
        inductance_h=real_h,
        wire_id=wire.id,
        strands=strands,
        wire_m=length,
        resistance_ohm=length * wire.resistance_ohm_per_m() * _HOT_RATIO / strands,
        fill=turns * strands * wire.area_m2 / core.window_area_m2,
        fill_limit=_FILL,
        peak_a=crest_a,
        saturation_a=limit_t * turns * core.a_min_m2 / real_h,
        flux_t=flux,
        flux_limit_t=limit_t,
        core_w=fit.k * switching_hz**fit.alpha * swing**fit.beta * core.v_e_m3,
    )
