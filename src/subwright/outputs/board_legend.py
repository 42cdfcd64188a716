"""What is printed on a board's component side: names, outlines and marks, each name where it can be read.

A name stands in its part's body where the leads leave room, else beside it; no name lies on a hole, on a
link's wire, on another name or under another part. All of it is drawing: nothing of the board is moved.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from subwright.boards.record import Board, Link, Outline, Pad, Place, Placed, WirePad
from subwright.outputs.board_lettering import STROKE_UM, text_strokes, text_width_um

__all__ = [
    "LEAST_LETTER_UM",
    "Lettering",
    "Rectangle",
    "box_of",
    "legend_strokes",
    "letterings",
    "mark_strokes",
]

LEAST_LETTER_UM: Final = 1_200
"""Height of a capital that can be read at arm's length, µm (common practice, no source)."""

_SIZES: Final = (1_500, 1_300, LEAST_LETTER_UM)
_VALUE_UM: Final = LEAST_LETTER_UM
_HOLE_AIR: Final = 250  # from a hole's rim to a letter
_AIR: Final = 200
_EDGE: Final = 400
_PLUS: Final = 450  # half a plus sign
_DOT: Final = 350

Rectangle = tuple[int, int, int, int]
"""Left, lower, right, upper, µm."""

Kind = Literal["part", "value", "wire", "link"]
Side = Literal["", "left", "right"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Lettering:
    """A line of text in its place.

    Attributes
    ----------
    kind : what it names. of : the part's designator, or the wire's or link's name. text : as printed.
    x_um, y_um : its middle. size_um : height of a capital. turn : 0, or 90 to read from the right.
    crowded : it found no free place.
    """

    kind: Kind
    of: str
    text: str
    x_um: int
    y_um: int
    size_um: int
    turn: Literal[0, 90]
    crowded: bool = False

    @property
    def box(self) -> Rectangle:
        """What it covers."""
        return _around(self.text, self.x_um, self.y_um, self.size_um, self.turn)


def box_of(outline: Outline) -> Rectangle:
    """The upright rectangle round an outline."""
    across = [x for x, _ in outline.points]
    along = [y for _, y in outline.points]
    return min(across), min(along), max(across), max(along)


@lru_cache(maxsize=32)
def letterings(board: Board) -> tuple[Lettering, ...]:
    """Every name in its place: wires, parts, links, and the values that still find room."""
    free = _Room(board)
    made = [free.wire(wire) for wire in board.wire_pads]
    made += [free.part(placed) for placed in sorted(board.placed, key=_room_of)]
    made += [found for link in board.links if (found := free.link(link)) is not None]
    made += [found for placed in board.placed if (found := free.value(placed)) is not None]
    return tuple(made)


def legend_strokes(board: Board) -> Iterator[tuple[Place, ...]]:
    """Every line of the printed legend, µm: bodies, marks, links, names, and the values that find room."""
    for placed in board.placed:
        yield (*placed.body.points, placed.body.points[0])
        yield from mark_strokes(placed)
    for link in board.links:
        yield from _link_strokes(link)
    for one in letterings(board):
        yield from text_strokes(one.text, one.x_um, one.y_um, one.size_um, one.turn)


def mark_strokes(placed: Placed) -> tuple[tuple[Place, ...], ...]:
    """The mark that says which way round: a band at the cathode, a plus, or a ring at the case's mark."""
    if placed.polarity is None:
        return ()
    x, y = placed.polarity
    if len(placed.pads) != 2:
        return (_ring(x, y, _DOT),)
    near = min(placed.pads, key=lambda pad: math.hypot(pad.x_um - x, pad.y_um - y))
    left, low, right, high = box_of(placed.body)
    if near.pin == "K":
        upright = abs(near.x_um - x) >= abs(near.y_um - y)
        band = ((x, low), (x, high)) if upright else ((left, y), (right, y))
        return (band,)
    return ((x - _PLUS, y), (x + _PLUS, y)), ((x, y - _PLUS), (x, y + _PLUS))


def _ring(x: int, y: int, radius: int, corners: int = 8) -> tuple[Place, ...]:
    return tuple(
        (
            x + round(radius * math.cos(2 * math.pi * k / corners)),
            y + round(radius * math.sin(2 * math.pi * k / corners)),
        )
        for k in range(corners + 1)
    )


def _link_strokes(link: Link) -> Iterator[tuple[Place, ...]]:
    """The wire's line between its pads' rims."""
    (x1, y1), (x2, y2) = link.start, link.end
    length = math.hypot(x2 - x1, y2 - y1)
    gap = link.hole_um / 2 + _HOLE_AIR
    if length <= 2 * gap:
        return
    dx, dy = (x2 - x1) * gap / length, (y2 - y1) * gap / length
    yield (round(x1 + dx), round(y1 + dy)), (round(x2 - dx), round(y2 - dy))


def _room_of(placed: Placed) -> tuple[int, str]:
    left, low, right, high = box_of(placed.body)
    return (right - left) * (high - low), placed.case


def _around(text: str, x: int, y: int, size: int, turn: int) -> Rectangle:
    half, up = text_width_um(text, size) // 2 + STROKE_UM // 2, (size + STROKE_UM) // 2
    if turn:
        half, up = up, half
    return x - half, y - up, x + half, y + up


def _overlap(a: Rectangle, b: Rectangle) -> int:
    across = min(a[2], b[2]) - max(a[0], b[0])
    along = min(a[3], b[3]) - max(a[1], b[1])
    return across * along if across > 0 and along > 0 else 0


def _grown(box: Rectangle, by: int) -> Rectangle:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


class _Room:
    """The board's upper side as it fills with names."""

    def __init__(self, board: Board) -> None:
        self._inside = (_EDGE, _EDGE, board.width_um - _EDGE, board.height_um - _EDGE)
        self._taken: list[Rectangle] = list(_bored(board))
        self._links = list(_wires(board.links))
        self._bodies = [(placed.case, box_of(placed.body)) for placed in board.placed]
        self._marks = [
            _grown((*placed.polarity, *placed.polarity), _PLUS)
            for placed in board.placed
            if placed.polarity is not None
        ]

    def part(self, placed: Placed) -> Lettering:
        text, body = placed.case, box_of(placed.body)
        return self._put("part", placed.case, text, _Places(text, body, within=True), _SIZES, own=placed.case)

    def value(self, placed: Placed) -> Lettering | None:
        if not placed.label:
            return None
        places = _Places(placed.label, box_of(placed.body), within=True)
        return self._try("value", placed.case, placed.label, places(_VALUE_UM), _VALUE_UM, placed.case)

    def wire(self, wire: WirePad) -> Lettering:
        half = wire.pad_um // 2
        box = (wire.x_um - half, wire.y_um - half, wire.x_um + half, wire.y_um + half)
        side: Side = (
            "left" if wire.x_um > (self._inside[0] + self._inside[2]) * 0.55 and wire.leads_to else "right"
        )
        return self._put(
            "wire", wire.name, wire.name, _Places(wire.name, box, within=False, side=side), _SIZES
        )

    def link(self, link: Link) -> Lettering | None:
        text = str(link.number)
        box = _wire_box(link)
        return self._try(
            "link",
            f"link {link.number}",
            text,
            _Places(text, box, within=False)(LEAST_LETTER_UM),
            LEAST_LETTER_UM,
        )

    def _put(
        self, kind: Kind, of: str, text: str, places: _Places, sizes: Iterable[int], own: str = ""
    ) -> Lettering:
        for size in sizes:
            found = self._try(kind, of, text, places(size), size, own)
            if found is not None:
                return found
        size = LEAST_LETTER_UM
        found = self._try(kind, of, text, places(size), size, own, over_links=True)
        if found is not None:
            return found
        x, y, turn = min(
            places(size), key=lambda at: self._clash(_around(text, at[0], at[1], size, at[2]), own)
        )
        return self._keep(
            Lettering(kind=kind, of=of, text=text, x_um=x, y_um=y, size_um=size, turn=turn, crowded=True)
        )

    def _try(
        self,
        kind: Kind,
        of: str,
        text: str,
        places: Iterable[_At],
        size: int,
        own: str = "",
        *,
        over_links: bool = False,
    ) -> Lettering | None:
        for x, y, turn in places:
            if self._free(_around(text, x, y, size, turn), own, over_links):
                return self._keep(
                    Lettering(kind=kind, of=of, text=text, x_um=x, y_um=y, size_um=size, turn=turn)
                )
        return None

    def _keep(self, made: Lettering) -> Lettering:
        self._taken.append(_grown(made.box, _AIR))
        return made

    def _outside(self, box: Rectangle) -> bool:
        left, low, right, high = self._inside
        return box[0] < left or box[1] < low or box[2] > right or box[3] > high

    def _free(self, box: Rectangle, own: str, over_links: bool) -> bool:
        """Whether a text at a place covers nothing that it must not; a link's wire only where it may."""
        if self._outside(box):
            return False
        left, low, right, high = box
        for others in (self._taken, self._marks) if over_links else (self._taken, self._marks, self._links):
            for a, b, c, d in others:
                if a < right and c > left and b < high and d > low:
                    return False
        return not any(
            a < right and c > left and b < high and d > low and case != own
            for case, (a, b, c, d) in self._bodies
        )

    def _clash(self, box: Rectangle, own: str) -> int:
        """How much a text at a place would cover of what it must not, in µm²."""
        if self._outside(box):
            area = (box[2] - box[0]) * (box[3] - box[1])
            return 4 * area
        return (
            sum(_overlap(box, other) for other in self._taken)
            + sum(_overlap(box, other) for other in self._links)
            + sum(_overlap(box, other) for other in self._marks)
            + sum(_overlap(box, body) for case, body in self._bodies if case != own)
        )


_At = tuple[int, int, Literal[0, 90]]


class _Places:
    """Places of a text in and round a box, the likeliest first, for a size."""

    def __init__(self, text: str, box: Rectangle, *, within: bool, side: Side = "") -> None:
        self._text, self._box, self._within, self._side = text, box, within, side

    def __call__(self, size: int) -> Iterator[_At]:
        left, low, right, high = self._box
        x, y = (left + right) // 2, (low + high) // 2
        upright = high - low > right - left
        turns: tuple[Literal[0, 90], Literal[0, 90]] = (90, 0) if upright and self._within else (0, 90)
        for turn in turns if self._within else ():
            wide, tall = self._size(size, turn)
            if wide <= right - left and tall <= high - low:
                for dy in _spread((high - low - tall) // 2):
                    for dx in _spread((right - left - wide) // 2):
                        yield x + dx, y + dy, turn
        if self._side:
            wide, _ = self._size(size, 0)
            for slide in (0, 400, -400):
                out = wide // 2 + _AIR
                yield (right + out if self._side == "right" else left - out), y + slide, 0
        for turn in turns:
            wide, tall = self._size(size, turn)
            for far in (_AIR, 3 * _AIR, 6 * _AIR):
                up, out = tall // 2 + far, wide // 2 + far
                for slide in _spread(max(right - left, wide) // 2):
                    yield x + slide, high + up, turn
                    yield x + slide, low - up, turn
                for slide in _spread(max(high - low, tall) // 2):
                    yield right + out, y + slide, turn
                    yield left - out, y + slide, turn

    def _size(self, size: int, turn: int) -> tuple[int, int]:
        left, low, right, high = _around(self._text, 0, 0, size, turn)
        return right - left, high - low


def _spread(reach: int, step: int = 400) -> Iterator[int]:
    """Shifts from the middle outwards."""
    yield 0
    for k in range(1, reach // step + 1):
        yield k * step
        yield -k * step


def _bored(board: Board) -> Iterator[Rectangle]:
    pads: list[Pad] = [pad for placed in board.placed for pad in placed.pads]
    for pad in pads:
        yield _square(pad.x_um, pad.y_um, pad.hole_um)
    for link in board.links:
        for x, y in (link.start, link.end):
            yield _square(x, y, link.hole_um)
    for wire in board.wire_pads:
        yield _square(wire.x_um, wire.y_um, wire.hole_um)
    for hole in board.holes:
        yield _square(hole.x_um, hole.y_um, hole.diameter_um)


def _square(x: int, y: int, hole_um: int) -> Rectangle:
    half = hole_um // 2 + _HOLE_AIR
    return x - half, y - half, x + half, y + half


def _wires(links: Iterable[Link]) -> Iterator[Rectangle]:
    for link in links:
        yield _wire_box(link)


def _wire_box(link: Link) -> Rectangle:
    (x1, y1), (x2, y2) = link.start, link.end
    half = link.wire_um // 2 + _AIR // 2
    return min(x1, x2) - half, min(y1, y2) - half, max(x1, x2) + half, max(y1, y2) + half
