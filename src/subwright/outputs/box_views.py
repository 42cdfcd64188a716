"""The box from three sides with its dimensions as SVG; millimetres throughout."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from subwright.outputs.drawing import document, line, num, rect, text, text_width
from subwright.outputs.panel_drawing import millimetres
from subwright.stages.enclosure_drills import Hole
from subwright.stages.enclosure_result import EnclosureResult
from subwright.stages.enclosure_solid import Board

__all__ = ["box_views_svg"]

_WIDTH = 920.0
_GAP = 96.0
_LEFT = 84.0
_TOP = 96.0


class _View:
    """One orthographic view: drawing coordinates from a horizontal and an upright length."""

    def __init__(self, left: float, base: float, scale: float) -> None:
        self.left, self.base, self.scale = left, base, scale

    def at(self, across_m: float, up_m: float) -> tuple[float, float]:
        return self.left + across_m * self.scale, self.base - up_m * self.scale

    def path(self, corners: list[tuple[float, float]], classes: str) -> str:
        steps = "L".join(f"{num(x)} {num(y)}" for x, y in (self.at(*corner) for corner in corners))
        return f'<path d="M{steps}Z" class="{classes}"/>'


def _across(view: _View, a_m: float, b_m: float, row: int) -> Iterator[str]:
    """Dimension line under a view."""
    (x1, y0), (x2, _) = view.at(a_m, 0.0), view.at(b_m, 0.0)
    y = y0 + 20 + 20 * row
    ends = f"M{num(x1)} {num(y0 + 3)}V{num(y + 4)}M{num(x2)} {num(y0 + 3)}V{num(y + 4)}"
    yield f'<path d="{ends}M{num(x1)} {num(y)}H{num(x2)}" class="hair"/>'
    yield text((x1 + x2) / 2, y - 3, millimetres(b_m - a_m), classes="t sm halo", anchor="middle")


def _upright(
    view: _View, a_m: float, b_m: float, row: int, *, across_m: float = 0.0, right: bool = False
) -> Iterator[str]:
    """Dimension line left of a view, or right of it, its figure turned."""
    (x0, y1), (_, y2) = view.at(across_m, a_m), view.at(across_m, b_m)
    way = 1 if right else -1
    x = x0 + way * (18 + 20 * row)
    ends = "".join(f"M{num(x0 + 3 * way)} {num(y)}H{num(x + 4 * way)}" for y in (y1, y2))
    yield f'<path d="{ends}M{num(x)} {num(y1)}V{num(y2)}" class="hair"/>'
    turn = f' transform="rotate(-90 {num(x - 3)} {num((y1 + y2) / 2)})"'
    words = millimetres(b_m - a_m)
    yield text(x - 3, (y1 + y2) / 2, words, classes="t sm halo", anchor="middle", extra=turn)


def _hole(view: _View, hole: Hole, holes: Sequence[Hole]) -> Iterator[str]:
    cx, cy = view.at(hole.x_m, hole.y_m)
    wide, tall = hole.width_m * view.scale, hole.height_m * view.scale
    if hole.shape == "round":
        yield f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(wide / 2)}" class="open"/>'
        size = f"\u2300 {millimetres(hole.width_m)}"
    else:
        yield rect(cx - wide / 2, cy - tall / 2, wide, tall, classes="open")
        size = f"{millimetres(hole.width_m)} \u00d7 {millimetres(hole.height_m)}"
    yield line(cx - 6, cy, cx + 6, cy, classes="hair")
    yield line(cx, cy - 6, cx, cy + 6, classes="hair")
    if text_width(size, 11) + 6 < wide:
        yield text(cx, cy - 10, hole.purpose, classes="ts sm", anchor="middle")
        yield text(cx, cy + 18, size, classes="t sm", anchor="middle")
        return
    alike = [h for h in holes if (h.purpose, h.shape, h.width_m) == (hole.purpose, hole.shape, hole.width_m)]
    if hole is max(alike, key=lambda other: (other.y_m, -other.x_m)):  # the topmost names them all
        words = f"{len(alike)} \u00d7 {hole.purpose} {size}" if len(alike) > 1 else f"{hole.purpose} {size}"
        yield text(cx, cy - tall / 2 - 5, words, classes="t sm halo", anchor="middle")


def _frames(view: _View, box: EnclosureResult, holes: tuple[Hole, ...]) -> Iterator[str]:
    for hole in holes:
        if hole.purpose == "driver":
            cx, cy = view.at(hole.x_m, hole.y_m)
            radius = 0.5 * box.driver_frame_m * view.scale
            yield f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(radius)}" class="hair"/>'


def _electronics(view: _View, box: EnclosureResult, across: int, up: int) -> Iterator[str]:
    """Outline of the room kept for the electronics: ``across`` and ``up`` are the axes of the view."""
    room = box.compartment
    if room is None:
        return
    a, b, c, d = room.low_m[across], room.high_m[across], room.low_m[up], room.high_m[up]
    yield view.path([(a, c), (b, c), (b, d), (a, d)], "ref")
    (x1, y1), (x2, y2) = view.at(a, c), view.at(b, d)
    words = "electronics"
    if text_width(words, 11) + 4 < x2 - x1:
        yield text((x1 + x2) / 2, (y1 + y2) / 2 + 4, words, classes="ts sm halo", anchor="middle")


def _front_view(box: EnclosureResult, view: _View) -> Iterator[str]:
    wide, high = box.outer_width_m, box.outer_height_m
    yield text(view.left, view.base - high * view.scale - 10, "front", classes="t")
    yield view.path([(0, 0), (wide, 0), (wide, high), (0, high)], "part")
    front = next(panel for panel in box.panels if panel.name == "front")
    squeeze = high / front.width_m  # a leaning front is longer than it looks from here
    holes = tuple(
        Hole(
            purpose=hole.purpose,
            shape=hole.shape,
            width_m=hole.width_m,
            height_m=hole.height_m,
            x_m=hole.x_m,
            y_m=hole.y_m * squeeze,
        )
        for hole in front.holes
    )
    for hole in holes:
        yield from _hole(view, hole, holes)
    yield from _frames(view, box, holes)
    yield from _electronics(view, box, 0, 2)
    row = 0
    for x in sorted({round(hole.x_m, 4) for hole in holes}):
        yield from _across(view, 0.0, x, row)
        row += 1
    yield from _across(view, 0.0, wide, row)
    row = 0
    for y in sorted({round(hole.y_m, 4) for hole in holes}):
        yield from _upright(view, 0.0, y, row)
        row += 1
    yield from _upright(view, 0.0, high, row)


def _side_view(box: EnclosureResult, view: _View) -> Iterator[str]:
    """Section along the middle, seen from the left."""
    high = box.outer_height_m
    lift = 42 if box.front_slope or box.back_slope else 10
    yield text(view.left, view.base - high * view.scale - lift, "section, front on the left", classes="t")
    for board in box.boards:
        if board.name in ("left side", "right side", "divider", "ring brace across the width"):
            continue
        classes = "hair" if board.name.startswith("ring brace") else "part"
        yield view.path(list(board.profile_m), classes)
    for corners in _cut_through(box):
        yield view.path(corners, "open")
    yield from _motor(box, view)
    yield from _electronics(view, box, 1, 2)
    shelf, riser = (_board(box, name) for name in ("port shelf", "port riser"))
    row = 0
    if shelf is not None and box.port is not None and box.port.height_m is not None:
        floor = shelf.profile_m[0][1]
        yield from _upright(view, floor - box.port.height_m, floor, 0)
        yield from _across(view, shelf.profile_m[0][0], shelf.profile_m[1][0], 0)
        row = 1
    if riser is not None:
        foot, head = riser.profile_m[0][1], riser.profile_m[2][1]
        yield from _upright(view, foot, head, 0, across_m=box.outer_depth_m, right=True)
    yield from _across(view, 0.0, box.outer_depth_m, row)
    if box.front_slope or box.back_slope:
        a = box.front_slope * high
        (x1, y0), (x2, _) = view.at(a, high), view.at(a + box.outer_depth_top_m, high)
        yield line(x1, y0 - 26, x2, y0 - 26, classes="hair")
        words = millimetres(box.outer_depth_top_m)
        yield text((x1 + x2) / 2, y0 - 29, words, classes="t sm halo", anchor="middle")
        lean = math.degrees(math.atan(box.back_slope))
        x, y = view.at(box.outer_depth_m - box.back_slope * 0.5 * high, 0.5 * high)
        yield text(x + 8, y, f"{lean:.1f}\u00b0", classes="t sm")
    yield from _upright(view, 0.0, high, row)
    thickness = millimetres(box.panels[0].thickness_m)
    x, y = view.at(box.outer_depth_m, 0.0)
    yield text(x, y + 44 + 20 * row, f"board {thickness}", classes="ts sm", anchor="end")


def _board(box: EnclosureResult, name: str) -> Board | None:
    return next((board for board in box.boards if board.name == name), None)


def _on_front(box: EnclosureResult, hole: Hole, inward_m: float, along_m: float) -> tuple[float, float]:
    """A point by its distance behind the front's face and along it from a cut-out's middle: depth, height."""
    front = next(panel for panel in box.panels if panel.name == "front")
    z = hole.y_m * box.outer_height_m / front.width_m
    slope, stretch = box.front_slope, math.hypot(1.0, box.front_slope)
    return (slope * z + (inward_m + slope * along_m) / stretch, z + (along_m - slope * inward_m) / stretch)


def _chord_m(hole: Hole, off_m: float, *, upright: bool) -> float:
    """Half of what a cut through a cut-out, so far off its middle, meets of it; 0 where it misses."""
    if hole.shape == "round":
        return math.sqrt(max((0.5 * hole.width_m) ** 2 - off_m**2, 0.0))
    across, along = (hole.width_m, hole.height_m) if upright else (hole.height_m, hole.width_m)
    return 0.5 * along if abs(off_m) < 0.5 * across else 0.0


def _cut_through(box: EnclosureResult) -> Iterator[list[tuple[float, float]]]:
    """Where the upright section meets the front's cut-outs."""
    front = next(panel for panel in box.panels if panel.name == "front")
    thick = box.front_layers * front.thickness_m
    for hole in front.holes:
        half = _chord_m(hole, hole.x_m - 0.5 * box.outer_width_m, upright=True)
        if half > 0.0:
            yield [
                _on_front(box, hole, a, b)
                for a, b in ((0.0, -half), (thick, -half), (thick, half), (0.0, half))
            ]


