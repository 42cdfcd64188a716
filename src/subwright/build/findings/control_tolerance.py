"""Rules on the protection circuit that follow a burst in time, and on the resistors to buy."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = ["burst_trips"]


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
