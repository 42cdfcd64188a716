"""Steps of the first power-up that try the protections, one by one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_numbers import StandIn, supply_limit
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.build.test_points.protection import inhibit_high_v
from subwright.stages.protection import ProtectionResult, Threshold

__all__ = ["guard_steps"]

_INHIBITS: Final = 0.9  # pull-up and loads, 5 % each; common practice
_METER: Final = 1.02  # of a voltage; common practice


def _voltage_causes(name: str) -> tuple[Cause, ...]:
    return (
        Cause(
            sign="trip and release both off the same way",
            cause="a wrong divider resistor: one digit of its code misread",
            remedy="measure the sense divider's parts out of circuit, then: subwright fitted",
            fault=f"{name}-divider-wrong",
        ),
        Cause(
            sign="trip and release close together",
            cause="the feedback resistor is wrong or its end is open: no hysteresis is left",
            remedy="measure the feedback resistor",
            fault=f"{name}-feedback-open",
        ),
        Cause(
            sign="lamp lights, converter runs on",
            cause="a reversed combining diode, or the isolating link is still open",
            remedy="close the link; the diode's cathode looks at the comparator",
            fault="inhibit-silent",
        ),
        Cause(
            sign="every threshold off by the same share",
            cause="the reference is wrong",
            remedy="read the reference again, loaded as it is now",
            fault="reference-wrong",
        ),
        Cause(
            sign="never trips",
            cause="comparator inputs swapped, or the reference is missing at its input",
            remedy="measure both inputs: they must cross when the lamp lights",
        ),
    )


def guard_steps(
    design: Design,
    bench_v: float,
    stand_in: StandIn,
    spans: Mapping[str, tuple[float, float, float]],
    idle_a: float,
) -> Iterator[Step]:
    """Under-voltage, over-voltage, thermal and, where fitted, over-current.

    ``spans`` are the hystereses of both voltage protections: nominal, lowest and highest, V; ``idle_a`` in A.
    """
    protection = design.protection
    thresholds = protection.thresholds
    mutes = protection.stops == "amplifier"
    limit = supply_limit(2.0 * idle_a)
    closed = "closed from here on" if protection.isolating_link else "no link in this build: always active"
    yield Step(
        number=0,
        key="under-voltage",
        title="Under-voltage trip",
        fitted=("isolating link closed",) if protection.isolating_link else (),
        absent=("driver",),
        links=closed,
        supply=BenchSupply(voltage_v=bench_v, limit_a=limit),
        load="bleeders only",
        actions=(
            "Discharge first, then close the link; both lamps out at the stated voltage.",
            *_set_by_voltage(protection, "under-voltage"),
            "Turn the voltage down slowly, a tenth of a volt each second, until the lamp lights and "
            + (
                "the mute line falls below 0.4 V: that is the trip. Turn it up until it rises again: that is "
                "the release."
                if mutes
                else "the pulses stop: that is the trip. Turn it up until they come back: that is the "
                "release."
            ),
        ),
        readings=(
            *_reference_reading(design),
            *(_voltage_reading(thresholds[f"under-voltage {end}"]) for end in ("trip", "release")),
            _hysteresis_reading("under-voltage", spans["under-voltage"]),
            _inhibit_reading(design),
        ),
        causes=_voltage_causes("under-voltage"),
        stops=(
            f"The {'mute stays high' if mutes else 'converter runs on'} below the window: don't connect it "
            "to a battery.",
        ),
    )
    top = thresholds["over-voltage trip"].window.worst_high
    yield Step(
        number=0,
        key="over-voltage",
        title="Over-voltage trip",
        fitted=(),
        absent=("driver",),
        links=closed,
        supply=BenchSupply(voltage_v=bench_v, limit_a=limit),
        load="bleeders only",
        actions=(
            *_set_by_voltage(protection, "over-voltage"),
            f"Turn the voltage up slowly, never past {show(top * 1.01, 'voltage')}, until the lamp lights: "
            "the trip. Turn it down until it comes back: the release.",
            "Watch the rails meanwhile: they follow the supply up to the trip.",
        ),
        readings=(
            *(_voltage_reading(thresholds[f"over-voltage {end}"]) for end in ("trip", "release")),
            _hysteresis_reading("over-voltage", spans["over-voltage"]),
        ),
        causes=_voltage_causes("over-voltage"),
        stops=(
            f"No trip at {show(top, 'voltage')}: turn it down at once.",
            "Rails above the rating of their capacitors.",
        ),
    )
    yield _thermal(design, bench_v, limit, stand_in, closed)
    trip = protection.over_current
    if trip is not None:
        yield Step(
            number=0,
            key="over-current",
            title="Over-current trip",
            fitted=(),
            absent=("driver",),
            links=closed,
            supply=BenchSupply(voltage_v=bench_v, limit_a=limit),
            load="bleeders only",
            actions=(
                "Only its level is tried here: a dead short on the bench may cost a switch.",
                "Measure the tap of its level divider, then its filter's output at rest: near zero.",
            ),
            readings=(
                Reading(
                    key="over-current-level",
                    name="level of the over-current comparator",
                    where="tap of the level divider to ground",
                    dimension="voltage",
                    expected=trip.level_v,
                    low=trip.level_v * (1.0 - _level_spread(design)),
                    high=trip.level_v * (1.0 + _level_spread(design)),
                    basis="reference and two resistors, every part at the limit that hurts",
                    rests_on=("protection",),
                ),
            ),
            causes=(
                Cause(
                    sign="level many times too high",
                    cause="the lower resistor of the divider is open or misread",
                    remedy="measure it out of circuit",
                    fault="over-current-level-wrong",
                ),
                Cause(
                    sign="trips at rest",
                    cause="the sense lead is open, or picks up the switching edge",
                    remedy="run it as a twisted pair from the shunt itself",
                ),
                Cause(
                    sign="level zero",
                    cause="the reference doesn't reach the divider",
                    remedy="follow the track from the reference",
                ),
            ),
            stops=("It doesn't hold the converter off when its input is raised above the level.",),
        )


def _level_spread(design: Design) -> float:
    supply, tolerance = design.protection.reference, design.spec.protection.resistor_tolerance
    return (
        max(supply.high_v / supply.nominal_v, 2.0 - supply.low_v / supply.nominal_v) - 1.0 + 2.0 * tolerance
    )


def _reference_reading(design: Design) -> Iterator[Reading]:
    """The reference, where no step of the converter's controller has read it."""
    if design.converter is not None:
        return
    supply = design.protection.reference
    yield Reading(
        key="reference-voltage",
        name="reference of the protections",
        where=f"{supply.part_id} to ground",
        dimension="voltage",
        expected=supply.nominal_v,
        low=supply.low_v,
        high=supply.high_v,
        basis="the sheet's limits",
        rests_on=("protection/protection reference",),
    )