def _motor(box: EnclosureResult, view: _View) -> Iterator[str]:
    """The driver behind the front, as a dashed outline of basket and motor."""
    if box.driver_depth_m is None or box.chambers is not None:
        return
    front = next(panel for panel in box.panels if panel.name == "front")
    for hole in front.holes:
        if hole.purpose != "driver":
            continue
        deep, half = box.driver_depth_m, 0.5 * hole.width_m
        # (inward, along the front upward), then turned with the front
        shape = [
            (0.0, -half),
            (0.45 * deep, -0.55 * half),
            (deep, -0.55 * half),
            (deep, 0.55 * half),
            (0.45 * deep, 0.55 * half),
            (0.0, half),
        ]
        corners = [_on_front(box, hole, a, b) for a, b in shape]
        yield view.path(corners, "hair")
        return


def _top_view(box: EnclosureResult, view: _View) -> Iterator[str]:
    """Level section, front below."""
    wide, deep = box.outer_width_m, box.outer_depth_m
    yield text(
        view.left,
        view.base - deep * view.scale - 10,
        "level section at half height, front below",
        classes="t",
    )
    middle = 0.5 * box.outer_height_m
    for board in box.boards:
        if board.name in ("top", "bottom", "ring brace across the height"):
            continue
        below = board.profile_m[2][1] < middle
        low, high = _level(board, middle)
        corners = [(board.left_m, low), (board.right_m, low), (board.right_m, high), (board.left_m, high)]
        yield view.path(corners, "hair" if below or board.name.startswith("ring brace") else "part")
    front = next(panel for panel in box.panels if panel.name == "front")
    low, high = _level(box.boards[0], middle)
    for hole in front.holes:
        half = _chord_m(hole, hole.y_m - 0.5 * front.width_m, upright=False)
        if half > 0.0:
            a, b = hole.x_m - half, hole.x_m + half
            yield view.path([(a, low), (b, low), (b, high), (a, high)], "open")
    yield from _electronics(view, box, 0, 1)
    yield from _across(view, 0.0, wide, 0)
    nearest = min(_level(board, middle)[0] for board in box.boards)
    furthest = max(_level(board, middle)[1] for board in box.boards)
    yield from _upright(view, nearest, furthest, 0)
    balance = box.balance
    x, y = view.at(balance.x_m, balance.y_m)
    yield f'<circle cx="{num(x)}" cy="{num(y)}" r="5" class="lim"/>'
    yield line(x - 9, y, x + 9, y, classes="hair")
    yield line(x, y - 9, x, y + 9, classes="hair")
    words = ("centre of gravity,", f"{millimetres(balance.z_m)} up")
    half = 0.5 * max(text_width(line_, 11) for line_ in words)
    first, last = view.at(0.0, 0.0)[0], view.at(wide, 0.0)[0]
    wall = box.panels[0].thickness_m * view.scale + 4.0
    if last - first - 2.0 * wall >= 2.0 * half:  # between the walls
        middle_x = min(max(x, first + wall + half), last - wall - half)
        for row, line_ in enumerate(words):
            yield text(middle_x, y + 22 + 13 * row, line_, classes="ts sm halo", anchor="middle")
    else:  # a narrow box: beside it
        yield line(x + 9, y, last + 8, y, classes="hair")
        for row, line_ in enumerate(words):
            yield text(last + 12, y + 4 + 13 * row, line_, classes="ts sm")


