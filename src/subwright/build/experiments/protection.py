"""The protection circuit: voltage trips, thermal trip, over-current trips with what follows them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.protection_ramp import (
    ThresholdRun,
    current_run,
    heat_run,
    read_thresholds,
    simulate_run,
    thermistor_ohm,
    voltage_run,
)
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_current import response_s
from subwright.stages.protection_records import OverCurrentTrip

__all__ = ["EXPERIMENTS"]

Watch = Literal["over-current", "amplifier over-current"]
_WATCHES: Final[tuple[Watch, ...]] = ("over-current", "amplifier over-current")
_AGREE: Final = 0.01  # asked of every threshold, whatever its values
_TIME: Final = 0.05
_DROP_TIME: Final = 0.15  # the diodes let go of the drain little by little
_ROOM_C: Final = 25.0


def _outcome(run: ThresholdRun, traces: Traces, checks: tuple[Check, ...], shown: str, unit: str) -> Outcome:
    times, values = np.array(run.ramp.points).T
    courses = {f"{watch}, V": traces.voltage(PROTECTION_NETS[watch]) for watch in run.watched}
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{shown}, {unit}": np.interp(traces.axis, times, values), **courses},
    )


# the battery's voltage


def _voltages(result: ProtectionResult, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    run = voltage_run(result, library)
    traces = simulate_run(run, engine, timeout_s)
    checks = tuple(
        Check(
            quantity=name,
            closed=result.thresholds[name].nominal,
            simulated=value,
            unit="V",
            limit=_AGREE,
        )
        for name, value in sorted(read_thresholds(run, traces).items())
    )
    return _outcome(run, traces, checks, "battery", "V")


def _voltage_cases(design: Design, library: Library) -> tuple[Case, ...]:
    result = design.protection
    return (Case(name="", run=lambda engine, timeout_s: _voltages(result, library, engine, timeout_s)),)


# the heatsink


def _heat(
    result: ProtectionResult,
    library: Library,
    battery_v: float | None,
    trimmer: float | None,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    run = heat_run(result, library, battery_v=battery_v, trimmer=trimmer)
    traces = simulate_run(run, engine, timeout_s)
    found = read_thresholds(run, traces)
    closed = {name: result.thresholds[name].nominal for name in ("thermal trip", "thermal release")}
    if trimmer is not None:
        reach = next(one for one in result.trimmers if one.protection == "thermal")
        closed = {"thermal trip": reach.trip_shut if trimmer == 0.0 else reach.trip_open}
    checks = tuple(
        Check(quantity=name, closed=value, simulated=found[name], unit="°C", limit=_AGREE)
        for name, value in closed.items()
    )
    return _outcome(run, traces, checks, "heatsink", "°C")


def _heat_cases(design: Design, library: Library) -> tuple[Case, ...]:
    result, corners = design.protection, design.supply.corners

    def case(name: str, battery_v: float | None, trimmer: float | None) -> Case:
        return Case(
            name=name,
            run=lambda engine, timeout_s: _heat(result, library, battery_v, trimmer, engine, timeout_s),
        )

    at_corners = tuple(
        case(f"{corner.value} battery", corners[corner], None)
        for corner in (Corner.LOW, Corner.NOMINAL, Corner.CHARGING)
    )
    if result.thermal.trimmer_ohm is None:
        return at_corners
    return (*at_corners, case("trimmer shut", None, 0.0), case("all of the trimmer", None, 1.0))


# over-current


def _current(
    result: ProtectionResult,
    library: Library,
    watch: Watch,
    backwards: bool,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    run = current_run(result, library, watch, backwards=backwards)
    traces = simulate_run(run, engine, timeout_s)
    trip = _trip(result, watch)
    closed = trip.held_a
    if backwards:  # the second comparator's input leaves ground, not the level's tap
        closed = -trip.negative_a
    found = read_thresholds(run, traces)[f"{watch} trip"]
    check = Check(quantity=f"{watch} trip", closed=closed, simulated=found, unit="A", limit=_AGREE)
    return _outcome(run, traces, (check,), "current", "A")


def _trip(result: ProtectionResult, watch: Watch) -> OverCurrentTrip:
    trip = result.over_current if watch == "over-current" else result.amplifier_current
    if trip is None:
        raise SubwrightError(message=f"This protection circuit has no {watch} trip.")
    return trip


def _short(
    result: ProtectionResult, library: Library, watch: Watch, engine: Engine, timeout_s: float
) -> Outcome:
    """Three times the trip until the trip has acted, then nothing: response, then hold-off or latch."""
    trip = _trip(result, watch)
    names = result.thresholds
    middle_v = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    fault_a = 3.0 * trip.held_a
    reach = response_s(trip, fault_a)
    if reach is None:
        raise SubwrightError(
            message=f"No short makes the {watch} trip act: its level lies above what the sensing can read.",
            quantity="trip",
            value=show(trip.nominal_a, "current"),
            limit=show(trip.short_a, "current"),
            source="derived",
            remedy='Lower the trip, or set its method to "shunt".',
        )
    begin, gone = 10e-3, 10e-3 + 6.0 * reach

    def circuit(starts_s: float, ends_s: float, of: ProtectionResult) -> Circuit:
        edge = 1e-7
        fault = Ramp(
            points=(
                (0.0, 0.0),
                (starts_s, 0.0),
                (starts_s + edge, fault_a),
                (ends_s, fault_a),
                (ends_s + edge, 0.0),
            )
        )
        return protection_circuit(
            of,
            library,
            battery=Steady(value=middle_v),
            thermistor=thermistor_ohm(of, library, _ROOM_C),
            current=fault if watch == "over-current" else None,
            output=None if watch == "over-current" else fault,
        )

    nets = ("inhibit", PROTECTION_NETS[watch], "run", "hold")
    half = 0.5 * result.reference.nominal_v
    # The response takes microseconds and the hold-off a second: two runs, each with steps to match. A latch
    # is left out of the first: an operating point may find it set.
    quick = simulate(
        circuit(begin, gone, _retrying(result)),
        Transient(stop_s=begin + 12.0 * reach, step_s=trip.filter_s / 200.0, accuracy=1e-5),
        [Voltage(net) for net in nets],
        engine,
        timeout_s=timeout_s,
    )
    rises = crossings(quick.axis, quick.voltage("inhibit"), half)
    acted = next((time for time, rising in rises if rising and time > begin), float(quick.axis[-1]))
    response = acted - begin
    latched = trip.after == "latch"
    if latched:  # from a dead start: the first hold-off must be over
        begin = 2.0 * result.hold_off.high_s
        gone = begin + 6.0 * reach
    slow = simulate(
        circuit(begin, gone, result),
        Transient(
            stop_s=begin + 1.5 * result.hold_off.high_s,
            step_s=result.hold_off.short_s / 2000.0,
            accuracy=1e-5,
            from_initial=latched,
        ),
        [Voltage(net) for net in nets],
        engine,
        timeout_s=timeout_s,
    )
    checks = [
        Check(
            quantity=f"{watch}, until it acts",
            closed=reach,
            simulated=response,
            unit="s",
            limit=2.0 * _COMPARATOR_S + (_TIME if trip.drop is None else _DROP_TIME) * reach,
            absolute=True,
        )
    ]
    events = crossings(slow.axis, slow.voltage("inhibit"), half)
    if latched:
        last = float(slow.voltage("inhibit")[-1])
        checks.append(
            Check(
                quantity="inhibit once the current has gone, latched",
                closed=result.reference.nominal_v,
                simulated=last,
                unit="V",
                limit=_TIME,
            )
        )
    else:
        back = [time for time, rising in events if not rising]
        checks.append(
            Check(
                quantity="hold-off after a short trip",
                closed=result.hold_off.short_s,
                simulated=(back[-1] if back else slow.axis[-1]) - gone,
                unit="s",
                limit=_TIME,
            )
        )
    return Outcome(
        checks=tuple(checks),
        engine=slow.engine,
        axis=slow.axis,
        traces={f"{net}, V": slow.voltage(net) for net in nets},
    )


_COMPARATOR_S: Final = 3e-6  # one comparator after another


def _retrying(result: ProtectionResult) -> ProtectionResult:
    """The same circuit without its latches."""

    def freed(trip: OverCurrentTrip | None) -> OverCurrentTrip | None:
        return None if trip is None else replace(trip, after="retry")

    return replace(
        result, over_current=freed(result.over_current), amplifier_current=freed(result.amplifier_current)
    )


def _current_cases(design: Design, library: Library) -> tuple[Case, ...]:
    return tuple(_each_trip(design.protection, library))


def _each_trip(result: ProtectionResult, library: Library) -> Iterator[Case]:
    for watch in _WATCHES:
        if watch not in result.lamps:
            continue

        def slowly(
            engine: Engine, timeout_s: float, watch: Watch = watch, backwards: bool = False
        ) -> Outcome:
            return _current(result, library, watch, backwards, engine, timeout_s)

        def backwards(engine: Engine, timeout_s: float, watch: Watch = watch) -> Outcome:
            return _current(result, library, watch, True, engine, timeout_s)

        def short(engine: Engine, timeout_s: float, watch: Watch = watch) -> Outcome:
            return _short(result, library, watch, engine, timeout_s)

        where = "battery" if watch == "over-current" else "loudspeaker"
        yield Case(name=f"{where}, rising slowly", run=slowly)
        if _trip(result, watch).both_ways:
            yield Case(name=f"{where}, backwards", run=backwards)
        yield Case(name=f"{where}, a short", run=short)


EXPERIMENTS: Final = (
    Experiment(
        name="trip-sweep",
        block="protection",
        title="Voltage trips, up and down",
        about="The battery from below the under-voltage trip to above the over-voltage trip and back in two "
        "minutes: every trip and release against its closed form. Limit 1 %, as asked of every threshold.",
        cases=_voltage_cases,
    ),
    Experiment(
        name="thermal-trip",
        block="protection",
        title="Thermal trip, up and down",
        about="The heatsink warmed and cooled past trip and release at three battery voltages, and with the "
        "trimmer at both of its ends where one is fitted. Limit 1 % in °C.",
        cases=_heat_cases,
    ),
    Experiment(
        name="over-current",
        block="protection",
        title="Over-current trips and what follows",
        about="The current risen slowly past each trip (a switch whose drop is read stays on), then a short "
        "of three times the trip: time until the inhibit acts, and the hold-off or the latch after it. "
        "Limits 1 % in A, 5 % in time with two comparators' 2 µs.",
        cases=_current_cases,
    ),
)
