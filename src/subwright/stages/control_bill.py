"""Bill of materials of the switch-on control."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating
from subwright.stages.control_records import Remote, Timer

__all__ = ["control_parts"]

_SIZES_W: Final = (0.25, 0.5, 1.0, 2.0, 5.0)


def control_parts(remote: Remote | None, timers: tuple[Timer, ...], library: Library) -> tuple[PartUse, ...]:
    """Every part with its ratings; arguments as the stage's own."""
    parts = list(_remote(remote, library)) if remote else []
    for timer in timers:
        parts += [
            _resistor(f"{timer.name} timer resistor", timer.resistor_ohm),
            _capacitor(f"{timer.name} timer capacitor", timer.capacitor_f),
            _resistor(f"{timer.name} timer discharge resistor", 100.0),
            PartUse(
                role=f"{timer.name} timer discharge diode",
                letter="D",
                part_id="1N4148",
                description="small-signal diode 75 V 0.15 A",
                quantity=1,
                provenance="memory",
            ),
        ]
    comparator = library.comparator("LM393")
    parts.append(
        PartUse(
            role="timer comparators",
            letter="U",
            part_id=comparator.id,
            description=comparator.description,
            quantity=1,
            in_drawer=library.in_drawer(comparator.id) >= 1,
            provenance=comparator.provenance.kind,
        )
    )
    for half in ("upper", "lower"):
        parts.append(_resistor(f"timer half supply {half}", 10e3))
    return tuple(parts)


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


def _capacitor(role: str, farad: float) -> PartUse:
    kind = "film 63 V" if farad < 1e-6 else "electrolytic 25 V, low leakage"
    return PartUse(
        role=role,
        letter="C",
        part_id=code(farad, "capacitance"),
        description=kind,
        quantity=1,
        value=show(farad, "capacitance"),
        tolerance=0.20,
        provenance="IEC 60063 preferred value",
    )


def _remote(remote: Remote, library: Library) -> Iterator[PartUse]:
    yield _resistor("remote line series", remote.series_ohm)
    yield _resistor("remote line pull-down", remote.pulldown_ohm)
    yield _capacitor("remote line debounce", remote.filter_f)
    small, switch = library.transistor("BC546B"), library.transistor(remote.switch)
    yield PartUse(
        role="remote transistor",
        letter="Q",
        part_id=small.id,
        description=small.description,
        quantity=1,
        in_drawer=library.in_drawer(small.id) >= 1,
        provenance=small.provenance.kind,
    )
    yield PartUse(
        role="control supply switch",
        letter="Q",
        part_id=switch.id,
        description=switch.description,
        quantity=1,
        in_drawer=library.in_drawer(switch.id) >= 1,
        provenance=switch.provenance.kind,
        ratings=(
            Rating(
                quantity="collector current",
                unit="A",
                applied=remote.switch_a,
                limit=remote.switch_limit_a,
                source=switch.provenance.document,
            ),
            Rating(
                quantity="collector-emitter voltage",
                unit="V",
                applied=remote.switch_v,
                limit=remote.switch_limit_v,
                source=switch.provenance.document,
                at="load dump",
            ),
        ),
    )
    yield _resistor("control supply base resistor", remote.base_ohm, remote.base_w)
    yield _resistor("control supply base pull-up", 10e3)
