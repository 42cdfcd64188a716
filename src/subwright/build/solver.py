"""From one build spec to one consistent design: the order of the stages and the couplings between them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import lru_cache
from math import sqrt

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.build.balance import energy_balance, operating_points, sweeps
from subwright.build.electrical import PLAYING, Electrical, design_electrical
from subwright.build.findings import evaluate
from subwright.build.guards import (
    battery_guard,
    output_current_input,
    over_current_input,
    plan_guard,
    plan_shunt,
    resistance_within,
    speaker_guard,
)
from subwright.build.load_path import LoadPath, plan_load_path, settled_load_path
from subwright.build.result import Design
from subwright.build.signals import inputs, receiver_op_amps, signal
from subwright.build.spec import BuildSpec
from subwright.build.switching_on import control
from subwright.parts.library import Library
from subwright.stages.cabin import CabinResult, design_cabin
from subwright.stages.common import Corner, Level
from subwright.stages.driver import DriverResult, design_driver
from subwright.stages.enclosure import (
    EnclosureNeed,
    PlannedBox,
    design_enclosure,
    evaluate_enclosure,
    plan_enclosure,
)
from subwright.stages.filter import FilterInput, FilterResult, design_filter
from subwright.stages.goal import settle_goal
from subwright.stages.input import receiver_gain
from subwright.stages.protection import ProtectionInput, ProtectionResult, design_protection
from subwright.stages.protection_records import ProtectionSpec

__all__ = ["solve_build"]

Progress = Callable[[str, float], None]
_NOMINAL = PLAYING.index(Corner.NOMINAL)
_MOST_PATHS = 2  # then the switch last counted stays, and the rules judge it
_LEAST_LOAD_OHM = 0.5  # what the amplifiers are reckoned down to; common practice


def _quiet(_what: str, _share: float) -> None:
    """Tell nobody."""


def solve_build(spec: BuildSpec, library: Library, progress: Progress = _quiet) -> Design:
    """Design the whole build.

    Parameters
    ----------
    spec : the build. library : parts with the drawer merged.
    progress : called with what is being done and the share done, 0 to 1.

    Returns
    -------
    Design with its findings; an open "stop" does not raise.

    Raises
    ------
    SubwrightError : no design exists for these wishes; says what would have to change.
    """
    _refuse_contradictions(spec)
    _refuse_untapped(spec)
    progress("reading the driver", 0.0)
    driver = design_driver(spec.driver, library)
    cabin = design_cabin(spec.cabin)
    load_ohm = spec.amplifier.load_ohm or driver.nominal_impedance_ohm
    _refuse_short(load_ohm)

    progress("settling the goal", 0.05)
    level_w = _power_for_level(spec, driver, cabin, load_ohm)
    goal = settle_goal(spec.goal, driver.power_w, level_w)
    reverse = plan_guard(spec, goal.power_w, library)
    shunt_ohm = plan_shunt(spec, goal.power_w)
    within_ohm = resistance_within(reverse, shunt_ohm)
    path = plan_load_path(spec, goal.power_w, load_ohm, driver, library)
    electrical = design_electrical(
        spec, goal.power_w, load_ohm, library, progress, path.resistance_ohm, within_ohm
    )
    for _ in range(_MOST_PATHS):
        settled = settled_load_path(spec, electrical, driver, library)
        if settled.same_parts(path):
            break
        path = settled
        electrical = design_electrical(
            spec, goal.power_w, load_ohm, library, progress, path.resistance_ohm, within_ohm
        )

    progress("designing filter and box", 0.9)
    planned = _box(spec, driver, electrical, None)
    filters = _filter(spec, electrical, planned, library)
    if filters.infrasonic_hz is not None:
        planned = _box(spec, driver, electrical, filters)
    box = evaluate_enclosure(planned, cabin)
    entry = inputs(spec, electrical, filters, library)
    protection = _protection(spec, electrical, shunt_ohm, path, library)

    front = battery_guard(spec, electrical, protection, reverse, library)
    lead = speaker_guard(spec, electrical, path, driver, box, library)

    progress("checking", 0.97)
    design = Design(
        spec=spec,
        goal=goal,
        supply=electrical.supply,
        driver=driver,
        cabin=cabin,
        enclosure=box,
        amplifier=electrical.amplifier,
        converter=electrical.converter,
        transformer=electrical.transformer,
        boost=electrical.boost,
        protection=protection,
        input=entry,
        filter=filters,
        signal=signal(spec, electrical, box, filters, entry, cabin),
        wiring=electrical.wiring,
        heat=electrical.heat,
        points=operating_points(electrical),
        sweeps=sweeps(electrical),
        battery_guard=front,
        speaker_guard=lead,
        control=control(spec, electrical, protection, front, lead, library),
        balance=energy_balance(electrical, box),
        rounds=electrical.rounds,
    )
    design = replace(design, findings=evaluate(design))
    progress("done", 1.0)
    return design


def _refuse_contradictions(spec: BuildSpec) -> None:
    """Refuse wishes that can't all be meant."""
    if spec.filter.corner_hz <= spec.goal.lowest_note_hz:
        raise NoSolutionError(
            message="The low-pass would take away the lowest note that is to be played.",
            quantity="low-pass corner",
            value=show(spec.filter.corner_hz, "frequency"),
            limit=f"above the lowest note, {show(spec.goal.lowest_note_hz, 'frequency')}",
            remedy="Raise filter.corner, or lower goal.lowest_note.",
        )


