"""Where amplifier and converter sit when they are inside the box: a rear corner that nothing else takes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.stages.enclosure_drills import Hole
from subwright.stages.enclosure_kinds import BoxPlan, Job
from subwright.stages.enclosure_panels import Panel
from subwright.stages.enclosure_port import Port
from subwright.stages.enclosure_solid import Board, rebate_m
from subwright.stages.enclosure_spec import RearCorner

__all__ = ["Compartment", "place_electronics"]

_CLEAR_M: Final = 0.015  # from driver and port; common practice, no source
_MOTOR_SHARE: Final = 0.55  # of the cut-out's diameter
_BASKET_SHARE: Final = 0.45  # of the driver's depth, before the motor begins
_CORNERS: Final[tuple[RearCorner, ...]] = (
    "rear left bottom",
    "rear right bottom",
    "rear left top",
    "rear right top",
)
# Width : height : depth, flat against the back first.
_RATIOS: Final = (
    (3, 2, 1),
    (2, 3, 1),
    (4, 3, 1),
    (3, 4, 1),
    (2, 1, 1),
    (1, 2, 1),
    (3, 1, 1),
    (1, 3, 1),
    (1, 1, 1),
    (4, 1, 1),
    (1, 4, 1),
    (4, 1, 2),
    (1, 1, 2),
    (1, 1, 3),
)

Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Compartment:
    """Room kept for the electronics, in the box's outside coordinates: x, y, z as in the solid, m."""

    corner: RearCorner  # left and right as seen from the front
    low_m: Triple
    high_m: Triple
    volume_m3: float  # that was asked for; the whole-millimetre sides hold at least as much

    @property
    def sides_m(self) -> Triple:
        """Width, height and depth, m."""
        x, y, z = (b - a for a, b in zip(self.low_m, self.high_m, strict=True))
        return x, z, y


@dataclass(frozen=True, kw_only=True, slots=True)
class _Solid:
    """Something inside the box: a block, or a round body along one axis within it."""

    name: str
    low_m: Triple
    high_m: Triple
    axis: int | None = None  # of a round body
    clear_m: float = 0.0

    def hits(self, low_m: Triple, high_m: Triple) -> bool:
        gap = self.clear_m - 1e-9
        if any(
            b <= c - gap or d + gap <= a
            for a, b, c, d in zip(low_m, high_m, self.low_m, self.high_m, strict=True)
        ):
            return False
        if self.axis is None:
            return True
        across = [i for i in range(3) if i != self.axis]
        off = 0.0
        for i in across:
            middle = 0.5 * (self.low_m[i] + self.high_m[i])
            off += max(low_m[i] - middle, 0.0, middle - high_m[i]) ** 2
        radius = 0.5 * (self.high_m[across[0]] - self.low_m[across[0]])
        return math.sqrt(off) < radius + gap


def place_electronics(
    job: Job, plan: BoxPlan, panels: tuple[Panel, ...], boards: tuple[Board, ...]
) -> Compartment | None:
    """A rear corner for the electronics, clear of drivers, ports, radiators and braces; None when outside.

    Parameters
    ----------
    job : what was asked; "auto" tries the bottom before the top, and left before right.
    plan, panels, boards : the box.

    Raises
    ------
    NoSolutionError : no corner, or not the one asked for, is free; or the driver's cut-out is unknown.

    Source
    ------
    [derived], geometry; [common-practice] for the clearance.
    """
    spec = job.spec
    if not spec.electronics_inside:
        return None
    if job.driver.hole_m is None:
        raise NoSolutionError(
            message="Whether the electronics clear the driver can't be told without its cut-out.",
            quantity="driver.hole",
            value="unknown",
            remedy="Measure the basket and write driver.hole, or write enclosure.electronics_inside = false.",
        )
    solids = tuple(_solids(job, plan, panels, boards))
    asked = spec.electronics_corner
    in_the_way: dict[str, None] = {}
    for corner in _CORNERS if asked == "auto" else (asked,):
        for low, high in _blocks(job, plan, boards, corner):
            hits = [solid.name for solid in solids if solid.hits(low, high)]
            if not hits:
                return Compartment(corner=corner, low_m=low, high_m=high, volume_m3=spec.electronics_m3)
            in_the_way |= dict.fromkeys(hits)
    raise NoSolutionError(
        message="The electronics find no room in the box: "
        + (f"{', '.join(in_the_way)} in the way." if in_the_way else "its sides are too short."),
        quantity="enclosure.electronics_corner",
        value=asked,
        limit=f"{show(spec.electronics_m3, 'volume')} in a corner, {show(_CLEAR_M, 'length')} clear",
        source="common-practice",
        remedy="Write enclosure.electronics_inside = false, "
        + ('or enclosure.electronics_corner = "auto", ' if asked != "auto" else "")
        + "or give enclosure.volume more, enclosure.electronics less, or enclosure.braces fewer.",
    )


