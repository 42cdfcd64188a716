"""Bill of materials of the loudspeaker's protection."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.record import Record
from subwright.stages.common import PartUse, Rating
from subwright.stages.speaker_guard_records import (
    DcDetector,
    SpeakerGuardInput,
    SpeakerRelay,
    SpeakerSwitch,
)

__all__ = ["guard_parts"]

_SIZES_W: Final = (0.25, 0.5, 1.0, 2.0, 5.0)


def guard_parts(
    detector: DcDetector,
    relay: SpeakerRelay | None,
    switch: SpeakerSwitch | None,
    data: SpeakerGuardInput,
    library: Library,
) -> tuple[PartUse, ...]:
    """Every part with its ratings; arguments as the stage's own."""
    return (
        *_detector(detector, data, library),
        *(_relay(relay, library) if relay else ()),
        *(_switch(switch, library) if switch else ()),
    )


def _record(
    role: str, letter: str, record: Record, quantity: int, library: Library, *ratings: Rating
) -> PartUse:
    return PartUse(
        role=role,
        letter=letter,
        part_id=record.id,
        description=record.description,
        quantity=quantity,
        ratings=ratings,
        in_drawer=library.in_drawer(record.id) >= quantity,
        provenance=record.provenance.kind,
    )


def _resistor(role: str, ohm: float, watts: float = 0.0) -> PartUse:
    size = next((w for w in _SIZES_W if watts <= 0.5 * w), _SIZES_W[-1])
    rating = Rating(quantity="power", unit="W", applied=watts, limit=size, at="highest battery")
    return PartUse(
        role=role,
        letter="R",
        part_id=code(ohm, "resistance"),
        description=f"resistor {size:g} W",
        quantity=1,
        value=show(ohm, "resistance"),
        tolerance=0.05,
        ratings=(rating,) if watts else (),
        provenance="IEC 60063 preferred value",
    )


def _detector(detector: DcDetector, data: SpeakerGuardInput, library: Library) -> Iterator[PartUse]:
    watts = data.stuck_v**2 / detector.resistor_ohm
    yield _resistor("detector low-pass resistor", detector.resistor_ohm, watts)
    yield PartUse(
        role="detector low-pass capacitor",
        letter="C",
        part_id=code(detector.capacitor_f, "capacitance"),
        description="bipolar electrolytic, or two of twice the value back to back, 25 V",
        quantity=1,
        value=show(detector.capacitor_f, "capacitance"),
        tolerance=0.20,
        provenance="IEC 60063 preferred value",
    )
    small = library.transistor("BC547B")
    driver = library.transistor("BC337-25")
    yield _record("detector transistor, each polarity", "Q", small, 2, library)
    yield _record("speaker switch driver", "Q", driver, 1, library)
    yield PartUse(
        role="detector clamp diodes",
        letter="D",
        part_id="1N4148",
        description="small-signal diode 75 V 0.15 A",
        quantity=2,
        provenance="memory",
    )


def _relay(relay: SpeakerRelay, library: Library) -> Iterator[PartUse]:
    record = library.relay(relay.relay)
    document = record.provenance.document
    ratings = [
        Rating(
            quantity="contact current",
            unit="A",
            applied=relay.carries_a,
            limit=relay.contact_a,
            source=document,
            at="full sine",
        ),
        Rating(
            quantity="coil voltage",
            unit="V",
            applied=relay.coil_high_v,
            limit=relay.coil_limit_v,
            source=document,
            at="highest battery",
        ),
    ]
    yield _record("speaker relay", "K", record, 1, library, *ratings)
    yield PartUse(
        role="speaker relay flyback diode",
        letter="D",
        part_id="1N4007",
        description="rectifier 1000 V 1 A",
        quantity=1,
        provenance="memory",
    )
    if relay.dropper_ohm is not None:
        yield _resistor("speaker relay dropper", relay.dropper_ohm, relay.dropper_w)


def _switch(switch: SpeakerSwitch, library: Library) -> Iterator[PartUse]:
    record = library.mosfet(switch.mosfet)
    document = record.provenance.document
    yield _record(
        "speaker switch",
        "Q",
        record,
        2 * switch.per_side,
        library,
        Rating(
            quantity="drain-source voltage",
            unit="V",
            applied=switch.blocks_v,
            limit=switch.rating_v,
            source=document,
            at="output stuck to a rail",
        ),
        Rating(
            quantity="junction temperature",
            unit="°C",
            applied=switch.junction_c,
            limit=switch.junction_limit_c,
            source=document,
            at="full sine, no heatsink",
        ),
        Rating(
            quantity="gate-source voltage",
            unit="V",
            applied=switch.gate_v,
            limit=switch.gate_limit_v,
            source=document,
        ),
    )
    yield PartUse(
        role="speaker switch gate drivers",
        letter="U",
        part_id="photovoltaic gate driver",
        description="isolated photovoltaic MOSFET driver with turn-off shunt, about 6 to 8 V open",
        quantity=2,
        provenance="memory",
    )
    yield _resistor("speaker switch drive resistor", 680.0)
