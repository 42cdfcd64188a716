"""The coupled electrical design: amplifier, converter, transformer, supply, wiring and heat until they agree.

Each round solves the chain with the real parts chosen so far and hands the currents back to the stages. The
transformer is searched anew only when its turns ratio no longer fits; otherwise its parts stay and only its
temperature and resistance move, so the rounds settle in a handful.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import inf, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError, NoSolutionError
from subwright.build.bridged import shared_model, shared_point
from subwright.build.chain import find_clipping, solve_chain
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, Source
from subwright.build.spec import BuildSpec
from subwright.build.waveform import Waveform, programme, silence, sine
from subwright.parts.library import Library
from subwright.physics.thermal import TO220_INTERFACE_K_PER_W, ThermalDevice
from subwright.stages.amplifier import AmplifierResult, design_amplifier
from subwright.stages.common import Corner, Level
from subwright.stages.converter import (
    ConverterDemand,
    ConverterPlan,
    ConverterResult,
    Magnetics,
    complete_converter,
    hot_resistance,
    plan_converter,
)
from subwright.stages.heat import HeatDemand, HeatResult, design_heat
from subwright.stages.supply import (
    SupplyDemand,
    SupplyResult,
    design_supply,
    supply_corners,
)
from subwright.stages.transformer import (
    RailNeed,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
    design_transformer,
    hold_core,
    keep_choice,
)
from subwright.stages.wiring import (
    ConductorNeed,
    WiringDemand,
    WiringResult,
    choose_speaker_cable,
    design_wiring,
)

__all__ = ["PLAYING", "Electrical", "design_electrical"]

Array = NDArray[np.float64]

PLAYING: Final = (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
"""Corners at which it plays; at the cranking corner it is held off."""

_NOMINAL: Final = PLAYING.index(Corner.NOMINAL)
_MOST_ROUNDS: Final = 30
_SETTLED: Final = 1e-6
_NEARLY: Final = 1e-3  # settled well enough to judge whether the power is reached
_ELSEWHERE: Final = frozenset(
    {"format_version", "name", "note", "drawer", "driver", "enclosure", "cabin", "filter", "input", "control"}
)
_MOST_LIFTS: Final = 4
_FREE_ROUNDS: Final = 12  # after these the heatsink is kept
_RIPPLE_SHARE: Final = 0.005  # switching ripple accepted on a rail, of its voltage; common practice
_FIRST_JUNCTION_C: Final = 100.0
_SWITCH: Final = "converter switch"
_RECTIFIER: Final = "rail rectifier"
_POWER_SLACK: Final = 0.01  # target power counts as met within this; the rule AMP-01 allows 2 %


@dataclass(frozen=True, kw_only=True, slots=True)
class Electrical:
    """The settled electrical design. ``chain`` maps each level to its solution over ``PLAYING``."""

    amplifier: AmplifierResult
    converter: ConverterResult | None
    transformer: TransformerResult | None
    supply: SupplyResult
    wiring: WiringResult
    heat: HeatResult
    source: Source
    model: ConverterModel | None
    chain: Mapping[Level, ChainPoint]
    rounds: int
    residual: float


@dataclass(frozen=True, kw_only=True, slots=True)
class _State:
    """What one round hands to the next."""

    source: Source
    switch_c: float
    diode_c: float
    magnetics: Magnetics | None
    transformer: TransformerResult | None
    core: TransformerResult | None  # whose core is kept while turns and wires are looked for anew
    fallback: TransformerResult | None  # falls short of the power, but exists
    rail_lift: float  # over the rail asked for, to make up for what the search leaves out
    chain: Mapping[Level, ChainPoint] | None


def design_electrical(
    spec: BuildSpec,
    target_w: float,
    load_ohm: float,
    library: Library,
    progress: Callable[[str, float], None],
    lead_ohm: float = 0.0,
) -> Electrical:
    """Settle amplifier, converter, transformer, supply, wiring and heat together.

    Parameters
    ----------
    spec : the build. target_w : sine power at clipping, nominal battery, W. load_ohm : the driver group, ohm.
    library : parts with the drawer merged. progress : told what is being done, and the share done.
    lead_ohm : switch and shunt in series with the load, beside the cable, ohm.

    Returns
    -------
    Electrical.

    Raises
    ------
    NoSolutionError : a stage finds no part, or the source can't carry the power.
    ConvergenceError : the stages don't agree within 1e-6 after 30 rounds.
    """
    return _remembered(
        _Wish(
            parts=tuple(getattr(spec, name) for name in type(spec).model_fields if name not in _ELSEWHERE),
            target_w=target_w,
            load_ohm=load_ohm,
            lead_ohm=lead_ohm,
            library=library,
            spec=spec,
            progress=progress,
        )
    )


@dataclass(frozen=True, slots=True)
class _Wish:
    """All that the electrical design depends on; what it doesn't depend on takes no part in comparison."""

    parts: tuple[object, ...]
    target_w: float
    load_ohm: float
    lead_ohm: float
    library: Library
    spec: BuildSpec = field(compare=False)
    progress: Callable[[str, float], None] = field(compare=False)


