"""Dimensioned drawings of flat panels with their cut-outs, all to one scale, in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from subwright.outputs.drawing import document, line, num, rect, text, text_width

__all__ = ["Cut", "FlatPanel", "millimetres", "panels_svg"]

_WIDTH = 920.0
_MARGIN = 20.0
_AROUND = 64.0  # room left and under a panel for dimension lines
_TALLEST = 300.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Cut:
    """A cut-out: centre from the panel's lower left corner, and size (diameter where round), m."""

    label: str
    shape: Literal["round", "rectangle"]
    x_m: float
    y_m: float
    width_m: float
    height_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class FlatPanel:
    """One panel as cut: ``width_m`` is drawn across, ``height_m`` up."""

    name: str
    width_m: float
    height_m: float
    thickness_m: float
    count: int
    cuts: tuple[Cut, ...] = ()
    note: str = ""


def millimetres(length_m: float) -> str:
    """A length on a drawing: millimetres without a unit, a decimal only where it isn't whole."""
    written = f"{length_m * 1e3:.1f}"
    return written.removesuffix(".0")


def _across(x1: float, x2: float, y: float, label: str) -> list[str]:
    """Dimension line under a panel."""
    middle = (x1 + x2) / 2
    ends = f"M{num(x1)} {num(y - 5)}v9M{num(x2)} {num(y - 5)}v9"
    return [
        f'<path d="{ends}M{num(x1)} {num(y)}H{num(x2)}" class="hair"/>',
        text(middle, y + 13, label, classes="t sm", anchor="middle"),
    ]


def _upright(x: float, y1: float, y2: float, label: str) -> list[str]:
    """Dimension line left of a panel, its figure turned."""
    middle = (y1 + y2) / 2
    turn = f' transform="rotate(-90 {num(x - 5)} {num(middle)})"'
    ends = f"M{num(x - 4)} {num(y1)}h9M{num(x - 4)} {num(y2)}h9"
    return [
        f'<path d="{ends}M{num(x)} {num(y1)}V{num(y2)}" class="hair"/>',
        text(x - 5, middle, label, classes="t sm", anchor="middle", extra=turn),
    ]


def _cut(cut: Cut, x: float, base: float, scale: float) -> list[str]:
    cx, cy = x + cut.x_m * scale, base - cut.y_m * scale
    wide, tall = cut.width_m * scale, cut.height_m * scale
    out: list[str] = []
    if cut.shape == "round":
        out.append(f'<circle cx="{num(cx)}" cy="{num(cy)}" r="{num(wide / 2)}" class="open"/>')
        size = f"\u2300 {millimetres(cut.width_m)}"
    else:
        out.append(rect(cx - wide / 2, cy - tall / 2, wide, tall, classes="open"))
        size = f"{millimetres(cut.width_m)} \u00d7 {millimetres(cut.height_m)}"
    arm = min(max(min(wide, tall) * 0.12, 4.0), 9.0)
    out.append(line(cx - arm, cy, cx + arm, cy, classes="hair"))
    out.append(line(cx, cy - arm, cx, cy + arm, classes="hair"))
    if max(text_width(size, 11), text_width(cut.label, 11)) + 8 <= wide and tall > 44:
        out.append(text(cx, cy - arm - 5, cut.label, classes="ts sm", anchor="middle"))
        out.append(text(cx, cy + arm + 13, size, classes="t sm", anchor="middle"))
    else:
        out.append(text(cx, cy - tall / 2 - 5, f"{cut.label} {size}", classes="t sm halo", anchor="middle"))
    return out


def _panel(panel: FlatPanel, x: float, y: float, scale: float) -> list[str]:
    wide, tall = panel.width_m * scale, panel.height_m * scale
    left, base = x + _AROUND, y + 34 + tall
    count = f"{panel.count} \u00d7 " if panel.count > 1 else ""
    out = [
        text(left, y + 10, f"{count}{panel.name}", classes="t"),
        text(
            left,
            y + 25,
            f"{millimetres(panel.thickness_m)} thick{panel.note and ', ' + panel.note}",
            classes="ts sm",
        ),
        rect(left, base - tall, wide, tall, classes="part"),
    ]
    for cut in panel.cuts:
        out += _cut(cut, left, base, scale)
    # chain of centre distances nearest to the panel, overall size outside
    xs = sorted({round(cut.x_m, 6) for cut in panel.cuts})
    ys = sorted({round(cut.y_m, 6) for cut in panel.cuts})
    below = base + 14
    for row, at in enumerate(xs):
        cx = left + at * scale
        out.append(line(cx, base + 2, cx, below + 19 * row, classes="grid"))
        out += _across(left, cx, below + 19 * row, millimetres(at))
    out += _across(left, left + wide, below + 19 * len(xs), millimetres(panel.width_m))
    aside = left - 12
    for row, at in enumerate(ys):
        cy = base - at * scale
        out.append(line(left - 2, cy, aside - 17 * row, cy, classes="grid"))
        out += _upright(aside - 17 * row, base, cy, millimetres(at))
    out += _upright(aside - 17 * len(ys), base, base - tall, millimetres(panel.height_m))
    return out


def _room(panel: FlatPanel, scale: float) -> tuple[float, float]:
    """Width and height that a panel takes with its dimensions."""
    below = 14 + 19 * (len({round(c.x_m, 6) for c in panel.cuts}) + 1)
    name = text_width(panel.name, 12) + 40
    wide = max(panel.width_m * scale, name) + _AROUND + 14
    return wide, 34 + panel.height_m * scale + below + 24


def panels_svg(panels: Sequence[FlatPanel], *, title: str, stamp: str = "", inline: bool = False) -> str:
    """All panels on one drawing, left to right in rows, to one scale."""
    largest = max(max(p.width_m, p.height_m) for p in panels)
    tallest = max(p.height_m for p in panels)
    scale = min(_TALLEST / tallest, (_WIDTH / 3 - _AROUND - 24) / largest)
    body = [
        text(12, 20, title, classes="t h"),
        text(12, 38, "millimetres, seen from outside", classes="ts sm"),
    ]
    if stamp:
        body.append(text(_WIDTH - 12, 20, stamp, classes="ta", anchor="end"))
    x, y, row_tall = _MARGIN, 62.0, 0.0
    for panel in panels:
        wide, tall = _room(panel, scale)
        if x > _MARGIN and x + wide > _WIDTH - 8:
            x, y, row_tall = _MARGIN, y + row_tall, 0.0
        body += _panel(panel, x, y, scale)
        x += wide
        row_tall = max(row_tall, tall)
    described = "; ".join(
        f"{p.count} {p.name} {millimetres(p.width_m)} by {millimetres(p.height_m)} mm" for p in panels
    )
    return document(body, width=_WIDTH, height=y + row_tall + 8, title=title, desc=described, inline=inline)
