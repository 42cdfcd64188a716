"""The boost converter's result: every corner, the loop on real values, the bass on the rail, switching on."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi, sqrt
from typing import Final

import numpy as np

from subwright.base.preferred import at_least
from subwright.parts.library import Library
from subwright.physics.boost import (
    inrush_peak_a,
    lost_duty_rail_v,
    precharge_time_s,
    right_half_plane_zero_hz,
)
from subwright.physics.current_mode import (
    Compensator,
    CurrentModePlant,
    compensator_gain,
    plant_gain,
    sampling_quality,
)
from subwright.stages.common import Contributor, Corner, Level, Loss
from subwright.stages.converter_boost import (
    BoostCrest,
    BoostValues,
    boost_crest,
    choke_temperature_c,
    fed_from_rail,
    start_v,
)
from subwright.stages.converter_boost_bill import boost_parts, boost_reasons
from subwright.stages.converter_boost_choke import choke_rise
from subwright.stages.converter_boost_control import design_loop, limit_at
from subwright.stages.converter_boost_records import (
    BoostCorner,
    BoostLoop,
    BoostPlan,
    BoostResult,
    BoostSolved,
    PreCharge,
)
from subwright.stages.converter_clamp import power_rating_w
from subwright.stages.converter_spec import ConverterSpec

__all__ = ["PLAYED", "crest_at", "finish_boost"]

PLAYED: Final = (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
_PRECHARGE_A: Final = 1.5
_LEFT: Final = 0.05
_SAFE_V: Final = 5.0
_SAG: Final = 0.93
_NOTES: Final = 24
_LIGHT: Final = 0.1  # of the crest's current, for the loop at a light load


def crest_at(
    plan: BoostPlan, values: BoostValues, emf_v: float, source_ohm: float
) -> tuple[float, BoostCrest]:
    """Rail, V, and switching cycle at the crest of a full sine, where the duty allows.

    Parameters
    ----------
    plan, values : the converter. emf_v, source_ohm : battery, V and Ω.

    Returns
    -------
    (rail, cycle). Where battery or greatest duty don't reach the set rail, the highest that they do reach,
    the amplifier's current falling with it.
    """
    set_v = plan.divider.set_v
    whole = _crest(plan, values, emf_v, source_ohm, set_v)
    if _good(plan, whole):
        return set_v, whole
    low, high = 0.5 * emf_v, set_v
    for _ in range(24):
        middle = 0.5 * (low + high)
        good = _good(plan, _crest(plan, values, emf_v, source_ohm, middle))
        low, high = (middle, high) if good else (low, middle)
    return low, _crest(plan, values, emf_v, source_ohm, low)


def _crest(
    plan: BoostPlan, values: BoostValues, emf_v: float, source_ohm: float, rail_v: float
) -> BoostCrest:
    """The cycle at a rail, the amplifier's current falling with it and the edges' loss counted."""
    rail_a = plan.demand.rail_crest_a * rail_v / plan.divider.set_v
    edges = 0.5 * values.switching_hz * rail_v * (values.turn_on_s + values.turn_off_s)
    extra = values.gate_w + edges * rail_a * rail_v / max(emf_v, 1.0)
    extra += 0.5 * values.switching_hz * values.node_f * rail_v**2
    return boost_crest(values, emf_v, source_ohm, rail_v, rail_a, extra)


def _good(plan: BoostPlan, crest: BoostCrest) -> bool:
    return crest.reaches and crest.duty <= plan.timing.duty_most


def finish_boost(
    spec: ConverterSpec, plan: BoostPlan, values: BoostValues, solved: BoostSolved, library: Library
) -> BoostResult:
    """The whole result from the plan and the settled chain.

    Parameters
    ----------
    spec, plan, values : as designed, at the settled temperatures. solved : out of the chain.
    library : parts with the drawer merged.

    Returns
    -------
    BoostResult.

    Source
    ------
    Right-half-plane zero and loop: Erickson & Maksimović ch. 8, 12 [erickson2001], Ridley [ridley1990].
    """
    demand, divider, timing = plan.demand, plan.divider, plan.timing
    corners = tuple(_corner(plan, values, corner, solved.source_ohm) for corner in PLAYED)
    tired = corners[0]
    loop = _loop(spec, plan, values, corners)
    bass_v, bass_hz = _bass(plan, loop)
    ripple_v = tired.rail_v / divider.set_v * demand.rail_crest_a * tired.duty
    ripple_v = ripple_v / (timing.switching_hz * plan.rail_f) + plan.rail_bank.esr_ohm * tired.peak_a
    supply = plan.gate_supply
    low_emf = demand.emf_v[Corner.LOW]
    gate_low = (supply.output_v if supply else _SAG * low_emf) - plan.drive.driver.drop_v
    rises = choke_rise(plan.choke, solved.choke_w[Level.PROGRAMME])
    bare = BoostResult(
        plan=plan,
        set_v=divider.set_v,
        rail_low_v=divider.low_v,
        rail_high_v=divider.high_v,
        ratio=divider.set_v / low_emf,
        holds_from_v=_holds_from_v(plan, values, solved.source_ohm),
        duty_room=timing.duty_most - tired.duty,
        corners=corners,
        loop=loop,
        precharge=_precharge(plan, solved.source_ohm),
        switch_rms_a=solved.switch_rms_a,
        choke_rms_a=solved.choke_rms_a,
        diode_mean_a=solved.diode_mean_a,
        input_ripple_a=solved.input_ripple_a,
        rail_ripple_a=solved.rail_ripple_a,
        rail_ripple_v=ripple_v,
        bass_ripple_v=bass_v,
        bass_ripple_hz=bass_hz,
        drain_peak_v=(divider.high_v + values.diode_v) * (1.0 + spec.spike_allowance),
        drain_limit_v=plan.switch.mosfet.vds_v,
        reverse_peak_v=divider.high_v * (1.0 + spec.ringing_allowance),
        reverse_limit_v=plan.diode.rectifier.vrrm_v,
        choke_c={
            level: choke_temperature_c(plan, w, demand.ambient_c) for level, w in solved.choke_w.items()
        },
        choke_w=solved.choke_w,
        choke_rise_low_k=float(rises.low_k),
        choke_rise_high_k=float(rises.high_k),
        disconnect=spec.disconnect,
        fuse_a=solved.fuse_a,
        fault_a=solved.fault_a,
        bleeder_s=plan.bleeder_ohm * plan.rail_f * log(divider.set_v / _SAFE_V),
        lost_loop_v=lost_duty_rail_v(demand.emf_v[Corner.MAX], timing.duty_most, values.diode_v),
        efficiency=solved.efficiency,
        gate_v_low=gate_low,
        start_v=start_v(low_emf) if supply else _SAG * low_emf,
        parts=(),
        losses=(
            Loss(
                where="boost choke",
                idle_w=solved.choke_w[Level.IDLE],
                programme_w=solved.choke_w[Level.PROGRAMME],
                full_w=solved.choke_w[Level.FULL],
            ),
        ),
        contributors=_contributors(plan),
        sources=("erickson2001", "ridley1990", "unitrode-u97", "ti-slus223", "ti-slva372", "dowell1966",
                 "venkatachalam2002", "mclyman-handbook"),
        reasons=(),
    )  # fmt: skip
    return replace(bare, parts=boost_parts(bare, library), reasons=boost_reasons(bare, fed_from_rail(spec)))


def _corner(plan: BoostPlan, values: BoostValues, corner: Corner, source_ohm: float) -> BoostCorner:
    rail_v, crest = crest_at(plan, values, plan.demand.emf_v[corner], source_ohm)
    sense, timing = plan.sense, plan.timing
    threshold = (plan.controller.sense_v or 1.0) * (1.0 - (plan.controller.sense_tolerance or 0.1))
    rail_a = plan.demand.rail_crest_a * rail_v / plan.divider.set_v
    return BoostCorner(
        corner=corner,
        terminal_v=crest.terminal_v,
        rail_v=rail_v,
        duty=crest.duty,
        choke_a=crest.choke_a,
        ripple_a=crest.ripple_a,
        peak_a=crest.peak_a,
        limit_a=limit_at(threshold, crest.duty, timing, sense.offset_v, sense.slope_v_per_s, sense.sense_ohm),
        switch_rms_a=crest.switch_rms_a,
        diode_rms_a=crest.diode_rms_a,
        zero_hz=float(right_half_plane_zero_hz(rail_v / rail_a, min(crest.duty, 0.99), values.inductance_h)),
    )


def _plant(
    plan: BoostPlan, values: BoostValues, at: BoostCorner, share: float, *, constant_power: bool
) -> CurrentModePlant:
    rising = at.terminal_v / values.inductance_h * plan.sense.sense_ohm
    quality = float(sampling_quality(at.duty, plan.sense.slope_v_per_s, rising))
    return CurrentModePlant(
        rail_v=at.rail_v,
        rail_a=share * plan.demand.rail_crest_a * at.rail_v / plan.divider.set_v,
        duty=at.duty,
        inductance_h=values.inductance_h,
        capacitance_f=plan.rail_f,
        esr_ohm=values.rail_esr_ohm,
        sense_ohm=plan.sense.sense_ohm,
        switching_hz=values.switching_hz,
        quality=quality,
        constant_power=constant_power,
    )


def _loop(
    spec: ConverterSpec, plan: BoostPlan, values: BoostValues, corners: tuple[BoostCorner, ...]
) -> BoostLoop:
    by_zero = sorted(corners, key=lambda at: at.zero_hz)
    plants: dict[str, CurrentModePlant] = {}
    for at in (by_zero[0], *(c for c in corners if c is not by_zero[0])):
        if at.duty <= 0.02:
            continue  # the battery runs through: nothing is regulated
        plants[f"{at.corner.value}, crest"] = _plant(plan, values, at, 1.0, constant_power=True)
        plants[f"{at.corner.value}, crest, load a resistor"] = _plant(
            plan, values, at, 1.0, constant_power=False
        )
        if _LIGHT * at.choke_a > 0.5 * at.ripple_a:
            plants[f"{at.corner.value}, a tenth"] = _plant(plan, values, at, _LIGHT, constant_power=True)
    return design_loop(
        plan.divider,
        plan.controller.sense_division or 3.0,
        plants,
        by_zero[0].zero_hz,
        spec.timing_resistor_series,
    )


def _bass(plan: BoostPlan, loop: BoostLoop) -> tuple[float, float]:
    """Peak ripple of the rail, V, and its frequency, Hz, at twice the worst note of a full sine."""
    note = np.geomspace(plan.demand.lowest_note_hz, plan.demand.upper_note_hz, _NOTES)
    twice = 2.0 * note
    parts = Compensator(
        plan.divider.top_ohm,
        loop.series_ohm,
        loop.series_f,
        loop.across_f,
        plan.controller.sense_division or 3.0,
    )
    around = plant_gain(loop.plant, twice) * compensator_gain(parts, twice)
    own = plan.rail_bank.esr_ohm + 1.0 / (2j * np.pi * twice * plan.rail_f)
    # The current of a sine's power: its mean, and as much again at twice the note.
    ripple = 0.5 * plan.demand.rail_crest_a * np.abs(own / (1.0 + around))
    worst = int(np.argmax(ripple))
    return float(ripple[worst]), float(twice[worst])


def _holds_from_v(plan: BoostPlan, values: BoostValues, source_ohm: float) -> float:
    """Least battery at rest that holds the rail at the crest, V."""
    top = plan.divider.set_v
    low, high = 0.2 * top, top

    def holds(emf_v: float) -> bool:
        return _good(plan, _crest(plan, values, emf_v, source_ohm, top))

    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def _precharge(plan: BoostPlan, source_ohm: float) -> PreCharge:
    battery = plan.demand.emf_v[Corner.MAX]
    rail_f, whole_f = plan.rail_f, plan.rail_f + plan.input_bank.capacitance_f
    loop = source_ohm + plan.choke.cold_ohm + plan.link_ohm + plan.rail_bank.esr_ohm
    loop += plan.diode.rectifier.rd_ohm / plan.diode.legs
    damping = 0.5 * loop * sqrt(rail_f / plan.choke.inductance_h)
    beyond = exp(-pi * damping / sqrt(1.0 - damping**2)) if damping < 1.0 else 0.0
    resistor = at_least(battery / _PRECHARGE_A, "E6")
    return PreCharge(
        plain_peak_a=inrush_peak_a(battery, plan.choke.inductance_h, rail_f, loop),
        rail_overshoot_v=battery * (1.0 + beyond),
        resistor_ohm=resistor,
        rating_w=power_rating_w(max(3.0, 0.15 * battery**2 / resistor)),
        peak_a=battery / resistor,
        wait_s=precharge_time_s(resistor, whole_f, _LEFT),
        energy_j=0.5 * whole_f * battery**2,
    )


def _contributors(plan: BoostPlan) -> tuple[Contributor, ...]:
    divider, controller = plan.divider, plan.controller
    share = 1.0 - divider.reference_v / divider.set_v
    return (
        Contributor(
            result="raised rail",
            part="controller reference",
            tolerance=controller.error_tolerance or 0.02,
            sensitivity=1.0,
        ),
        Contributor(result="raised rail", part="feedback divider, top", tolerance=0.01, sensitivity=share),
        Contributor(
            result="raised rail", part="feedback divider, bottom", tolerance=0.01, sensitivity=-share
        ),
        Contributor(
            result="switching frequency",
            part="controller oscillator",
            tolerance=controller.osc_tolerance,
            sensitivity=1.0,
        ),
    )
