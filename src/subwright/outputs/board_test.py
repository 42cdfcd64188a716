"""The netlist as records of the bare-board test, after IPC-D-356A: one record a pin.

Source: [ipc-d-356a]; columns as the published descriptions of the format give them. Every record is 80
columns: operation code 1 to 3, net name 4 to 17, designator 21 to 26, a dash in 27, pin 28 to 31, hole in
33 to 38, access in 39 to 41, place in 42 to 57, size of the pad in 58 to 67. The records of the whole build
leave hole and place blank; those of a finished board have them, in thousandths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from subwright.boards.record import Board
from subwright.outputs.joined_nets import JoinedPin, plain_name

__all__ = ["OFF_BOARD", "board_test_text", "finished_board_text"]

OFF_BOARD: Final = ("wiring",)
"""Blocks whose parts sit on no board."""

_COLUMNS: Final = 80
_NET: Final = 14
_DESIGNATOR: Final = 6
_PIN: Final = 4
_VALUE_END: Final = 72  # last column of a parameter's value
_COMMENT: Final = (
    "All blocks together: one record a pin, hole and place of it blank.",
    "The records of each finished board, with holes and places, are beside it.",
    "Access A00: a leaded part's hole can be reached from both sides.",
    "Parts on wires (battery, fuse, cables, loudspeaker) are not in here.",
)
_FINISHED: Final = (
    "One record a pad. LINK: ends of a wire above the board; WIRE: a wire's pad.",
    "A net with links is one piece only once they are in: on the bare board the",
    "two ends of a link are apart. Origin: lower left, from the component side.",
    "Access A02: copper below only.",
)
_LOWER: Final = "02"


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
    alias = _aliases(pin.net for pin in fitted)
    return _file(
        plain_name(build),
        code,
        made_with,
        _COMMENT,
        alias,
        (_record(pin, alias.get(pin.net, pin.net)) for pin in fitted),
    )


def finished_board_text(board: Board, *, build: str, code: str, made_with: str) -> str:
    """The test records of one finished board: every pad with its net, hole, place and size; screw holes too.

    Parameters
    ----------
    board : with its copper. build : name of the whole. code : the design's code. made_with : programme and
    version.

    Returns
    -------
    Text, each line 80 columns, sorted by net. A pad without a net stands under "N/C".
    """
    pads = sorted(_pads(board))
    alias = _aliases(pad[0] for pad in pads)
    rows = [_placed(alias.get(pad[0], pad[0]), *pad[1:]) for pad in pads]
    rows += [
        _at(
            "367",
            f"{'N/C':<{_NET}}   {f'HOLE{n}':<{_DESIGNATOR}} {'':<{_PIN}}",
            hole.diameter_um,
            "U",
            "00",
            hole.x_um,
            hole.y_um,
        )
        for n, hole in enumerate(board.holes, 1)
    ]
    return _file(plain_name(f"{build} {board.title}"), code, made_with, _FINISHED, alias, rows)


def _pads(board: Board) -> Iterator[tuple[str, str, str, int, bool, int, int, int, int]]:
    """Net, designator, pin, hole, plated, x, y, size across, size along of every pad, µm."""
    for placed in board.placed:
        for pad in placed.pads:
            size = (pad.x_um, pad.y_um, pad.across_um, pad.along_um)
            yield pad.net or "N/C", pad.case, pad.pin, pad.hole_um, pad.plated, *size
    for link in board.links:
        for pin, (x, y) in (("1", link.start), ("2", link.end)):
            yield link.net, f"LINK{link.number}", pin, link.hole_um, False, x, y, link.pad_um, link.pad_um
    for n, wire in enumerate(board.wire_pads, 1):
        yield wire.net, f"WIRE{n}", "1", wire.hole_um, False, wire.x_um, wire.y_um, wire.pad_um, wire.pad_um


def _placed(
    net: str, case: str, pin: str, hole: int, plated: bool, x: int, y: int, across: int, along: int
) -> str:
    named = f"{net:<{_NET}}   {case[:_DESIGNATOR]:<{_DESIGNATOR}}-{pin[:_PIN]:<{_PIN}}"
    at = _at("317", named, hole, "P" if plated else "U", "00" if plated else _LOWER, x, y)
    return f"{at}X{across:04d}Y{along:04d}R000 S0"


def _at(operation: str, named: str, hole: int, wall: str, access: str, x: int, y: int) -> str:
    return f"{operation}{named} D{hole:04d}{wall}A{access}X{x:+07d}Y{y:+07d}"


def _aliases(nets: Iterable[str]) -> dict[str, str]:
    """A short name for each net whose own is too long for its columns."""
    long = sorted({net for net in nets if len(net) > _NET})
    return {net: f"NNAME{number}" for number, net in enumerate(long, 1)}


def _file(
    title: str,
    code: str,
    made_with: str,
    comment: Iterable[str],
    alias: dict[str, str],
    records: Iterable[str],
) -> str:
    rows = [
        _parameter("JOB", title),
        _parameter("CODE", "00"),
        _parameter("UNITS", "CUST 1"),
        _parameter("TITLE", title),
        _parameter("NUM", code),
        _parameter("REV", made_with),
        _parameter("VER", "IPC-D-356A"),
        *(f"C  {line}" for line in comment),
        "P  IMAGE PRIMARY",
        *(row for net, name in alias.items() for row in _alias(name, net)),
        *records,
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
