"""Rules on the protection circuit that follow a burst in time, and on the resistors to buy."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = ["burst_trips", "input_range", "lamps_visible", "over_current", "trimmer_reach"]


@rule(
    "PRO-14",
    stage="protection",
    severity="stop",
    title="A bass hit trips once, not again and again",
    what="How often a held full sine of the lowest note trips the under-voltage, followed in time on the "
    "battery that provokes it most.",
    why="The hysteresis is reckoned with a formula; this follows battery, sense filter, comparator and soft "
    "start instant by instant, and sees what the formula leaves out.",
    limit="One trip: a shut-down. A second one is chatter.",
    source="derived",
    example="11.2 V at rest sags to a trip of 10.5 V, springs back to 11.2 V and stays off below a release "
    "of 12.0 V: one trip.",
    remedy="Raise protection.under_voltage_release, thicken the cable (supply.section), or lengthen "
    "protection.sense_filter.",
)
def burst_trips(design: Design) -> Iterator[Measure]:
    """Count the trips."""
    yield Measure(
        quantity="trips in one held bass note",
        value=float(design.protection.chatter.trace.trips),
        limit=1.0,
        dimension="ratio",
        counted=True,
    )


@rule(
    "PRO-15",
    stage="protection",
    severity="warn",
    title="The over-current trip leaves the music alone and saves the switches",
    what="Lowest trip over all tolerances against the battery's crest current with a full sine; highest "
    "against "
    "what the switches of one side carry, and against what the sensing can tell of a dead short; the same "
    "for the amplifier's output current.",
    why="Offset and reference count heavily on a few tens of millivolts: the window is wide, and both ends "
    "matter.",
    limit="Crest current; drain current rating of one side at 25 °C case; battery over its source "
    "resistance, or where the gated reading of a drop lets go.",
    source="lm339",
    example="60 mV on 1.5 mΩ are 40 A; an offset of ±9 mV makes that 34 to 46 A.",
    remedy="Move protection.over_current_trip or protection.amplifier_current_trip, or use a comparator of "
    "smaller offset "
    "(protection.comparator).",
    near=0.02,
)
def over_current(design: Design) -> Iterator[Measure]:
    """Measure the window in A."""
    protection = design.protection
    for name, trip, where in (
        ("over-current trip", protection.over_current, "one side of the converter"),
        ("amplifier over-current trip", protection.amplifier_current, "output devices"),
    ):
        if trip is None:
            continue
        yield Measure(
            quantity=f"{name}, lowest",
            value=trip.low_a,
            limit=trip.must_a,
            dimension="current",
            sense="at least",
            at="crest of a full sine",
        )
        if trip.limit_a is not None:
            yield Measure(
                quantity=f"{name}, highest",
                value=trip.high_a,
                limit=trip.limit_a,
                dimension="current",
                at=where,
            )
        yield Measure(
            quantity=f"{name}, highest",
            value=trip.high_a,
            limit=trip.short_a,
            dimension="current",
            at="what a dead short shows",
        )


@rule(
    "PRO-16",
    stage="protection",
    severity="note",
    title="The status lamps can be seen",
    what="Least current of a lit status lamp over reference, resistor and LED.",
    why="A lamp that shows which protection acted saves an evening with the meter.",
    limit="0.3 mA through a modern red LED, seen indoors; common practice, no source.",
    source="common-practice",
    example="5.0 V less 2.1 V and 0.2 V over 3.3 kΩ: 0.8 mA.",
    remedy="Raise protection.lamp.",
)
def lamps_visible(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    yield Measure(
        quantity="least current of a lit status lamp",
        value=design.protection.lamp_currents.low_a,
        limit=0.3e-3,
        dimension="current",
        sense="at least",
    )


@rule(
    "PRO-17",
    stage="protection",
    severity="warn",
    title="The comparators' inputs stay in their range",
    what="The lower input of each comparator against the end of its input range, at every corner at which it "
    "plays, supply and reference at the limits that hurt.",
    why="A comparator with both inputs beyond its range may say anything: a re-designed die of the family "
    "need not do what the classic one did.",
    limit="The comparator's supply less its headroom. Below the lowest corner PRO-12 says who holds it off.",
    source="ti-lm2901-range",
    example="At 11.5 V behind 470 Ω the comparators have 10.3 V: their range ends at 8.3 V, the reference of "
    "5 V lies well inside.",
    remedy="Take a reference of a lower voltage (protection.shunt_reference), or a comparator of less "
    "headroom (protection.comparator).",
)
def input_range(design: Design) -> Iterator[Measure]:
    """Measure each comparator in V, where it comes nearest."""
    nearest: dict[str, Measure] = {}
    for inputs in design.protection.inputs:
        if inputs.corner is Corner.MIN:
            continue
        measure = Measure(
            quantity=f"lower input of the {inputs.watch} comparator",
            value=inputs.lower_v,
            limit=inputs.limit_v,
            dimension="voltage",
            at=f"{inputs.corner.value} battery",
        )
        if inputs.watch not in nearest or measure.margin < nearest[inputs.watch].margin:
            nearest[inputs.watch] = measure
    yield from nearest.values()


@rule(
    "PRO-18",
    stage="protection",
    severity="warn",
    title="Each trimmer reaches its trip",
    what="The arm that a trimmer and its resistor make, least and most, against what the trip takes in any "
    "unit.",
    why="A trimmer that ends before the trip is right is found out when everything is soldered in.",
    limit="The arm that puts the trip on its target with every part at its limit, the setting's own error "
    "included.",
    source="derived",
    example="3 kΩ and 2 kΩ reach 3.04 to 4.56 kΩ; an 85 °C trip takes 3.15 to 4.06 kΩ.",
    remedy="Use 1 % resistors (protection.resistor_tolerance) or a thermistor of a closer tolerance.",
)
def trimmer_reach(design: Design) -> Iterator[Measure]:
    """Measure both ends of each arm in Ω."""
    for trimmer in design.protection.trimmers:
        yield Measure(
            quantity=f"least arm of the {trimmer.protection} trimmer",
            value=trimmer.least_ohm,
            limit=trimmer.need_low_ohm,
            dimension="resistance",
        )
        yield Measure(
            quantity=f"greatest arm of the {trimmer.protection} trimmer",
            value=trimmer.most_ohm,
            limit=trimmer.need_high_ohm,
            dimension="resistance",
            sense="at least",
        )