@lru_cache(maxsize=32)
def _remembered(wish: _Wish) -> Electrical:
    """The electrical design; a change of box, filter or name alone finds the one made before."""
    return _settled(wish.spec, wish.target_w, wish.load_ohm, wish.lead_ohm, wish.library, wish.progress)


def _settled(
    spec: BuildSpec,
    target_w: float,
    load_ohm: float,
    lead_ohm: float,
    library: Library,
    progress: Callable[[str, float], None],
) -> Electrical:
    corners, _ = supply_corners(spec.supply)
    emf = np.array([corners[corner] for corner in PLAYING])
    waves = {
        Level.IDLE: silence(),
        Level.PROGRAMME: programme(spec.goal.crest_factor_db, 16),
        Level.FULL: sine(16),
    }
    state = _State(
        source=_first_source(spec, target_w, corners),
        switch_c=_FIRST_JUNCTION_C,
        diode_c=_FIRST_JUNCTION_C,
        magnetics=None,
        transformer=None,
        core=None,
        fallback=None,
        rail_lift=1.0,
        chain=None,
    )
    speaker = choose_speaker_cable(spec.wiring, load_ohm, sqrt(target_w / load_ohm))
    load = LoadPoint(conductance_s=1.0 / load_ohm)
    amplifier: AmplifierResult | None = None
    supply: SupplyResult | None = None
    heat: HeatResult | None = None
    searched: TransformerResult | None = None
    residual = np.inf
    lifts = 0 if _as_given(spec) else _MOST_LIFTS
    for number in range(1, _MOST_ROUNDS + 1):
        progress("settling battery, converter and amplifier", min(0.9, 0.15 * number))
        if amplifier is None or amplifier.from_battery:
            amplifier = design_amplifier(
                spec.amplifier,
                target_w,
                load_ohm,
                corners,
                library,
                source_resistance_ohm=state.source.total_ohm,
                crest_factor_db=spec.goal.crest_factor_db,
                lowest_note_hz=spec.goal.lowest_note_hz,
                speaker_cable_ohm=speaker.resistance_ohm + lead_ohm,
            )
        converter, transformer, model = _converter(spec, amplifier, corners, library, state, waves)
        if state.transformer is None:
            searched = transformer
        chain = _solve(emf, load, state.source, amplifier, model, waves)
        supply = design_supply(
            spec.supply,
            _supply_demand(chain),
            min_section_m2=0.0 if supply is None else supply.section_m2,
            min_fuse_a=0.0 if supply is None else supply.fuse_a,
        )
        wishes = spec.heat
        if number > _FREE_ROUNDS and heat is not None and heat.form == "heatsink":
            wishes = wishes.model_copy(update={"heatsink": heat.sink_id})
        heat = design_heat(wishes, _heat_demand(spec, amplifier, converter, chain, library), library)
        following = _next_state(state, supply, heat, transformer, chain)
        residual = _change(state, following)
        state = following
        short = _short_of_target(chain, amplifier, target_w)
        if residual < _NEARLY and short > _POWER_SLACK and converter is not None and lifts:
            # The search left out core loss, control and the idle rail: ask for that much more.
            lifts -= 1
            state = replace(
                state,
                rail_lift=state.rail_lift * (1.003 + 0.55 * short),
                transformer=None,
                core=transformer if state.core is None else None,
                fallback=transformer,
            )
            continue
        if residual < _SETTLED:
            if transformer is not None and searched is not None:
                transformer = keep_choice(transformer, searched)
            return Electrical(
                amplifier=amplifier,
                converter=converter,
                transformer=transformer,
                supply=supply,
                wiring=design_wiring(spec.wiring, _wiring_demand(spec, amplifier, converter, supply, chain)),
                heat=heat,
                source=state.source,
                model=model,
                chain=chain,
                rounds=number,
                residual=residual,
            )
    raise ConvergenceError(
        message="Battery, converter, amplifier and temperatures did not settle on one design.",
        quantity="relative change in the last round",
        value=f"{residual:.3g}",
        limit=f"{_SETTLED:g}",
        remedy="Fix the part that keeps changing: set transformer.core, converter.mosfet or supply.section.",
    )


