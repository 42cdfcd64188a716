"""A sheet under the pen: parts at places, orthogonal wires between points, flags that name nets.

What is joined follows from where things lie, and from nothing else: a pin, a flag and a wire's end or corner
join every pin, flag and wire that lies on the same point; wires that merely cross don't. The finished SVG
carries the pins' places, so that a reader can trace the nets from the drawing alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from subwright.circuits.netlist import Part
from subwright.outputs.drawing import CHAR, Box, escaped, num, text
from subwright.outputs.schematic_labels import (
    LABEL_SIZE,
    Label,
    LabelSide,
    LabelWanted,
    overlap,
    place_labels,
)
from subwright.outputs.schematic_symbols import GRID, Point, ResistorStyle, Stroke, Symbol, symbol

__all__ = ["Placed", "Sheet", "Tag"]

Side = Literal["left", "right", "up", "down"]
TagKind = Literal["flag", "bar", "ground", "name", "ring"]
"""A ring is a test point: it says where to measure, not what the net is called."""

_WIRE = 2.0  # half the width that a label keeps clear of
_PIN_SIZE = 11.0
_LEAD = 7  # from a pin to the end of its number
_CHIP_LEAD = 24
_CHIP_PINS = 7  # a symbol with more has longer leads


@dataclass(frozen=True, kw_only=True, slots=True)
class Placed:
    """A symbol on the sheet; pins by name."""

    name: str
    pins: Mapping[str, Point]
    box: Box
    upright: bool

    def __getitem__(self, pin: str) -> Point:
        return self.pins[pin]

    def end(self, part: Part, net: str) -> Point:
        """The pin of a two-terminal part that isn't on ``net``."""
        first, last = next(iter(self.pins.values())), list(self.pins.values())[-1]
        return last if part.nets[0] == net else first


@dataclass(frozen=True, kw_only=True, slots=True)
class Tag:
    """A place where a net bears its name: a flag, a supply bar, a ground."""

    net: str
    at: Point
    ways: int = 1  # 0 for a name on a wire
    kind: TagKind = "name"


@dataclass(frozen=True, kw_only=True, slots=True)
class _Wire:
    points: tuple[Point, ...]
    heavy: bool

    @property
    def segments(self) -> tuple[tuple[Point, Point], ...]:
        return tuple(zip(self.points, self.points[1:], strict=False))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Text:
    x: float
    y: float
    content: str
    classes: str
    size: float
    anchor: Literal["start", "middle", "end"] = "start"
    checked: bool = True

    @property
    def box(self) -> Box:
        width = len(self.content) * CHAR * self.size
        left = self.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * width
        return left, self.y - 0.78 * self.size, left + width, self.y + 0.2 * self.size


