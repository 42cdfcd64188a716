"""The test points of a stage's circuits with what they read, state by state."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from subwright.base.units import show
from subwright.circuits.netlist import Reading
from subwright.outputs.point_words import with_minus
from subwright.outputs.schematic_block import Block

__all__ = ["PointRow", "StateRow", "point_rows"]


@dataclass(frozen=True, kw_only=True, slots=True)
class StateRow:
    """What a point reads in one state; ``ripple`` is "" where nothing moves, ``within`` where not stated."""

    state: str
    dc: str
    within: str
    ripple: str
    waveform: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PointRow:
    """One test point: designator, printed name of its net, what it carries, and its readings."""

    name: str
    net: str
    what: str
    states: tuple[StateRow, ...]


def point_rows(found: Iterable[Block], stage: str) -> tuple[PointRow, ...]:
    """The test points of one stage, in the order of its blocks."""
    return tuple(row for block in found if block.stage == stage for row in _rows(block))


def _rows(block: Block) -> Iterator[PointRow]:
    for point in block.circuit.test_points:
        yield PointRow(
            name=point.designator,
            net=block.names.get(point.net, point.net.replace("_", " ")),
            what=point.what,
            states=tuple(map(_state, point.readings)),
        )


def _state(reading: Reading) -> StateRow:
    return StateRow(
        state=reading.at,
        dc=_volts(reading.dc_v),
        within=f"± {_volts(reading.within_v)}" if reading.within_v > 0.0 else "",
        ripple=_volts(reading.ripple_v) if reading.ripple_v > 0.0 else "",
        waveform=with_minus(reading.waveform),
    )


def _volts(value: float) -> str:
    return with_minus(show(value, "voltage"))