def _first_source(spec: BuildSpec, target_w: float, corners: Mapping[Corner, float]) -> Source:
    """Source resistance for the current that the target power takes at 75 % efficiency."""
    average = target_w / (0.75 * corners[Corner.NOMINAL])
    supply = design_supply(
        spec.supply,
        SupplyDemand(
            average_a=average,
            rms_a=1.2 * average,
            peak_a=2.0 * average,
            programme_average_a=0.3 * average,
            worst_average_a=average * corners[Corner.MAX] / corners[Corner.NOMINAL],
        ),
    )
    return _source(supply)


def _source(supply: SupplyResult) -> Source:
    return Source(
        battery_ohm=supply.battery_resistance_ohm,
        cable_ohm=supply.cable_resistance_ohm,
        contact_ohm=supply.contact_resistance_ohm,
    )


def _solve(
    emf: Array,
    load: LoadPoint,
    source: Source,
    amplifier: AmplifierResult,
    model: ConverterModel | None,
    waves: Mapping[Level, Waveform],
) -> dict[Level, ChainPoint]:
    peak = find_clipping(emf, load, source, amplifier, model)
    points = {
        level: solve_chain(emf, peak, wave, load, source, amplifier, model) for level, wave in waves.items()
    }
    if amplifier.both_rails:
        return {level: shared_point(point) for level, point in points.items()}
    return points


def _short_of_target(chain: Mapping[Level, ChainPoint], amplifier: AmplifierResult, target_w: float) -> float:
    """Share of the target power that clipping at the nominal corner leaves out; negative when above it."""
    if amplifier.from_battery:
        return 0.0
    return float(1.0 - chain[Level.FULL].output_w[_NOMINAL] / target_w)


def _as_given(spec: BuildSpec) -> bool:
    """Whether the builder fixed turns or rail, so that a missing watt is a finding and not a wish."""
    wound = spec.transformer.primary_turns is not None and spec.transformer.secondary_turns is not None
    return wound or spec.converter.rail_v is not None


def _music_mean_square(amplifier: AmplifierResult) -> float:
    """Mean square of the supply current over its squared crest, full sine (dimensionless)."""
    wave = sine()
    v = amplifier.peak_v * wave.in_phase
    power = amplifier.input_power_w(v, v / amplifier.load_ohm, amplifier.rail_needed_v)
    return float(wave.weight @ power**2 / power[wave.crest] ** 2)


