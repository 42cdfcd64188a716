"""What the bench reads on the protection: reference, supply, what each trip watches, and the line they share.

The trips that read a switch's drop do so through two small diodes; their level runs through an equal pair.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import exp
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_numbers import BENCH_C, thermistor_stand_in
from subwright.build.result import Design
from subwright.build.test_points.control import control_readings
from subwright.build.test_points.states import ANY_BATTERY, FULL_SINE, NO_SIGNAL, played
from subwright.build.test_points.wiring import battery_currents
from subwright.circuits.models import JunctionModel
from subwright.circuits.netlist import Reading
from subwright.circuits.protection_trips import SMALL_DIODE, TRIP_WORDS, level_net
from subwright.circuits.spice_text import junction_emission
from subwright.parts.library import Library
from subwright.physics.junctions import base_emitter_v, diode_v
from subwright.physics.networks.comparators import inverting_levels_v, output_high_v
from subwright.physics.networks.supplies import zener_node_v
from subwright.stages.common import Level
from subwright.stages.converter_controller import INHIBIT_OHM, SHUTDOWN_OHM, SHUTDOWN_PULL_OHM
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_current_records import DropSense, OverCurrentTrip
from subwright.stages.protection_models import saturation
from subwright.stages.protection_reference import COMPARATOR_SUPPLY_A, MUTE_OHM

__all__ = [
    "ProtectionLevels",
    "dropped_v",
    "inhibit_high_v",
    "inhibit_load",
    "protection_levels",
    "protection_readings",
    "trip_sense_v",
]

_TRIPPED: Final = "tripped"
_AT_TRIP: Final = "at the trip of this current"
_METER_OHM: Final = 10e6  # of a usual multimeter; common practice
_CASE: Final = 4  # comparators in the case whose supply current is stated
_BASE_A: Final = 1e-4  # into a base that the inhibit line drives: its junction's voltage hardly moves
_DIODE_WITHIN_V: Final = 0.2  # of a small diode at ten microamperes, hot to cold; common practice
_PIN_V: Final = 2.5  # at which a 3525's shutdown pin is stated to take so much
_PIN_A: Final = 0.4e-3
_PIN_MOST_A: Final = 1e-3
_ROUNDS: Final = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class ProtectionLevels:
    """Steady voltages of the protection circuit, V.

    Attributes
    ----------
    supply : of the comparators. under_sense, over_sense : of the battery. run, run_low : run line while
        nothing, and while something has tripped. inhibit_low : of the inhibit while nothing has.
    """

    supply: float
    under_sense: float
    over_sense: float
    run: float
    run_low: float
    inhibit_low: float


def protection_levels(
    result: ProtectionResult, library: Library, *, battery_v: float, control_v: float
) -> ProtectionLevels:
    """Steady voltages of the protection circuit, by closed forms.

    Parameters
    ----------
    result, library : the design and its parts. battery_v : at the unit, V; below its trip the under-voltage
        comparator pulls at its own input. control_v : control supply, V.

    Source
    ------
    Kirchhoff's current law at each net; two straight lines for the zener diode, the junction's law for the
    combining diode. [derived]
    """
    reference = result.reference
    comparator = library.comparator(result.comparator)
    zener = library.zener(reference.clamp_id)
    volts, bias_a = reference.nominal_v, comparator.ib_a
    sink_ohm = saturation(comparator, result.sink_a).nominal / result.sink_a
    sections = 4 + sum(trip.sections for trip in (result.over_current, result.amplifier_current) if trip)
    under, over = result.under_voltage, result.over_voltage
    low = battery_v < result.thresholds["under-voltage trip"].nominal
    back_v, back_ohm = (sink_ohm * result.sink_a, under.feedback_ohm)
    if not low:
        back_v, back_ohm = volts, under.feedback_ohm + under.pullup_ohm
    held_a = (volts - 0.5) / result.run_ohm
    sense_v = _node(
        ((battery_v, 2.0 * under.upper_each_ohm), (back_v, back_ohm), (0.0, _lower(result, "under"))), bias_a
    )
    thermal = result.thermal
    hot_v = inverting_levels_v(
        r1_ohm=thermal.upper_ohm,
        r2_ohm=thermal.lower_ohm,
        r3_ohm=thermal.feedback_ohm,
        supply_v=volts,
        pullup_ohm=thermal.pullup_ohm,
        bias_a=bias_a,
    )[0]
    outputs = (
        float(output_high_v(volts, under.pullup_ohm, under.feedback_ohm, sense_v)),
        float(output_high_v(volts, thermal.pullup_ohm, thermal.feedback_ohm, hot_v)),
    )
    return ProtectionLevels(
        supply=zener_node_v(
            control_v,
            reference.comparator_ohm,
            COMPARATOR_SUPPLY_A / _CASE * sections,
            zener.vz_v,
            zener.rz_ohm,
            zener.iz_test_a,
        ),
        under_sense=sense_v,
        over_sense=_node(((battery_v, over.upper_ohm), (0.0, _lower(result, "over"))), bias_a),
        run=_free_v(volts, result.run_ohm, bias_a, outputs),
        run_low=_junction_v(SMALL_DIODE, held_a) + sink_ohm * result.sink_a,
        inhibit_low=volts * sink_ohm / (sink_ohm + result.inhibit_ohm),
    )


def _node(arms: tuple[tuple[float, float], ...], into_a: float) -> float:
    """A net that resistors (Ω) lead to from voltages (V), with a current into it, A."""
    return (sum(volts / ohm for volts, ohm in arms) + into_a) / sum(1.0 / ohm for _, ohm in arms)


def _free_v(volts: float, pull_ohm: float, bias_a: float, outputs: tuple[float, ...]) -> float:
    """The run line while nothing has tripped, V: outputs that their feedback holds down draw from it."""
    model = SMALL_DIODE
    slope_v = _junction_v(model, exp(1.0)) - _junction_v(model, 1.0)
    least, most = 0.5 * volts, volts + bias_a * pull_ohm
    for _ in range(_ROUNDS):
        run_v = 0.5 * (least + most)
        leaving_a = sum(model.rated_a * exp((run_v - out_v - model.forward_v) / slope_v) for out_v in outputs)
        least, most = (run_v, most) if (volts - run_v) / pull_ohm + bias_a > leaving_a else (least, run_v)
    return 0.5 * (least + most)


def _lower(result: ProtectionResult, watch: str) -> float:
    """Lower arm of a voltage trip, its trimmer set, Ω."""
    network = result.under_voltage if watch == "under" else result.over_voltage
    if network.trimmer_ohm is None:
        return network.lower_all_ohm
    reach = next(one for one in result.trimmers if one.protection == f"{watch}-voltage")
    return network.lower_ohm + reach.set_ohm


def _junction_v(model: JunctionModel, current_a: float) -> float:
    return diode_v(current_a, model.forward_v, model.rated_a, junction_emission(model))


def dropped_v(drop: DropSense, drain_v: float, *, on: float = 1.0) -> float:
    """What the filter of a trip reads of a switch's drop, V.

    Parameters
    ----------
    drop : how it is read. drain_v : the drop, V. on : share of it that the filter settles to, dimensionless.

    Source
    ------
    The gate's resistor feeds the drain's diode and, through an equal one, the load; both drops are the
    junction's. [derived]
    """
    least, most = 0.0, drop.most_v + drain_v
    for _ in range(_ROUNDS):  # the node rises with the reading, and what feeds it falls
        reading = 0.5 * (least + most)
        load_a = max(reading / drop.load_ohm, 1e-12)
        node_v = reading + _junction_v(SMALL_DIODE, load_a)
        through_a = (drop.gate_v - node_v) / drop.pull_ohm - load_a
        above = through_a <= 0.0 or node_v > drain_v + _junction_v(SMALL_DIODE, through_a)
        least, most = (least, reading) if above else (reading, most)
    return on * 0.5 * (least + most)


def inhibit_load(design: Design, *, heaviest: bool = False) -> tuple[float, float] | None:
    """What a converter's controller hangs on the inhibit line while it is high: V behind Ω; None for nothing.

    Parameters
    ----------
    design : the build. heaviest : the most that a shutdown pin may take, not the usual.

    Source
    ------
    Bases through resistors, and resistors to 0 V [derived]; the shutdown pin of a 3525 takes 0.4 mA, at most
    1 mA, at 2.5 V: from memory of its sheet.
    """
    base_v = base_emitter_v(_BASE_A)
    family = "" if design.converter is None else design.converter.plan.controller.family
    arms = []
    if design.boost is not None or family in ("494", "3524"):
        arms.append((base_v, INHIBIT_OHM))
    if family == "3524":
        arms.append((base_v, SHUTDOWN_OHM))
    if family == "3525":
        arms.append((base_v, (_PIN_V - base_v) / (_PIN_MOST_A if heaviest else _PIN_A)))
    if family == "3846":
        arms.append((0.0, SHUTDOWN_OHM + SHUTDOWN_PULL_OHM))
    return (_node(tuple(arms), 0.0), 1.0 / sum(1.0 / ohm for _, ohm in arms)) if arms else None


def inhibit_high_v(design: Design, *, heaviest: bool = False) -> float:
    """The inhibit line while something has tripped, under what it stops, V.

    Parameters
    ----------
    design : the build. heaviest : as of :func:`inhibit_load`.
    """
    result, load = design.protection, inhibit_load(design, heaviest=heaviest)
    arms = [(result.reference.nominal_v, result.inhibit_ohm)]
    if result.stops == "amplifier":
        arms.append((base_emitter_v(_BASE_A), MUTE_OHM))
    if load is not None:
        arms.append(load)
    return _node(tuple(arms), 0.0)


def protection_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings at the test points of the protection, by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Returns
    -------
    Running without a signal on each battery, and at full sine where a current is watched; the heatsink cold
    and at its trip; the lines that all trips share before and after a trip.
    """
    result = design.protection
    volts = result.reference.nominal_v
    spread_v = max(result.reference.high_v - volts, volts - result.reference.low_v)
    controls = {row.at: row.dc_v for row in control_readings(design, library).get("control", ())}
    levels = {}
    for at, (corner, _) in played(NO_SIGNAL).items():
        battery_v = design.point(corner, Level.IDLE).terminal_v
        control_v = controls.get(at, battery_v)
        levels[at] = protection_levels(result, library, battery_v=battery_v, control_v=control_v)
    any_one = next(iter(levels.values()))
    metered_v = any_one.run * _METER_OHM / (result.run_ohm + _METER_OHM)
    through_meter = f"through a meter of {show(_METER_OHM, 'resistance', 2)}"
    readings = {
        "reference": (Reading(at=ANY_BATTERY, dc_v=volts, within_v=spread_v),),
        "supply": tuple(Reading(at=at, dc_v=now.supply) for at, now in levels.items()),
        "under_sense": tuple(Reading(at=at, dc_v=now.under_sense) for at, now in levels.items()),
        "over_sense": tuple(Reading(at=at, dc_v=now.over_sense) for at, now in levels.items()),
        "thermal_sense": tuple(_thermal(design, library)),
        "run": (
            Reading(at=ANY_BATTERY, dc_v=any_one.run),
            Reading(at=through_meter, dc_v=metered_v),
            Reading(at=_TRIPPED, dc_v=any_one.run_low, within_v=_DIODE_WITHIN_V),
        ),
        "inhibit": (
            Reading(at=ANY_BATTERY, dc_v=any_one.inhibit_low),
            Reading(
                at=_TRIPPED,
                dc_v=inhibit_high_v(design),
                within_v=inhibit_high_v(design) - inhibit_high_v(design, heaviest=True),
            ),
        ),
    }
    for watch, trip, rows in (
        ("over-current", result.over_current, _battery_current),
        ("amplifier over-current", result.amplifier_current, _output_current),
    ):
        if trip is not None:
            at_trip = Reading(at=_AT_TRIP, dc_v=trip_sense_v(result, trip))
            readings[f"{TRIP_WORDS[watch]}_sense"] = (*rows(design, trip), at_trip)
            readings[level_net(watch, trip)] = (Reading(at=ANY_BATTERY, dc_v=trip.level_v),)
    return readings


