"""Sides of the box in whole millimetres: from a wanted volume, the room, and what must fit on the front."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from subwright.base.errors import NoSolutionError
from subwright.base.units import show

__all__ = [
    "EDGE_M",
    "UPRIGHT",
    "FrontLayout",
    "InnerBox",
    "Room",
    "Slopes",
    "inner_box",
    "layouts",
    "room_of",
    "sloped_room_of",
    "slopes_of",
]

# Width : height : depth of the inside. A third of an octave between sides keeps their resonances apart.
_RATIO = (2.0 ** (1.0 / 3.0), 1.0, 2.0 ** (-1.0 / 3.0))
EDGE_M = 0.015  # clear board around a frame or a port
_BASKET_M = 0.005  # clear of a wall at the driver's basket
_BEHIND_M = 0.020  # free depth behind the driver, for the vented pole
_MM = 1000.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Room:
    """Largest inner sides that the room leaves, m; infinity where it sets no limit."""

    width_m: float
    height_m: float
    depth_m: float

    @property
    def volume_m3(self) -> float:
        """Largest inner volume, m³."""
        return self.width_m * self.height_m * self.depth_m


@dataclass(frozen=True, kw_only=True, slots=True)
class Slopes:
    """How far front and back lean inward per height: tangents of their angles from upright."""

    front: float
    back: float

    @property
    def both(self) -> float:
        """Loss of depth per height."""
        return self.front + self.back

    def across(self, front_m: float, thickness_m: float) -> float:
        """Depth that the leaning boards take, measured level, m."""
        return front_m * math.hypot(1.0, self.front) + thickness_m * math.hypot(1.0, self.back)


UPRIGHT = Slopes(front=0.0, back=0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class FrontLayout:
    """How drivers and round ports lie on the panels, and the least inner sides that this takes.

    The drivers form a grid; the ports a row beside or under it, or a row on the right-hand panel.
    """

    columns: int
    rows: int
    ports: str  # "none", "beside", "below", "side panel"
    least_m: tuple[float, float, float]  # inner width, height, depth


@dataclass(frozen=True, kw_only=True, slots=True)
class InnerBox:
    """Inner sides in whole millimetres."""

    width_mm: int
    height_mm: int
    depth_mm: int
    limited: bool  # the room, not the wanted volume, sets the size

    @property
    def sides_m(self) -> tuple[float, float, float]:
        """Width, height and depth in m."""
        return self.width_mm / _MM, self.height_mm / _MM, self.depth_mm / _MM

    @property
    def volume_m3(self) -> float:
        """Inner volume in m³."""
        return self.width_mm * self.height_mm * self.depth_mm * 1e-9


def layouts(
    *,
    drivers: int,
    frame_m: float,
    hole_m: float | None,
    depth_m: float | None,
    thickness_m: float,
    front_m: float,
    ports: int = 0,
    port_outer_m: float = 0.0,
    slot_height_m: float = 0.0,
    lean: float = 0.0,
) -> Iterator[FrontLayout]:
    """Ways to lay out drivers and ports, most compact first.

    Parameters
    ----------
    drivers : how many.
    frame_m : outer diameter of a driver's frame, m; it may cover the edges of the panels behind the front.
    hole_m : diameter of the cut-out, m; None counts as nine tenths of the frame.
    thickness_m : panel thickness, m.
    depth_m : depth behind the panel, m, or None where unknown.
    front_m : thickness of the front, m; it takes part of the driver's depth.
    ports : round ports, 0 for none.
    port_outer_m : outer diameter of a port, m.
    slot_height_m : height taken by a slot port along the bottom with its shelf, m, 0 for none.
    lean : depth that leaning walls lose per height, ratio; the motor needs its depth up to its top edge.

    Source
    ------
    [common-practice] for the clearances.
    """
    inner_depth = 0.1 if depth_m is None else max(depth_m - front_m + _BEHIND_M, 0.05)
    inner_depth += 0.5 * frame_m * lean
    hole = 0.9 * frame_m if hole_m is None else hole_m
    between_walls = max(hole, frame_m - 2.0 * thickness_m) + 2.0 * _BASKET_M
    for columns in sorted({1, 2, drivers} if drivers > 1 else {1}, reverse=True):
        rows = math.ceil(drivers / columns)
        width = (columns - 1) * (frame_m + EDGE_M) + between_walls
        height = (rows - 1) * (frame_m + EDGE_M) + between_walls + slot_height_m
        if ports == 0:
            yield FrontLayout(columns=columns, rows=rows, ports="none", least_m=(width, height, inner_depth))
            continue
        beside, below = width - between_walls + frame_m, height - between_walls + frame_m
        row = ports * port_outer_m + (ports + 1) * EDGE_M
        column = port_outer_m + EDGE_M
        yield FrontLayout(
            columns=columns,
            rows=rows,
            ports="beside",
            least_m=(beside + column, max(height, row), inner_depth),
        )
        yield FrontLayout(
            columns=columns,
            rows=rows,
            ports="below",
            least_m=(max(width, row), below + column, inner_depth),
        )
        yield FrontLayout(
            columns=columns,
            rows=rows,
            ports="side panel",
            least_m=(width, max(height, port_outer_m + 2.0 * EDGE_M), max(inner_depth, row)),
        )


def inner_box(volume_m3: float, room: Room, least_m: tuple[float, float, float]) -> InnerBox | None:
    """Inner sides in whole millimetres that give a volume, or None where the room can't take what must fit.

    Sides keep a fixed ratio as far as the room and the contents allow. Width and height are rounded, and the
    depth then brings the volume as near as whole millimetres can.

    Parameters
    ----------
    volume_m3 : wanted inner volume, m³.
    room : largest inner sides.
    least_m : least inner width, height and depth, m.

    Returns
    -------
    InnerBox, ``limited`` when the room holds less than wanted; larger than wanted when the contents need it.

    Source
    ------
    [derived]; the ratio of the sides is [common-practice].
    """
    highs = (room.width_m, room.height_m, room.depth_m)
    low = [math.ceil(side * _MM - 1e-6) for side in least_m]
    high = [math.floor(side * _MM + 1e-6) if math.isfinite(side) else 10_000 for side in highs]
    if any(top < bottom for bottom, top in zip(low, high, strict=True)):
        return None
    wanted = volume_m3 * 1e9
    limited = high[0] * high[1] * high[2] < wanted
    sides = _clipped(wanted, low, high)
    width, height = round(sides[0]), round(sides[1])
    depth = min(max(round(wanted / (width * height)), low[2]), high[2])
    # Where the depth is at its bound, the height (then the width) takes up the rest.
    if depth in (low[2], high[2]):
        height = min(max(round(wanted / (width * depth)), low[1]), high[1])
        if height in (low[1], high[1]):
            width = min(max(round(wanted / (height * depth)), low[0]), high[0])
    return InnerBox(width_mm=width, height_mm=height, depth_mm=depth, limited=limited)


def _clipped(wanted: float, low: list[int], high: list[int]) -> list[float]:
    """Sides proportional to the ratio, clipped to their bounds, with the wanted product where possible."""
    fixed: dict[int, float] = {}
    while True:
        free = [i for i in range(3) if i not in fixed]
        rest = wanted
        for side in fixed.values():
            rest /= side
        if not free:
            return [fixed[i] for i in range(3)]
        scale = (rest / math.prod(_RATIO[i] for i in free)) ** (1.0 / len(free))
        sides = {i: scale * _RATIO[i] for i in free}
        excess = {i: max(low[i] / sides[i], sides[i] / high[i]) for i in free}
        worst = max(free, key=lambda i: excess[i])
        if excess[worst] <= 1.0:
            return [fixed.get(i, sides.get(i, 0.0)) for i in range(3)]
        fixed[worst] = float(low[worst] if sides[worst] < low[worst] else high[worst])


def room_of(
    width_m: float | None,
    height_m: float | None,
    depth_m: float | None,
    *,
    thickness_m: float,
    front_m: float,
) -> Room:
    """Inner room from the outer room, less the panels.

    Parameters
    ----------
    width_m, height_m, depth_m : outer room, m, None where not limited.
    thickness_m : panel thickness, m.
    front_m : thickness of the front, m.

    Raises
    ------
    NoSolutionError : when the panels fill the room.

    Source
    ------
    [derived], geometry.
    """
    inner = []
    for name, side, panels in (
        ("width", width_m, 2.0 * thickness_m),
        ("height", height_m, 2.0 * thickness_m),
        ("depth", depth_m, thickness_m + front_m),
    ):
        left = math.inf if side is None else side - panels
        if side is not None and left <= 0.0:
            raise NoSolutionError(
                message=f"The panels fill the room's {name}.",
                quantity=f"room {name}",
                value=show(side, "length"),
                limit=f"more than {show(panels, 'length')}",
                remedy="Give more room or thinner panels.",
            )
        inner.append(left)
    return Room(width_m=inner[0], height_m=inner[1], depth_m=inner[2])


def slopes_of(
    outline: str, height_m: float | None, depth_m: float | None, depth_top_m: float | None
) -> Slopes:
    """How front and back of an outline lean.

    Parameters
    ----------
    outline : "rectangular", "wedge" or "trapezoid".
    height_m : outer height of the room, m.
    depth_m, depth_top_m : outer room front to back, at the floor and at the top, m.

    Raises
    ------
    NoSolutionError : a leaning outline without its three sides, or one that doesn't narrow.

    Source
    ------
    [derived], geometry.
    """
    if outline == "rectangular":
        if depth_top_m is not None:
            raise NoSolutionError(
                message="A rectangular box is as deep at the top as at the floor.",
                quantity="enclosure.room_depth_top",
                value=show(depth_top_m, "length"),
                remedy='Remove the key, or write outline = "wedge".',
            )
        return UPRIGHT
    if height_m is None or depth_m is None or depth_top_m is None:
        raise NoSolutionError(
            message=f"A {outline} needs the room's height, its depth at the floor and its depth at the top.",
            quantity="enclosure.room_height, room_depth, room_depth_top",
            value="not all given",
            remedy="Measure all three.",
        )
    if not depth_top_m < depth_m:
        raise NoSolutionError(
            message=f"A {outline} is narrower at the top than at the floor.",
            quantity="enclosure.room_depth_top",
            value=show(depth_top_m, "length"),
            limit=f"below {show(depth_m, 'length')}",
            remedy='Swap the two depths and turn the box over, or write outline = "rectangular".',
        )
    lean = (depth_m - depth_top_m) / height_m
    return Slopes(front=0.0, back=lean) if outline == "wedge" else Slopes(front=0.5 * lean, back=0.5 * lean)


def sloped_room_of(
    width_m: float | None,
    height_m: float | None,
    depth_m: float | None,
    *,
    slopes: Slopes,
    thickness_m: float,
    front_m: float,
) -> Room:
    """Inner room of a leaning outline; its depth is that at half the inner height.

    A box lower than the room stands on the floor and could be a little deeper; that is left as play.

    Parameters
    ----------
    width_m, height_m, depth_m : outer room, m, None where not limited; the depth at the floor.
    slopes : how front and back lean.
    thickness_m : panel thickness, m.
    front_m : thickness of the front, m.

    Raises
    ------
    NoSolutionError : when the panels fill the room.

    Source
    ------
    [derived], geometry.
    """
    if slopes == UPRIGHT or depth_m is None or height_m is None:
        return room_of(width_m, height_m, depth_m, thickness_m=thickness_m, front_m=front_m)
    taken = slopes.across(front_m, thickness_m)
    middle = depth_m - 0.5 * slopes.both * height_m - taken
    top = depth_m - slopes.both * (height_m - thickness_m) - taken
    if top <= 0.0:
        raise NoSolutionError(
            message="The panels fill the room at its top.",
            quantity="depth left at the top",
            value=show(top, "length"),
            limit="above 0",
            remedy="Give a lower enclosure.room_height, or thinner panels.",
        )
    plain = room_of(width_m, height_m, None, thickness_m=thickness_m, front_m=front_m)
    return Room(width_m=plain.width_m, height_m=plain.height_m, depth_m=middle)
