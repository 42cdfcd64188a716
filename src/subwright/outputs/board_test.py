"""The netlist as records of the bare-board test, after IPC-D-356A: one record a pin.

Source: [ipc-d-356a]; columns as the published descriptions of the format give them. Every record is 80
columns: operation code 1 to 3, net name 4 to 17, designator 21 to 26, a dash in 27, pin 28 to 31, access in
39 to 41. What follows, the place of the pin, is blank until there is a board.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from subwright.outputs.joined_nets import JoinedPin, plain_name

__all__ = ["OFF_BOARD", "board_test_text"]

OFF_BOARD: Final = ("wiring",)
"""Blocks whose parts sit on no board."""

_COLUMNS: Final = 80
_NET: Final = 14
_DESIGNATOR: Final = 6
_PIN: Final = 4
_VALUE_END: Final = 72  # last column of a parameter's value
_COMMENT: Final = (
    "Made before the board: one record a pin, hole and place of it still blank.",
    "Columns 33-38 (hole) and 42-57 (place) are filled in with the board.",
    "Access A00: a leaded part's hole can be reached from both sides.",
    "Parts on wires (battery, fuse, cables, loudspeaker) are not in here.",
)


def board_test_text(pins: Iterable[JoinedPin], *, build: str, code: str, made_with: str) -> str:
    """The test records of a build's parts.

    Parameters
    ----------
    pins : of all blocks. build : its name. code : the design's code. made_with : programme and version.

    Returns
    -------
    Text, each line 80 columns; net names longer than 14 go by an alias that the header explains.
    """
    fitted = sorted(
        (pin for pin in pins if pin.part.standing == "bought" and pin.block not in OFF_BOARD),
        key=lambda pin: pin.net,
    )
    long = sorted({pin.net for pin in fitted if len(pin.net) > _NET})
    alias = {net: f"NNAME{number}" for number, net in enumerate(long, 1)}
    rows = [
        _parameter("JOB", plain_name(build)),
        _parameter("CODE", "00"),
        _parameter("UNITS", "CUST 1"),
        _parameter("TITLE", plain_name(build)),
        _parameter("NUM", code),
        _parameter("REV", made_with),
        _parameter("VER", "IPC-D-356A"),
        *(f"C  {line}" for line in _COMMENT),
        "P  IMAGE PRIMARY",
        *(row for net, name in alias.items() for row in _alias(name, net)),
        *(_record(pin, alias.get(pin.net, pin.net)) for pin in fitted),
        "999",
    ]
    return "".join(f"{row:<{_COLUMNS}}\n" for row in rows)


def _parameter(name: str, value: str) -> str:
    return f"P  {name:<5} {value}"[:_VALUE_END]


def _alias(name: str, net: str) -> Iterator[str]:
    yield f"P  {name:<9} {net}"[:_VALUE_END]


def _record(pin: JoinedPin, net: str) -> str:
    """Operation 317: a leaded part's hole."""
    access = "A00"
    return f"317{net:<{_NET}}   {pin.case[:_DESIGNATOR]:<{_DESIGNATOR}}-{pin.code:<{_PIN}}{'':7}{access}"