def _thermal(design: Design, library: Library) -> Iterator[Reading]:
    """Thermistor's node on the cold bench, as the first power-up reads it, and just before the trip."""
    result = design.protection
    stand_in = thermistor_stand_in(design, library)
    arm_ohm = result.thermal.series_ohm + result.thermal.trimmer_set_ohm
    arms = ((result.reference.nominal_v, stand_in.trip_ohm), (0.0, arm_ohm))
    trip_c = show(stand_in.trip_c, "temperature", 2)
    yield Reading(at=f"heatsink at {show(BENCH_C[1], 'temperature', 2)}", dc_v=stand_in.node_v)
    yield Reading(
        at=f"heatsink at {trip_c}, trip", dc_v=_node(arms, library.comparator(result.comparator).ib_a)
    )


def trip_sense_v(result: ProtectionResult, trip: OverCurrentTrip) -> float:
    """What the filter reads as a trip acts, V: the level, where that runs through diodes behind them.

    Parameters
    ----------
    result : the design. trip : one of its trips.
    """
    if trip.drop is None:
        return trip.level_v
    pair = replace(trip.drop, gate_v=result.reference.nominal_v, pull_ohm=trip.drop.level_pull_ohm)
    return dropped_v(pair, trip.level_v)


def _read_v(trip: OverCurrentTrip, ampere: float) -> float:
    """What the filter reads of a current, A, in V: of a shunt, or of the switches in turn."""
    if trip.drop is None:
        return ampere * trip.sense_ohm
    return dropped_v(trip.drop, ampere * trip.sense_ohm, on=trip.drop.conduction)


