"""The coupled electrical design: amplifier, converter, transformer, supply, wiring and heat until they agree.

Each round solves the chain with the real parts chosen so far and hands the currents back to the stages. The
transformer is looked for anew only when the power falls short; otherwise its parts stay and only its
temperature and resistance move, so the rounds settle in a handful. ``electrical_converter`` holds what a
round does to converter and transformer, ``electrical_demands`` what it asks of the other stages.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import sqrt
from typing import Final

import numpy as np

from subwright.base.errors import ConvergenceError, NoSolutionError
from subwright.base.units import show
from subwright.build.bridged import shared_model, shared_point
from subwright.build.chain import SolvedChain, find_clipping, solve_waveforms
from subwright.build.chain_boost import BoostModel
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, Source
from subwright.build.electrical_boost import settle_boost
from subwright.build.electrical_converter import (
    ConverterRound,
    Retry,
    Surroundings,
    holding_round,
    searching_round,
)
from subwright.build.electrical_demands import (
    NOMINAL,
    PLAYING,
    RECTIFIER,
    SWITCH,
    Job,
    heat_demand,
    supply_demand,
    wiring_demand,
)
from subwright.build.modulated import with_modulator
from subwright.build.spec import BuildSpec
from subwright.build.waveform import programme, silence, sine
from subwright.parts.library import Library
from subwright.stages.amplifier import AmplifierResult, design_amplifier
from subwright.stages.common import Corner, Level
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_boost_records import BoostResult
from subwright.stages.heat import HeatResult, design_heat
from subwright.stages.supply import SupplyDemand, SupplyResult, design_supply, supply_corners
from subwright.stages.transformer import TransformerResult
from subwright.stages.transformer_records import tap_turns
from subwright.stages.transformer_refusal import REFUSED
from subwright.stages.wiring import WiringResult, choose_speaker_cable, design_wiring

__all__ = ["PLAYING", "Electrical", "design_electrical"]

_MOST_ROUNDS: Final = 30
_SETTLED: Final = 1e-6
_NEARLY: Final = 1e-3  # settled well enough to judge whether the power is reached
_ELSEWHERE: Final = frozenset(
    {"format_version", "name", "note", "drawer", "driver", "enclosure", "cabin", "filter", "input", "control"}
)
_MOST_LIFTS: Final = 4
_FREE_ROUNDS: Final = 3  # after these a heatsink that serves is kept
_FIRST_JUNCTION_C: Final = 100.0
_NO_ROOM: Final = frozenset({"CNV-02", REFUSED})  # rules that a wider window of rails may satisfy
_MOST_RATINGS: Final = 2  # of switches tried above the least
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
    model: ConverterModel | BoostModel | None
    chain: Mapping[Level, ChainPoint]
    rounds: int
    residual: float
    boost: BoostResult | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class _Solved:
    """The chain of one round, and where the next may begin."""

    points: Mapping[Level, ChainPoint]
    model: ConverterModel | None
    start: SolvedChain


@dataclass(frozen=True, kw_only=True, slots=True)
class _State:
    """What one round hands to the next."""

    source: Source
    switch_c: float
    diode_c: float
    converter: ConverterRound | None
    solved: _Solved | None


def design_electrical(
    spec: BuildSpec,
    target_w: float,
    load_ohm: float,
    library: Library,
    progress: Callable[[str, float], None],
    lead_ohm: float = 0.0,
    within_ohm: float = 0.0,
) -> Electrical:
    """Settle amplifier, converter, transformer, supply, wiring and heat together.

    Parameters
    ----------
    spec : the build. target_w : sine power at clipping, nominal battery, W. load_ohm : the driver group, ohm.
    library : parts with the drawer merged. progress : told what is being done, and the share done.
    lead_ohm : switch and shunt in series with the load, beside the cable, ohm.
    within_ohm : switch and shunt in the battery's path, inside the unit, ohm.

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
            within_ohm=within_ohm,
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
    within_ohm: float
    library: Library
    spec: BuildSpec = field(compare=False)
    progress: Callable[[str, float], None] = field(compare=False)


