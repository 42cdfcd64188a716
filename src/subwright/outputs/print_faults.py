"""What wrong readings point at, as a table for the bench: each fault with the readings that it spoils."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.bringup_records import BringUp
from subwright.build.faults import FAULTS, Fault, Signature
from subwright.outputs.print_blocks import Block, table, text

__all__ = ["fault_blocks", "fault_rows"]

_MARK = {"gone": "0", "low": "↓", "in": "=", "high": "↑", "many": "↑↑"}


def fault_rows(procedure: BringUp) -> tuple[tuple[str, str, str, str], ...]:
    """Steps, fault, readings with their marks, and remedy, in the order in which the steps name them."""
    named: dict[str, list[str]] = {}
    for step in procedure.steps:
        for cause in step.causes:
            if cause.fault and str(step.number) not in named.setdefault(cause.fault, []):
                named[cause.fault].append(str(step.number))
    asked = {reading.key for reading in procedure.readings}
    return tuple(
        (", ".join(steps), FAULTS[key].what, _readings(FAULTS[key], asked), FAULTS[key].remedy)
        for key, steps in named.items()
    )


def _readings(fault: Fault, asked: set[str]) -> str:
    """The readings that must move, one way of several after the other."""
    told = [_signature(signature, asked) for signature in fault.signatures]
    return "; or ".join(words for words in dict.fromkeys(told) if words)


def _signature(signature: Signature, asked: set[str]) -> str:
    return ", ".join(
        f"{key} {'/'.join(_MARK[level] for level in levels)}"
        for key, levels in signature.items()
        if key in asked and "in" not in levels
    )


def fault_blocks(procedure: BringUp) -> Iterator[Block]:
    """The table with a line on how to read it."""
    yield text(
        "Each fault with the readings that it moves for certain, by their names in the bench log: 0 next to "
        "nothing, ↓ below the window, ↑ above, ↑↑ many times above or over the meter's range. Readings that "
        "are not named stay in their windows or may do either. With the readings in the log, this says the "
        "likeliest first: subwright bench tell FILE --unit NUMBER."
    )
    yield table("", ("step", "fault", "readings", "then"), fault_rows(procedure), size=7.6)