def _refuse_untapped(spec: BuildSpec) -> None:
    """Refuse class G where no secondary can be tapped for the inner rails."""
    converter = spec.converter
    if spec.amplifier.kind != "class_g":
        return
    if converter.output == "regulated" or converter.topology in ("boost", "none"):
        odd = "output" if converter.output == "regulated" else "topology"
        raise NoSolutionError(
            message="The inner rails of class G are tapped from the transformer's secondary, unregulated.",
            quantity=f"converter.{odd}",
            value=str(getattr(converter, odd)),
            limit="peak-charged rails of a push-pull or full-bridge converter",
            remedy='Set converter.output = "peak-charged" and converter.topology = "auto", or take '
            'amplifier.kind = "class_ab".',
        )


def _refuse_short(load_ohm: float) -> None:
    """Refuse drivers wired to a load that is next to a short."""
    if load_ohm < _LEAST_LOAD_OHM:
        raise NoSolutionError(
            message="These drivers together are next to a short circuit: no amplifier is meant for it.",
            quantity="rated impedance of the group",
            value=show(load_ohm, "resistance"),
            limit=show(_LEAST_LOAD_OHM, "resistance"),
            source="common-practice",
            remedy='Wire them in series (driver.connection = "series" or "series-parallel", '
            'driver.compound = "series", driver.coils_wired = "series"), or take fewer.',
        )


def _power_for_level(
    spec: BuildSpec, driver: DriverResult, cabin: CabinResult, load_ohm: float
) -> float | None:
    """Power into the rated load that reaches the level asked for, W."""
    if spec.goal.spl_db is None:
        return None
    need = EnclosureNeed(
        drive_v=driver.rated_v,
        lowest_note_hz=spec.goal.lowest_note_hz,
        upper_hz=spec.filter.corner_hz,
        crest_factor_db=spec.goal.crest_factor_db,
        ambient_c=spec.supply.ambient_max_c,
    )
    box = design_enclosure(spec.enclosure, driver, cabin, need)
    demand = box.demand(spec.goal.spl_db, spec.goal.spl_frequency_hz)
    return demand.drive_v**2 / load_ohm


def _box(
    spec: BuildSpec,
    driver: DriverResult,
    electrical: Electrical,
    filters: FilterResult | None,
) -> PlannedBox:
    amplifier = electrical.amplifier
    # Output resistance of the amplifier counts the speaker cable.
    source_ohm = amplifier.output_resistance_ohm
    peak_v = float(electrical.chain[Level.FULL].peak_v[_NOMINAL])
    drive_v = peak_v / sqrt(2.0) * (amplifier.load_ohm + source_ohm) / amplifier.load_ohm
    need = EnclosureNeed(
        drive_v=drive_v,
        source_ohm=source_ohm,
        lowest_note_hz=spec.goal.lowest_note_hz,
        upper_hz=spec.filter.corner_hz,
        crest_factor_db=spec.goal.crest_factor_db,
        ambient_c=spec.supply.ambient_max_c,
        highpass=None if filters is None else filters.infrasonic_response,
    )
    return plan_enclosure(spec.enclosure, driver, need)


