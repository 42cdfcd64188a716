"""What of a block conducts on its board: its parts as branches between joined nets."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from subwright.boards.currents import Branch, resistor_most_a
from subwright.boards.wanted import WantedWire
from subwright.outputs.joined_nets import JoinedPin
from subwright.outputs.schematic_pins import CHIP_KINDS, SECTIONED_KINDS
from subwright.stages.common import PartUse

__all__ = ["branches_of"]

_RATED: Final = re.compile(r"(\d+(?:\.\d+)?) W\b")
_SMALL_W: Final = 0.25  # of a resistor whose line on the bill says nothing
_PASSIVE: Final = ("capacitor", "inductor", "winding")
_SUPPLY_PINS: Final = ("VDD", "VCC", "VSS", "COM", "VB", "VS", "VIN", "VC", "GND")
_SUPPLIES: Final = frozenset(("supply plus", "supply minus", "ground", *_SUPPLY_PINS))
_DRIVES: Final = frozenset(("LO", "HO", "OUTA", "OUTB", "OUT"))
_CHIPS: Final = CHIP_KINDS | SECTIONED_KINDS | {"gate driver"}
_DRIVERS: Final = (
    "half-bridge driver",
    "3525 controller",
    "494 controller",
    "3524 controller",
    "3846 controller",
    "384x controller",
)


def branches_of(
    pins: Sequence[JoinedPin],
    uses: Mapping[str, PartUse],
    wires: Sequence[WantedWire],
    on_board: frozenset[str],
    volts: float,
    *,
    switched: tuple[str, float] | None = None,
) -> tuple[Branch, ...]:
    """The board's branches.

    Parameters
    ----------
    pins : of the block, joined. uses : of the bill, by role. wires : that leave the board.
    on_board : designators of the cases that sit on it. volts : from its lowest to its highest net, V.
    switched : a net that the board hands on, and the current that is known to leave by it, A.
    """
    made = list(_parts(pins, uses, on_board, volts))
    for wire in wires:
        if wire.leads_to:
            known = switched is not None and wire.net == switched[0]
            made.append(
                Branch(kind="wire", nets={"1": wire.net}, most_a=switched[1])
                if known and switched is not None
                else Branch(kind="wire", nets={"1": wire.net})
            )
    return tuple(made)


def _parts(
    pins: Sequence[JoinedPin], uses: Mapping[str, PartUse], on_board: frozenset[str], volts: float
) -> Iterator[Branch]:
    sections: dict[str, list[JoinedPin]] = {}
    for pin in pins:
        if pin.part.standing == "bought" and pin.case in on_board:
            sections.setdefault(pin.case, []).append(pin)
    for members in sections.values():
        part = members[0].part
        nets = {f"{pin.part.designator} {pin.pin}": pin.net for pin in members}
        if part.kind == "resistor" and isinstance(part.value, float | int) and len(members) == 2:
            use = uses.get(part.role)
            said = _RATED.search(use.description) if use else None
            rated_w = float(said.group(1)) if said else _SMALL_W
            most = resistor_most_a(float(part.value), volts, rated_w)
            yield Branch(kind="resistor", nets=nets, most_a=most, ohm=float(part.value))
        elif part.kind in _PASSIVE:
            yield Branch(kind="capacitor", nets=nets)
        elif part.kind in ("transistor", "mosfet", "junction fet"):
            yield Branch(kind="transistor", nets=_last("emitter", "source", members))
        elif part.kind in _CHIPS:
            drives = [key for key in nets if part.kind in _DRIVERS and key.split(" ", 1)[1] in _DRIVES]
            supplies = [key for key in nets if key.split(" ", 1)[1] in _SUPPLIES]
            yield Branch(kind="chip", nets=nets, supplies=tuple(supplies), drives=tuple(drives))
        else:
            yield Branch(kind="junction", nets=nets)


def _last(first: str, second: str, members: Sequence[JoinedPin]) -> Mapping[str, str]:
    """A transistor's nets by pin, the one that carries the sum last."""
    ordered = sorted(members, key=lambda pin: pin.pin in (first, second))
    return {pin.pin: pin.net for pin in ordered}
