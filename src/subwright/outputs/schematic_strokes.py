"""What symbols are made of: pins on the grid, strokes, marks, and the box that labels keep clear of."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

__all__ = ["GRID", "Mark", "Point", "Stroke", "Symbol", "arc", "area", "arrow", "line"]

GRID: Final = 10

Point = tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """A polyline; ``fill`` is "" for open strokes, "solid" for ink, "open" for paper."""

    points: tuple[tuple[float, float], ...]
    closed: bool = False
    fill: Literal["", "solid", "open"] = ""
    heavy: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A character inside a symbol, centred; it stays upright when the symbol is turned."""

    x: float
    y: float
    content: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Symbol:
    """Pins by name, strokes, marks, and the box (left, top, right, bottom) of the body."""

    pins: tuple[tuple[str, Point], ...]
    strokes: tuple[Stroke, ...]
    box: tuple[float, float, float, float]
    marks: tuple[Mark, ...] = ()


def line(*points: tuple[float, float], heavy: bool = False) -> Stroke:
    """An open polyline."""
    return Stroke(points=points, heavy=heavy)


def area(*points: tuple[float, float], fill: Literal["", "solid", "open"] = "solid") -> Stroke:
    """A closed outline."""
    return Stroke(points=points, closed=True, fill=fill)


def arc(x: float, y: float, radius: float, start: float, end: float) -> tuple[tuple[float, float], ...]:
    """Points of an arc, angles in degrees, clockwise on the sheet from the right."""
    count = max(2, round(abs(end - start) / 20.0))
    angles = (math.radians(start + (end - start) * k / count) for k in range(count + 1))
    return tuple((x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles)


def arrow(tip: tuple[float, float], angle: float, size: float = 6.0) -> Stroke:
    """A solid arrow head; ``angle`` is where it points, degrees clockwise from the right."""
    a = math.radians(angle)
    back = (tip[0] - size * math.cos(a), tip[1] - size * math.sin(a))
    side = (-0.45 * size * math.sin(a), 0.45 * size * math.cos(a))
    return area(tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))
