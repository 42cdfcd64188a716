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
from subwright.build.test_points import ANY_BATTERY, FULL_SINE, NO_SIGNAL, played
from subwright.build.test_points.control import control_readings
from subwright.build.test_points.protection import (
    dropped_v,
    inhibit_load,
    protection_readings,
    trip_sense_v,
)
from subwright.build.test_points.wiring import battery_currents
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.protection_ramp import (
    ThresholdRun,
    current_run,
    heat_run,
    reached_s,
    read_thresholds,
    simulate_run,
    thermistor_ohm,
    voltage_run,
)
from subwright.circuits.protection_trips import TRIP_WORDS, level_net
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_current import response_s
from subwright.stages.protection_records import OverCurrentTrip

__all__ = ["EXPERIMENTS"]

Watch = Literal["over-current", "amplifier over-current"]
_WATCHES: Final[tuple[Watch, ...]] = ("over-current", "amplifier over-current")
_AGREE: Final = 0.01  # asked of every threshold, whatever its values
_TIME: Final = 0.05
_DROP_TIME: Final = 0.15  # the diodes let go of the drain little by little
_DROP_AGREE: Final = 0.05  # the stage reckons the current of its diodes with one drop, whatever the level
_ROOM_C: Final = 25.0
_LOW_V: Final = 5e-3  # of a saturated output
_LOADED_V: Final = 10e-3  # the bases that hang on it are plain resistors in the netlist
_DIODE_V: Final = 0.02  # the output under the diode sinks less than the one that is reckoned with
_SENSE_V: Final = 0.5e-3  # bias of the comparators through the filter's resistor


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