def _converter(
    spec: BuildSpec,
    amplifier: AmplifierResult,
    corners: Mapping[Corner, float],
    library: Library,
    state: _State,
    waves: Mapping[Level, Waveform],
) -> tuple[ConverterResult | None, TransformerResult | None, ConverterModel | None]:
    if amplifier.from_battery:
        return None, None, None
    if spec.converter.topology == "none":
        raise NoSolutionError(
            message="This amplifier needs rails, but the build says that there is no converter.",
            quantity="converter.topology",
            value="none",
            limit="push-pull for an amplifier on rails",
            remedy='Set converter.topology = "auto", or choose an amplifier that runs from the battery.',
        )
    small_a = spec.converter.auxiliary_current_a if spec.converter.auxiliary_feed == "rails" else 0.0
    demand = ConverterDemand(
        rail_needed_v=amplifier.rail_needed_v,
        rail_max_v=amplifier.rail_max_v,
        rail_crest_a=amplifier.rail_crest_a + small_a,
        rail_mean_a=amplifier.rail_average_a + small_a,
        music_mean_square=_music_mean_square(amplifier),
        emf_nominal_v=corners[Corner.NOMINAL],
        emf_max_v=corners[Corner.MAX],
        emf_low_v=corners[Corner.LOW],
        source_ohm=state.source.total_ohm,
        ambient_c=spec.supply.ambient_max_c + spec.heat.air_rise_k,
        pumping_f=amplifier.rail_capacitance_needed_f or 0.0,
        rail_ripple_v=_RIPPLE_SHARE * amplifier.rail_needed_v,
        switch_c=state.switch_c,
        diode_c=state.diode_c,
        lowest_note_hz=spec.goal.lowest_note_hz,
    )
    plan = plan_converter(spec.converter, demand, library)
    need = _transformer_need(spec, demand, plan, state, corners, waves)
    transformer = _wound(spec.transformer, need, library, state)
    magnetics = _magnetics(transformer)
    converter = complete_converter(spec.converter, demand, plan, magnetics, library)
    chain_model = _model(converter)
    return converter, transformer, shared_model(chain_model) if amplifier.both_rails else chain_model


def _transformer_need(
    spec: BuildSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    state: _State,
    corners: Mapping[Corner, float],
    waves: Mapping[Level, Waveform],
) -> TransformerNeed:
    chain = state.chain
    if chain is None:
        primary, secondary = plan.primary_rms_a, plan.secondary_rms_a
        music = waves[Level.PROGRAMME]
        tone = waves[Level.FULL]
        programme_share = float((music.weight @ music.in_phase**4) / (tone.weight @ tone.in_phase**4))
    else:
        full, heard = chain[Level.FULL], chain[Level.PROGRAMME]
        primary = float(full.primary_rms_a[_NOMINAL])
        secondary = float(full.secondary_rms_a[_NOMINAL])
        programme_share = float((heard.primary_rms_a[_NOMINAL] / primary) ** 2)
    least = plan.ratio_least
    return TransformerNeed(
        switching_hz=plan.timing.switching_hz,
        v_primary_max_v=corners[Corner.MAX],
        duty=plan.timing.share,
        ratio_min=least,
        ratio_max=plan.ratio_most,
        ratio_target=min((1.03 if plan.regulated else 1.06) * least, plan.ratio_most),
        # A bridge's halves lie in parallel and share a current that flows in both half cycles.
        primary_rms_a=primary / sqrt(2.0) if plan.topology == "full-bridge" else primary,
        secondary_rms_a=secondary,
        ambient_c=spec.supply.ambient_max_c,
        programme_mean_square=programme_share,
        corner_v={corner: corners[corner] for corner in PLAYING},
        rectifier_filter="choke" if plan.regulated else "capacitor",
        rail=None
        if plan.regulated
        else RailNeed(
            emf_v=demand.emf_nominal_v,
            emf_most_v=demand.emf_max_v,
            source_ohm=demand.source_ohm,
            path_ohm=hot_resistance(plan.switch.mosfet, demand.switch_c)
            / plan.switch.per_side
            * (2.0 if plan.topology == "full-bridge" else 1.0)
            + spec.converter.link_ohm,
            diode_v=plan.rectifier.rectifier.vf0_v,
            diode_ohm=plan.rectifier.rectifier.rd_ohm,
            crest_a=demand.rail_crest_a,
            needed_v=plan.rail_v * state.rail_lift,
            most_v=demand.rail_max_v,
        ),
    )


def _held(spec: TransformerSpec, chosen: TransformerResult) -> TransformerSpec:
    """The transformer's spec with everything fixed that the round before has chosen."""
    return spec.model_copy(
        update={
            "core": chosen.core.id,
            "stack": chosen.stack,
            "primary_turns": chosen.primary_turns,
            "secondary_turns": chosen.secondary_turns,
            "primary_wire": chosen.primary.wire.id,
            "secondary_wire": chosen.secondary.wire.id,
            "primary_strands": chosen.primary.strands,
            "secondary_strands": chosen.secondary.strands,
            "lay": chosen.lay,
            "interleave": chosen.interleave,
        }
    )


