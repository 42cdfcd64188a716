"""Converter and transformer inside the electrical rounds.

The first round plans the converter and looks for a transformer. The rounds after it keep both: only the
window of turns ratios, the winding's temperature and what hangs on them move.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.build.chain_model import ChainPoint, ConverterModel
from subwright.build.electrical_demands import NOMINAL, PLAYING, Job
from subwright.build.waveform import sine
from subwright.parts.library import Library
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.common import Corner, Level
from subwright.stages.converter import (
    ConverterDemand,
    ConverterPlan,
    ConverterResult,
    Magnetics,
    auxiliary_ratio,
    hot_resistance,
    list_converter,
    plan_converter,
    replan_converter,
    size_converter,
)
from subwright.stages.transformer import (
    AuxiliaryNeed,
    HeldTransformer,
    RailNeed,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
    choose_transformer,
)

__all__ = ["ConverterRound", "Retry", "Surroundings", "holding_round", "searching_round"]

_REVERSE_ROOM: Final = 1.02  # over the reverse voltage found, for a winding that another search may give
_RIPPLE_SHARE: Final = 0.005  # switching ripple accepted on a rail, of its voltage; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class Surroundings:
    """What a round finds around the converter."""

    source_ohm: float
    switch_c: float
    diode_c: float
    chain: Mapping[Level, ChainPoint] | None  # of the round before


@dataclass(frozen=True, kw_only=True, slots=True)
class Retry:
    """Why the transformer is looked for again: the one before fell short of the power."""

    rail_lift: float = 1.0  # over the rail asked for, to make up for what the search leaves out
    core: HeldTransformer | None = None  # whose core is kept while turns and wires are looked for anew
    fallback: HeldTransformer | None = None  # falls short of the power, but exists
    explain: bool = True  # at length, why nothing serves


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterRound:
    """Converter and transformer as one round leaves them."""

    demand: ConverterDemand
    plan: ConverterPlan
    need: TransformerNeed
    held: HeldTransformer
    magnetics: Magnetics
    winding_c: float  # the transformer's own temperature
    converter: ConverterResult  # sized; without its list of parts
    model: ConverterModel

    def finished(self, job: Job) -> tuple[ConverterResult, TransformerResult]:
        """The whole results, with parts and reasons."""
        return (
            list_converter(job.spec.converter, self.demand, self.converter, job.library),
            self.held.finished(self.need, job.library, self.winding_c),
        )


def searching_round(
    job: Job, amplifier: AmplifierResult, around: Surroundings, retry: Retry
) -> ConverterRound:
    """Plan the converter and look for a transformer.

    Parameters
    ----------
    job : what all rounds share. amplifier : what the rails feed. around : what the round finds.
    retry : what an earlier search has taught.

    Raises
    ------
    NoSolutionError : no part, ratio or transformer serves.
    """
    demand = _converter_demand(job, amplifier, around)
    made = _searched(job, demand, around, retry)
    reverse_v = made.converter.reverse_peak_v
    if reverse_v > made.converter.reverse_limit_v and job.spec.converter.rectifier == "auto":
        # The winding that was found asks more of the rectifier than was reckoned before it was known.
        made = _searched(job, replace(demand, least_reverse_v=_REVERSE_ROOM * reverse_v), around, retry)
    return made


def _searched(job: Job, demand: ConverterDemand, around: Surroundings, retry: Retry) -> ConverterRound:
    spec, library = job.spec, job.library
    plan = plan_converter(spec.converter, demand, library)
    need = _transformer_need(job, demand, plan, around, retry.rail_lift)
    tired = need.rail is not None and need.rail.held and demand.emf_nominal_v > need.rail.emf_v
    try:
        held = _chosen(spec.transformer, need, library, retry, explain=not tired)
    except NoSolutionError:
        if need.rail is None or not tired:
            raise
        # A rail that can't hold on a tired battery may still hold on the nominal one; a finding says so.
        need = replace(need, rail=replace(need.rail, emf_v=demand.emf_nominal_v))
        held = _chosen(spec.transformer, need, library, retry)
    return _sized(job, demand, plan, need, held)


def holding_round(
    job: Job, amplifier: AmplifierResult, around: Surroundings, retry: Retry, before: ConverterRound
) -> ConverterRound:
    """The same converter and transformer in other surroundings.

    Parameters
    ----------
    job, amplifier, around, retry : as for ``searching_round``. before : the round before.

    Raises
    ------
    NoSolutionError : no ratio serves any more, or a capacitor bank, clamp or choke is missing.
    """
    demand = _converter_demand(job, amplifier, around)
    plan = replan_converter(job.spec.converter, demand, before.plan)
    need = _transformer_need(job, demand, plan, around, retry.rail_lift)
    return _sized(job, demand, plan, need, before.held, before.winding_c)


def _sized(
    job: Job,
    demand: ConverterDemand,
    plan: ConverterPlan,
    need: TransformerNeed,
    held: HeldTransformer,
    last_c: float | None = None,
) -> ConverterRound:
    magnetics, winding_c = _magnetics(held, need, job.library, last_c)
    converter = size_converter(job.spec.converter, demand, plan, magnetics, job.library)
    return ConverterRound(
        demand=demand,
        plan=plan,
        need=need,
        held=held,
        magnetics=magnetics,
        winding_c=winding_c,
        converter=converter,
        model=_model(converter),
    )


def _converter_demand(job: Job, amplifier: AmplifierResult, around: Surroundings) -> ConverterDemand:
    """Rails, currents and battery that the converter is designed for."""
    spec, corners = job.spec, job.corners
    if spec.converter.topology == "none":
        raise NoSolutionError(
            message="This amplifier needs rails, but the build says that there is no converter.",
            quantity="converter.topology",
            value="none",
            limit="push-pull for an amplifier on rails",
            remedy='Set converter.topology = "auto", or choose an amplifier that runs from the battery.',
        )
    small_a = spec.converter.auxiliary_current_a if spec.converter.auxiliary_feed == "rails" else 0.0
    return ConverterDemand(
        rail_needed_v=amplifier.rail_needed_v,
        rail_max_v=amplifier.rail_max_v,
        rail_crest_a=amplifier.rail_crest_a + small_a,
        rail_mean_a=amplifier.rail_average_a + small_a,
        music_mean_square=_music_mean_square(amplifier),
        emf_nominal_v=corners[Corner.NOMINAL],
        emf_max_v=corners[Corner.MAX],
        emf_low_v=corners[Corner.LOW],
        source_ohm=around.source_ohm,
        ambient_c=spec.supply.ambient_max_c + spec.heat.air_rise_k,
        pumping_f=amplifier.rail_capacitance_needed_f or 0.0,
        rail_ripple_v=_RIPPLE_SHARE * amplifier.rail_needed_v,
        switch_c=around.switch_c,
        diode_c=around.diode_c,
        lowest_note_hz=spec.goal.lowest_note_hz,
        both_rails=amplifier.both_rails,
    )


def _music_mean_square(amplifier: AmplifierResult) -> float:
    """Mean square of the supply current over its squared crest, full sine (dimensionless)."""
    wave = sine()
    v = amplifier.peak_v * wave.in_phase
    power = amplifier.input_power_w(v, v / amplifier.load_ohm, amplifier.rail_needed_v)
    return float(wave.weight @ power**2 / power[wave.crest] ** 2)


def _transformer_need(
    job: Job, demand: ConverterDemand, plan: ConverterPlan, around: Surroundings, rail_lift: float
) -> TransformerNeed:
    """Currents, voltages and ratios for the transformer; before any chain is solved, the plan's estimates."""
    spec, corners, waves, chain = job.spec, job.corners, job.waves, around.chain
    if chain is None:
        primary, secondary = plan.primary_rms_a, plan.secondary_rms_a
        music = waves[Level.PROGRAMME]
        tone = waves[Level.FULL]
        programme_share = float((music.weight @ music.in_phase**4) / (tone.weight @ tone.in_phase**4))
    else:
        full, heard = chain[Level.FULL], chain[Level.PROGRAMME]
        primary = float(full.primary_rms_a[NOMINAL])
        secondary = float(full.secondary_rms_a[NOMINAL])
        programme_share = float((heard.primary_rms_a[NOMINAL] / primary) ** 2)
    least = plan.ratio_least
    return TransformerNeed(
        switching_hz=plan.timing.switching_hz,
        v_primary_max_v=corners[Corner.MAX],
        duty=plan.timing.share,
        ratio_min=least,
        ratio_max=plan.ratio_most,
        ratio_target=min((1.03 if plan.regulated else 1.06) * least, plan.ratio_most),
        # The one primary of a bridge carries what two half-primaries would carry in turns.
        primary="single" if plan.topology == "full-bridge" else "centre-tapped",
        primary_rms_a=primary * sqrt(2.0) if plan.topology == "full-bridge" else primary,
        secondary_rms_a=secondary,
        ambient_c=spec.supply.ambient_max_c,
        programme_mean_square=programme_share,
        corner_v={corner: corners[corner] for corner in PLAYING},
        auxiliary=AuxiliaryNeed(
            ratio_least=auxiliary_ratio(demand.emf_low_v), current_a=spec.converter.auxiliary_current_a
        )
        if spec.converter.auxiliary_feed == "winding"
        else None,
        rectifier_filter="choke" if plan.regulated else "capacitor",
        rail=RailNeed(
            emf_v=demand.emf_low_v if plan.regulated else demand.emf_nominal_v,
            emf_most_v=demand.emf_max_v,
            source_ohm=demand.source_ohm,
            path_ohm=hot_resistance(plan.switch.mosfet, demand.switch_c)
            / plan.switch.per_side
            * (2.0 if plan.topology == "full-bridge" else 1.0)
            + spec.converter.link_ohm,
            diode_v=plan.rectifier.rectifier.vf0_v,
            diode_ohm=plan.rectifier.rectifier.rd_ohm,
            crest_a=demand.rail_crest_a,
            needed_v=plan.rail_v * rail_lift,
            most_v=demand.rail_max_v,
            held=plan.regulated,
            halves_loaded=2 if demand.both_rails else 1,
        ),
        tap_share=spec.amplifier.inner_rail if spec.amplifier.kind == "class_g" else 0.0,
    )