class Sheet:
    """Collects a drawing. Coordinates are whole multiples of the grid.

    ``texts`` gives the lines printed beside each designator's symbol; ``names`` the printed name of a net;
    ``zero`` the net at which the symbol of 0 V stands; ``numbered`` whether case pin numbers are printed.
    """

    def __init__(
        self,
        *,
        texts: Mapping[str, tuple[str, ...]],
        names: Mapping[str, str],
        style: ResistorStyle,
        inside: Box,
    ) -> None:
        self.texts, self.names, self.style, self.inside = texts, names, style, inside
        self.zero = "0"
        self._placed: list[tuple[Placed, Symbol, int, bool]] = []
        self._wires: list[_Wire] = []
        self._tags: list[Tag] = []
        self._tag_marks: list[str] = []
        self._fixed: list[_Text] = []
        self._blocks: list[Box] = []  # bodies of tags
        self._wanted: list[LabelWanted] = []
        self._flags: list[tuple[str, Box, Side]] = []
        self._labels: tuple[Label, ...] | None = None
        self._also: dict[str, tuple[str, ...]] = {}  # designators that share another's symbol
        self._numbers: Mapping[str, str] = {}
        self._pointers: list[Label] = []
        self._rings: list[tuple[str, Point]] = []
        self.numbered = False

    # parts

    def place(
        self,
        part: Part,
        x: int,
        y: int,
        *,
        turn: int = 0,
        flip: bool = False,
        shape: str = "",
        numbers: Mapping[str, str] | None = None,
        name: str = "",
        lines: tuple[str, ...] = (),
        also: tuple[str, ...] = (),
        side: LabelSide | None = None,
    ) -> Placed:
        """Put a part's symbol down, mirrored top to bottom by ``flip``, then turned clockwise.

        ``turn`` counts quarter turns.

        ``shape`` is a symbol other than the kind's own; ``numbers`` prints case pin numbers at pins;
        ``name`` a designator other than the part's (the case, for a supply unit); ``lines`` are printed
        beside it instead of the part's own; ``also`` are further designators in parallel for which it stands.
        ``side`` is where its text should go if it can.
        """
        drawn = symbol(shape or part.kind, self.style)
        name = name or part.designator
        pins = {pin: _on_grid(_moved(spot, x, y, turn, flip)) for pin, spot in drawn.pins}
        corners = [_moved((a, b), x, y, turn, flip) for a in drawn.box[0::2] for b in drawn.box[1::2]]
        box = (
            min(c[0] for c in corners),
            min(c[1] for c in corners),
            max(c[0] for c in corners),
            max(c[1] for c in corners),
        )
        ends = list(pins.values())
        upright = len(ends) == 2 and ends[0][0] == ends[1][0]
        placed = Placed(name=name, pins=pins, box=box, upright=upright or 2 < len(ends) <= _CHIP_PINS)
        self._placed.append((placed, drawn, turn, flip))
        if also:
            self._also[name] = also
        for mark in drawn.marks:
            mx, my = _moved((mark.x, mark.y), x, y, turn, flip)
            self._fixed.append(
                _Text(
                    x=mx,
                    y=my + 4,
                    content=mark.content,
                    classes="sm t",
                    size=_PIN_SIZE,
                    anchor="middle",
                    checked=False,
                )
            )
        lead = _CHIP_LEAD if len(pins) > _CHIP_PINS else _LEAD
        for pin, number in (numbers or {}).items():
            self._pin_number(pins[pin], (x, y), number, lead)
        self._wanted.append(
            LabelWanted(
                lines=lines or self.texts.get(name, (name,)), body=box, upright=placed.upright, side=side
            )
        )
        return placed

    def _pin_number(self, pin: Point, centre: Point, number: str, lead: int) -> None:
        self.numbered = True
        if abs(pin[0] - centre[0]) > abs(pin[1] - centre[1]) or pin[0] != centre[0]:
            anchor: Literal["start", "end"] = "end" if pin[0] < centre[0] else "start"
            x = pin[0] + (lead if anchor == "end" else -lead)
            self._fixed.append(
                _Text(x=x, y=pin[1] - 3, content=number, classes="sm ts", size=_PIN_SIZE, anchor=anchor)
            )
            return
        y = pin[1] + (10 if pin[1] < centre[1] else -4)
        self._fixed.append(_Text(x=pin[0] + 4, y=y, content=number, classes="sm ts", size=_PIN_SIZE))

    # nets

    def wire(self, *points: Point, heavy: bool = False) -> None:
        """A wire along ``points``; every stretch runs along x or y."""
        kept = [_on_grid(points[0])]
        for point in points[1:]:
            spot = _on_grid(point)
            if spot == kept[-1]:
                continue
            if spot[0] != kept[-1][0] and spot[1] != kept[-1][1]:
                raise ValueError(f"a wire runs askew from {kept[-1]} to {spot}")
            kept.append(spot)
        for points in self._uncovered(kept):
            self._wires.append(_Wire(points=points, heavy=heavy))

    def _uncovered(self, corners: list[Point]) -> Iterator[tuple[Point, ...]]:
        """The pieces of a path that no earlier wire already covers."""
        piece = corners[:1]
        for a, b in pairwise(corners):
            if any(_within(a, c, d) and _within(b, c, d) for wire in self._wires for c, d in wire.segments):
                if len(piece) > 1:
                    yield tuple(piece)
                piece = [b]
            else:
                piece.append(b)
        if len(piece) > 1:
            yield tuple(piece)

    def ground(self, net: str, at: Point) -> None:
        """The symbol of 0 V, or of another net that serves as signal ground, below ``at``."""
        x, y = at
        net = self.zero if net == "0" else net
        self._tag(net, at, kind="ground")
        if net == "0":
            shape = [
                ((x - 9, y + 6), (x + 9, y + 6)),
                ((x - 6, y + 9.5), (x + 6, y + 9.5)),
                ((x - 3, y + 13), (x + 3, y + 13)),
            ]
            lines = "".join(f"M{num(a[0])} {num(a[1])}L{num(b[0])} {num(b[1])}" for a, b in shape)
            self._tag_marks.append(f'<path d="M{x} {y}L{x} {y + 6}{lines}" class="wire"/>')
            self._blocks.append((x - 9, y, x + 9, y + 14))
            return
        self._tag_marks.append(
            f'<path d="M{x} {y}L{x} {y + 6}M{x - 8} {y + 6}L{x + 8} {y + 6}L{x} {y + 14}Z" class="wire"/>'
        )
        self._blocks.append((x - 9, y, x + 9, y + 15))
        self._fixed.append(
            _Text(
                x=x,
                y=y + 26,
                content=self.names.get(net, net),
                classes="sm t",
                size=_PIN_SIZE,
                anchor="middle",
            )
        )

    def rail(self, net: str, at: Point, side: Side = "up") -> None:
        """A short bar with the net's name: a supply above (or below) ``at``."""
        x, y = at
        self._tag(net, at, kind="bar")
        away = -1 if side == "up" else 1
        self._tag_marks.append(
            f'<path d="M{x} {y}L{x} {y + 8 * away}M{x - 9} {y + 8 * away}h18" class="wire"/>'
        )
        self._blocks.append((x - 9, min(y, y + 10 * away), x + 9, max(y, y + 10 * away)))
        self._fixed.append(
            _Text(
                x=x,
                y=y - 12 if away < 0 else y + 20,
                content=self.names.get(net, net),
                classes="sm t",
                size=_PIN_SIZE,
                anchor="middle",
            )
        )

    def flag(self, net: str, at: Point, side: Side, note: str = "", *, heavy: bool = False) -> None:
        """A reference to elsewhere: a pointed box with the net's name at the ``side`` of ``at``."""
        x, y = at
        self._tag(net, at, kind="flag")
        shown = self.names.get(net, net)
        width = len(shown) * CHAR * LABEL_SIZE + 12
        away = -1 if side == "left" else 1
        tip, far = x + 7 * away, x + (7 + width) * away
        outline = (
            f"M{num(x)} {y}L{num(tip)} {y - 9}L{num(far)} {y - 9}L{num(far)} {y + 9}L{num(tip)} {y + 9}Z"
        )
        self._tag_marks.append(f'<path d="{outline}" class="{"heavy" if heavy else "wire"}"/>')
        left, right = min(x, far), max(x, far)
        self._blocks.append((left, y - 10, right, y + 10))
        self._flags.append((net, (left, y - 10, right, y + 10), side))
        centre = (tip + far) / 2
        self._fixed.append(
            _Text(
                x=centre,
                y=y + 4.5,
                content=shown,
                classes="lab t",
                size=LABEL_SIZE,
                anchor="middle",
                checked=False,
            )
        )
        if note:
            self._fixed.append(
                _Text(
                    x=left,
                    y=y - 14 if away < 0 else y + 22,
                    content=note,
                    classes="sm ts",
                    size=_PIN_SIZE,
                )
            )

    def name(
        self,
        net: str,
        at: Point,
        *,
        dx: int = 0,
        point: str = "",
        named: bool = False,
        side: LabelSide | None = None,
    ) -> None:
        """The net's name beside a wire through ``at``, or its test point with a ring to clip to.

        A test point says the name too where ``named``: where a flag elsewhere leads here.
        """
        shown = self.names.get(net, net)
        self._tag(net, at, ways=0, kind="ring" if point and not named else "name")
        if point:
            ring = f'<circle data-point="{escaped(point)}" cx="{at[0]}" cy="{at[1]}" r="4.2" class="open"/>'
            self._tag_marks.append(ring)
            self._blocks.append((at[0] - 5, at[1] - 5, at[0] + 5, at[1] + 5))
            self._rings.append((point, _on_grid(at)))
            shown = f"{point} {shown}" if named else point
        self._wanted.append(
            LabelWanted(
                lines=(shown,),
                body=(at[0] - 4 + dx, at[1] - 3, at[0] + 4 + dx, at[1] + 3),
                upright=False,
                side=side,
            )
        )

    def core(self, x: int, top: int, bottom: int) -> None:
        """The core between windings: two lines about ``x``."""
        for at in (x - 3, x + 3):
            self._tag_marks.append(f'<path d="M{at} {top}L{at} {bottom}" class="wire"/>')
        self._blocks.append((x - 5, top, x + 5, bottom))

    def say(self, x: int, y: int, content: str, *, classes: str = "sm ts", head: bool = False) -> None:
        """A line of free text; ``head`` is a heading."""
        self._fixed.append(
            _Text(
                x=x,
                y=y,
                content=content,
                classes="h t" if head else classes,
                size=14.0 if head else _PIN_SIZE,
            )
        )

    def _tag(self, net: str, at: Point, *, ways: int = 1, kind: TagKind = "name") -> None:
        self._tags.append(Tag(net=net, at=_on_grid(at), ways=ways, kind=kind))

    def references(self) -> tuple[tuple[str, bool], ...]:
        """Printed names that lead away from their wire, in order, and whether each stands at a flag."""
        found: dict[str, bool] = {}
        for tag in self._tags:
            if tag.kind not in ("name", "ring") and tag.net != "0":
                shown = self.names.get(tag.net, tag.net)
                found[shown] = found.get(shown, False) or tag.kind == "flag"
        return tuple(found.items())

    def written(self) -> tuple[str, ...]:
        """The name at every flag, bar, ground and wire that bears one in print."""
        return tuple(
            self.names.get(tag.net, tag.net) for tag in self._tags if tag.kind != "ring" and tag.net != "0"
        )

    # the finished drawing

    def lead_to(self, numbers: Mapping[str, str]) -> None:
        """Say at each flag where its net goes on: by printed name, in words ("\u2192 2, 11\u201313")."""
        self._numbers, self._labels = numbers, None

    def labels(self) -> tuple[Label, ...]:
        """Places of all free texts; the drawing must be complete."""
        if self._labels is not None:
            return self._labels
        taken = [placed.box for placed, _, _, _ in self._placed] + self._blocks
        fixed = [text.box for text in self._fixed if text.checked]
        taken += fixed
        for placed, _, _, _ in self._placed:
            taken += [(x - 3.0, y - 3.0, x + 3.0, y + 3.0) for x, y in placed.pins.values()]
        for wire in self._wires:
            grown = _WIRE + (1.0 if wire.heavy else 0.0)
            for a, b in wire.segments:
                box = (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1]))
                taken.append((box[0] - grown, box[1] - grown, box[2] + grown, box[3] + grown))
        self._pointers = list(self._place_pointers(taken, fixed))
        pointers = [label.box for label in self._pointers]
        texts = place_labels(self._wanted, [*taken, *pointers], self.inside, [*fixed, *pointers])
        self._labels = (*texts, *self._pointers)
        return self._labels

    def _place_pointers(self, taken: list[Box], texts: list[Box]) -> Iterator[Label]:
        """The other sheets' numbers beside each flag, as near as there is room."""
        taken, texts = list(taken), list(texts)
        for net, box, side in self._flags:
            shown = self._numbers.get(self.names.get(net, net), "")
            if not shown:
                continue
            best = min(
                (self._pointer(shown, spot, taken, texts) for spot in _pointer_spots(box, side, shown)),
                key=lambda label: label.cost,
            )
            taken.append(best.box)
            texts.append(best.box)
            yield best

    def _pointer(self, shown: str, spot: tuple[float, float], taken: list[Box], texts: list[Box]) -> Label:
        """Numbers at a spot, with what they would cover; a text close above or below counts a little."""
        left, top = spot
        box = (left, top, left + len(shown) * CHAR * _PIN_SIZE, top + 0.98 * _PIN_SIZE)
        near = (box[0] - 3.0, box[1], box[2] + 3.0, box[3])
        roomy = (box[0] - 3.0, box[1] - 3.0, box[2] + 3.0, box[3] + 3.0)
        cost = sum(overlap(near, other) for other in taken)
        cost += 1e-6 * sum(overlap(roomy, other) for other in texts)
        x, y, u, v = self.inside
        if box[0] < x or box[1] < y or box[2] > u or box[3] > v:
            cost += 1e6
        return Label(
            lines=(shown,), x=left, y=top + 0.78 * _PIN_SIZE, box=box, cost=cost if cost > 1e-2 else 0.0
        )

    def fixed_boxes(self) -> tuple[tuple[str, Box], ...]:
        """Fixed texts that stand free, with their boxes."""
        return tuple((fixed.content, fixed.box) for fixed in self._fixed if fixed.checked)

    def marks(self) -> tuple[Box, ...]:
        """Boxes of flags, supply bars, grounds and test points."""
        return tuple(self._blocks)

    def bodies(self) -> tuple[tuple[str, Box], ...]:
        """Designators with the boxes of their symbols."""
        return tuple((placed.name, placed.box) for placed, _, _, _ in self._placed)

    def dots(self) -> tuple[tuple[Point, bool], ...]:
        """Points where three or more ways meet, and whether a heavy wire is among them."""
        ends: dict[Point, int] = {}
        for placed, _, _, _ in self._placed:
            for spot in placed.pins.values():
                ends[spot] = ends.get(spot, 0) + 1
        for tag in self._tags:
            ends[tag.at] = ends.get(tag.at, 0) + tag.ways
        for wire in self._wires:
            for spot in wire.points:
                ends.setdefault(spot, 0)
        found: list[tuple[Point, bool]] = []
        for spot, pins in ends.items():
            ways, heavy = pins, False
            for wire in self._wires:
                count = _ways(spot, wire)
                ways += count
                heavy = heavy or (wire.heavy and count > 0)
            if ways >= 3:
                found.append((spot, heavy))
        return tuple(found)

    def body(self) -> list[str]:
        """The drawing as SVG elements, with the records that a tracer reads."""
        out = self.strokes()
        for fixed in self._fixed:
            out.append(text(fixed.x, fixed.y, fixed.content, classes=fixed.classes, anchor=fixed.anchor))
        for label in self.labels()[: len(self._wanted)]:
            for baseline, line in label.baselines:
                out.append(text(label.x, baseline, line, classes="lab t"))
        for label in self._pointers:
            out.append(text(label.x, label.y, label.lines[0], classes="sm ts"))
        return out

    def strokes(self) -> list[str]:
        """The drawing without its texts.

        Raises
        ------
        ValueError : a test point's ring stands on no wire and no pin.
        """
        ends = {spot for placed, _, _, _ in self._placed for spot in placed.pins.values()}
        for point, spot in self._rings:
            if spot not in ends and not any(_ways(spot, wire) for wire in self._wires):
                raise ValueError(f"{point} stands on no wire")
        out = [
            f'<path data-wire="" d="M{"L".join(f"{x} {y}" for x, y in wire.points)}"'
            f' class="{"heavy" if wire.heavy else "wire"}"/>'
            for wire in self._wires
        ]
        for mark, heavy in self.dots():
            out.append(f'<circle cx="{mark[0]}" cy="{mark[1]}" r="{4 if heavy else 3}" class="dot"/>')
        out += self._tag_marks
        out += [f'<g data-net="{escaped(tag.net)}" data-at="{tag.at[0]},{tag.at[1]}"/>' for tag in self._tags]
        for placed, drawn, turn, flip in self._placed:
            out.append(self._symbol(placed, drawn, turn, flip))
        return out

    def _symbol(self, placed: Placed, drawn: Symbol, turn: int, flip: bool) -> str:
        first, spot = drawn.pins[0]
        origin = _moved(spot, 0, 0, turn, flip)
        x, y = placed.pins[first][0] - origin[0], placed.pins[first][1] - origin[1]
        pins = " ".join(f"{pin}@{px},{py}" for pin, (px, py) in placed.pins.items())
        strokes = "".join(_stroke(stroke, x, y, turn, flip) for stroke in drawn.strokes)
        more = "".join(
            f'<g data-part="{escaped(name)}" data-pins="{escaped(pins)}"/>'
            for name in self._also.get(placed.name, ())
        )
        return f'<g data-part="{escaped(placed.name)}" data-pins="{escaped(pins)}">{strokes}</g>{more}'


