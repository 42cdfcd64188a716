"""The box taken apart, as SVG: boards pulled out along the axes, those inside named beside the drawing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from subwright.outputs.drawing import document, line, num, text, text_width
from subwright.stages.enclosure_result import EnclosureResult
from subwright.stages.enclosure_solid import Board

__all__ = ["box_exploded_svg"]

_WIDTH = 920.0
_TOP = 76.0
_TALLEST = 620.0
_SMALL = 11.0
_PITCH = 34.0  # between names in the column
_COLUMN = 28.0  # between drawing and column

_COS, _SIN = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
Point3 = tuple[float, float, float]
Point = tuple[float, float]
# Which way each board goes when the box comes apart: along x, y, z.
_AWAY: dict[str, Point3] = {
    "front": (0.0, -1.0, 0.0),
    "back": (0.0, 1.0, 0.0),
    "top": (0.0, 0.0, 1.0),
    "bottom": (0.0, 0.0, -1.0),
    "left side": (-1.0, 0.0, 0.0),
    "right side": (1.0, 0.0, 0.0),
}
# Faces that are seen from the front right above: right end, front edge, upper edge.
_FACES = ((4, 5, 6, 7), (0, 4, 7, 3), (3, 7, 6, 2))
# The face of a ring brace that shows its window, by the axis that it lies across.
_WINDOW_FACE = {"width": (4, 5, 6, 7), "height": (3, 7, 6, 2), "depth": (0, 4, 7, 3)}


@dataclass(frozen=True, kw_only=True, slots=True)
class _Drawn:
    """A board on paper: the corners of its solid, the faces that are seen, and the window in one of them."""

    board: Board
    corners: tuple[Point, ...]
    faces: tuple[tuple[Point, ...], ...]
    window: tuple[Point, ...]

    def covers(self, x: float, y: float) -> bool:
        return any(_inside(face, x, y) for face in self.faces) and not _inside(self.window, x, y)

    def svg(self) -> str:
        first, *others = (_steps(face) for face in self.faces)
        wall = f'<path d="{first}{_steps(self.window)}" fill-rule="evenodd" class="part"/>'
        return "".join(f'<path d="{steps}" class="part"/>' for steps in others) + wall


def _steps(corners: Sequence[Point]) -> str:
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in corners) + "Z" if corners else ""


def _inside(polygon: Sequence[Point], x: float, y: float) -> bool:
    """Whether a point lies in a convex polygon."""
    if not polygon:
        return False
    turns = [
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        for a, b in zip(polygon, (*polygon[1:], polygon[0]), strict=True)
    ]
    return min(turns) >= 0.0 or max(turns) <= 0.0


def _flat(point: Point3) -> Point:
    """Axonometric: x to the lower right, y to the upper right, z up; lengths along them are kept."""
    x, y, z = point
    return (x + y) * _COS, z + (y - x) * _SIN


def _corners(board: Board, shift: Point3) -> list[Point3]:
    """Eight corners: the section at the left, then the same at the right."""
    dx, dy, dz = shift
    return [(x + dx, y + dy, z + dz) for x in (board.left_m, board.right_m) for y, z in board.profile_m]


def _depth(item: tuple[Board, Point3]) -> float:
    corners = _corners(*item)
    return sum(x - y + z for x, y, z in corners) / len(corners)


def box_exploded_svg(box: EnclosureResult, *, title: str, stamp: str = "", inline: bool = False) -> str:
    """The boards pulled apart along the axes, in the order in which they lie behind one another."""
    spread = 0.55 * max(box.outer_width_m, box.outer_depth_m, box.outer_height_m)
    placed = []
    for board in box.boards:
        x, y, z = _AWAY.get(board.name, (0.0, 0.0, 0.0))
        factor = 0.75 if board.name in ("top", "bottom") else 1.0
        placed.append((board, (x * spread * factor, y * spread * factor, z * spread * factor)))
    flat = [_flat(corner) for board, shift in placed for corner in _corners(board, shift)]
    left, right = min(p[0] for p in flat), max(p[0] for p in flat)
    low, high = min(p[1] for p in flat), max(p[1] for p in flat)
    inner = {board.name for board, _ in placed if board.name not in _AWAY}
    aside = _COLUMN + max(text_width(name, _SMALL) for name in inner) if inner else 0.0
    scale = min((_WIDTH - 80.0 - max(aside, 40.0)) / (right - left), _TALLEST / (high - low))
    across = (_WIDTH - (right - left) * scale - aside) / 2

    def on_paper(point: Point3) -> Point:
        a, b = _flat(point)
        return across + (a - left) * scale, _TOP + (high - b) * scale

    body = [text(12, 20, title, classes="t h"), text(12, 38, "every board along its axis", classes="ts sm")]
    if stamp:
        body.append(text(_WIDTH - 12, 20, stamp, classes="ta", anchor="end"))
    labels: list[str] = []
    drawn: list[_Drawn] = []
    for board, shift in sorted(placed, key=_depth):
        drawn.append(_drawn(board, [on_paper(corner) for corner in _corners(board, shift)]))
        body.append(drawn[-1].svg())
        if board.name == "front":
            body += _cut_outs(box, shift, on_paper)
        if board.name in _AWAY:
            where = _label_at(board.name, list(drawn[-1].corners))
            labels.append(text(*where, board.name, classes="t sm halo", anchor="middle"))
    tall = (high - low) * scale
    labels += _column(drawn, across + (right - left) * scale + _COLUMN, _TOP + 0.5 * tall)
    described = "; ".join(board.name for board, _ in placed)
    return document(
        [*body, *labels], width=_WIDTH, height=_TOP + tall + 40, title=title, desc=described, inline=inline
    )


def _drawn(board: Board, corners: list[Point]) -> _Drawn:
    order = list(_FACES)
    window: tuple[Point, ...] = ()
    if board.name.startswith("ring brace"):
        shown = _WINDOW_FACE[board.name.rsplit(" ", 1)[-1]]
        order.remove(shown)
        order.insert(0, shown)
        window = _window(board, [corners[i] for i in shown])
    return _Drawn(
        board=board,
        corners=tuple(corners),
        faces=tuple(tuple(corners[i] for i in face) for face in order),
        window=window,
    )


def _window(board: Board, face: list[Point]) -> tuple[Point, ...]:
    """The window of a ring brace: its face drawn smaller, by the share of wood that is left out."""
    middle = (sum(x for x, _ in face) / 4.0, sum(y for _, y in face) / 4.0)
    share = math.sqrt(board.hollow_m3 / (board.hollow_m3 + board.volume_m3))
    return tuple((middle[0] + share * (x - middle[0]), middle[1] + share * (y - middle[1])) for x, y in face)


def _seen(drawn: Sequence[_Drawn], number: int) -> Point:
    """The point furthest right on a board that no nearer board hides; its middle where it is all hidden."""
    one, nearer = drawn[number], drawn[number + 1 :]
    steps = [(i + 0.5) / 24 for i in range(24)]
    found = [
        (x, y)
        for a, b, c, d in one.faces
        for u in steps
        for v in steps
        for x, y in [_between(a, b, c, d, u, v)]
        if one.covers(x, y) and not any(other.covers(x, y) for other in nearer)
    ]
    if found:
        return max(found)
    return sum(x for x, _ in one.corners) / 8.0, sum(y for _, y in one.corners) / 8.0


def _between(a: Point, b: Point, c: Point, d: Point, u: float, v: float) -> Point:
    return (
        (1 - u) * (1 - v) * a[0] + u * (1 - v) * b[0] + u * v * c[0] + (1 - u) * v * d[0],
        (1 - u) * (1 - v) * a[1] + u * (1 - v) * b[1] + u * v * c[1] + (1 - u) * v * d[1],
    )


def _column(drawn: Sequence[_Drawn], left: float, middle: float) -> list[str]:
    """Names of the boards inside, below one another beside the drawing, each with a line to its boards."""
    anchors: dict[str, list[Point]] = {}
    for number, one in enumerate(drawn):
        if one.board.name not in _AWAY:
            anchors.setdefault(one.board.name, []).append(_seen(drawn, number))
    names = sorted(anchors, key=lambda name: sum(y for _, y in anchors[name]) / len(anchors[name]))
    first = middle - 0.5 * _PITCH * (len(names) - 1)
    out = []
    for row, name in enumerate(names):
        y = first + row * _PITCH
        for end_x, end_y in anchors[name]:
            out.append(line(left - 4, y, end_x, end_y, classes="hair"))
            out.append(f'<circle cx="{num(end_x)}" cy="{num(end_y)}" r="2.4" class="dot"/>')
        out.append(text(left, y + 4, name, classes="t sm halo"))
    return out


def _label_at(name: str, corners: list[Point]) -> Point:
    xs, ys = [c[0] for c in corners], [c[1] for c in corners]
    if name in ("top", "back"):
        return (min(xs) + max(xs)) / 2, min(ys) - 6
    if name == "left side":
        return min(xs) + 30, min(ys) + 10
    if name == "right side":
        return max(xs) - 30, max(ys) - 4
    return (min(xs) + max(xs)) / 2, max(ys) + (14 if name == "bottom" else 2)


def _cut_outs(box: EnclosureResult, shift: Point3, on_paper: Callable[[Point3], Point]) -> list[str]:
    """Cut-outs on the outer face of the front, drawn as ellipses by their points."""
    front = next(panel for panel in box.panels if panel.name == "front")
    high = box.outer_height_m
    out = []
    for hole in front.holes:
        a, b = 0.5 * hole.width_m, 0.5 * hole.height_m
        turns = [2.0 * math.pi * i / 48 for i in range(48)]
        if hole.shape == "round":
            rim = [(hole.x_m + a * math.cos(w), hole.y_m + b * math.sin(w)) for w in turns]
        else:
            x, y = hole.x_m, hole.y_m
            rim = [(x - a, y - b), (x + a, y - b), (x + a, y + b), (x - a, y + b)]
        points = []
        for x, along in rim:
            z = along * high / front.width_m
            points.append(on_paper((x + shift[0], box.front_slope * z + shift[1], z + shift[2])))
        out.append(f'<path d="{_steps(points)}" class="open"/>')
    return out
