"""The box as boards in space: for its centre of gravity, its drawings and its drill holes.

x runs along the width from the left, y from the front at the floor to the back, z up from the floor, m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from subwright.stages.enclosure_kinds import BoxPlan, Job, brace_rim_m
from subwright.stages.enclosure_port import riser_m

__all__ = [
    "Balance",
    "Board",
    "Point",
    "Profile",
    "balance_of",
    "boards_of",
    "groove_m3",
    "profile_area_m2",
    "rebate_m",
]

Point = tuple[float, float]
Profile = tuple[Point, ...]

_MOTOR_SHARE = 0.6  # of the driver's depth at which its mass may be thought


@dataclass(frozen=True, kw_only=True, slots=True)
class Board:
    """A board whose section (y, z) is the same from left to right; ``hollow_m3`` is its window or rebate."""

    name: str
    left_m: float
    right_m: float
    profile_m: Profile
    hollow_m3: float = 0.0

    @property
    def volume_m3(self) -> float:
        """Wood of the board, m³."""
        return profile_area_m2(self.profile_m) * (self.right_m - self.left_m) - self.hollow_m3

    @property
    def centre_m(self) -> tuple[float, float, float]:
        """Its middle, m."""
        y, z = _centroid(self.profile_m)
        return 0.5 * (self.left_m + self.right_m), y, z


@dataclass(frozen=True, kw_only=True, slots=True)
class Balance:
    """Where the box would balance, and how it stands."""

    x_m: float
    y_m: float
    z_m: float
    tip_g: float  # steady acceleration, over gravity, at which it tips about its nearer edge


def profile_area_m2(profile: Profile) -> float:
    """Area of a polygon, m², its corners in either sense.

    Parameters
    ----------
    profile : corners (y, z), m.

    Source
    ------
    [derived], geometry.
    """
    return abs(_twice_area(profile)) / 2.0


def rebate_m(job: Job) -> float:
    """Depth of the rebates of front and back in m, half a board in whole millimetres; 0 for butt joints.

    Source
    ------
    [common-practice]
    """
    return 0.0 if job.spec.joint == "butt" else math.floor(500.0 * job.spec.panel_thickness_m + 1e-9) / 1e3


def groove_m3(length_m: float, width_m: float, thickness_m: float, rebate_m: float) -> float:
    """Wood that a rebate round a board takes away, as wide as the boards are thick, m³.

    Parameters
    ----------
    length_m, width_m, thickness_m : of the board, m.
    rebate_m : depth, m.

    Source
    ------
    [derived], geometry.
    """
    inside = (length_m - 2.0 * thickness_m) * (width_m - 2.0 * thickness_m)
    return (length_m * width_m - inside) * rebate_m


def _twice_area(profile: Profile) -> float:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(profile, (*profile[1:], profile[0]), strict=True))


def _centroid(profile: Profile) -> Point:
    area6 = 3.0 * _twice_area(profile)
    y = z = 0.0
    for a, b in zip(profile, (*profile[1:], profile[0]), strict=True):
        cross = a[0] * b[1] - b[0] * a[1]
        y += (a[0] + b[0]) * cross
        z += (a[1] + b[1]) * cross
    return y / area6, z / area6


def boards_of(job: Job, plan: BoxPlan) -> tuple[Board, ...]:
    """Every board of the box in its place; rebated joints let the others into front and back.

    Parameters
    ----------
    job : what was asked.
    plan : sides, layout, chambers.

    Source
    ------
    [derived], geometry.
    """
    t, front_m, slopes = job.spec.panel_thickness_m, job.front_m, job.slopes
    width, height, depth = plan.inner.sides_m
    outer_w, outer_h = width + 2.0 * t, height + 2.0 * t
    floor = depth + slopes.both * (0.5 * height + t) + slopes.across(front_m, t)
    front_level = front_m * math.hypot(1.0, slopes.front)
    back_level = t * math.hypot(1.0, slopes.back)

    def inner_front(z: float) -> float:
        return slopes.front * z + front_level

    def inner_back(z: float) -> float:
        return floor - slopes.back * z - back_level

    def between(low: float, high: float, into: float = 0.0) -> Profile:
        return (
            (inner_front(low) - into, low),
            (inner_back(low) + into, low),
            (inner_back(high) + into, high),
            (inner_front(high) - into, high),
        )

    front: Profile = (
        (0.0, 0.0),
        (front_level, 0.0),
        (inner_front(outer_h), outer_h),
        (slopes.front * outer_h, outer_h),
    )
    back: Profile = (
        (inner_back(0.0), 0.0),
        (floor, 0.0),
        (floor - slopes.back * outer_h, outer_h),
        (inner_back(outer_h), outer_h),
    )
    rebate = rebate_m(job)
    groove = groove_m3(outer_w, outer_h, t, rebate)
    side, let_in = between(t, outer_h - t), between(t, outer_h - t, rebate)
    floor_board, ceiling = between(0.0, t, rebate), between(outer_h - t, outer_h, rebate)
    boards = [
        Board(name="front", left_m=0.0, right_m=outer_w, profile_m=front, hollow_m3=groove),
        Board(name="back", left_m=0.0, right_m=outer_w, profile_m=back, hollow_m3=groove),
        Board(name="bottom", left_m=0.0, right_m=outer_w, profile_m=floor_board),
        Board(name="top", left_m=0.0, right_m=outer_w, profile_m=ceiling),
        Board(name="left side", left_m=0.0, right_m=t, profile_m=let_in),
        Board(name="right side", left_m=outer_w - t, right_m=outer_w, profile_m=let_in),
    ]
    if plan.chambers is not None:
        left = t + plan.chambers.rear_width_m
        boards.append(Board(name="divider", left_m=left, right_m=left + t, profile_m=side))
    boards.extend(_braces(job, plan, side))
    boards.extend(_slot_boards(job, plan, inner_front(0.0), inner_back(0.0)))
    return tuple(boards)


def _braces(job: Job, plan: BoxPlan, side: Profile) -> list[Board]:
    t = job.spec.panel_thickness_m
    sides = plan.inner.sides_m
    found = []
    for axis, name in enumerate(("width", "height", "depth")):
        a, b = (length for i, length in enumerate(sides) if i != axis)
        rim = brace_rim_m(a, b) if job.braces[axis] else 0.0
        hollow = (a - 2.0 * rim) * (b - 2.0 * rim) * t
        for index in range(job.braces[axis]):
            share = (index + 1) / (job.braces[axis] + 1)
            left, right, profile = t, t + sides[0], side
            if axis == 0:
                left = t + share * sides[0] - 0.5 * t
                right = left + t
            elif axis == 1:
                z = t + share * sides[1]
                profile = _band(side, z - 0.5 * t, z + 0.5 * t)
            else:
                profile = _slice(side, share, t)
            board = Board(
                name=f"ring brace across the {name}",
                left_m=left,
                right_m=right,
                profile_m=profile,
                hollow_m3=hollow,
            )
            found.append(board)
    return found


def _band(side: Profile, low: float, high: float) -> Profile:
    (fy, fz), (by, _), (ty, tz), (uy, _) = side

    def at(z: float) -> tuple[float, float]:
        share = (z - fz) / (tz - fz)
        return fy + share * (uy - fy), by + share * (ty - by)

    (f0, b0), (f1, b1) = at(low), at(high)
    return (f0, low), (b0, low), (b1, high), (f1, high)


def _slice(side: Profile, share: float, t: float) -> Profile:
    (fy, fz), (by, _), (ty, tz), (uy, _) = side
    low, high = fy + share * (by - fy), uy + share * (ty - uy)
    return (low - 0.5 * t, fz), (low + 0.5 * t, fz), (high + 0.5 * t, tz), (high - 0.5 * t, tz)


def _slot_boards(job: Job, plan: BoxPlan, front_y: float, back_y: float) -> list[Board]:
    port, t = plan.port, job.spec.panel_thickness_m
    if port is None or port.kind != "slot" or port.height_m is None:
        return []
    width = plan.inner.sides_m[0]
    z = t + port.height_m
    straight = port.bend == "straight"
    end = front_y + port.length_m - job.front_m if straight else back_y - port.height_m
    shelf: Profile = ((front_y, z), (end, z), (end, z + t), (front_y, z + t))
    boards = [Board(name="port shelf", left_m=t, right_m=t + width, profile_m=shelf)]
    if not straight:
        top = z + t + riser_m(port)
        upright: Profile = ((end - t, z + t), (end, z + t), (end, top), (end - t, top))
        boards.append(Board(name="port riser", left_m=t, right_m=t + width, profile_m=upright))
    return boards


def balance_of(job: Job, plan: BoxPlan, boards: tuple[Board, ...], density_kg_per_m3: float) -> Balance:
    """Centre of gravity of boards and drivers, and the acceleration that tips the box.

    Without electronics; cut-outs of front and sides count as wood.

    Parameters
    ----------
    job : what was asked.
    plan : the box.
    boards : of it.
    density_kg_per_m3 : of the board.

    Source
    ------
    [derived], statics.
    """
    t = job.spec.panel_thickness_m
    width, height, depth = plan.inner.sides_m
    masses = [(board.volume_m3 * density_kg_per_m3, board.centre_m) for board in boards]
    if job.driver.mass_kg is not None:
        behind = _MOTOR_SHARE * (job.driver.depth_m or 0.5 * depth)
        middle = t + 0.5 * height
        place = (t + 0.5 * width, job.slopes.front * middle + behind, middle)
        if plan.chambers is not None:
            place = (t + max(plan.chambers.rear_width_m - behind, 0.0), job.front_m + 0.5 * depth, middle)
        masses.append((job.driver.mass_kg, place))
    total = sum(mass for mass, _ in masses)
    x, y, z = (sum(mass * place[axis] for mass, place in masses) / total for axis in range(3))
    floor = boards[1].profile_m[1][0]
    nearer = min(x, width + 2.0 * t - x, y, floor - y)
    return Balance(x_m=x, y_m=y, z_m=z, tip_g=nearer / z)