def _pointer_spots(flag: Box, side: Side, shown: str) -> Iterator[tuple[float, float]]:
    """Left and top of numbers beside a flag, the best first: above, below, beyond; away from its wire."""
    left, top, right, bottom = flag
    wide, high = len(shown) * CHAR * _PIN_SIZE, 0.98 * _PIN_SIZE
    middle = (top + bottom - high) / 2
    near, far = (right - 2.0 - wide, left + 2.0) if side == "left" else (left + 2.0, right - 2.0 - wide)
    starts = (far, (left + right - wide) / 2, near, left - 8.0, right + 8.0 - wide)
    for away in (3.0, 8.0):
        for x in starts:
            yield x, top - away - high
            yield x, bottom + away
        yield right + away + 2.0, middle
        yield left - away - 2.0 - wide, middle
    for away in (16.0, 24.0):
        for x in starts:
            yield x, top - away - high
            yield x, bottom + away


def _moved(spot: tuple[float, float], x: float, y: float, turn: int, flip: bool) -> tuple[float, float]:
    a, b = spot[0], -spot[1] if flip else spot[1]
    for _ in range(turn % 4):
        a, b = -b, a
    return x + a, y + b


def _on_grid(spot: tuple[float, float]) -> Point:
    x, y = round(spot[0]), round(spot[1])
    if (x, y) != tuple(spot) or x % GRID or y % GRID:
        raise ValueError(f"{spot} is off the grid")
    return x, y


def _ways(spot: Point, wire: _Wire) -> int:
    """How many of a wire's stretches leave a point: 2 in its middle, 1 at an end."""
    if spot in wire.points:
        return 1 if spot in (wire.points[0], wire.points[-1]) and wire.points.count(spot) == 1 else 2
    return 2 if any(_within(spot, a, b) for a, b in wire.segments) else 0


def _within(spot: Point, a: Point, b: Point) -> bool:
    """Whether a point lies on a straight stretch."""
    return min(a[0], b[0]) <= spot[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= spot[1] <= max(a[1], b[1])


def _stroke(stroke: Stroke, x: float, y: float, turn: int, flip: bool) -> str:
    spots = [_moved(spot, x, y, turn, flip) for spot in stroke.points]
    path = "L".join(f"{num(a)} {num(b)}" for a, b in spots)
    shape = {"": "heavy" if stroke.heavy else "wire", "solid": "solid", "open": "open"}[stroke.fill]
    return f'<path d="M{path}{"Z" if stroke.closed else ""}" class="{shape}"/>'