@lru_cache(maxsize=32)
def _remembered(wish: _Wish) -> Electrical:
    """The electrical design; a change of box, filter or name alone finds the one made before."""
    settle = _settled_boost if wish.spec.converter.topology == "boost" else _settled_with_room
    return settle(
        Job(
            spec=wish.spec,
            target_w=wish.target_w,
            load_ohm=wish.load_ohm,
            lead_ohm=wish.lead_ohm,
            within_ohm=wish.within_ohm,
            corners=supply_corners(wish.spec.supply)[0],
            waves={
                Level.IDLE: silence(),
                Level.PROGRAMME: programme(wish.spec.goal.crest_factor_db, 16),
                Level.FULL: sine(16),
            },
            library=wish.library,
        ),
        wish.progress,
    )


def _settled_boost(job: Job, progress: Callable[[str, float], None]) -> Electrical:
    """The same with a boost converter in front of a bridge amplifier."""
    made = settle_boost(job, _first_source(job), _source, progress)
    return Electrical(
        amplifier=with_modulator(job.spec, made.amplifier, made.chain, job.library),
        converter=None,
        transformer=None,
        supply=made.supply,
        wiring=made.wiring,
        heat=made.heat,
        source=made.source,
        model=made.model,
        chain=made.chain,
        rounds=made.rounds,
        residual=made.residual,
        boost=made.boost,
    )


def _settled_with_room(job: Job, progress: Callable[[str, float], None]) -> Electrical:
    """The same; with amplifier switches of a higher rating where the first leave a transformer no room.

    The least switch that serves the amplifier stands rails in a narrow window; whole turns may miss it.
    """
    free = job.spec.amplifier.mosfet == "auto" and not _as_given(job.spec)
    try:
        return _settled(job, progress, explain=not free)
    except NoSolutionError as refused:
        if not free or refused.code not in _NO_ROOM:
            raise
    first = _amplifier(job, _first_source(job))
    if first.recirculates:
        rated_v = job.library.mosfet(first.switch_id).vds_v
        above = sorted({m.vds_v for m in job.library.mosfets.values() if m.vds_v > rated_v})
        for higher_v in above[:_MOST_RATINGS]:
            try:
                made = _settled(replace(job, least_switch_v=higher_v), progress, explain=False)
            except NoSolutionError:
                continue
            return replace(made, amplifier=_with_room(made.amplifier, rated_v, higher_v))
    return _settled(job, progress)  # raises again, with all that would have to change


def _with_room(amplifier: AmplifierResult, rated_v: float, higher_v: float) -> AmplifierResult:
    reason = (
        f"A switch rated {show(rated_v, 'voltage')} would serve the amplifier, but between the rail for full "
        f"power and the highest that it stands there is no transformer of whole turns; with one rated "
        f"{show(higher_v, 'voltage')} there is."
    )
    return replace(amplifier, reasons=(*amplifier.reasons, reason))


