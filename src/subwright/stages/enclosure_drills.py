"""Cut-outs and screw holes of the panels."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from subwright.base.tables.timber import WoodScrew, wood_screw
from subwright.stages.enclosure_kinds import Job

__all__ = ["Drill", "Hole", "cover_drills", "driver_drills", "end_drills", "screw_of"]

_SCREW_PITCH_M = 0.150
_FROM_END_M = 0.040


@dataclass(frozen=True, kw_only=True, slots=True)
class Hole:
    """A cut-out; its middle is measured from the panel's lower left corner, seen from outside."""

    purpose: str  # "driver", "port", "window"
    shape: Literal["round", "rectangle"]
    width_m: float  # diameter of a round one
    height_m: float
    x_m: float
    y_m: float

    @property
    def area_m2(self) -> float:
        """Area, m²."""
        if self.shape == "round":
            return 0.25 * math.pi * self.width_m**2
        return self.width_m * self.height_m


@dataclass(frozen=True, kw_only=True, slots=True)
class Drill:
    """A round hole for a screw, placed like a cut-out."""

    purpose: str  # "screw", "driver screw"
    diameter_m: float
    x_m: float
    y_m: float


def cover_drills(
    length_m: float, width_m: float, thickness_m: float, holes: tuple[Hole, ...]
) -> tuple[Drill, ...]:
    """Screw holes round a panel that covers the edges of four others, clear of its cut-outs.

    Parameters
    ----------
    length_m, width_m : of the panel, m.
    thickness_m : of the boards behind it, m.
    holes : its cut-outs.

    Source
    ------
    [common-practice] for a screw every 150 mm at most.
    """
    inset, clearance = 0.5 * thickness_m, screw_of(thickness_m).clearance_m
    places = [(x, y) for x in _spaced(length_m) for y in (inset, width_m - inset)]
    places += [(x, y) for y in _spaced(width_m) for x in (inset, length_m - inset)]
    return tuple(
        Drill(purpose="screw", diameter_m=clearance, x_m=x, y_m=y)
        for x, y in places
        if all(_clear(hole, x, y, clearance) for hole in holes)
    )


def end_drills(length_m: float, width_m: float, thickness_m: float) -> tuple[Drill, ...]:
    """Screw holes along the two short edges of a panel that covers the sides.

    Parameters
    ----------
    length_m, width_m : of the panel, m.
    thickness_m : of the sides, m.

    Source
    ------
    [common-practice] for a screw every 150 mm at most.
    """
    inset, clearance = 0.5 * thickness_m, screw_of(thickness_m).clearance_m
    return tuple(
        Drill(purpose="screw", diameter_m=clearance, x_m=x, y_m=y)
        for x in (inset, length_m - inset)
        for y in _spaced(width_m)
    )


def screw_of(thickness_m: float) -> WoodScrew:
    """Screw for a board: 4 mm from 15 mm on, else 3.5 mm; into an edge it needs 2.5 times the thickness.

    Parameters
    ----------
    thickness_m : of the board, m.

    Source
    ------
    [common-practice]
    """
    return wood_screw(0.004 if thickness_m >= 0.015 else 0.0035)


def driver_drills(job: Job, holes: tuple[Hole, ...]) -> Iterator[Drill]:
    """Holes for the driver's screws on its bolt circle, where the build file gives that.

    Parameters
    ----------
    job : what was asked.
    holes : of the panel that carries the drivers.

    Source
    ------
    [derived], geometry.
    """
    circle, count = job.driver.bolt_circle_m, job.driver.bolt_count
    if circle is None:
        return
    for hole in holes:
        if hole.purpose == "driver":
            for index in range(count):
                angle = 2.0 * math.pi * (index + 0.5) / count
                yield Drill(
                    purpose="driver screw",
                    diameter_m=job.driver.bolt_hole_m,
                    x_m=hole.x_m + 0.5 * circle * math.sin(angle),
                    y_m=hole.y_m + 0.5 * circle * math.cos(angle),
                )


def _spaced(length_m: float) -> list[float]:
    """Places along an edge, the first and last 40 mm from its ends, at most 150 mm apart."""
    first = min(_FROM_END_M, 0.25 * length_m)
    gaps = max(math.ceil((length_m - 2.0 * first) / _SCREW_PITCH_M - 1e-9), 1)
    return [first + (length_m - 2.0 * first) * i / gaps for i in range(gaps + 1)]


def _clear(hole: Hole, x: float, y: float, diameter: float) -> bool:
    gap = 0.5 * diameter + 0.002
    if hole.shape == "round":
        return math.hypot(x - hole.x_m, y - hole.y_m) > 0.5 * hole.width_m + gap
    return abs(x - hole.x_m) > 0.5 * hole.width_m + gap or abs(y - hole.y_m) > 0.5 * hole.height_m + gap
