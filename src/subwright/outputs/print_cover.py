"""The cover's picture: the box as it will stand, drawn to scale in oblique projection."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, sin

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.drawing import document, line, num, text

__all__ = ["cover_picture"]

_WIDTH, _HEIGHT = 640.0, 330.0
_DEPTH = 0.5  # of the depth shown, at 45 degrees: cabinet projection
_SIDES = 72


def _path(corners: list[tuple[float, float]], classes: str) -> str:
    return f'<path d="M{"L".join(f"{num(x)} {num(y)}" for x, y in corners)}Z" class="{classes}"/>'


def _ring(x: float, y: float, width: float, height: float) -> list[tuple[float, float]]:
    return [
        (x + 0.5 * width * cos(2 * pi * i / _SIDES), y + 0.5 * height * sin(2 * pi * i / _SIDES))
        for i in range(_SIDES)
    ]


def cover_picture(design: Design) -> str:
    """The box in oblique projection with its openings and outside dimensions, as an SVG drawing."""
    box, driver = design.enclosure, design.driver
    shift = _DEPTH * box.outer_depth_m * cos(pi / 4)
    across, up = box.outer_width_m + shift, box.outer_height_m + shift
    scale = min((_WIDTH - 190.0) / across, (_HEIGHT - 70.0) / up)
    left, bottom = (_WIDTH - scale * across) / 2.0, _HEIGHT - 34.0

    def at(x_m: float, y_m: float, z_m: float = 0.0) -> tuple[float, float]:
        back = _DEPTH * z_m * cos(pi / 4)
        return left + scale * (x_m + back), bottom - scale * (y_m + back)

    w, h, d = box.outer_width_m, box.outer_height_m, box.outer_depth_m
    top = min(box.outer_depth_top_m or d, d)
    body = [
        _path([at(0, h), at(w, h), at(w, h, top), at(0, h, top)], "part"),
        _path([at(w, 0), at(w, h), at(w, h, top), at(w, 0, d)], "part"),
        _path([at(0, 0), at(w, 0), at(w, h), at(0, h)], "open"),
    ]
    front = next((panel for panel in box.panels if panel.name.startswith("front")), None)
    if front is not None:
        off_x, off_y = 0.5 * (w - front.length_m), 0.5 * (h - front.width_m)
        for hole in front.holes:
            x, y = at(off_x + hole.x_m, off_y + hole.y_m)
            if hole.shape != "round":
                a, b = 0.5 * scale * hole.width_m, 0.5 * scale * hole.height_m
                body.append(_path([(x - a, y - b), (x + a, y - b), (x + a, y + b), (x - a, y + b)], "mid"))
                continue
            size = scale * hole.width_m
            if hole.purpose == "driver":
                frame = scale * driver.frame_m
                body += [
                    _path(_ring(x, y, frame, frame), "part"),
                    _path(_ring(x, y, size, size), "open"),
                    _path(_ring(x, y, 0.84 * size, 0.84 * size), "part"),
                    _path(_ring(x, y, 0.32 * size, 0.32 * size), "open"),
                ]
            else:
                body.append(_path(_ring(x, y, size, size), "mid"))
    body += _dimensions(design, at)
    return document(body, width=_WIDTH, height=_HEIGHT, title="The box", desc="Oblique view to scale")


def _dimensions(design: Design, place: Callable[..., tuple[float, float]]) -> list[str]:
    box = design.enclosure
    w, h, d = box.outer_width_m, box.outer_height_m, box.outer_depth_m
    (x0, y0), (x1, _), (_, y2), (x3, y3) = place(0, 0), place(w, 0), place(0, h), place(w, 0, d)
    return [
        line(x0, y0 + 10, x1, y0 + 10, classes="hair"),
        line(x0, y0 + 6, x0, y0 + 14, classes="hair"),
        line(x1, y0 + 6, x1, y0 + 14, classes="hair"),
        text((x0 + x1) / 2, y0 + 25, show(w, "length"), classes="t", anchor="middle"),
        line(x0 - 10, y0, x0 - 10, y2, classes="hair"),
        line(x0 - 14, y0, x0 - 6, y0, classes="hair"),
        line(x0 - 14, y2, x0 - 6, y2, classes="hair"),
        text(x0 - 16, (y0 + y2) / 2 + 4, show(h, "length"), classes="t", anchor="end"),
        text(x3 + 6, (y0 + y3) / 2 + 8, show(d, "length"), classes="t"),
    ]