def _settled(job: Job, progress: Callable[[str, float], None], *, explain: bool = True) -> Electrical:
    """Rounds over all stages until they agree; ``explain`` says at length why nothing serves."""
    spec, library = job.spec, job.library
    state = _State(
        source=_first_source(job),
        switch_c=_FIRST_JUNCTION_C,
        diode_c=_FIRST_JUNCTION_C,
        converter=None,
        solved=None,
    )
    retry, lifts = Retry(explain=explain), 0 if _as_given(spec) else _MOST_LIFTS
    search = True
    amplifier: AmplifierResult | None = None
    supply: SupplyResult | None = None
    heat: HeatResult | None = None
    residual = np.inf
    for number in range(1, _MOST_ROUNDS + 1):
        progress("settling battery, converter and amplifier", min(0.9, 0.15 * number))
        if amplifier is None or amplifier.from_battery:
            amplifier = _amplifier(job, state.source)
        made = _converter(job, amplifier, state, retry, search=search)
        inner = _tapped_share(amplifier, made)
        if inner is not None:
            amplifier = _amplifier(job, state.source, inner)
        solved = _solve(job, amplifier, made, state)
        supply = design_supply(
            spec.supply,
            supply_demand(solved.points),
            within_ohm=job.within_ohm,
            min_section_m2=0.0 if supply is None else supply.section_m2,
            min_fuse_a=0.0 if supply is None else supply.fuse_a,
        )
        # Two sinks at their limit would take turns: a cooler one lowers the losses until the hotter one
        # serves again, which raises them.
        kept = heat.sink_id if number > _FREE_ROUNDS and heat is not None else ""
        sized = None if made is None else made.converter
        heat = design_heat(
            spec.heat, heat_demand(spec, amplifier, sized, solved.points, library), library, kept
        )
        following = _next_state(state, supply, heat, made, solved)
        residual = 1.0 if made is not None and search else _change(state, following)
        state, search = following, False
        short = _short_of_target(job, amplifier, solved)
        if residual < _NEARLY and short > _POWER_SLACK and made is not None and lifts:
            # The search left out core loss, control and the idle rail: ask for that much more.
            lifts -= 1
            retry = _retry(retry, made, short)
            search = True
        elif residual < _SETTLED:
            converter, transformer = (None, None) if made is None else made.finished(job)
            return Electrical(
                amplifier=with_modulator(spec, amplifier, solved.points, library),
                converter=converter,
                transformer=transformer,
                supply=supply,
                wiring=design_wiring(
                    spec.wiring, wiring_demand(spec, amplifier, converter, supply, solved.points)
                ),
                heat=heat,
                source=state.source,
                model=solved.model,
                chain=solved.points,
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


def _first_source(job: Job) -> Source:
    """Source resistance for the current that the target power takes at 75 % efficiency."""
    corners = job.corners
    average = job.target_w / (0.75 * corners[Corner.NOMINAL])
    supply = design_supply(
        job.spec.supply,
        SupplyDemand(
            average_a=average,
            rms_a=1.2 * average,
            peak_a=2.0 * average,
            programme_average_a=0.3 * average,
            worst_average_a=average * corners[Corner.MAX] / corners[Corner.NOMINAL],
        ),
        within_ohm=job.within_ohm,
    )
    return _source(supply)


def _source(supply: SupplyResult) -> Source:
    return Source(
        battery_ohm=supply.battery_resistance_ohm,
        cable_ohm=supply.cable_resistance_ohm,
        contact_ohm=supply.contact_resistance_ohm,
    )


def _tapped_share(amplifier: AmplifierResult, made: ConverterRound | None) -> float | None:
    """Inner over outer rail that the tap's whole turns give; None where the amplifier reckons with it."""
    rails = amplifier.rail_switching
    if made is None or rails is None or rails.form != "two pairs":
        return None
    turns = made.held.secondary_turns
    share = tap_turns(made.need.tap_share, turns) / turns
    return share if share != rails.inner_ratio else None


def _amplifier(job: Job, source: Source, inner: float | None = None) -> AmplifierResult:
    """The amplifier; ``inner`` is the inner rail that a tap gives, over the outer one."""
    wishes = job.spec.amplifier
    if inner is not None:
        wishes = wishes.model_copy(update={"inner_rail": inner})
    speaker = choose_speaker_cable(job.spec.wiring, job.load_ohm, sqrt(job.target_w / job.load_ohm))
    return design_amplifier(
        wishes,
        job.target_w,
        job.load_ohm,
        job.corners,
        job.library.with_mosfets_from(job.least_switch_v) if job.least_switch_v else job.library,
        source_resistance_ohm=source.total_ohm,
        crest_factor_db=job.spec.goal.crest_factor_db,
        lowest_note_hz=job.spec.goal.lowest_note_hz,
        speaker_cable_ohm=speaker.resistance_ohm + job.lead_ohm,
        rails_held=job.spec.converter.output == "regulated",
        supply_length_m=job.spec.supply.cable_length_m,
    )


def _converter(
    job: Job, amplifier: AmplifierResult, state: _State, retry: Retry, *, search: bool
) -> ConverterRound | None:
    """Converter and transformer of this round; None for an amplifier that runs from the battery."""
    if amplifier.from_battery:
        return None
    around = Surroundings(
        source_ohm=state.source.total_ohm,
        switch_c=state.switch_c,
        diode_c=state.diode_c,
        chain=None if state.solved is None else state.solved.points,
    )
    if search or state.converter is None:
        return searching_round(job, amplifier, around, retry)
    return holding_round(job, amplifier, around, retry, state.converter)


def _solve(job: Job, amplifier: AmplifierResult, made: ConverterRound | None, state: _State) -> _Solved:
    """The chain at every level, begun from the solution of the round before."""
    model = None if made is None else made.model
    if model is not None and amplifier.both_rails:
        model = shared_model(model)
    load = LoadPoint(conductance_s=1.0 / job.load_ohm)
    emf, levels = job.emf_v, tuple(job.waves)
    crest = start = None
    if state.solved is not None and state.solved.start.state is not None:
        start = state.solved.start.state
        crest = state.solved.start.crests[levels.index(Level.FULL)]
    peak = find_clipping(emf, load, state.source, amplifier, model, crest)
    chain = solve_waveforms(emf, peak, tuple(job.waves.values()), load, state.source, amplifier, model, start)
    points = dict(zip(levels, chain.points, strict=True))
    if amplifier.both_rails:
        points = {level: shared_point(point) for level, point in points.items()}
    return _Solved(points=points, model=model, start=chain)


def _short_of_target(job: Job, amplifier: AmplifierResult, solved: _Solved) -> float:
    """Share of the target power that clipping at the nominal corner leaves out; negative when above it."""
    if amplifier.from_battery:
        return 0.0
    return float(1.0 - solved.points[Level.FULL].output_w[NOMINAL] / job.target_w)


def _retry(before: Retry, made: ConverterRound, short: float) -> Retry:
    """Look for a transformer again: on the same core once, then on any."""
    return Retry(
        rail_lift=before.rail_lift * (1.003 + 0.55 * short),
        core=made.held if before.core is None else None,
        fallback=made.held,
    )


def _as_given(spec: BuildSpec) -> bool:
    """Whether the builder fixed turns or rail, so that a missing watt is a finding and not a wish."""
    wound = spec.transformer.primary_turns is not None and spec.transformer.secondary_turns is not None
    return wound or spec.converter.rail_v is not None


def _next_state(
    state: _State,
    supply: SupplyResult,
    heat: HeatResult,
    made: ConverterRound | None,
    solved: _Solved,
) -> _State:
    junction = {device.name: device.junction_c[Level.PROGRAMME] for device in heat.devices}
    return _State(
        source=_source(supply),
        switch_c=junction.get(SWITCH, state.switch_c),
        diode_c=junction.get(RECTIFIER, state.diode_c),
        converter=made,
        solved=solved,
    )


def _change(before: _State, now: _State) -> float:
    """Largest relative change of what one round hands to the next (dimensionless)."""
    pairs = [
        (before.source.total_ohm, now.source.total_ohm),
        (before.switch_c + 273.15, now.switch_c + 273.15),
    ]
    if before.converter is not None and now.converter is not None:
        was, is_now = before.converter.magnetics, now.converter.magnetics
        pairs += [
            (was.primary_ohm, is_now.primary_ohm),
            (was.secondary_ohm, is_now.secondary_ohm),
        ]
    return max(abs(b / a - 1.0) for a, b in pairs)