def _voltages(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """Every trip and release, and the test points on the way down."""
    result = _retrying(design.protection)  # an operating point may find a latch set
    run = voltage_run(result, library, inhibit_load(design))
    extra = ("mute",) if result.stops == "amplifier" else ()
    traces = simulate_run(run, engine, timeout_s, (*(p.net for p in run.circuit.test_points), *extra))
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
    return _outcome(run, traces, (*checks, *_points(design, library, run, traces)), "battery", "V")


def _points(design: Design, library: Library, run: ThresholdRun, traces: Traces) -> Iterator[Check]:
    """What the sheet says of each test point, where the battery comes by, and at the top of the ramp."""
    readings = protection_readings(design, library)
    switched = control_readings(design, library)

    def check(net: str, at: str, time_s: float, limit: float, absolute: bool = False) -> Check:
        told = next(reading for reading in readings[net] if reading.at == at)
        return Check(
            quantity=f"{net.replace('_', ' ')}, {at}",
            closed=told.dc_v,
            simulated=float(np.interp(time_s, traces.axis, traces.voltage(net))),
            unit="V",
            limit=limit,
            absolute=absolute,
        )

    for at, (corner, _) in played(NO_SIGNAL).items():
        battery_v = design.point(corner, Level.IDLE).terminal_v
        now = reached_s(run.ramp, battery_v)
        yield check("under_sense", at, now, _AGREE)
        yield check("over_sense", at, now, _AGREE)
        # the netlist has no switch of the control supply: the ramp is at what that gives a little later
        control = {row.at: row.dc_v for row in switched.get("control", ())}.get(at, battery_v)
        yield check("supply", at, reached_s(run.ramp, control), _AGREE)
    nominal = reached_s(run.ramp, design.point(Corner.NOMINAL, Level.IDLE).terminal_v)
    top = run.ramp.points[1][0]
    for net in ("reference", "run"):
        yield check(net, ANY_BATTERY, nominal, _AGREE)
    yield check("inhibit", ANY_BATTERY, nominal, _LOADED_V, absolute=True)
    cold = readings["thermal_sense"][0].at
    yield check("thermal_sense", cold, nominal, _AGREE)
    yield check("run", readings["run"][-1].at, top, _DIODE_V, absolute=True)
    yield check("inhibit", readings["inhibit"][-1].at, top, _AGREE)
    if design.protection.stops == "amplifier":
        yield Check(
            quantity="mute, tripped",
            closed=switched["mute"][-1].dc_v,
            simulated=float(np.interp(top, traces.axis, traces.voltage("mute"))),
            unit="V",
            limit=_LOW_V,
            absolute=True,
        )


def _voltage_cases(design: Design, library: Library) -> tuple[Case, ...]:
    return (Case(name="", run=lambda engine, timeout_s: _voltages(design, library, engine, timeout_s)),)


# the heatsink


def _heat(
    design: Design,
    library: Library,
    battery_v: float | None,
    trimmer: float | None,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    result = design.protection
    run = heat_run(result, library, battery_v=battery_v, trimmer=trimmer)
    traces = simulate_run(run, engine, timeout_s, ("thermal_sense",))
    found = read_thresholds(run, traces)
    closed = {name: result.thresholds[name].nominal for name in ("thermal trip", "thermal release")}
    if trimmer is not None:
        reach = next(one for one in result.trimmers if one.protection == "thermal")
        closed = {"thermal trip": reach.trip_shut if trimmer == 0.0 else reach.trip_open}
    checks = [
        Check(quantity=name, closed=value, simulated=found[name], unit="°C", limit=_AGREE)
        for name, value in closed.items()
    ]
    if trimmer is None:
        told = protection_readings(design, library)["thermal_sense"][-1]
        times, values = np.array(run.ramp.points[:2]).T
        tripped_s = float(np.interp(found["thermal trip"], values, times))
        checks.append(
            Check(
                quantity="thermal sense at the trip",
                closed=told.dc_v,
                simulated=float(np.interp(tripped_s, traces.axis, traces.voltage("thermal_sense"))),
                unit="V",
                limit=_AGREE,
            )
        )
    return _outcome(run, traces, tuple(checks), "heatsink", "°C")


def _heat_cases(design: Design, library: Library) -> tuple[Case, ...]:
    result, corners = design.protection, design.supply.corners

    def case(name: str, battery_v: float | None, trimmer: float | None) -> Case:
        return Case(
            name=name,
            run=lambda engine, timeout_s: _heat(design, library, battery_v, trimmer, engine, timeout_s),
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
    design: Design,
    library: Library,
    watch: Watch,
    backwards: bool,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    result = design.protection
    run = current_run(result, library, watch, backwards=backwards)
    trip = _trip(result, watch)
    word = TRIP_WORDS[watch]
    traces = simulate_run(run, engine, timeout_s, (f"{word}_sense", level_net(watch, trip)))
    closed = trip.held_a
    if backwards:  # the second comparator's input leaves ground, not the level's tap
        closed = -trip.negative_a
    found = read_thresholds(run, traces)[f"{watch} trip"]
    checks = [Check(quantity=f"{watch} trip", closed=closed, simulated=found, unit="A", limit=_AGREE)]
    if not backwards:
        checks += _sensed(design, library, watch, run, found, traces)
    return _outcome(run, traces, tuple(checks), "current", "A")


def _sensed(
    design: Design, library: Library, watch: Watch, run: ThresholdRun, tripped_a: float, traces: Traces
) -> Iterator[Check]:
    """The sheet's readings of a trip at the currents that they are of; a switch's drop while it stays on."""
    trip, word = _trip(design.protection, watch), TRIP_WORDS[watch]
    readings = protection_readings(design, library)
    (_, low), (top_s, high) = run.ramp.points[:2]

    def at(ampere: float, net: str = f"{word}_sense") -> float:
        time_s = top_s * (ampere - low) / (high - low)
        return float(np.interp(time_s, traces.axis, traces.voltage(net)))

    share = _AGREE if trip.drop is None else _DROP_AGREE

    def check(what: str, closed: float, simulated: float) -> Check:
        limit = max(share * abs(closed), _SENSE_V)
        return Check(
            quantity=f"{word} {what}",
            closed=closed,
            simulated=simulated,
            unit="V",
            limit=limit,
            absolute=True,
        )

    net = level_net(watch, trip)
    yield check(net.removeprefix(f"{word}_"), readings[net][0].dc_v, at(low, net))
    rows = {reading.at: reading for reading in readings[f"{word}_sense"]}
    yield check("sense at its trip", trip_sense_v(design.protection, trip), at(tripped_a))
    if trip.drop is not None:
        for ampere in (0.1 * tripped_a, 0.3 * tripped_a, 0.6 * tripped_a):
            held_v = dropped_v(trip.drop, ampere * trip.sense_ohm)
            yield check(f"sense, {show(ampere, 'current')} held", held_v, at(ampere))
        return
    full = rows[f"nominal battery, {FULL_SINE}"]
    if watch == "over-current":
        least_a, mean_a, most_a = battery_currents(design, Corner.NOMINAL, Level.FULL)
        yield check("sense, full sine, mean", full.dc_v, at(mean_a))
        yield check("sense, full sine, peak to peak", full.ripple_v, at(most_a) - at(least_a))
    elif trip.both_ways:
        crest_a = design.point(Corner.NOMINAL, Level.FULL).output_peak_v / design.amplifier.load_ohm
        yield check("sense, full sine, peak to peak", full.ripple_v, 2.0 * at(crest_a))


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
    return tuple(_each_trip(design, library))


def _each_trip(design: Design, library: Library) -> Iterator[Case]:
    result = design.protection
    for watch in _WATCHES:
        if watch not in result.lamps:
            continue

        def slowly(
            engine: Engine, timeout_s: float, watch: Watch = watch, backwards: bool = False
        ) -> Outcome:
            return _current(design, library, watch, backwards, engine, timeout_s)

        def backwards(engine: Engine, timeout_s: float, watch: Watch = watch) -> Outcome:
            return _current(design, library, watch, True, engine, timeout_s)

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
        "minutes: every trip and release against its closed form, and on the way what the test points read. "
        "Limits 1 %, as asked of every threshold; 10 mV of a saturated output, 20 mV under a diode.",
        cases=_voltage_cases,
    ),
    Experiment(
        name="thermal-trip",
        block="protection",
        title="Thermal trip, up and down",
        about="The heatsink warmed and cooled past trip and release at three battery voltages, and with the "
        "trimmer at both of its ends where one is fitted; what its test point reads at the trip. Limit 1 %.",
        cases=_heat_cases,
    ),
    Experiment(
        name="over-current",
        block="protection",
        title="Over-current trips and what follows",
        about="The current risen slowly past each trip (a switch whose drop is read stays on), then a short "
        "of three times the trip: time until the inhibit acts, and the hold-off or the latch after it. While "
        "it rises, also what the test points read of level and current, within 1 % (a switch's drop: 5 %). "
        "Limits 1 % in A, 5 % in time with two comparators' 2 µs.",
        cases=_current_cases,
    ),
)