def _hysteresis_reading(name: str, span: tuple[float, float, float]) -> Reading:
    return Reading(
        key=f"{name}-hysteresis",
        name=f"{name} hysteresis: trip and release, the one less the other",
        where="the two readings above",
        dimension="voltage",
        expected=span[0],
        low=span[1],
        high=span[2],
        basis="every part at the limit that hurts; what trip and release share falls out",
        rests_on=("converter/push-pull controller", f"protection/{name.split('-')[0]}"),
    )


def _inhibit_reading(design: Design) -> Reading:
    supply = design.protection.reference
    return Reading(
        key="inhibit-line",
        name="inhibit line while the lamp is lit",
        where="inhibit to ground, the supply just below the trip",
        dimension="voltage",
        expected=inhibit_high_v(design),
        low=_INHIBITS * inhibit_high_v(design, heaviest=True) * supply.low_v / supply.nominal_v,
        high=_METER * supply.high_v,
        basis="pulled up to the reference; what it stops loads it",
        customary=True,
        rests_on=("protection", "converter/push-pull controller"),
    )


def _set_by_voltage(protection: ProtectionResult, watch: str) -> tuple[str, ...]:
    """How a voltage trip's trimmer is set; nothing where there is none."""
    reach = next((one for one in protection.trimmers if one.protection == watch), None)
    if reach is None:
        return ()
    low, high = sorted((reach.trip_shut, reach.trip_open))
    return (
        f"Set its trimmer: supply at {show(reach.target, 'voltage', 4)} exactly, then turn until the lamp "
        f"just lights; its track reaches from {show(low, 'voltage')} to {show(high, 'voltage')}. It stands "
        f"near {show(reach.set_ohm, 'resistance')} of {show(reach.track_ohm, 'resistance')}.",
    )


def _set_by_resistance(protection: ProtectionResult, stand_in: StandIn) -> tuple[str, ...]:
    """How the thermal trip's trimmer is set on the cold bench."""
    reach = next((one for one in protection.trimmers if one.protection == "thermal"), None)
    if reach is None:
        return ()
    low, high = sorted((reach.trip_shut, reach.trip_open))
    return (
        f"Set its trimmer: a variable resistor of {show(stand_in.trip_ohm, 'resistance', 4)} in place of the "
        f"thermistor (times your thermistor's own value at 25 °C over its nominal one), then turn the "
        f"trimmer until the lamp just lights; its track reaches from {show(low, 'temperature', 3)} to "
        f"{show(high, 'temperature', 3)}. It stands near {show(reach.set_ohm, 'resistance')} of "
        f"{show(reach.track_ohm, 'resistance')}.",
    )


