"""Rules on the loudspeaker's protection."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = ["coil_outlives_fault", "detector_ignores_bass", "relay_breaks", "relay_coil", "speaker_switch"]


@rule(
    "SPK-01",
    stage="speaker_guard",
    severity="stop",
    title="The detector tells the lowest note from a fault",
    what="The lowest note at full output behind the detector's low-pass, with the parts that let most "
    "through, "
    "against the threshold of a hot transistor.",
    why="A detector that takes a bass note for direct current opens the lead in the loudest bar.",
    limit="0.5 V, a silicon transistor at 85 °C.",
    source="common-practice",
    example="40 V at 20 Hz behind 100 kΩ and 10 µF leave 0.32 V: no trip.",
    remedy="Raise goal.lowest_note or speaker_guard.bass_margin.",
)
def detector_ignores_bass(design: Design) -> Iterator[Measure]:
    """Measure the filtered note in V."""
    guard = design.speaker_guard
    if guard is not None and guard.detector is not None:
        yield Measure(
            quantity="lowest note behind the detector's low-pass",
            value=guard.detector.bass_v,
            limit=guard.detector.threshold_low_v,
            dimension="voltage",
            at="full output, worst parts",
        )


@rule(
    "SPK-02",
    stage="speaker_guard",
    severity="stop",
    title="The coil outlives the fault",
    what="Heat in the voice coil from the moment an output sticks until the lead is open, against what its "
    "copper "
    "takes up from programme temperature to its limit.",
    why="Detector, driver and contact all take their time, and the coil heats from the first millisecond.",
    limit="Thermal capacity of the coil times the room to its highest temperature; no heat counted as "
    "leaving.",
    source="derived",
    example="35 V on 3.2 Ω are 383 W: 30 ms leave 11 J in a coil that takes 40 J/K.",
    remedy='Set speaker_guard.switch = "mosfet", which opens sooner, or raise goal.lowest_note for a quicker '
    "detector.",
    near=0.2,
)
def coil_outlives_fault(design: Design) -> Iterator[Measure]:
    """Measure the heat in J."""
    guard = design.speaker_guard
    if guard is not None and guard.fitted and guard.coil_limit_j is not None:
        yield Measure(
            quantity="heat in the coil before the lead is open",
            value=guard.coil_heat_j,
            limit=guard.coil_limit_j,
            dimension="energy",
            at="output stuck, worst parts",
        )


@rule(
    "SPK-03",
    stage="speaker_guard",
    severity="stop",
    title="The relay breaks direct current",
    what="Direct current of a stuck output against what one contact breaks at that voltage.",
    why="Direct current has no zero to go out at. Beyond its rating a contact draws an arc that goes on "
    "burning "
    "until it has welded or the relay is on fire.",
    limit="The relay's direct-current breaking curve, resistive; a grounded rest contact leads the arc to "
    "ground and is let off.",
    source="relay-rating-note",
    example="A 10 A relay breaks 10 A at 30 V but only 0.5 A at 110 V.",
    remedy='Set speaker_guard.switch = "mosfet", or speaker_guard.contact = "grounded".',
)
def relay_breaks(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    guard = design.speaker_guard
    if guard is not None and guard.relay is not None and guard.relay.contact == "series":
        yield Measure(
            quantity="direct current that the relay has to break",
            value=guard.relay.breaks_needed_a,
            limit=guard.relay.breaks_a,
            dimension="current",
            at=guard.relay.relay,
        )


@rule(
    "SPK-04",
    stage="speaker_guard",
    severity="warn",
    title="The relay pulls in on a low battery",
    what="Coil voltage at the low corner under load against the pull-in voltage of a hot coil, and at the "
    "highest "
    "battery against the coil's limit.",
    why="Copper at 85 °C has a quarter more resistance, so a hot relay needs more just when the battery is "
    "low.",
    limit="Pull-in voltage times 1.26; highest steady coil voltage.",
    source="iec-60028",
    example="9.0 V at 20 °C are 11.3 V hot: a tired 12 V battery under load doesn't reach it.",
    remedy="Choose a relay of a lower pull-in voltage (speaker_guard.relay), or speaker_guard.switch = "
    '"mosfet".',
)
def relay_coil(design: Design) -> Iterator[Measure]:
    """Measure the coil in V."""
    guard = design.speaker_guard
    if guard is None or guard.relay is None:
        return
    yield Measure(
        quantity="coil of the speaker relay",
        value=guard.relay.coil_low_v,
        limit=guard.relay.pull_in_v,
        dimension="voltage",
        sense="at least",
        at="low battery, hot",
    )
    yield Measure(
        quantity="coil of the speaker relay",
        value=guard.relay.coil_high_v,
        limit=guard.relay.coil_limit_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "SPK-05",
    stage="speaker_guard",
    severity="warn",
    title="The speaker switch stands its opening",
    what="Stuck rail against the rating of the MOSFETs, and the energy in the voice coil's inductance when "
    "they "
    "open against one device's avalanche energy.",
    why="Opening stops a current in an inductance: the voltage rises until something takes the energy.",
    limit="Drain-source rating; single-pulse avalanche energy.",
    source="derived",
    example="16 A in 1 mH are 0.13 J.",
    remedy="Choose another speaker_guard.mosfet.",
    near=0.05,
)
def speaker_switch(design: Design) -> Iterator[Measure]:
    """Measure voltage and energy."""
    guard = design.speaker_guard
    if guard is None or guard.switch is None:
        return
    yield Measure(
        quantity="stuck rail across the speaker switch",
        value=guard.switch.blocks_v,
        limit=guard.switch.rating_v,
        dimension="voltage",
    )
    if guard.switch.avalanche_limit_j > 0:
        yield Measure(
            quantity="energy of the voice coil as the speaker switch opens",
            value=guard.switch.coil_j,
            limit=guard.switch.avalanche_limit_j,
            dimension="energy",
        )