def _chosen(
    spec: TransformerSpec, need: TransformerNeed, library: Library, retry: Retry, *, explain: bool = True
) -> HeldTransformer:
    """Look for a transformer: on the same core where that will do, or on any."""
    if retry.core is not None:
        try:
            return choose_transformer(
                retry.core.with_core(), need, library, compare=False, effort="quick", explain=False
            )
        except NoSolutionError:
            pass  # this core can't make up for it: look at the others
    try:
        first = retry.fallback is None
        return choose_transformer(
            spec, need, library, compare=first, effort="quick", explain=explain and first and retry.explain
        )
    except NoSolutionError:
        if retry.fallback is None:
            raise
        # Nothing reaches the power: keep what comes closest, and let the findings say by how much it misses.
        return choose_transformer(retry.fallback.with_everything(), need, library, compare=False)


def _magnetics(
    held: HeldTransformer, need: TransformerNeed, library: Library, last_c: float | None
) -> tuple[Magnetics, float]:
    heated = held.heated(need, library, last_c)
    magnetics = Magnetics(
        primary_turns=held.primary_turns,
        secondary_turns=held.secondary_turns,
        primary_ohm=heated.primary.resistance_ac_ohm,
        secondary_ohm=heated.secondary.resistance_ac_ohm,
        leakage_h=heated.leakage_h[0],
        magnetising_h=heated.magnetising_h,
        core_w=heated.core_w,
        core_v=heated.core_v,
        core_exponent=heated.core_exponent,
    )
    return magnetics, heated.temperature_c


