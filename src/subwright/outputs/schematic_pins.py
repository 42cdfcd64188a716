"""Case pin numbers: sections and supply of amplifiers, comparators and inverters; controllers and drivers.

The families' usual cases, from memory; every sheet that prints them says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from subwright.circuits.netlist import PINS, Part

__all__ = [
    "CHIP_KINDS",
    "SECTIONED_KINDS",
    "SUPPLY_PINS",
    "case_pin",
    "channels_of",
    "chip_pin_number",
    "pin_numbers",
    "supply_pin_numbers",
]

SECTIONED_KINDS: Final = frozenset({"op-amp", "comparator", "grounded comparator", "schmitt inverter"})
"""Kinds of which several sections share a case and its supply pins."""
SUPPLY_PINS: Final = ("V+", "V-")
CHIP_KINDS: Final = frozenset(
    {
        "3525 controller",
        "494 controller",
        "3524 controller",
        "3846 controller",
        "384x controller",
        "half-bridge driver",
    }
)
"""Kinds drawn as their case."""

_DRIVER: Final[Mapping[str, str]] = {
    "LO": "1",
    "COM": "2",
    "VCC": "3",
    "VS": "5",
    "VB": "6",
    "HO": "7",
    "VDD": "9",
    "HIN": "10",
    "SD": "11",
    "LIN": "12",
    "VSS": "13",
}
_CHANNELS: Final[Mapping[str, int]] = {"grounded comparator": 2, "schmitt inverter": 6}


@dataclass(frozen=True, kw_only=True, slots=True)
class _Case:
    """Pin numbers of each section in the order of ``pins``, then those of the supply."""

    pins: str
    sections: tuple[str, ...]
    supply: tuple[str, str]


_CASES: Final[Mapping[tuple[str, int], _Case]] = MappingProxyType(
    {
        ("op-amp", 1): _Case(pins="out - +", sections=("6 2 3",), supply=("7", "4")),
        ("op-amp", 2): _Case(pins="out - +", sections=("1 2 3", "7 6 5"), supply=("8", "4")),
        ("op-amp", 4): _Case(
            pins="out - +", sections=("1 2 3", "7 6 5", "8 9 10", "14 13 12"), supply=("4", "11")
        ),
        ("comparator", 2): _Case(pins="out - +", sections=("1 2 3", "7 6 5"), supply=("8", "4")),
        ("comparator", 4): _Case(
            pins="out - +", sections=("2 4 5", "1 6 7", "14 8 9", "13 10 11"), supply=("3", "12")
        ),
        ("grounded comparator", 2): _Case(
            pins="out - + ground", sections=("12 5 4 3", "7 10 9 8"), supply=("11", "6")
        ),
        ("schmitt inverter", 6): _Case(
            pins="in out", sections=("1 2", "3 4", "5 6", "9 8", "11 10", "13 12"), supply=("14", "7")
        ),
    }
)


def channels_of(part: Part, channels: Mapping[str, int]) -> int:
    """Sections in one case of a part; ``channels`` tells those of amplifiers, by part id. 0: not known."""
    return channels.get(part.part_id, _CHANNELS.get(part.kind, 0))


def pin_numbers(part: Part, channels: Mapping[str, int]) -> Mapping[str, str]:
    """Case pin numbers of a section, by pin; empty where the family's case isn't known."""
    case = _CASES.get((part.kind, channels_of(part, channels)))
    if case is None:
        return {}
    section = part.designator.removeprefix(part.case)
    numbers = case.sections[ord(section) - ord("A") if section else 0]
    return dict(zip(case.pins.split(), numbers.split(), strict=True))


def supply_pin_numbers(part: Part, channels: Mapping[str, int]) -> Mapping[str, str]:
    """Case pin numbers of the supply of a part with sections."""
    case = _CASES.get((part.kind, channels_of(part, channels)))
    return {} if case is None else dict(zip(SUPPLY_PINS, case.supply, strict=True))


def chip_pin_number(part: Part, pin: str) -> str:
    """Case pin number of a controller, whose kind names its pins in their order, or of a driver."""
    if part.kind == "half-bridge driver":
        return _DRIVER[pin]
    return str(PINS[part.kind].index(pin) + 1)


def case_pin(part: Part, pin: str, channels: Mapping[str, int]) -> str | None:
    """Case pin number of any pin; None where the family's case isn't known."""
    if part.kind in CHIP_KINDS:
        return chip_pin_number(part, pin)
    return {**pin_numbers(part, channels), **supply_pin_numbers(part, channels)}.get(pin)
