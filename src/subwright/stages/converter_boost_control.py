"""Control of the boost converter in preferred values: divider, timing, current sense, loop, second stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations_with_replacement
from math import log, pi
from typing import Final

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most, between, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Controller, Core
from subwright.physics.current_mode import (
    Compensator,
    CurrentModePlant,
    loop_figures,
    ramp_times,
    sampling_quality,
    slope_needed,
)
from subwright.stages.converter_boost_records import (
    BoostLoop,
    BoostTiming,
    CurrentSense,
    Divider,
    RailGuard,
)

__all__ = [
    "choose_controller",
    "design_divider",
    "design_guard",
    "design_loop",
    "design_sense",
    "design_timing",
    "limit_at",
]

_RESISTOR_TOLERANCE: Final = 0.01
_CAPACITOR_TOLERANCE: Final = 0.05
_BOTTOM_OHM: Final = (2.2e3, 4.7e3)
_BASE_V: Final = 0.65  # emitter follower that lends the ramp
_SLOPE_SHARE: Final = 0.75  # of the falling slope: damped within a few cycles at any duty; common practice
_LIMIT_ROOM: Final = 1.10  # least current limit over the highest crest
_SENSE_TURNS: Final = (50, 100, 200)
_SENSE_A: Final = 0.8  # current that the transformer's secondary should not pass
_SENSE_DIODE_V: Final = 0.8
_FILTER_OHM: Final = 1e3
_FILTER_S: Final = 0.2e-6  # of the leading edge's filter; common practice
_ZERO_SHARE: Final = 5.0  # crossover this far below the right-half-plane zero; common practice
_SWITCHING_SHARE: Final = 12.0
_INTEGRATOR_SHARE: Final = 4.0  # zero of the compensator below the crossover
_SOFT_OHM: Final = 100e3
_SOFT_SPAN: Final = 0.74  # of the reference: from the first pulse to the highest current
_ZENER_TOLERANCE_ROOM: Final = 1.04  # least trip over the highest regulated rail
_GUARD_OHM: Final = 100.0


def choose_controller(library: Library, wanted: str, supply_v: float, switching_hz: float) -> Controller:
    """The single-ended current-mode controller.

    Parameters
    ----------
    library : parts with the drawer merged. wanted : "auto" or a part id. supply_v : highest at its pin, V.
    switching_hz : Hz.

    Raises
    ------
    NoSolutionError : none fits, or the stated one has two outputs or no current comparator.
    """
    if wanted != "auto":
        controller = library.controller(wanted)
        if controller.outputs != 1 or controller.mode != "current":
            raise NoSolutionError(
                message=f"{controller.id} is not a single-ended current-mode controller: two outputs take "
                "turns, and a boost converter has one switch.",
                quantity="converter.controller",
                value=controller.id,
                limit="a 384x-family controller",
                source=controller.provenance.document,
                remedy='Set converter.controller = "auto".',
            )
        return controller
    fit = [
        c
        for c in library.controllers.values()
        if c.outputs == 1
        and c.mode == "current"
        and c.supply_max_v >= supply_v
        and c.f_max_hz >= switching_hz
    ]
    if not fit:
        raise NoSolutionError(
            message="No single-ended current-mode controller stands this supply and frequency.",
            quantity="controller supply and switching frequency",
            value=f"{show(supply_v, 'voltage')} at {show(switching_hz, 'frequency')}",
            limit="the 384x family of the library",
            source="parts library and drawer",
            remedy='Set converter.gate_supply = "regulated", or lower converter.switching.',
        )
    return min(fit, key=lambda c: (library.in_drawer(c.id) == 0, c.error_tolerance or 1.0, c.id))


def design_divider(controller: Controller, rail_v: float, series: str) -> Divider:
    """Preferred divider whose rail is the least at or above the one wanted.

    Parameters
    ----------
    controller : whose error amplifier it feeds. rail_v : wanted, V. series : E12, E24 or E96.

    Returns
    -------
    Divider with the window of reference and 1 % resistors, worst case.

    Raises
    ------
    NoSolutionError : the rail lies no higher than the controller's own reference.

    Source
    ------
    ``V = V_ref (1 + R1/R2)``. [derived]
    """
    reference, spread = controller.error_v or controller.vref_v, controller.error_tolerance or 0.02
    if rail_v <= reference:
        raise NoSolutionError(
            message="The rail wanted is no higher than the controller's reference: nothing to raise.",
            quantity="raised rail",
            value=show(rail_v, "voltage"),
            limit=f"above {show(reference, 'voltage')}",
            source="derived",
            remedy='Set converter.topology = "none": the bridge works straight from the battery. Or ask for '
            "more power, a load of higher impedance or a higher converter.rail.",
        )
    bottoms = between(*_BOTTOM_OHM, series)
    tops = np.array([at_least((rail_v / reference - 1.0) * float(b) * (1 - 1e-9), series) for b in bottoms])
    best = int(np.argmin(tops / bottoms))
    top, bottom = float(tops[best]), float(bottoms[best])
    t = _RESISTOR_TOLERANCE
    return Divider(
        top_ohm=top,
        bottom_ohm=bottom,
        reference_v=reference,
        set_v=reference * (1.0 + top / bottom),
        low_v=reference * (1.0 - spread) * (1.0 + top / bottom * (1.0 - t) / (1.0 + t)),
        high_v=reference * (1.0 + spread) * (1.0 + top / bottom * (1.0 + t) / (1.0 - t)),
    )


def design_timing(
    controller: Controller, switching_hz: float, duty_needed: float, soft_start_s: float, series: str
) -> BoostTiming:
    """Timing resistor and capacitor: the frequency, and a greatest duty with room but no excess.

    Parameters
    ----------
    controller : its record. switching_hz : wanted, Hz; the ramp itself, not half of it as with two outputs.
    duty_needed : on a tired battery at the crest. soft_start_s : wanted, s. series : of the resistor.

    Raises
    ------
    NoSolutionError : no pair gives frequency and duty.

    Source
    ------
    Charge through the resistor, discharge by a current; TI SLUS223. [ti-slus223]
    """
    low, high = controller.ramp_low_v or 1.2, controller.ramp_high_v or 2.8
    drawn = controller.discharge_a or 8.3e-3
    aim = min(max(duty_needed + 0.12, 0.75), 0.93)
    best: tuple[float, float, float, BoostTiming] | None = None
    spread = (1 + controller.osc_tolerance) * (1 + _RESISTOR_TOLERANCE) * (1 + _CAPACITOR_TOLERANCE) - 1
    soft_f = nearest(soft_start_s / (_SOFT_OHM * -log(1.0 - _SOFT_SPAN)), "E6")
    for rt in between(max(controller.rt_min_ohm, 1.2 * (controller.vref_v - low) / drawn), 47e3, series):
        span = log((controller.vref_v - low) / (controller.vref_v - high))
        guess = 1.0 / (switching_hz * float(rt) * span)
        for ct in between(max(0.4 * guess, controller.ct_min_f), min(1.2 * guess, controller.ct_max_f), "E6"):
            times = ramp_times(float(rt), float(ct), controller.vref_v, low, high, drawn)
            error = abs(log(times.frequency_hz / switching_hz))
            if error > 0.10 or times.duty_most < duty_needed + 0.02:
                continue
            score = error + abs(times.duty_most - aim)
            if best is None or score < best[0]:
                best = (
                    score,
                    float(rt),
                    float(ct),
                    BoostTiming(
                        rt_ohm=float(rt),
                        ct_f=float(ct),
                        switching_hz=times.frequency_hz,
                        switching_target_hz=switching_hz,
                        switching_tolerance=spread,
                        duty_most=min(times.duty_most, controller.duty_max),
                        charge_s=times.charge_s,
                        soft_start_f=soft_f,
                        soft_start_ohm=_SOFT_OHM,
                        soft_start_s=soft_f * _SOFT_OHM * -log(1.0 - _SOFT_SPAN),
                    ),
                )
    if best is None:
        raise NoSolutionError(
            message="No timing parts give this frequency and leave the duty that a tired battery needs.",
            quantity="duty at the crest on a tired battery",
            value=f"{duty_needed:.3f}",
            limit=f"{controller.duty_max - 0.02:.2f} at {show(switching_hz, 'frequency')}",
            source=controller.provenance.document,
            remedy="Lower goal.power or converter.rail, use a load of lower impedance, thicken the cable, or "
            "take a transformer: a boost converter is for a rail of up to some three to four times the "
            "battery.",
        )
    return best[3]


def limit_at(
    sense_v: float, duty: float, timing: BoostTiming, offset_v: float, slope: float, sense_ohm: float
) -> float:
    """Switch current at which the comparator ends the pulse, A, at a duty.

    Parameters
    ----------
    sense_v : threshold, V. duty : 0 to 1. timing : of the ramp. offset_v, slope : V and V/s that the ramp
    adds at the pin. sense_ohm : V/A of the sensed current there.
    """
    return (sense_v - offset_v - slope * duty / timing.switching_hz) / sense_ohm


def design_sense(
    library: Library,
    controller: Controller,
    timing: BoostTiming,
    *,
    inductance_h: float,
    crest_a: float,
    duty: float,
    input_v: float,
    rail_v: float,
) -> CurrentSense:
    """Current transformer, burden, filter and slope resistor.

    Parameters
    ----------
    library : parts with the drawer merged. controller, timing : as chosen. inductance_h : of the choke, H.
    crest_a : highest choke current, half the ripple counted, A. duty : there. input_v, rail_v : there, V.

    Raises
    ------
    NoSolutionError : no ring for the current transformer, or no burden leaves room for the slope.

    Source
    ------
    Slope compensation: Unitrode U-97 [unitrode-u97]; quality: Ridley 1990 [ridley1990].
    """
    threshold, spread = controller.sense_v or 1.0, controller.sense_tolerance or 0.1
    delay = controller.sense_delay_s or 0.2e-6
    ramp = ((controller.ramp_high_v or 2.8) - (controller.ramp_low_v or 1.2)) / timing.charge_s
    begin = (controller.ramp_low_v or 1.2) - _BASE_V
    falling, rising = (rail_v - input_v) / inductance_h, input_v / inductance_h
    turns = next((n for n in _SENSE_TURNS if 1.3 * crest_a / n <= _SENSE_A), _SENSE_TURNS[-1])
    on_s = duty / timing.switching_hz
    best: CurrentSense | None = None
    for burden in between(0.1, 22.0, "E24"):
        per_amp = float(burden) / turns
        wanted = float(slope_needed(falling * per_amp, _SLOPE_SHARE))
        # The filter's resistor and the slope's divide both signals: solve for the slope as it arrives.
        ratio = ramp / wanted
        if ratio <= 0.05:
            continue
        slope_ohm = float(at_most(_FILTER_OHM * ratio, "E24"))
        lent = _FILTER_OHM / (_FILTER_OHM + slope_ohm)
        sense = per_amp * (1.0 - lent)
        offset, slope = lent * begin, lent * ramp
        least = limit_at(threshold * (1 - spread), duty, timing, offset, slope, sense)
        if least < _LIMIT_ROOM * crest_a:
            break
        most = limit_at(threshold * (1 + spread), duty, timing, offset, slope, sense)
        best = CurrentSense(
            core=_sense_core(library),
            turns=turns,
            burden_ohm=float(burden),
            reset_ohm=0.0,
            filter_ohm=_FILTER_OHM,
            filter_f=nearest(_FILTER_S / _FILTER_OHM, "E6"),
            slope_ohm=slope_ohm,
            sense_ohm=sense,
            slope_v_per_s=slope,
            slope_needed_v_per_s=0.5 * falling * sense,
            offset_v=offset,
            limit_least_a=least,
            limit_a=limit_at(threshold, duty, timing, offset, slope, sense),
            limit_most_a=most + delay * rising,
            flux_t=0.0,
            burden_w=0.0,
            quality=float(sampling_quality(duty, slope, rising * sense)),
        )
    if best is None:
        raise NoSolutionError(
            message="No burden resistor leaves room for the crest and for the slope above it.",
            quantity="crest current of the choke",
            value=show(crest_a, "current"),
            limit=f"what {show(threshold, 'voltage')} at the comparator allow",
            source=controller.provenance.document,
            remedy="Lower converter.ripple (less slope is needed), or lower goal.power.",
        )
    return _with_transformer(best, crest_a, on_s, timing)


def _with_transformer(sense: CurrentSense, crest_a: float, on_s: float, timing: BoostTiming) -> CurrentSense:
    """Flux, magnetising current and reset of the current transformer."""
    core, second_a = sense.core, crest_a / sense.turns
    volts = second_a * sense.burden_ohm + _SENSE_DIODE_V
    inductance = (core.al_h or 1e-6) * sense.turns**2
    magnetising = volts * on_s / inductance
    rest_s = max(1.0 / timing.switching_hz - on_s, 0.02 / timing.switching_hz)
    reset_v = volts * on_s / rest_s
    return replace(
        sense,
        reset_ohm=at_least(max(1.5 * reset_v / magnetising, 1e3), "E12"),
        flux_t=volts * on_s / (sense.turns * core.a_e_m2),
        burden_w=second_a**2 * sense.burden_ohm * on_s * timing.switching_hz,
    )


def _sense_core(library: Library) -> Core:
    rings = [
        core
        for core in library.cores.values()
        if core.shape == "ring" and library.materials[core.material].family != "iron powder"
    ]
    if not rings:
        raise NoSolutionError(
            message="No ferrite ring for the current transformer.",
            quantity="ring core",
            value="none",
            limit="any power ferrite ring",
            source="parts library and drawer",
            remedy="Add a ring of 16 mm or so to the drawer.",
        )
    return min(
        rings,
        key=lambda core: (library.in_drawer(core.id) == 0, core.al_h is None, core.v_e_m3, core.id),
    )


def design_loop(
    divider: Divider, division: float, plants: Mapping[str, CurrentModePlant], zero_hz: float, series: str
) -> BoostLoop:
    """Compensator in preferred values for the plant whose right-half-plane zero is lowest.

    Parameters
    ----------
    divider : whose top is the compensator's input. division : from error amplifier to comparator.
    plants : by operating point; the first is the worst one. zero_hz : lowest right-half-plane zero, Hz.
    series : of the resistor.

    Returns
    -------
    BoostLoop with crossover and margins of every operating point, from the real values.

    Source
    ------
    Crossover at a fifth of the zero, compensator's zero a quarter of that, its pole at the right-half-plane
    or ESR zero, whichever is lower; common practice. Gain: asymptote of the plant [ridley1990].
    """
    worst = next(iter(plants.values()))
    target = min(zero_hz / _ZERO_SHARE, worst.switching_hz / _SWITCHING_SHARE)
    asymptote = (1.0 - worst.duty) / (2.0 * pi * target * worst.capacitance_f * worst.sense_ohm)
    # All plants cross at about their own (1 - D)/sense: the fastest of them sets the gain.
    fastest = max((1.0 - p.duty) / (p.sense_ohm * p.capacitance_f) for p in plants.values())
    asymptote = max(asymptote, fastest / (2.0 * pi * target))
    resistor = at_most(divider.top_ohm * division / asymptote, series)
    integrator = at_least(1.0 / (2.0 * pi * resistor * target / _INTEGRATOR_SHARE), "E6")
    esr_hz = 1.0 / (2.0 * pi * worst.esr_ohm * worst.capacitance_f)
    across = at_most(1.0 / (2.0 * pi * resistor * min(max(esr_hz, 4.0 * target), zero_hz)), "E6")
    parts = Compensator(divider.top_ohm, resistor, integrator, across, division)
    figures = {name: loop_figures(plant, parts) for name, plant in plants.items()}
    gain_margins = [f.gain_margin_db for f in figures.values() if f.gain_margin_db is not None]
    return BoostLoop(
        series_ohm=resistor,
        series_f=integrator,
        across_f=across,
        zero_hz=zero_hz,
        target_hz=target,
        figures=figures,
        crossover_hz=max(f.crossover_hz for f in figures.values()),
        phase_margin_deg=min(f.phase_margin_deg for f in figures.values()),
        gain_margin_db=min(gain_margins, default=None),
        plant=worst,
    )


def design_guard(library: Library, divider: Divider, sense_v: float) -> RailGuard:
    """Zeners from the rail into the sense pin: they end every pulse when the divider no longer does.

    Parameters
    ----------
    library : parts with the drawer merged. divider : whose highest rail must not trip it.
    sense_v : threshold of the pin, V.

    Returns
    -------
    RailGuard, the fewest zeners of the least sum.

    Raises
    ------
    NoSolutionError : no zeners at hand add up.
    """
    needed = _ZENER_TOLERANCE_ROOM * divider.high_v
    zeners = sorted(library.zeners.values(), key=lambda z: (z.vz_v, z.id))
    best: tuple[float, int, RailGuard] | None = None
    for count in (1, 2, 3):
        for chain in combinations_with_replacement(zeners, count):
            least = sum(z.vz_v * (1.0 - z.tolerance) for z in chain) + sense_v
            if least < needed:
                continue
            most = sum(z.vz_v * (1.0 + z.tolerance) for z in chain) + sense_v
            missing = sum(library.in_drawer(z.id) == 0 for z in chain)
            rank = most + 0.2 * missing + 0.5 * count
            if best is None or (rank, count) < best[:2]:
                guard = RailGuard(
                    zeners=chain,
                    series_ohm=_GUARD_OHM,
                    least_v=least,
                    nominal_v=sum(z.vz_v for z in chain) + sense_v,
                    most_v=most,
                )
                best = (rank, count, guard)
    if best is None:
        raise NoSolutionError(
            message="No zener diodes at hand make the rail's second stop.",
            quantity="zener voltage",
            value=show(needed, "voltage"),
            limit="up to three in series",
            source="parts library and drawer",
            remedy="Add zeners to the drawer, or lower converter.rail.",
        )
    return best[2]