def _filter(spec: BuildSpec, electrical: Electrical, box: PlannedBox, library: Library) -> FilterResult:
    resonance_hz, q = box.closed_resonance
    full, idle = electrical.chain[Level.FULL], electrical.chain[Level.IDLE]
    rails = electrical.converter is not None
    rail_low, rail_high = float(full.rail_crest_v.min()), float(idle.rail_crest_v.max())
    if electrical.converter is not None and electrical.converter.auxiliary.turns:
        rail_low, rail_high = electrical.converter.auxiliary.low_v, electrical.converter.auxiliary.high_v
    data = FilterInput(
        full_input_v=spec.amplifier.full_input_v,
        vented=box.tuning_hz is not None,
        tuning_hz=box.tuning_hz,
        rail_low_v=rail_low if rails else None,
        rail_high_v=rail_high if rails else None,
        battery_low_v=float(full.terminal_least_v.min()),
        battery_high_v=electrical.supply.corners[Corner.MAX],
        box_hz=resonance_hz if box.kind == "sealed" else None,
        receiver_op_amps=receiver_op_amps(spec),
        receiver_gain=receiver_gain(
            spec.input, on_battery=not rails or spec.filter.op_amp_supply == "battery"
        ),
        amplifier_input_ohm=spec.amplifier.input_resistance_ohm,
        box_q=q if box.kind == "sealed" else None,
    )
    return design_filter(spec.filter, data, library)


def _protection(
    spec: BuildSpec, electrical: Electrical, shunt_ohm: float | None, path: LoadPath, library: Library
) -> ProtectionResult:
    full, idle = electrical.chain[Level.FULL], electrical.chain[Level.IDLE]
    converter = electrical.converter
    data = ProtectionInput(
        battery=spec.supply.battery,
        system_v=spec.supply.system_v,
        corners=electrical.supply.corners,
        source_resistance_ohm=electrical.source.total_ohm,
        load_step_a=float((full.battery_a - idle.battery_a).max()),
        idle_a=float(idle.battery_a.max()),
        lowest_note_hz=spec.goal.lowest_note_hz,
        ambient_max_c=spec.supply.ambient_max_c,
    )
    if converter is not None:
        controller = converter.plan.controller
        data = replace(
            data,
            restart_s=converter.plan.timing.soft_start_s,
            lockout_v=controller.uvlo_off_v,
            controller_vref_v=controller.vref_v,
            controller_vref_tolerance=controller.vref_tolerance,
        )
    if electrical.boost is not None:
        plan = electrical.boost.plan
        data = replace(
            data,
            restart_s=plan.timing.soft_start_s,
            lockout_v=plan.controller.uvlo_off_v,
            controller_vref_v=plan.controller.vref_v,
            controller_vref_tolerance=plan.controller.vref_tolerance,
        )
    if converter is None and electrical.boost is None:
        data = replace(data, stops="amplifier")
    data = replace(
        data,
        current=over_current_input(spec, electrical, shunt_ohm),
        output_current=output_current_input(electrical, path.shunt_ohm, shunt_ohm, library),
    )
    asked = _Asked(spec=spec.protection, told=_told(data), library=library, data=data)
    return _protected(asked)


def _told(value: object) -> object:
    """A record in a form that can be looked up: mappings and records as tuples."""
    if isinstance(value, Mapping):
        return tuple((key, _told(item)) for key, item in value.items())
    if is_dataclass(value) and not isinstance(value, type):
        return tuple(_told(getattr(value, one.name)) for one in fields(value))
    if isinstance(value, list | tuple):
        return tuple(_told(item) for item in value)
    return value.tobytes() if isinstance(value, np.ndarray) else value


@dataclass(frozen=True, slots=True)
class _Asked:
    """All that the protection depends on, in a form that can be looked up."""

    spec: ProtectionSpec
    told: object
    library: Library
    data: ProtectionInput = field(compare=False)


@lru_cache(maxsize=32)
def _protected(asked: _Asked) -> ProtectionResult:
    """The protection; a change of box, filter or name alone finds the one made before."""
    return design_protection(asked.spec, asked.data, asked.library)