def _level(board: Board, z: float) -> tuple[float, float]:
    """Where a board begins and ends at a height, front to back."""
    a, b, c, d = board.profile_m
    share = min(max((z - a[1]) / (d[1] - a[1]), 0.0), 1.0) if d[1] != a[1] else 0.5
    return a[0] + share * (d[0] - a[0]), b[0] + share * (c[0] - b[0])


def box_views_svg(box: EnclosureResult, *, title: str, stamp: str = "", inline: bool = False) -> str:
    """Front view, upright section and level section, to one scale, with the main dimensions."""
    wide, high, deep = box.outer_width_m, box.outer_height_m, box.outer_depth_m
    scale = min((_WIDTH - 2 * _LEFT - _GAP - 80) / (wide + deep), 330.0 / max(high, deep))
    base = _TOP + high * scale
    holes = next(panel for panel in box.panels if panel.name == "front").holes
    rows = len({round(hole.y_m, 4) for hole in holes})
    left = _LEFT + 20.0 * max(rows - 2, 0)
    front = _View(left, base, scale)
    side = _View(left + wide * scale + _GAP + 24, base, scale)
    below = base + 120 + deep * scale
    top = _View(left, below, scale)
    body = [
        text(12, 20, title, classes="t h"),
        text(12, 38, "millimetres, outside dimensions", classes="ts sm"),
        *_front_view(box, front),
        *_side_view(box, side),
        *_top_view(box, top),
    ]
    if stamp:
        body.append(text(_WIDTH - 12, 20, stamp, classes="ta", anchor="end"))
    facts = [
        f"net volume {box.net_volume_m3 * 1e3:.1f} l",
        f"mass {box.mass_kg:.1f} kg with driver",
        f"joints: {box.joint}",
        "strap it to the vehicle's frame:",
        "loose, it is a missile",
    ]
    rebate = max(panel.rebate_m for panel in box.panels)
    if rebate:
        board = millimetres(box.panels[0].thickness_m)
        facts[2] = f"joints: rebates in front and back, {millimetres(rebate)} deep, {board} wide"
    if box.port is not None:
        facts.insert(0, f"port {box.port.name}, {millimetres(box.port.length_m)} long, {box.port.bend}")
    if box.compartment is not None:
        size = " × ".join(millimetres(side) for side in box.compartment.sides_m)
        facts.insert(0, f"electronics {box.compartment.corner}, {size}")
    if box.radiator is not None:
        facts.insert(0, f"radiator: {box.radiator.added_kg * 1e3:.0f} g added to each")
    for row, words in enumerate(facts):
        body.append(text(side.left, base + 140 + 18 * row, words, classes="ts sm"))
    desc = (
        f"box {millimetres(wide)} wide, {millimetres(high)} high, {millimetres(deep)} deep; "
        f"centre of gravity {millimetres(box.balance.z_m)} up"
    )
    height = max(below + 64, base + 140 + 18 * len(facts))
    return document(body, width=_WIDTH, height=height, title=title, desc=desc, inline=inline)