def _voltage_reading(threshold: Threshold) -> Reading:
    window = threshold.window
    kind = threshold.name.split(" ")[0]
    return Reading(
        key=threshold.name.replace(" ", "-"),
        name=threshold.name,
        where="the unit's battery terminals, with a meter of their own",
        dimension="voltage",
        expected=threshold.nominal,
        low=window.worst_low,
        high=window.worst_high,
        basis=f"every part at the limit that hurts; 98 % of units lie between "
        f"{show(window.p1, 'voltage', 4)} and {show(window.p99, 'voltage', 4)}",
        rests_on=("converter/push-pull controller", f"protection/{kind}", "protection/protection comparator"),
    )


def _thermal(design: Design, bench_v: float, limit: float, stand_in: StandIn, closed: str) -> Step:
    trip, release = show(stand_in.trip_c, "temperature", 3), show(stand_in.release_c, "temperature", 3)
    hot, hold = show(stand_in.hot_ohm, "resistance"), show(stand_in.hold_ohm, "resistance")
    cold = show(stand_in.cold_ohm, "resistance")
    rests_on = ("converter/push-pull controller", "protection/therm", "protection/heatsink thermistor")
    return Step(
        number=0,
        key="thermal",
        title="Thermal trip with resistors in place of the thermistor",
        fitted=(),
        absent=("driver", "thermistor: its leads unplugged"),
        links=closed,
        supply=BenchSupply(voltage_v=bench_v, limit_a=limit),
        load="bleeders only",
        actions=(
            *_set_by_resistance(design.protection, stand_in),
            f"{hold} in place of the thermistor: it must run. {hot}: it must trip (it stands for more than "
            f"{trip}). {cold}: it must come back (less than {release}).",
            "For the bench log put a variable resistor there, turn it down until the lamp lights, switch off "
            "and measure it; then turn it up until the lamp goes out, and measure again.",
            "Plug the thermistor back in: the lamp is out at room temperature. Unplug it once: note what an "
            "open lead does.",
        ),
        readings=(
            Reading(
                key="thermal-trip-resistance",
                name="resistance at the thermal trip",
                where="the variable resistor, out of circuit",
                dimension="resistance",
                expected=stand_in.trip_ohm,
                low=stand_in.trip_low_ohm,
                high=stand_in.trip_high_ohm,
                basis=f"stands for {trip}; resistors, reference and comparator at the limits that hurt, "
                "thermistor left out",
                rests_on=rests_on,
            ),
            Reading(
                key="thermal-release-resistance",
                name="resistance at the thermal release",
                where="the variable resistor, out of circuit",
                dimension="resistance",
                expected=stand_in.release_ohm,
                low=stand_in.release_low_ohm,
                high=stand_in.release_high_ohm,
                basis=f"stands for {release}; as above",
                rests_on=rests_on,
            ),
            Reading(
                key="thermistor-node",
                name="thermistor's node, thermistor plugged in again",
                where="between thermistor and its series resistor, to ground",
                dimension="voltage",
                expected=stand_in.node_v,
                low=stand_in.node_low_v,
                high=stand_in.node_high_v,
                basis="a bench of 15 °C to 30 °C; reference, resistor and thermistor at the limits that hurt",
                rests_on=rests_on,
            ),
        ),
        causes=(
            Cause(
                sign="always tripped, the node near the reference",
                cause="a short in the thermistor's leads looks like great heat",
                remedy="measure from lead to lead, unplugged",
                fault="thermistor-shorted",
            ),
            Cause(
                sign="never trips with the thermistor, the node near zero",
                cause="an open thermistor lead looks like deep cold: the protection is blind",
                remedy="check the plug; crimp, don't twist",
                fault="thermistor-open",
            ),
            Cause(
                sign="both resistances far off",
                cause="a wrong level resistor, or a wrong one in series with the thermistor",
                remedy="measure the level divider out of circuit",
                fault="thermal-level-wrong",
            ),
            Cause(
                sign="chatters about the trip: one resistance right, the other beside it",
                cause="the feedback resistor is open",
                remedy="measure it; the release must differ from the trip",
                fault="thermal-feedback-open",
            ),
            Cause(
                sign="resistances right, the node far off at room temperature",
                cause="a thermistor of another value",
                remedy="measure it at 25 °C",
            ),
        ),
        stops=(f"It runs with {hot} fitted: don't use it without a thermal trip.",),
    )
