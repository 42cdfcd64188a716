"""The electrical rounds with a boost converter: its parts are chosen once, then temperatures settle."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import sqrt
from typing import Final

import numpy as np

from subwright.base.errors import ConvergenceError
from subwright.build.chain import SolvedChain, find_clipping, solve_waveforms
from subwright.build.chain_boost import BoostModel
from subwright.build.chain_model import ChainPoint, LoadPoint, Source
from subwright.build.electrical_demands import (
    NOMINAL,
    PLAYING,
    RECTIFIER,
    SWITCH,
    Job,
    device_on_sink,
    supply_demand,
    wiring_demand,
)
from subwright.build.spec import BuildSpec
from subwright.build.waveform import sine
from subwright.parts.library import Library
from subwright.physics.core_loss import igse_coefficient
from subwright.physics.thermal import ThermalDevice
from subwright.physics.transients import CLAMPED_DUMP_V
from subwright.stages.amplifier import AmplifierResult, RaisedRail, design_amplifier
from subwright.stages.common import Corner, Level
from subwright.stages.converter_boost import (
    RailPlan,
    boost_values,
    choke_temperature_c,
    plan_boost,
    plan_rail,
)
from subwright.stages.converter_boost_finish import finish_boost
from subwright.stages.converter_boost_records import BoostDemand, BoostPlan, BoostResult, BoostSolved
from subwright.stages.converter_boost_stop import RUN_OHM
from subwright.stages.heat import HeatDemand, HeatResult, design_heat
from subwright.stages.supply import SupplyResult, design_supply
from subwright.stages.wiring import ConductorNeed, WiringResult, choose_speaker_cable, design_wiring

__all__ = ["BoostSettled", "expected_rail", "settle_boost"]

_MOST_ROUNDS: Final = 30
_SETTLED: Final = 1e-6
_FREE_ROUNDS: Final = 12
_FIRST_C: Final = 100.0
_FIRST_CHOKE_C: Final = 70.0
_GUESS: Final = 1.15  # rail over the crest at full modulation, before anything is known
_GUESS_SHARE: Final = 0.95  # of the rail, before the modulator says


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostSettled:
    """What the rounds come to."""

    amplifier: AmplifierResult
    boost: BoostResult
    supply: SupplyResult
    wiring: WiringResult
    heat: HeatResult
    source: Source
    model: BoostModel
    chain: Mapping[Level, ChainPoint]
    rounds: int
    residual: float


def settle_boost(
    job: Job,
    first: Source,
    source_of: Callable[[SupplyResult], Source],
    progress: Callable[[str, float], None],
) -> BoostSettled:
    """Settle amplifier, boost converter, supply, wiring and heat together.

    Parameters
    ----------
    job : what all rounds share. first : source resistance to begin with.
    source_of : that of a designed supply. progress : told what is being done, and the share done.

    Raises
    ------
    NoSolutionError : a stage finds no part, or the source can't carry the power.
    ConvergenceError : the rounds don't agree within 1e-6.
    """
    spec, library = job.spec, job.library
    rail = _rail(job)
    amplifier = _amplifier(job, rail)
    source = first
    plan: BoostPlan | None = None
    switch_c, choke_c = _FIRST_C, _FIRST_CHOKE_C
    supply: SupplyResult | None = None
    heat: HeatResult | None = None
    solved: SolvedChain | None = None
    residual = np.inf
    levels = tuple(job.waves)
    for number in range(1, _MOST_ROUNDS + 1):
        progress("settling battery, boost converter and amplifier", min(0.9, 0.15 * number))
        if plan is None:
            plan = plan_boost(spec.converter, _demand(job, amplifier, source), rail, library)
        model = _model(job, plan, switch_c, choke_c)
        load = LoadPoint(conductance_s=1.0 / job.load_ohm)
        crest = None if solved is None else solved.crests[levels.index(Level.FULL)]
        start = None if solved is None else solved.state
        peak = find_clipping(job.emf_v, load, source, amplifier, model, crest)
        solved = solve_waveforms(
            job.emf_v, peak, tuple(job.waves.values()), load, source, amplifier, model, start
        )
        points = dict(zip(levels, solved.points, strict=True))
        supply = design_supply(
            spec.supply,
            supply_demand(points),
            within_ohm=job.within_ohm,
            min_section_m2=0.0 if supply is None else supply.section_m2,
            min_fuse_a=0.0 if supply is None else supply.fuse_a,
        )
        wishes = spec.heat
        if number > _FREE_ROUNDS and heat is not None and heat.form == "heatsink":
            wishes = wishes.model_copy(update={"heatsink": heat.sink_id})
        heat = design_heat(wishes, _heat_demand(job, amplifier, plan, points), library)
        junction = {device.name: device.junction_c[Level.PROGRAMME] for device in heat.devices}
        now = source_of(supply)
        warm = choke_temperature_c(plan, _choke_w(points, Level.PROGRAMME), plan.demand.ambient_c)
        residual = max(
            abs(now.total_ohm / source.total_ohm - 1.0),
            abs((junction[SWITCH] + 273.15) / (switch_c + 273.15) - 1.0),
            abs((warm + 273.15) / (choke_c + 273.15) - 1.0),
        )
        if residual < _SETTLED:
            return _finished(job, amplifier, plan, source, model, solved, supply, heat, number, residual)
        source, switch_c, choke_c = now, junction[SWITCH], warm
    raise ConvergenceError(
        message="Battery, boost converter, amplifier and temperatures did not settle on one design.",
        quantity="relative change in the last round",
        value=f"{residual:.3g}",
        limit=f"{_SETTLED:g}",
        remedy="Fix the part that keeps changing: set supply.section or heat.heatsink.",
    )


def _finished(
    job: Job,
    amplifier: AmplifierResult,
    plan: BoostPlan,
    source: Source,
    model: BoostModel,
    solved: SolvedChain,
    supply: SupplyResult,
    heat: HeatResult,
    number: int,
    residual: float,
) -> BoostSettled:
    points = dict(zip(tuple(job.waves), solved.points, strict=True))
    junction = {device.name: device.junction_c[Level.PROGRAMME] for device in heat.devices}
    warm = choke_temperature_c(plan, _choke_w(points, Level.PROGRAMME), plan.demand.ambient_c)
    full = points[Level.FULL]
    boost = finish_boost(
        job.spec.converter,
        plan,
        boost_values(job.spec.converter, plan, junction[SWITCH], warm),
        BoostSolved(
            source_ohm=source.total_ohm,
            fuse_a=supply.fuse_a,
            fault_a=supply.fault_far_a,
            choke_w={level: _choke_w(points, level) for level in points},
            switch_rms_a=sqrt(float(full.losses_w["switch conduction"][NOMINAL]) / model.switch_ohm),
            choke_rms_a=float(full.primary_rms_a[NOMINAL]),
            diode_mean_a=float(full.diode_a[NOMINAL]),
            input_ripple_a=float(full.input_ripple_a.max()),
            rail_ripple_a=float(full.reservoir_ripple_a.max()),
            efficiency={corner: _efficiency(full, k) for k, corner in enumerate(PLAYING)},
        ),
        job.library,
    )
    wiring = wiring_demand(job.spec, amplifier, None, supply, points)
    wiring = replace(wiring, conductors=(*wiring.conductors, *_conductors(plan, points)))
    return BoostSettled(
        amplifier=amplifier,
        boost=boost,
        supply=supply,
        wiring=design_wiring(job.spec.wiring, wiring),
        heat=heat,
        source=source,
        model=model,
        chain=points,
        rounds=number,
        residual=residual,
    )


def _efficiency(full: ChainPoint, k: int) -> float:
    """Rail power over power from the terminals at a corner, full sine."""
    outside = ("battery", "cable", "fuse and contacts")
    at_terminals = float(full.battery_w[k]) - sum(float(full.losses_w[name][k]) for name in outside)
    after = sum(float(w[k]) for name, w in full.losses_w.items() if name.startswith("amplifier "))
    return (float(full.output_w[k]) + after) / at_terminals


def _choke_w(points: Mapping[Level, ChainPoint], level: Level) -> float:
    """Choke's heat at a level, hardest corner, W."""
    losses = points[level].losses_w
    return float(np.max(losses["choke copper"] + losses["choke core"]))


