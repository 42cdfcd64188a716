"""Rules on the protection circuit.

The line-level filter has a file of its own (``control_filter``); importing this one registers both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from subwright.build.findings import (  # noqa: F401  (importing registers the rules)
    control_filter,
    control_guard,
    control_sequence,
    control_speaker,
    control_tolerance,
)
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = [
    "chatter",
    "comparator_supply",
    "cranking",
    "junctions_at_trip",
    "order_of_thresholds",
    "output_sink",
    "over_voltage_trip",
    "range_lost",
    "reference_load",
    "release_reachable",
    "self_heating",
    "trip_spread",
    "under_voltage_trip",
]

_SPREAD = 0.06  # half-width of a voltage threshold over its nominal value
_SELF_HEATING_K = 1.5
_DIMENSION: Final = {"V": "voltage", "°C": "temperature", "K": "temperature difference"}
# Names of pairs in the protection's order, and where they count.
_UNDER_TRIP: Final = {
    "under-voltage trip below the low corner at rest": "low battery at rest",
    "under-voltage trip below the low corner at full sine": "low battery, full sine",
}
_RELEASE: Final = "under-voltage release below a full battery at rest"
_OVER_TRIP: Final = {
    "over-voltage trip above charging": "charging",
    "over-voltage trip above the max corner": "highest battery",
}
# A full sine on a tired battery may end in a trip: that is what the trip is for, but the builder is told.
_TOLD: Final = frozenset({"under-voltage trip below the low corner at full sine"})
_CHATTER: Final = {"under-voltage hysteresis against chatter": ""}
_OWN_RULE: Final = frozenset({*_UNDER_TRIP, _RELEASE, *_OVER_TRIP, *_CHATTER})
_LESS_GRAVE: Final = frozenset(
    {"over-voltage release above charging", "thermal release above the hottest ambient"}
)


def _pairs(design: Design, names: Mapping[str, str], quantity: str) -> Iterator[Measure]:
    for check in design.protection.order:
        if check.name in names:
            yield Measure(
                quantity=quantity,
                value=check.value,
                limit=check.limit,
                dimension=_DIMENSION[check.unit],
                sense=check.must,
                severity="note" if check.name in _TOLD else None,
                at=names[check.name],
            )


@rule(
    "PRO-01",
    stage="protection",
    severity="warn",
    title="The under-voltage trip leaves room to play",
    what="Highest value of the under-voltage trip over all tolerances, against the tired battery at rest and "
    "under a full sine.",
    why="A trip that reaches into the working range silences a system that has nothing wrong with it.",
    limit="Low corner at rest, and the low corner less the sag of the load step; the second is a note: a "
    "full sine on a tired battery may end in a trip.",
    source="derived",
    example="A trip of 10.5 V with 1 % parts may act at 10.9 V: below 11.5 V at rest, but a full sine that "
    "takes 0.7 V off leaves 10.8 V and may trip it.",
    remedy="Lower protection.under_voltage_trip, tighten protection.resistor_tolerance, or thicken the cable "
    "(supply.section).",
    near=0.01,
)
def under_voltage_trip(design: Design) -> Iterator[Measure]:
    """Measure the trip in V."""
    yield from _pairs(design, _UNDER_TRIP, "highest under-voltage trip")


@rule(
    "PRO-02",
    stage="protection",
    severity="stop",
    title="The under-voltage release is reached",
    what="Highest value of the under-voltage release over all tolerances, against the battery while "
    "charging; and against a full one at rest.",
    why="A release above what the battery ever reaches leaves the unit dead until somebody lowers it with a "
    "soldering iron.",
    limit="Charging corner. Above a full battery at rest it starts again only once the charger runs: a "
    "warning.",
    source="derived",
    example="A release of 12.0 V may be 12.5 V: below the 12.6 V of a full lead-acid battery, so it comes "
    "back without a charger; a flat one of 11.5 V stays off.",
    remedy="Lower protection.under_voltage_release, or tighten protection.resistor_tolerance.",
    near=0.01,
)
def release_reachable(design: Design) -> Iterator[Measure]:
    """Measure the release in V."""
    release = design.protection.thresholds.get("under-voltage release")
    if release is None:
        return
    rest = next(check.limit for check in design.protection.order if check.name == _RELEASE)
    yield Measure(
        quantity="highest under-voltage release",
        value=release.window.worst_high,
        limit=design.supply.corners[Corner.CHARGING],
        dimension="voltage",
        at="charging",
    )
    yield Measure(
        quantity="highest under-voltage release",
        value=release.window.worst_high,
        limit=rest,
        dimension="voltage",
        at="full battery at rest",
        severity="warn",
    )


@rule(
    "PRO-03",
    stage="protection",
    severity="warn",
    title="The over-voltage trip stays out of the way",
    what="Lowest value of the over-voltage trip over all tolerances, against charging and the max corner.",
    why="It guards against a broken regulator. If it acts on a healthy one, the music stops when the engine "
    "starts.",
    limit="Charging corner and max corner.",
    source="derived",
    example="A trip of 16.5 V may act at 16.0 V: above 14.4 V while charging, and just at a max corner of 16 "
    "V.",
    remedy="Raise protection.over_voltage_trip, or tighten protection.resistor_tolerance.",
    near=0.005,
)
def over_voltage_trip(design: Design) -> Iterator[Measure]:
    """Measure the trip in V."""
    yield from _pairs(design, _OVER_TRIP, "lowest over-voltage trip")


@rule(
    "PRO-04",
    stage="protection",
    severity="stop",
    title="No chatter on bass hits",
    what="Least hysteresis of the under-voltage trip over all tolerances, against the voltage by which the "
    "battery recovers when the load goes away, ripple after the sense filter included.",
    why="A trip takes the load off, the battery rises by what the source resistance dropped, and a small "
    "hysteresis calls that well again: the unit hammers itself on and off.",
    limit="Source resistance times load step, times one plus the ripple that the filter lets through.",
    source="adi-adcmp391",
    example="25 mΩ × 30 A = 0.75 V of recovery: a hysteresis of 1.5 V − 0.1 V is enough, 0.5 V is not.",
    remedy="Raise protection.under_voltage_release, thicken the cable (supply.section), or lengthen "
    "protection.sense_filter.",
    near=0.1,
)
def chatter(design: Design) -> Iterator[Measure]:
    """Measure the hysteresis in V."""
    yield from _pairs(design, _CHATTER, "least hysteresis of the under-voltage trip")


@rule(
    "PRO-05",
    stage="protection",
    severity="stop",
    title="Trips and releases keep their order",
    what="Every other pair of thresholds that must stay apart at the edge of tolerance: releases on their "
    "side of the trips, voltage windows apart, thermal release above the air.",
    why="Two windows that overlap leave no voltage at which the unit runs, or make one comparator fight the "
    "other.",
    limit="The other threshold's worst case.",
    source="gum2008",
    example="Under-voltage release up to 11.9 V and over-voltage release from 14.9 V: 3 V between them to "
    "live in.",
    remedy="Move protection.under_voltage_release, protection.over_voltage_release or "
    "protection.thermal_release apart, or tighten protection.resistor_tolerance.",
)
def order_of_thresholds(design: Design) -> Iterator[Measure]:
    """Measure each pair in V, °C or K."""
    for check in design.protection.order:
        if check.name not in _OWN_RULE:
            yield Measure(
                quantity=check.name,
                value=check.value,
                limit=check.limit,
                dimension=_DIMENSION[check.unit],
                sense=check.must,
                severity="warn" if check.name in _LESS_GRAVE else None,
            )


@rule(
    "PRO-06",
    stage="protection",
    severity="stop",
    title="Junctions survive a late thermal trip",
    what="Junctions with the least favourable sine while the sink stands at the highest value of the thermal "
    "trip over all tolerances.",
    why="A trip is only as good as its worst sample: thermistor, reference and resistors may all be late "
    "together.",
    limit="Highest junction temperature of each device.",
    source="tip31-lecture",
    example="A trip of 85 °C may act at 90 °C; 20 W through 2.5 K/W on top make 140 °C against 150 °C.",
    remedy="Lower protection.thermal_trip, or choose a tighter thermistor (protection.ntc).",
    near=0.05,
)
def junctions_at_trip(design: Design) -> Iterator[Measure]:
    """Measure the temperatures in °C."""
    trip = design.protection.thresholds.get("thermal trip")
    if trip is None:
        return
    late_k = trip.window.worst_high - design.heat.trip_c
    for device in design.heat.devices:
        yield Measure(
            quantity=f"junction of the {device.name}",
            value=min(device.worst_c, device.trip_c + late_k),
            limit=device.limit_c,
            dimension="temperature",
            at="latest trip",
        )


@rule(
    "PRO-07",
    stage="protection",
    severity="stop",
    title="Supply of the comparators",
    what="Comparator supply at the lowest under-voltage trip and at the highest battery, and the heat in its "
    "clamp.",
    why="Below its headroom a comparator can't see the reference, and it must see it just when the battery "
    "is low. Above its rating it dies first.",
    limit="Reference plus input headroom at the low end; supply rating at the high end; rated power of the "
    "clamp.",
    source="lm339",
    example="A reference of 5 V and 2 V of headroom need 7 V: a 9.7 V trip less 0.6 V in the series resistor "
    "has it.",
    remedy='Choose another comparator (protection.comparator), or protection.reference = "shunt".',
    near=0.05,
)
def comparator_supply(design: Design) -> Iterator[Measure]:
    """Measure the supply in V and the heat in W."""
    reference = design.protection.reference
    yield Measure(
        quantity="comparator supply",
        value=reference.comparator_low_v,
        limit=reference.comparator_low_limit_v,
        dimension="voltage",
        sense="at least",
        at="lowest under-voltage trip",
    )
    yield Measure(
        quantity="comparator supply",
        value=reference.comparator_high_v,
        limit=reference.comparator_high_limit_v,
        dimension="voltage",
        at="highest battery",
    )
    yield Measure(
        quantity="heat in the clamp of the comparator's supply",
        value=reference.clamp_w,
        limit=reference.clamp_limit_w,
        dimension="power",
        at="highest battery",
    )


@rule(
    "PRO-08",
    stage="protection",
    severity="stop",
    title="Load on the reference",
    what="Heaviest current out of the reference, with every lamp lit that can be lit at once, against what "
    "it can give.",
    why="An overloaded reference sinks, and all thresholds sink with it.",
    limit="What the controller's reference can give away, or what the shunt's feed leaves at the lowest "
    "trip.",
    source="tl431",
    example="Three lamps of 1 mA, pull-ups and thermistor: 6 mA out of a reference that gives 10 mA.",
    remedy='Lower protection.lamp, or set protection.reference = "shunt".',
    near=0.05,
)
def reference_load(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    reference = design.protection.reference
    yield Measure(
        quantity="load on the reference", value=reference.load_a, limit=reference.limit_a, dimension="current"
    )


@rule(
    "PRO-09",
    stage="protection",
    severity="note",
    title="Spread of the voltage thresholds",
    what="Half the worst-case window of each voltage threshold with the resistors chosen, over its nominal "
    "value.",
    why="The spread of parts decides how close to a corner a trip may stand. The protection sheet shows 1 % "
    "and 5 % resistors side by side.",
    limit="6 %, a little more than good 1 % parts give; common practice, no source.",
    source="lacoste-accuracy",
    example="A divider 2:1 of 5 % resistors alone moves by up to 5 %: 10 V becomes 9.5 to 10.5 V. With 1 % "
    "ones: 9.9 to 10.1 V.",
    remedy='Set protection.resistor_tolerance = "1 %", protection.trimmer = true, or protection.reference = '
    '"shunt".',
)
def trip_spread(design: Design) -> Iterator[Measure]:
    """Measure the half-width as a share."""
    for threshold in design.protection.thresholds.values():
        if threshold.unit == "V":
            window = threshold.window
            yield Measure(
                quantity=f"spread of the {threshold.name}",
                value=0.5 * (window.worst_high - window.worst_low) / threshold.nominal,
                limit=_SPREAD,
                dimension="share",
            )


@rule(
    "PRO-10",
    stage="protection",
    severity="warn",
    title="Current into a tripped output",
    what="Current that one comparator output sinks when it has tripped: pull-up, lamp and the common line.",
    why="An output that can't pull its line low reports a trip and stops nothing.",
    limit="Sink current that the comparator guarantees.",
    source="lm339",
    example="0.5 mA, 1 mA and 0.4 mA are 1.9 mA: below the 6 mA that a 339 guarantees.",
    remedy="Lower protection.lamp, or choose another protection.comparator.",
    near=0.1,
)
def output_sink(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    protection = design.protection
    yield Measure(
        quantity="current into a tripped output",
        value=protection.sink_a,
        limit=protection.sink_limit_a,
        dimension="current",
    )


@rule(
    "PRO-11",
    stage="protection",
    severity="note",
    title="The thermistor warms itself",
    what="Rise of the thermistor over the heatsink by its own current, at the trip.",
    why="It measures its own temperature. In still air it runs ahead of the sink; glued to the metal it "
    "follows it.",
    limit="1.5 K; common practice, no source.",
    source="iec-60539",
    example="1.5 mW in a bead of 1.5 mW/K: 1.0 K in still air, less on metal.",
    remedy="Choose a thermistor of higher resistance (protection.ntc), and glue it to the sink.",
)
def self_heating(design: Design) -> Iterator[Measure]:
    """Measure the rise in K."""
    yield Measure(
        quantity="thermistor over the heatsink",
        value=design.protection.thermal.self_heating_k,
        limit=_SELF_HEATING_K,
        dimension="temperature difference",
        at="thermal trip",
    )


@rule(
    "PRO-12",
    stage="protection",
    severity="warn",
    title="Who holds it off when the comparators are blind",
    what="Battery voltage below which both comparator inputs leave their range, against the controller's "
    "lockout (without a converter: against the cranking voltage).",
    why="Down there the output may say anything. While the starter turns, a unit that wakes up makes the "
    "cranking harder and itself unhappy.",
    limit="Stop voltage of the controller's lockout; without a converter the cranking corner. A note only, "
    "where cranking stays above.",
    source="ti-lm2901-range",
    example="Blind below 6.4 V, lockout at 6.5 V: the controller is off before the comparators are.",
    remedy="Choose a controller with a lockout (converter.controller), or a comparator with a wider input "
    "range (protection.comparator).",
)
def range_lost(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    converter = design.converter
    blind_v = design.protection.reference.range_lost_v
    if converter is None and design.boost is not None:
        limit, at = design.boost.plan.controller.uvlo_off_v or 0.0, "lockout"
    elif converter is None:
        limit, at = design.supply.corners[Corner.MIN], "cranking"
    else:
        controller = converter.plan.controller
        off_v = controller.uvlo_off_v
        # Without a lockout nothing holds it off but the end of its supply range.
        limit, at = (controller.supply_min_v, "no lockout") if off_v is None else (off_v, "lockout")
    # Where even cranking stays above, only a dying battery or the switch-off itself comes down there.
    rare = design.supply.corners[Corner.MIN] > blind_v
    yield Measure(
        quantity="battery below which the comparators are blind",
        value=blind_v,
        limit=limit,
        dimension="voltage",
        at=at,
        severity="note" if rare else None,
    )


@rule(
    "PRO-13",
    stage="protection",
    severity="note",
    title="It is off while the starter turns",
    what="Cranking voltage against the lowest value of the under-voltage trip over all tolerances.",
    why="Nothing here is checked at the cranking voltage, on the understanding that the trip has acted by "
    "then.",
    limit="Worst-case low end of the under-voltage trip.",
    source="iso-16750-2",
    example="6 V while cranking against a trip that acts at 9.7 V at the latest.",
    remedy="Raise protection.under_voltage_trip, or put the remote switch-on where the starter cuts it.",
)
def cranking(design: Design) -> Iterator[Measure]:
    """Measure the cranking voltage in V."""
    trip = design.protection.thresholds.get("under-voltage trip")
    if trip is None:
        return
    yield Measure(
        quantity="battery while cranking",
        value=design.supply.corners[Corner.MIN],
        limit=trip.window.worst_low,
        dimension="voltage",
    )