def _blocks(
    job: Job, plan: BoxPlan, boards: tuple[Board, ...], corner: RearCorner
) -> Iterator[tuple[Triple, Triple]]:
    """Blocks of the volume asked for in a corner, in whole millimetres, that lie inside the walls."""
    t = job.spec.panel_thickness_m
    width, height, _ = plan.inner.sides_m
    left, right = t, t + width
    if plan.chambers is not None:  # with the driver in the closed chamber, whose volume they take
        right = t + plan.chambers.rear_width_m
    front, back = boards[0], boards[1]
    for ratio in _RATIOS:
        unit = (job.spec.electronics_m3 / math.prod(ratio)) ** (1.0 / 3.0)
        wide, high, deep = (math.ceil(1e3 * unit * side - 1e-6) / 1e3 for side in ratio)
        z = t if corner.endswith("bottom") else t + height - high
        x = left if "left" in corner else right - wide
        rear = min(_edge(back, level, 0) for level in (z, z + high))
        foremost = max(_edge(front, level, 1) for level in (z, z + high))
        if wide <= right - left + 1e-9 and high <= height + 1e-9 and rear - deep >= foremost - 1e-9:
            yield (x, rear - deep, z), (x + wide, rear, z + high)


def _edge(board: Board, z: float, side: int) -> float:
    """Where the front (0) or back (1) face of an upright board lies at a height, m."""
    a, b = board.profile_m[side], board.profile_m[3 - side]
    return a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0])


def _solids(
    job: Job, plan: BoxPlan, panels: tuple[Panel, ...], boards: tuple[Board, ...]
) -> Iterator[_Solid]:
    t = job.spec.panel_thickness_m
    for board in boards[6:]:
        ys, zs = zip(*board.profile_m, strict=True)
        low, high = (board.left_m, min(ys), min(zs)), (board.right_m, max(ys), max(zs))
        yield _Solid(name=board.name, low_m=low, high_m=high)
    whole = job.driver.depth_m
    outside_y = boards[1].profile_m[1][0]
    for panel in panels:
        if panel.name not in ("front", "right side", "divider"):
            continue
        for hole in panel.holes:
            axis, way, place = _place(job, plan, boards, panel, hole)
            reach = outside_y if axis == 1 else (place[0] if way < 0 else boards[0].right_m)
            if hole.purpose == "driver":
                yield from _driver(job, hole, axis, way, place, reach if whole is None else whole)
            elif hole.purpose == "radiator":
                deep = plan.radiator.depth_m if plan.radiator is not None else None
                deep = reach if deep is None else deep
                yield _body("passive radiator", axis, way, place, (0.0, deep), 0.5 * hole.width_m)
            elif hole.purpose == "port" and hole.shape == "round" and plan.port is not None:
                yield from _pipe(plan, plan.port, axis, way, place, t)
    yield from _slot(job, plan, boards)