def expected_rail(spec: BuildSpec, target_w: float, load_ohm: float) -> RaisedRail | None:
    """The raised rail before anything is designed; None for a build without a boost converter.

    Parameters
    ----------
    spec : the build. target_w : sine power, W. load_ohm : the driver group, Ω.
    """
    if spec.converter.topology != "boost":
        return None
    guess = _GUESS * sqrt(2.0 * target_w * load_ohm) / (spec.amplifier.modulation_max or _GUESS_SHARE)
    guess = max(guess, spec.converter.rail_v or 0.0)
    return RaisedRail(set_v=guess, high_v=1.04 * guess, pulse_v=1.2 * guess)


def _rail(job: Job) -> RailPlan:
    """The rail that the target power needs, by an amplifier on an estimated one."""
    spec = job.spec
    peak_v = sqrt(2.0 * job.target_w * job.load_ohm)
    guess = expected_rail(spec, job.target_w, job.load_ohm)
    assert guess is not None
    trial = _designed(job, guess)
    needed = float(trial.rail_for_peak_v(peak_v, job.load_ohm))
    return plan_rail(spec.converter, needed, job.corners[Corner.MAX], job.library)


def _pulse_v(job: Job) -> float:
    """Highest battery for a moment: it passes choke and diode as if they weren't there, V."""
    return CLAMPED_DUMP_V.get(job.spec.supply.system_v, job.corners[Corner.MAX])