def _battery_current(design: Design, trip: OverCurrentTrip) -> Iterator[Reading]:
    """The battery's current, which follows the bass; a switch carries it only while it is on."""
    share = 1.0
    if trip.drop is not None and design.converter is not None:
        share = design.converter.plan.timing.share
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, (corner, level) in played(signal).items():
            least_v, mean_v, most_v = (
                _read_v(trip, ampere / share) for ampere in battery_currents(design, corner, level)
            )
            yield _rippled(design, at, level, least_v, mean_v, most_v)


def _rippled(design: Design, at: str, level: Level, least_v: float, mean_v: float, most_v: float) -> Reading:
    if level is Level.IDLE:
        return Reading(at=at, dc_v=mean_v)
    note = show(2.0 * design.spec.goal.lowest_note_hz, "frequency")
    shape = f"peak to peak at {note}, twice the note"
    return Reading(at=at, dc_v=mean_v, ripple_v=most_v - least_v, waveform=shape)


def _output_current(design: Design, trip: OverCurrentTrip) -> Iterator[Reading]:
    """The loudspeaker's own current over its return, or what a stage on one supply returns of it."""
    if trip.drop is not None:  # music reads both ways, and a switch's drop only one
        yield Reading(at=f"{ANY_BATTERY}, {NO_SIGNAL}", dc_v=_read_v(trip, 0.0))
        return
    note_hz = design.spec.goal.lowest_note_hz
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, (corner, level) in played(signal).items():
            point, rest = design.point(corner, level), design.point(corner, Level.IDLE)
            if not trip.both_ways:
                rows = (_read_v(trip, ampere) for ampere in (rest.rail_a, point.rail_a, point.rail_peak_a))
                yield _rippled(design, at, level, *rows)
            elif level is Level.IDLE:
                yield Reading(at=at, dc_v=0.0)
            else:
                crest_v = _read_v(trip, point.output_peak_v / design.amplifier.load_ohm)
                shape = f"peak to peak, a sine of {show(note_hz, 'frequency')}"
                yield Reading(at=at, dc_v=0.0, ripple_v=2.0 * crest_v, waveform=shape)