def _wound(
    spec: TransformerSpec, need: TransformerNeed, library: Library, state: _State
) -> TransformerResult:
    """Wind the transformer: as in the round before, on the same core where that will do, or on any."""
    if state.transformer is not None:
        return design_transformer(
            _held(spec, state.transformer), need, library, compare=False, effort="quick"
        )
    if state.core is not None:
        try:
            return design_transformer(
                hold_core(spec, state.core), need, library, compare=False, effort="quick"
            )
        except NoSolutionError:
            pass  # this core can't make up for it: look at the others
    try:
        return design_transformer(spec, need, library, compare=state.fallback is None, effort="quick")
    except NoSolutionError:
        if state.fallback is None:
            raise
        # Nothing reaches the power: keep what comes closest, and let the findings say by how much it misses.
        return design_transformer(_held(spec, state.fallback), need, library, compare=False)


def _magnetics(transformer: TransformerResult) -> Magnetics:
    return Magnetics(
        primary_turns=transformer.primary_turns,
        secondary_turns=transformer.secondary_turns,
        primary_ohm=transformer.resistance_primary_half_ohm,
        secondary_ohm=transformer.resistance_secondary_half_ohm,
        leakage_h=transformer.leakage_h,
        magnetising_h=transformer.magnetising_h,
        core_w=transformer.core_w,
        core_v=transformer.core_v,
        core_exponent=transformer.core_exponent,
    )


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
        return_drop_v=converter.plan.switch.mosfet.vsd_v if converter.topology == "full-bridge" else None,
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
        ring_shunt_s=4.0 * ring_s * converter.ratio**2 if choke else 0.0,
        core_w=magnetics.core_w,
        core_v=magnetics.core_v,
        core_exponent=magnetics.core_exponent,
        shunt_s=converter.shunt_s,
    )


def _supply_demand(chain: Mapping[Level, ChainPoint]) -> SupplyDemand:
    full = chain[Level.FULL]
    return SupplyDemand(
        average_a=float(full.battery_a[_NOMINAL]),
        rms_a=float(full.battery_rms_a[_NOMINAL]),
        peak_a=float(full.battery_peak_a[_NOMINAL]),
        programme_average_a=float(chain[Level.PROGRAMME].battery_a[_NOMINAL]),
        worst_average_a=float(full.battery_a.max()),
        idle_a=float(chain[Level.IDLE].battery_a[_NOMINAL]),
        corner_average_a={corner: float(full.battery_a[k]) for k, corner in enumerate(PLAYING)},
    )


def _conductors(
    converter: ConverterResult | None, chain: Mapping[Level, ChainPoint]
) -> tuple[ConductorNeed, ...]:
    full, heard, idle = chain[Level.FULL], chain[Level.PROGRAMME], chain[Level.IDLE]
    k = _NOMINAL

    def need(name: str, field: str, peak_a: float, voltage_v: float, count: int = 1) -> ConductorNeed:
        return ConductorNeed(
            name=name,
            rms_a=float(getattr(full, field)[k]),
            peak_a=peak_a,
            programme_rms_a=float(getattr(heard, field)[k]),
            idle_rms_a=float(getattr(idle, field)[k]),
            voltage_v=voltage_v,
            count=count,
        )

    highest = float(full.emf_v.max())
    battery = need("battery input", "battery_rms_a", float(full.battery_peak_a[k]), highest, 2)
    if converter is None:
        return (battery,)
    return (
        battery,
        need(
            "half-primary and switch",
            "primary_rms_a",
            float(full.primary_peak_a[k]),
            converter.drain_peak_v,
            2,
        ),
        need(
            "half-secondary and rectifier",
            "secondary_rms_a",
            float(full.primary_peak_a[k]) / converter.ratio,
            2.0 * converter.rail_unloaded_v,
            2,
        ),
        need(
            "rail",
            "rail_a",
            float(full.rail_peak_a[k]),
            converter.rail_unloaded_v,
            2,
        ),
    )