def _amplifier(job: Job, rail: RailPlan) -> AmplifierResult:
    raised = RaisedRail(
        set_v=rail.divider.set_v,
        high_v=rail.divider.high_v,
        pulse_v=max(rail.guard.most_v, _pulse_v(job)),
    )
    return _designed(job, raised)


def _designed(job: Job, raised: RaisedRail) -> AmplifierResult:
    speaker = choose_speaker_cable(job.spec.wiring, job.load_ohm, sqrt(job.target_w / job.load_ohm))
    return design_amplifier(
        job.spec.amplifier,
        job.target_w,
        job.load_ohm,
        job.corners,
        job.library,
        crest_factor_db=job.spec.goal.crest_factor_db,
        lowest_note_hz=job.spec.goal.lowest_note_hz,
        speaker_cable_ohm=speaker.resistance_ohm + job.lead_ohm,
        raised=raised,
    )


def _demand(job: Job, amplifier: AmplifierResult, source: Source) -> BoostDemand:
    spec = job.spec
    wave, rail_v = sine(), amplifier.rail_needed_v
    v = amplifier.peak_v * wave.in_phase
    power = amplifier.input_power_w(v, v / amplifier.load_ohm, rail_v)
    own_f = 0.0
    if amplifier.input_capacitor_id:
        can = job.library.capacitor(amplifier.input_capacitor_id)
        own_f = amplifier.input_capacitor_count * can.capacitance_f
    return BoostDemand(
        rail_needed_v=rail_v,
        rail_crest_a=float(power[wave.crest]) / rail_v,
        rail_mean_a=float(wave.weight @ power) / rail_v,
        music_mean_square=float(wave.weight @ power**2 / power[wave.crest] ** 2),
        emf_v=job.corners,
        source_ohm=source.total_ohm,
        ambient_c=spec.supply.ambient_max_c + spec.heat.air_rise_k,
        lowest_note_hz=spec.goal.lowest_note_hz,
        upper_note_hz=spec.filter.corner_hz,
        amplifier_f=own_f,
        pulse_v=_pulse_v(job),
    )


