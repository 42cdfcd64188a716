"""Steps of the first power-up that try the protections, one by one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_numbers import StandIn, supply_limit
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.protection import Threshold

__all__ = ["guard_steps"]

_VOLTAGE_CAUSES: Final = (
    Cause(
        sign="trips, but far from the window",
        cause="a wrong resistor: one digit of its code misread",
        remedy="measure the sense divider's parts out of circuit, then: subwright fitted",
    ),
    Cause(
        sign="trip right, release wrong",
        cause="the feedback resistor is wrong or its end is open",
        remedy="measure the feedback resistor",
    ),
    Cause(
        sign="lamp lights, converter runs on",
        cause="a reversed combining diode, or the isolating link is still open",
        remedy="close the link; the diode's cathode looks at the comparator",
    ),
    Cause(
        sign="never trips",
        cause="comparator inputs swapped, or the reference is missing at its input",
        remedy="measure both inputs: they must cross when the lamp lights",
    ),
)


def guard_steps(design: Design, bench_v: float, stand_in: StandIn, idle_a: float) -> Iterator[Step]:
    """Under-voltage, over-voltage, thermal and, where fitted, over-current; ``idle_a`` in A."""
    protection = design.protection
    thresholds = protection.thresholds
    limit = supply_limit(idle_a)
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
            "Turn the voltage down slowly, a tenth of a volt each second, until the lamp lights and the "
            "pulses stop: that is the trip. Turn it up until they come back: that is the release.",
        ),
        readings=tuple(_voltage_reading(thresholds[f"under-voltage {end}"]) for end in ("trip", "release")),
        causes=_VOLTAGE_CAUSES,
        stops=("The converter runs on below the window: don't connect it to a battery.",),
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
            f"Turn the voltage up slowly, never past {show(top * 1.01, 'voltage')}, until the lamp lights: "
            "the trip. Turn it down until it comes back: the release.",
            "Watch the rails meanwhile: they follow the supply up to the trip.",
        ),
        readings=tuple(_voltage_reading(thresholds[f"over-voltage {end}"]) for end in ("trip", "release")),
        causes=_VOLTAGE_CAUSES,
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
                    low=0.96 * trip.level_v,
                    high=1.04 * trip.level_v,
                    basis="reference and two resistors",
                    rests_on=("protection",),
                ),
            ),
            causes=(
                Cause(
                    sign="level many times too high",
                    cause="the lower resistor of the divider is open or misread",
                    remedy="measure it out of circuit",
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
        ),
        causes=(
            Cause(
                sign="always tripped",
                cause="thermistor and series resistor swapped, or a short in its leads",
                remedy="measure the node: it rises when the thermistor warms",
            ),
            Cause(
                sign="never trips",
                cause="an open thermistor lead looks like deep cold: the protection is blind",
                remedy="check the plug; crimp, don't twist",
            ),
            Cause(
                sign="trips far off",
                cause="a thermistor of another value or another B constant, or a wrong level resistor",
                remedy="measure the thermistor at 25 °C, then the level divider",
            ),
            Cause(
                sign="chatters about the trip",
                cause="the feedback resistor is open",
                remedy="measure it; the release must differ from the trip",
            ),
        ),
        stops=(f"It runs with {hot} fitted: don't use it without a thermal trip.",),
    )