def _model(converter: ConverterResult) -> ConverterModel:
    timing, magnetics, supply = converter.plan.timing, converter.magnetics, converter.gate_supply
    choke, auxiliary = converter.choke, converter.auxiliary
    ring_s = 2.0 * converter.rectifier_snubber.capacitor_f * timing.switching_hz
    return ConverterModel(
        ratio=converter.ratio,
        switching_hz=timing.switching_hz,
        share=timing.share,
        switch_ohm=converter.switch_ohm,
        primary_winding_ohm=converter.winding_ohm,
        link_ohm=converter.link_ohm,
        secondary_winding_ohm=magnetics.secondary_ohm,
        diode_ohm=converter.diode_ohm,
        diode_v=converter.diode_v,
        leakage_h=magnetics.leakage_h,
        input_esr_ohm=converter.input_bank.esr_ohm,
        reservoir_esr_ohm=converter.reservoir_bank.esr_ohm,
        turn_off_s=converter.turn_off_s,
        gate_w=converter.gate_w,
        control_w=0.0 if supply else converter.control_w,
        control_a=supply.load_a if supply else 0.0,
        zener_v=supply.zener.vz_v if supply else 0.0,
        zener_ohm=supply.series_ohm if supply else inf,
        clamp_ohm=converter.clamp.resistor_ohm if converter.clamp else None,
        clamp_diode_v=converter.clamp.diode.vf0_v if converter.clamp else 0.0,
        return_drop_v=converter.plan.switch.mosfet.vsd_v if converter.topology == "full-bridge" else None,
        avalanche_v=converter.plan.switch.mosfet.vds_v,
        rest_factor=1.0 if converter.topology == "full-bridge" else 2.0,
        recovery=converter.recovery,
        aux_a=auxiliary.current_a if auxiliary.source == "rails" else 0.0,
        aux_primary_a=auxiliary.primary_a,
        bleeder_s=1.0 / converter.bleeder_ohm,
        ring_s=0.0 if choke else ring_s,
        set_v=choke.set_v if choke else None,
        choke_ohm=choke.choke.resistance_ohm if choke else 0.0,
        choke_core_w=choke.choke.core_w if choke else 0.0,
        choke_ripple_a=choke.ripple_a if choke else 0.0,
        reservoir_w=2.0 * converter.reservoir_bank.esr_ohm * choke.ripple_a**2 / 12.0 if choke else 0.0,
        ring_shunt_s=2.0 * ring_s * converter.ratio**2 if choke else 0.0,  # no swing past the choke's zero
        core_w=magnetics.core_w,
        core_v=magnetics.core_v,
        core_exponent=magnetics.core_exponent,
        shunt_s=converter.shunt_s,
    )