def _wiring_demand(
    spec: BuildSpec,
    amplifier: AmplifierResult,
    converter: ConverterResult | None,
    supply: SupplyResult,
    chain: Mapping[Level, ChainPoint],
) -> WiringDemand:
    full, heard = chain[Level.FULL], chain[Level.PROGRAMME]
    return WiringDemand(
        conductors=_conductors(converter, chain),
        speaker_rms_a=sqrt(float(full.output_w[_NOMINAL]) / amplifier.load_ohm),
        speaker_peak_a=float(full.peak_v[_NOMINAL]) / amplifier.load_ohm,
        speaker_programme_rms_a=sqrt(float(heard.output_w[_NOMINAL]) / amplifier.load_ohm),
        load_ohm=amplifier.load_ohm,
        ambient_c=spec.supply.ambient_max_c + spec.heat.air_rise_k,
        fuse_a=supply.fuse_a,
        fuse_distance_m=supply.fuse_distance_m,
        fuse_distance_sheathed_m=supply.fuse_distance_sheathed_m,
    )


def _heat_demand(
    spec: BuildSpec,
    amplifier: AmplifierResult,
    converter: ConverterResult | None,
    chain: Mapping[Level, ChainPoint],
    library: Library,
) -> HeatDemand:
    devices = amplifier.devices
    if converter is not None:
        devices = (*devices, *_converter_devices(converter, chain, library))
    return HeatDemand(
        devices=devices, ambient_c=spec.supply.ambient_max_c, trip_c=spec.protection.thermal_trip_c
    )


def _converter_devices(
    converter: ConverterResult, chain: Mapping[Level, ChainPoint], library: Library
) -> tuple[ThermalDevice, ...]:
    """Switches and rectifiers as heat sources, one case each; worst over the playing corners."""
    mosfet, diode = converter.plan.switch.mosfet, converter.plan.rectifier.rectifier

    def watts(names: tuple[str, ...], level: Level) -> Array:
        return np.asarray(sum(chain[level].losses_w[name] for name in names))

    def interface(package: str) -> float:
        fitting = [pad.rth_k_per_w for pad in library.insulators.values() if pad.package == package]
        return min(fitting, default=TO220_INTERFACE_K_PER_W["mica"][1])

    def device(
        name: str, names: tuple[str, ...], count: int, rth_jc: float, package: str, tj_max_c: float
    ) -> ThermalDevice:
        full = watts(names, Level.FULL) / count
        return ThermalDevice(
            name=name,
            count=count,
            idle_w=float(watts(names, Level.IDLE)[_NOMINAL]) / count,
            programme_w=float(watts(names, Level.PROGRAMME)[_NOMINAL]) / count,
            full_w=float(full[_NOMINAL]),
            worst_w=float(full.max()),
            rth_jc_k_per_w=rth_jc,
            interface_k_per_w=interface(package),
            tj_max_c=tj_max_c,
        )

    return (
        device(
            _SWITCH,
            ("switch conduction", "switch turn-off")
            if converter.clamp
            else ("switch conduction", "switch turn-off", "leakage clamp"),
            converter.switch_count,
            mosfet.rth_jc_k_per_w,
            mosfet.package,
            mosfet.tj_max_c,
        ),
        device(
            _RECTIFIER,
            ("rectifier", "rectifier recovery"),
            converter.plan.rectifier.packages,
            diode.rth_jc_k_per_w / diode.legs,
            diode.package,
            diode.tj_max_c,
        ),
    )


def _next_state(
    state: _State,
    supply: SupplyResult,
    heat: HeatResult,
    transformer: TransformerResult | None,
    chain: Mapping[Level, ChainPoint],
) -> _State:
    junction = {device.name: device.junction_c[Level.PROGRAMME] for device in heat.devices}
    return replace(
        state,
        source=_source(supply),
        switch_c=junction.get(_SWITCH, state.switch_c),
        diode_c=junction.get(_RECTIFIER, state.diode_c),
        magnetics=None if transformer is None else _magnetics(transformer),
        transformer=transformer,
        chain=chain,
    )


def _change(before: _State, now: _State) -> float:
    """Largest relative change of what one round hands to the next (dimensionless)."""
    if now.transformer is not None and before.transformer is None:
        return 1.0
    pairs = [
        (before.source.total_ohm, now.source.total_ohm),
        (before.switch_c + 273.15, now.switch_c + 273.15),
    ]
    if before.magnetics is not None and now.magnetics is not None:
        pairs += [
            (before.magnetics.primary_ohm, now.magnetics.primary_ohm),
            (before.magnetics.secondary_ohm, now.magnetics.secondary_ohm),
        ]
    return max(abs(b / a - 1.0) for a, b in pairs)
