"""Bill of materials of the battery guard."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.parts.library import Library
from subwright.stages.battery_guard_records import (
    BatteryGuardInput,
    ReverseSwitch,
    ShuntDiode,
    SurgeClamp,
)
from subwright.stages.common import Corner, PartUse, Rating, record_use, resistor_use

__all__ = ["guard_parts"]


def guard_parts(
    reverse: ReverseSwitch | None,
    diode: ShuntDiode | None,
    clamp: SurgeClamp | None,
    data: BatteryGuardInput,
    library: Library,
) -> tuple[PartUse, ...]:
    """Every part of the guard with its ratings; arguments as the stage's own."""
    parts: list[PartUse] = []
    if reverse is not None:
        parts += _switch(reverse, library)
    if diode is not None:
        part = library.rectifier(diode.rectifier)
        parts.append(
            record_use(
                "diode across the input",
                "D",
                part,
                diode.count,
                library,
                Rating(
                    quantity="reverse voltage",
                    unit="V",
                    applied=data.corners[Corner.MAX],
                    limit=part.vrrm_v,
                    source=part.provenance.document,
                    at="highest battery",
                ),
            )
        )
    if clamp is not None:
        suppressor = library.suppressor(clamp.suppressor)
        parts.append(
            record_use(
                "suppressor behind the fuse",
                "VR",
                suppressor,
                clamp.count,
                library,
                Rating(
                    quantity="standoff voltage",
                    unit="V",
                    applied=clamp.standoff_needed_v,
                    limit=clamp.standoff_v,
                    source=suppressor.provenance.document,
                    at="jump start or long over-voltage",
                ),
                Rating(
                    quantity="pulse power",
                    unit="W",
                    applied=clamp.power_w,
                    limit=clamp.power_limit_w,
                    source=suppressor.provenance.document,
                    at="severest pulse",
                ),
            )
        )
    return tuple(parts)


def _switch(reverse: ReverseSwitch, library: Library) -> Iterator[PartUse]:
    mosfet, zener = library.mosfet(reverse.mosfet), library.zener(reverse.clamp_id)
    document = mosfet.provenance.document
    yield record_use(
        "reverse-polarity switch",
        "Q",
        mosfet,
        reverse.count,
        library,
        Rating(
            quantity="drain-source voltage",
            unit="V",
            applied=reverse.blocks_v,
            limit=reverse.rating_v,
            source=document,
            at="reversed on full capacitors",
        ),
        Rating(
            quantity="junction temperature",
            unit="°C",
            applied=reverse.junction_c,
            limit=reverse.junction_limit_c,
            source=document,
            at="full sine, no heatsink",
        ),
        Rating(
            quantity="gate-source voltage",
            unit="V",
            applied=reverse.gate_high_v,
            limit=reverse.gate_limit_v,
            source=document,
            at="highest battery",
        ),
    )
    yield record_use("reverse-polarity gate clamp", "VR", zener, 1, library)
    yield resistor_use("reverse-polarity gate resistor", reverse.gate_ohm)
