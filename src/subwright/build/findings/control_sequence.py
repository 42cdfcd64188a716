"""Rules on switching on and off, and on standing parked."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = ["remote_line", "standby", "switch_off_order", "switch_on_order"]


@rule(
    "SEQ-01",
    stage="control",
    severity="warn",
    title="Nothing speaks before it has settled",
    what="Earliest un-mute against the latest moment at which the rails stand, and earliest connection of "
    "the "
    "loudspeaker against the latest un-mute, all timer parts at their limits.",
    why="Rails that come up under a connected driver are heard as a thump and felt by the cone.",
    limit="The event before, at its latest.",
    source="common-practice",
    example="Soft start 0.3 s ± 20 %, un-mute from 0.74 s on, loudspeaker from 1.6 s on.",
    remedy="Raise control.unmute and control.speaker, or lower converter.soft_start.",
    near=0.05,
)
def switch_on_order(design: Design) -> Iterator[Measure]:
    """Measure the times in s."""
    control = design.control
    if control is None:
        return
    events = {event.name: event for event in control.switch_on}
    for later, before in (
        ("amplifier un-muted", "rails good"),
        ("loudspeaker connected", "amplifier un-muted"),
    ):
        if later not in events:  # nothing switches the loudspeaker
            continue
        yield Measure(
            quantity=f"{later}, earliest",
            value=events[later].earliest_s,
            limit=events[before].latest_s,
            dimension="time",
            sense="at least",
            at=f"after {before}",
        )


@rule(
    "SEQ-02",
    stage="control",
    severity="warn",
    title="The loudspeaker is off before the rails fall",
    what="Latest moment at which the speaker switch is open after switch-off, against the earliest at "
    "which the "
    "idling rails have lost three tenths.",
    why="An op-amp or modulator that loses its supply swings to one side; the driver must be gone by then.",
    limit="Energy of the reservoirs over idle power.",
    source="derived",
    example="2 × 4.7 mF at 60 V idling with 8 W hold for about a second; a relay takes 20 ms.",
    remedy="Raise converter.reservoir, or set speaker_guard.switch to something quicker.",
    near=0.05,
)
def switch_off_order(design: Design) -> Iterator[Measure]:
    """Measure the time in s."""
    control = design.control
    if control is None:
        return
    events = {event.name: event for event in control.switch_off}
    if "loudspeaker off" in events and "rails fallen" in events:
        yield Measure(
            quantity="loudspeaker off, latest",
            value=events["loudspeaker off"].latest_s,
            limit=events["rails fallen"].earliest_s,
            dimension="time",
        )


@rule(
    "SEQ-03",
    stage="control",
    severity="warn",
    title="The remote line is understood",
    what="Highest switch-on threshold over parts and temperature against the low corner, lowest against 1 "
    "V of "
    "noise, and the current drawn from the line.",
    why="A head unit's remote output is a transistor of some milliamperes on the same tired battery.",
    limit="Low corner; 1 V; control.remote_current.",
    source="common-practice",
    example="0.65 V × (1 + 6.4) is 4.8 V: 3.4 to 6.1 V over all parts, hot to cold.",
    remedy="Change control.remote_on, or raise control.remote_current.",
)
def remote_line(design: Design) -> Iterator[Measure]:
    """Measure thresholds in V and the current in A."""
    if design.control is None or design.control.remote is None:
        return
    remote = design.control.remote
    yield Measure(
        quantity="remote threshold, highest",
        value=remote.on_high_v,
        limit=design.supply.corners[Corner.LOW],
        dimension="voltage",
        at="cold, low battery",
    )
    yield Measure(
        quantity="remote threshold, lowest",
        value=remote.on_low_v,
        limit=1.0,
        dimension="voltage",
        sense="at least",
        at="hot",
    )
    yield Measure(
        quantity="current from the remote line",
        value=remote.line_a,
        limit=remote.line_limit_a,
        dimension="current",
        at="highest battery",
    )


@rule(
    "SEQ-04",
    stage="control",
    severity="warn",
    title="Parked, it leaves the battery alone",
    what="Share of the battery's capacity that standby takes in the time parked.",
    why="A vehicle that doesn't start after the holidays is remembered longer than the sound.",
    limit="10 %; common practice, no source.",
    source="common-practice",
    example="0.2 mA for 30 days are 0.14 Ah: 0.2 % of 70 Ah. Without a remote line 40 mA take 29 Ah: 41 %.",
    remedy='Set control.remote = "line", or shorten control.parked.',
)
def standby(design: Design) -> Iterator[Measure]:
    """Measure the share."""
    if design.control is not None:
        yield Measure(
            quantity="battery taken by standby while parked",
            value=design.control.parked_share,
            limit=0.10,
            dimension="share",
        )
