"""The check finds each fault that is put into a good board."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest
from board_tasks import amplifiers

from subwright.boards.check import check_board
from subwright.boards.make import make_board
from subwright.boards.record import Board, Link, Track


@cache
def good() -> Board:
    return make_board(amplifiers())


def cut(board: Board) -> Board:
    """The longest track is missing."""
    longest = max(
        board.tracks, key=lambda t: sum(abs(a - b) for a, b in zip(t.points[0], t.points[-1], strict=True))
    )
    return replace(board, tracks=tuple(track for track in board.tracks if track is not longest))


def bridged(board: Board) -> Board:
    """A track runs from one net's pad to another's."""
    pads = [pad for part in board.placed for pad in part.pads if pad.net in ("IN", "GND")]
    first = next(pad for pad in pads if pad.net == "IN")
    second = next(pad for pad in pads if pad.net == "GND")
    points = ((first.x_um, first.y_um), (second.x_um, second.y_um))
    return replace(board, tracks=(*board.tracks, Track(net="IN", points=points, width_um=800)))


def fattened(board: Board) -> Board:
    tracks = tuple(replace(track, width_um=track.width_um + 1500) for track in board.tracks)
    return replace(board, tracks=tracks)


def thin(board: Board) -> Board:
    return replace(board, tracks=(replace(board.tracks[0], width_um=200), *board.tracks[1:]))


def small(board: Board) -> Board:
    return replace(board, width_um=board.width_um - 8_000)


def lost(board: Board) -> Board:
    return replace(board, placed=board.placed[1:])


def swapped(board: Board) -> Board:
    """Two pins of a chip have each other's nets."""
    chip = next(part for part in board.placed if part.case == "U1")
    pads = {pad.pin: pad for pad in chip.pads}
    turned = tuple(
        replace(pad, net=pads[{"1": "2", "2": "1"}.get(pad.pin, pad.pin)].net) for pad in chip.pads
    )
    placed = tuple(replace(part, pads=turned) if part is chip else part for part in board.placed)
    return replace(board, placed=placed)


def stacked(board: Board) -> Board:
    first, second = board.placed[:2]
    return replace(board, placed=(first, replace(second, body=first.body), *board.placed[2:]))


def bored(board: Board) -> Board:
    part = board.placed[0]
    pads = tuple(replace(pad, hole_um=pad.across_um - 100) for pad in part.pads)
    return replace(board, placed=(replace(part, pads=pads), *board.placed[1:]))


def wireless(board: Board) -> Board:
    return replace(board, wire_pads=board.wire_pads[1:])


def slanted(board: Board) -> Board:
    pads = [wire for wire in board.wire_pads if wire.leads_to]
    link = Link(
        number=99,
        net=pads[0].net,
        start=(10_000, 10_000),
        end=(20_000, 15_000),
        wire_um=600,
        hole_um=800,
        pad_um=1800,
    )
    return replace(board, links=(*board.links, link))


def underneath(board: Board) -> Board:
    """A bare link passes under a body."""
    chip = next(part for part in board.placed if part.case == "U1")
    xs = [x for x, _ in chip.body.points]
    ys = [y for _, y in chip.body.points]
    middle = (min(xs) + max(xs)) // 2
    link = Link(
        number=98,
        net="GND",
        start=(middle, min(ys) - 3000),
        end=(middle, max(ys) + 3000),
        wire_um=600,
        hole_um=800,
        pad_um=1800,
    )
    return replace(board, links=(*board.links, link))


def unmade(board: Board) -> Board:
    return replace(board, unrouted=(("R1.1", "U1.2"),))


FAULTS: tuple[tuple[Callable[[Board], Board], str], ...] = (
    (cut, "pieces"),
    (bridged, "are asked for"),
    (fattened, "are asked for"),
    (thin, "200 µm wide"),
    (small, "from the edge"),
    (lost, "has no pad"),
    (swapped, "belongs on"),
    (stacked, "overlap"),
    (bored, "of copper round its hole"),
    (wireless, "is missing"),
    (slanted, "neither along nor across"),
    (underneath, "is bare and passes under"),
    (unmade, "connections are not made"),
)


def test_the_board_without_a_fault_passes() -> None:
    assert check_board(good(), amplifiers()).problems == ()


@pytest.mark.parametrize(("fault", "said"), FAULTS, ids=lambda value: getattr(value, "__name__", ""))
def test_a_fault_is_found(fault: Callable[[Board], Board], said: str) -> None:
    problems = check_board(fault(good()), amplifiers()).problems
    assert any(said in problem for problem in problems), problems[:5]