def _model(job: Job, plan: BoostPlan, switch_c: float, choke_c: float) -> BoostModel:
    values = boost_values(job.spec.converter, plan, switch_c, choke_c)
    choke, supply = plan.choke, plan.gate_supply
    fit = job.library.materials[choke.core.material].fit_at(values.switching_hz)
    per_volt_second = 1.0 / (choke.turns * choke.core.a_e_m2)
    k_i = igse_coefficient(fit.k, fit.alpha, fit.beta)
    scale = k_i * values.switching_hz**fit.alpha * per_volt_second**fit.beta
    return BoostModel(
        set_v=plan.divider.set_v,
        duty_most=plan.timing.duty_most,
        switching_hz=values.switching_hz,
        inductance_h=values.inductance_h,
        choke_ohm=values.choke_ohm,
        choke_ripple_ohm=values.choke_ripple_ohm,
        switch_ohm=values.switch_ohm,
        link_ohm=values.link_ohm,
        diode_v=values.diode_v,
        diode_ohm=values.diode_ohm,
        input_esr_ohm=values.input_esr_ohm,
        rail_esr_ohm=values.rail_esr_ohm,
        turn_on_s=values.turn_on_s,
        turn_off_s=values.turn_off_s,
        recovery_s=values.recovery_s,
        node_f=values.node_f,
        snubber_f=plan.snubber_f,
        gate_w=values.gate_w,
        control_w=0.0 if supply else plan.controller.quiescent_a * job.corners[Corner.NOMINAL],
        control_a=supply.load_a if supply else 0.0,
        zener_v=supply.zener.vz_v if supply else 0.0,
        zener_ohm=supply.series_ohm if supply else np.inf,
        core_k=scale * choke.core.v_e_m3 * choke.core.loss_factor,
        core_alpha=fit.alpha,
        core_beta=fit.beta,
        bleeder_s=1.0 / plan.bleeder_ohm
        + 1.0 / (plan.divider.top_ohm + plan.divider.bottom_ohm)
        + (1.0 / RUN_OHM if supply else 0.0),
    )


def _heat_demand(
    job: Job, amplifier: AmplifierResult, plan: BoostPlan, points: Mapping[Level, ChainPoint]
) -> HeatDemand:
    mosfet, diode = plan.switch.mosfet, plan.diode.rectifier
    library: Library = job.library
    devices: tuple[ThermalDevice, ...] = (
        device_on_sink(
            SWITCH,
            ("switch conduction", "switch turn-off", "switch turn-on", "rectifier recovery"),
            points,
            library,
            count=plan.switch.per_side,
            rth_jc_k_per_w=mosfet.rth_jc_k_per_w,
            package=mosfet.package,
            tj_max_c=mosfet.tj_max_c,
        ),
        device_on_sink(
            RECTIFIER,
            ("rectifier",),
            points,
            library,
            count=plan.diode.packages,
            rth_jc_k_per_w=diode.rth_jc_k_per_w / diode.legs,
            package=diode.package,
            tj_max_c=diode.tj_max_c,
        ),
    )
    return HeatDemand(
        devices=(*amplifier.devices, *devices),
        ambient_c=job.spec.supply.ambient_max_c,
        trip_c=job.spec.protection.thermal_trip_c,
    )


def _conductors(plan: BoostPlan, points: Mapping[Level, ChainPoint]) -> tuple[ConductorNeed, ...]:
    """Choke, switch and rail with their currents at nominal battery."""
    full, heard, idle = (points[level] for level in (Level.FULL, Level.PROGRAMME, Level.IDLE))
    k = NOMINAL

    def need(name: str, field: str, peak_a: float, voltage_v: float, count: int) -> ConductorNeed:
        return ConductorNeed(
            name=name,
            rms_a=float(getattr(full, field)[k]),
            peak_a=peak_a,
            programme_rms_a=float(getattr(heard, field)[k]),
            idle_rms_a=float(getattr(idle, field)[k]),
            voltage_v=voltage_v,
            count=count,
        )

    crest = float(full.primary_peak_a[k])
    return (
        need("choke and switch", "primary_rms_a", crest, plan.drain_needed_v, 2),
        need("rectifier to rail capacitors", "secondary_rms_a", crest, plan.guard.most_v, 1),
        need("raised rail", "rail_a", float(full.rail_peak_a[k]), plan.guard.most_v, 2),
    )
