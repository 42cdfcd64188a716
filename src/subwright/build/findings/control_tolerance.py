"""Rules on the protection circuit that follow a burst in time, and on the resistors to buy."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = ["burst_trips", "lamps_visible", "over_current"]


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
    )


@rule(
    "PRO-15",
    stage="protection",
    severity="warn",
    title="The over-current trip leaves the music alone and saves the switches",
    what="Lowest trip over all tolerances against the battery's crest current with a full sine; highest "
    "against "
    "what the switches of one side carry; the same for the amplifier's output current.",
    why="Offset and reference count heavily on a few tens of millivolts: the window is wide, and both ends "
    "matter.",
    limit="Crest current; drain current rating of one side at 25 °C case.",
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