def _place(
    job: Job, plan: BoxPlan, boards: tuple[Board, ...], panel: Panel, hole: Hole
) -> tuple[int, float, Triple]:
    """Axis along which a cut-out's body reaches inward, its sense, and the cut-out's middle outside."""
    t = job.spec.panel_thickness_m
    if panel.name == "front":
        z = hole.y_m * boards[0].profile_m[3][1] / panel.width_m
        return 1, 1.0, (hole.x_m, job.slopes.front * z, z)
    if panel.name == "divider":
        rear = 0.0 if plan.chambers is None else plan.chambers.rear_width_m
        return 0, -1.0, (t + rear + t, job.front_m + hole.x_m, t + hole.y_m)
    return 0, -1.0, (boards[0].right_m, job.front_m - rebate_m(job) + hole.x_m, t + hole.y_m)


def _body(
    name: str, axis: int, way: float, place: Triple, run_m: tuple[float, float], radius_m: float
) -> _Solid:
    """A round body along an axis from a place, between two distances inward."""
    ends = sorted(place[axis] + way * along for along in run_m)
    low = [middle - radius_m for middle in place]
    high = [middle + radius_m for middle in place]
    low[axis], high[axis] = ends
    return _Solid(
        name=name,
        low_m=(low[0], low[1], low[2]),
        high_m=(high[0], high[1], high[2]),
        axis=axis,
        clear_m=_CLEAR_M,
    )


def _driver(job: Job, hole: Hole, axis: int, way: float, place: Triple, deep_m: float) -> Iterator[_Solid]:
    """Basket and motor; behind a leaning front they tilt, which is counted as more girth."""
    tilt = 0.5 * deep_m * job.slopes.front if axis == 1 else 0.0
    x, y, z = place
    middle = (x, y, z - tilt)
    radius, basket = 0.5 * hole.width_m, _BASKET_SHARE * deep_m
    yield _body("driver", axis, way, middle, (0.0, basket), radius + tilt)
    yield _body("driver", axis, way, middle, (basket, deep_m), _MOTOR_SHARE * radius + tilt)


def _pipe(plan: BoxPlan, port: Port, axis: int, way: float, place: Triple, t: float) -> Iterator[_Solid]:
    """A pipe with free air of one diameter at its inner end; a bent one turns to the further wall."""
    outer, inner = port.outer_diameter_m or 0.0, port.diameter_m or 0.0
    if port.bend == "straight":
        yield _body("port", axis, way, place, (0.0, port.length_m + inner), 0.5 * outer)
        return
    yield _body("port", axis, way, place, (0.0, port.first_leg_m + 0.5 * outer), 0.5 * outer)
    width, height, depth = plan.inner.sides_m
    sides = (width, depth, height)
    turn = max((i for i in range(3) if i != axis), key=lambda i: sides[i])
    lows = (t, place[1] - 0.5 * depth if axis == 1 else t, t)
    onward = 1.0 if lows[turn] + 0.5 * sides[turn] >= place[turn] else -1.0
    start = list(place)
    start[axis] += way * port.first_leg_m
    rest = port.length_m - port.first_leg_m + inner
    yield _body("port", turn, onward, (start[0], start[1], start[2]), (0.0, rest), 0.5 * outer)


def _slot(job: Job, plan: BoxPlan, boards: tuple[Board, ...]) -> Iterator[_Solid]:
    """The duct of a slot port, and as much free air at its inner end as it is high."""
    port, t = plan.port, job.spec.panel_thickness_m
    if port is None or port.height_m is None:
        return
    named = {board.name: board for board in boards}
    left, right, high = t, boards[0].right_m - t, port.height_m
    end = named["port shelf"].profile_m[1][0] + high
    yield _Solid(name="port", low_m=(left, 0.0, t), high_m=(right, end, t + high + t))
    if "port riser" in named:
        near, top = named["port riser"].profile_m[0][0], named["port riser"].profile_m[2][1]
        yield _Solid(name="port", low_m=(left, near, t), high_m=(right, near + t + high, top + high))
