"""Bill of materials of the loudspeaker's protection."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating, capacitor_use, diode_use, record_use, resistor_use
from subwright.stages.speaker_guard_records import (
    DcDetector,
    SpeakerGuardInput,
    SpeakerRelay,
    SpeakerSwitch,
    SwitchDrive,
)

__all__ = ["SMALL_TRANSISTOR", "guard_parts"]

SMALL_TRANSISTOR = "BC547B"


def guard_parts(
    detector: DcDetector,
    drive: SwitchDrive,
    relay: SpeakerRelay | None,
    switch: SpeakerSwitch | None,
    data: SpeakerGuardInput,
    library: Library,
) -> tuple[PartUse, ...]:
    """Every part with its ratings; arguments as the stage's own."""
    return (
        *_detector(detector, data, library),
        *_drive(drive, library),
        *(_relay(relay, drive, library) if relay else ()),
        *(_switch(switch, drive, library) if switch else ()),
    )


def _detector(detector: DcDetector, data: SpeakerGuardInput, library: Library) -> Iterator[PartUse]:
    legs = detector.resistors
    each = detector.resistor_ohm / legs
    watts = (data.stuck_v / legs) ** 2 / each
    yield resistor_use("detector low-pass resistor", each, watts, quantity=legs)
    yield capacitor_use(
        "detector low-pass capacitor",
        detector.capacitor_f,
        "bipolar electrolytic, or two of twice the value back to back, 25 V",
        0.20,
    )
    npn, pnp = library.transistor(detector.npn), library.transistor(detector.pnp)
    stress = Rating(
        quantity="collector-emitter voltage",
        unit="V",
        applied=detector.supply_v,
        limit=npn.vceo_v,
        source=npn.provenance.document,
        at="load dump",
    )
    for polarity in ("positive", "negative"):
        yield record_use(f"detector transistor, {polarity}", "Q", npn, 1, library, stress)
    yield record_use("detector PNP", "Q", pnp, 1, library)
    yield record_use("detector output transistor", "Q", library.transistor(SMALL_TRANSISTOR), 1, library)
    yield resistor_use("detector PNP base to emitter", detector.pull_ohm)
    yield resistor_use("detector coupling resistor", detector.couple_ohm)
    yield resistor_use("detector pull-down", detector.down_ohm)


def _drive(drive: SwitchDrive, library: Library) -> Iterator[PartUse]:
    record = library.transistor(drive.transistor)
    rating = Rating(
        quantity="collector-emitter voltage",
        unit="V",
        applied=drive.stress_v,
        limit=drive.limit_v,
        source=record.provenance.document,
        at="load dump, or as the coil opens",
    )
    yield record_use("speaker switch driver", "Q", record, 1, library, rating)
    yield resistor_use("speaker switch base resistor", drive.base_ohm)


def _relay(relay: SpeakerRelay, drive: SwitchDrive, library: Library) -> Iterator[PartUse]:
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
    yield record_use("speaker relay", "K", record, 1, library, *ratings)
    yield diode_use("speaker relay flyback diode", "1N4007")
    if drive.zener:
        yield record_use("speaker relay release zener", "VR", library.zener(drive.zener), 1, library)
    if relay.dropper_ohm is not None:
        yield resistor_use("speaker relay dropper", relay.dropper_ohm, relay.dropper_w)


def _switch(switch: SpeakerSwitch, drive: SwitchDrive, library: Library) -> Iterator[PartUse]:
    record = library.mosfet(switch.mosfet)
    document = record.provenance.document
    yield record_use(
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
    yield resistor_use("speaker switch drive resistor", drive.light_ohm, drive.light_w)
