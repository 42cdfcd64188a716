"""What a board must carry: parts with their shapes and nets, wires that leave, and voltages to keep apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from subwright.boards.footprints import Footprint

__all__ = ["Ground", "Wanted", "WantedPart", "WantedWire", "voltage_between"]

Ground = "GND"
"""Printed name of the net that everything is measured against."""


@dataclass(frozen=True, kw_only=True, slots=True)
class WantedPart:
    """A part to place.

    Attributes
    ----------
    case : designator of the case. label : value as printed. footprint : its shape.
    nets : net by pin code; pins of the shape that are not in it stay unconnected.
    role : what it is for, as on the bill.
    """

    case: str
    label: str
    footprint: Footprint
    nets: Mapping[str, str]
    role: str


@dataclass(frozen=True, kw_only=True, slots=True)
class WantedWire:
    """A wire that leaves the board, or a test point (``leads_to`` is "").

    Attributes
    ----------
    name : as printed. net : what it joins. leads_to : the other sheet, or the part that sits elsewhere.
    """

    name: str
    net: str
    leads_to: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """One board's task.

    Attributes
    ----------
    key, title : of the block. parts, wires : what it carries.
    voltages : lowest and highest voltage of each net against ground, V; a net that is not in it may lie
    anywhere between the lowest and the highest of the block.
    groups : nets that ride together; two of one group never differ by more than ``group_v``.
    off_board : designator and reason of each part that does not sit on the board.
    currents : highest effective current in any conductor of each net, A; a net not in it carries little.
    """

    key: str
    title: str
    parts: tuple[WantedPart, ...]
    wires: tuple[WantedWire, ...]
    voltages: Mapping[str, tuple[float, float]]
    groups: Mapping[str, str] = field(default_factory=dict)
    group_v: float = 25.0
    off_board: tuple[tuple[str, str], ...] = ()
    currents: Mapping[str, float] = field(default_factory=dict)

    @property
    def pins(self) -> Mapping[tuple[str, str], str]:
        """Net of every connected pin, by case and pin code."""
        return {(part.case, pin): net for part in self.parts for pin, net in part.nets.items() if net}

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net, in the order in which parts and wires name them."""
        named = [net for part in self.parts for net in part.nets.values() if net]
        return tuple(dict.fromkeys([*named, *(wire.net for wire in self.wires)]))

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest voltage of the block, V; what rides on a switched node apart."""
        every = [*(v for net, v in self.voltages.items() if net not in self.groups), (0.0, 0.0)]
        return min(low for low, _ in every), max(high for _, high in every)


def voltage_between(wanted: Wanted, first: str, second: str) -> float:
    """Highest voltage that can stand between two nets, V; "" is copper without a net.

    >>> from subwright.boards.wanted import Wanted
    >>> board = Wanted(key="k", title="t", parts=(), wires=(), voltages={"A": (0, 12), "B": (-60, -60)})
    >>> voltage_between(board, "A", "B"), voltage_between(board, "A", "other")
    (72.0, 72.0)
    """
    if first == second:
        return 0.0
    group = wanted.groups.get(first, "")
    if group and group == wanted.groups.get(second, ""):
        return wanted.group_v
    low_1, high_1 = wanted.voltages.get(first, wanted.span)
    low_2, high_2 = wanted.voltages.get(second, wanted.span)
    return float(max(high_1 - low_2, high_2 - low_1, 0.0))
