"""Dimensioned drawings of flat panels with their cut-outs, all to one scale, in millimetres."""

from __future__ import annotations

from collections.abc import Sequence

from subwright.outputs.drawing import document, line, num, rect, text, text_width, wrap
from subwright.stages.enclosure import EnclosureResult
from subwright.stages.enclosure_drills import Hole
from subwright.stages.enclosure_panels import Panel

__all__ = ["cut_plan_svg", "edge_words", "millimetres", "panels_svg"]

_WIDTH = 920.0
_MARGIN = 20.0
_AROUND = 64.0  # room left and under a panel for dimension lines
_TALLEST = 300.0


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


def _like(cut: Hole, holes: Sequence[Hole]) -> tuple[int, bool]:
    """How many small holes are like this one, and whether it is the topmost, which names them all."""
    alike = [h for h in holes if (h.purpose, h.shape, h.width_m) == (cut.purpose, cut.shape, cut.width_m)]
    return len(alike), cut is max(alike, key=lambda hole: (hole.y_m, -hole.x_m))


def _cut(cut: Hole, holes: Sequence[Hole], x: float, right: float, base: float, scale: float) -> list[str]:
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
    if max(text_width(size, 11), text_width(cut.purpose, 11)) + 8 <= wide and tall > 44:
        out.append(text(cx, cy - arm - 5, cut.purpose, classes="ts sm", anchor="middle"))
        out.append(text(cx, cy + arm + 13, size, classes="t sm", anchor="middle"))
        return out
    count, first = _like(cut, holes)
    if first:
        words = f"{count} × {cut.purpose} {size}" if count > 1 else f"{cut.purpose} {size}"
        half = 0.5 * text_width(words, 11) + 3.0
        at = min(max(cx, x + half), max(right - half, x + half))
        out.append(text(at, cy - tall / 2 - 5, words, classes="t sm halo", anchor="middle"))
    return out


def _outline(panel: Panel, left: float, base: float, scale: float) -> str:
    if not panel.outline_m:
        wide, tall = panel.length_m * scale, panel.width_m * scale
        return rect(left, base - tall, wide, tall, classes="part")
    steps = "L".join(f"{num(left + x * scale)} {num(base - y * scale)}" for x, y in panel.outline_m)
    return f'<path d="M{steps}Z" class="part"/>'


def edge_words(panel: Panel) -> list[str]:
    """Bevels and rebates of a panel in words, one text for each."""
    edges: dict[str, list[str]] = {}
    for bevel in panel.bevels:
        edges.setdefault(f"{bevel.angle_deg:.1f}\u00b0", []).append(bevel.edge)
    told = [f"{' and '.join(names)} bevelled {angle}" for angle, names in edges.items()]
    if panel.rebate_m:
        told.append(f"rebate {millimetres(panel.rebate_m)} deep inside")
    return told


def _facts(panel: Panel) -> str:
    return ", ".join((f"{millimetres(panel.thickness_m)} thick", *edge_words(panel)))


def _beside(panel: Panel) -> float:
    """Room left of a panel: for its height, and for each height at which something is cut out."""
    rows = len({round(cut.y_m, 6) for cut in panel.holes}) + 1
    return max(_AROUND, 12.0 + 17.0 * rows + 14.0)


def _panel(panel: Panel, x: float, y: float, scale: float) -> list[str]:
    wide, tall = panel.length_m * scale, panel.width_m * scale
    left, base = x + _beside(panel), y + 34 + tall
    count = f"{panel.count} \u00d7 " if panel.count > 1 else ""
    out = [
        text(left, y + 10, f"{count}{panel.name}", classes="t"),
        text(
            left,
            y + 25,
            _facts(panel),
            classes="ts sm",
        ),
        _outline(panel, left, base, scale),
    ]
    for cut in panel.holes:
        out += _cut(cut, panel.holes, left, left + wide, base, scale)
    # chain of centre distances nearest to the panel, overall size outside
    xs = sorted({round(cut.x_m, 6) for cut in panel.holes})
    ys = sorted({round(cut.y_m, 6) for cut in panel.holes})
    below = base + 14
    for row, at in enumerate(xs):
        cx = left + at * scale
        out.append(line(cx, base + 2, cx, below + 19 * row, classes="grid"))
        out += _across(left, cx, below + 19 * row, millimetres(at))
    out += _across(left, left + wide, below + 19 * len(xs), millimetres(panel.length_m))
    aside = left - 12
    for row, at in enumerate(ys):
        cy = base - at * scale
        out.append(line(left - 2, cy, aside - 17 * row, cy, classes="grid"))
        out += _upright(aside - 17 * row, base, cy, millimetres(at))
    out += _upright(aside - 17 * len(ys), base, base - tall, millimetres(panel.width_m))
    return out


def _room(panel: Panel, scale: float) -> tuple[float, float]:
    """Width and height that a panel takes with its dimensions."""
    below = 14 + 19 * (len({round(c.x_m, 6) for c in panel.holes}) + 1)
    name = max(text_width(panel.name, 12) + 40, text_width(_facts(panel), 11) + 8)
    wide = max(panel.length_m * scale, name) + _beside(panel) + 14
    return wide, 34 + panel.width_m * scale + below + 24


def panels_svg(panels: Sequence[Panel], *, title: str, stamp: str = "", inline: bool = False) -> str:
    """All panels on one drawing, left to right in rows, to one scale."""
    largest = max(max(p.length_m, p.width_m) for p in panels)
    tallest = max(p.width_m for p in panels)
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
        f"{p.count} {p.name} {millimetres(p.length_m)} by {millimetres(p.width_m)} mm" for p in panels
    )
    return document(body, width=_WIDTH, height=y + row_tall + 8, title=title, desc=described, inline=inline)


def cut_plan_svg(box: EnclosureResult, *, title: str, stamp: str = "", inline: bool = False) -> str:
    """Where each panel lies on the raw sheets, to scale."""
    plan = box.cut_plan
    scale = (_WIDTH - 2 * _MARGIN - 40) / plan.sheet_length_m
    tall = plan.sheet_width_m * scale
    if tall > 1.3 * _TALLEST:
        scale *= 1.3 * _TALLEST / tall
        tall = plan.sheet_width_m * scale
    wide = plan.sheet_length_m * scale
    size = f"{millimetres(plan.sheet_length_m)} \u00d7 {millimetres(plan.sheet_width_m)}"
    told = f"millimetres, saw cut {millimetres(plan.kerf_m)}"
    body = [text(12, 20, title, classes="t h"), text(12, 38, told, classes="ts sm")]
    if stamp:
        body.append(text(_WIDTH - 12, 20, stamp, classes="ta", anchor="end"))
    for sheet in range(plan.sheets):
        top = 78.0 + sheet * (tall + 44)
        body.append(text(_MARGIN, top - 8, f"sheet {sheet + 1}: {size}", classes="t"))
        body.append(rect(_MARGIN, top, wide, tall, classes="frame"))
        for placed in plan.placements:
            if placed.sheet == sheet:
                piece = placed.piece
                long, short = piece.length_m, piece.width_m
                sides = (short, long) if placed.turned else (long, short)
                x, y = _MARGIN + placed.x_m * scale, top + tall - (placed.y_m + sides[1]) * scale
                body += _placed(piece.name, sides, x, y, scale)
    described = "; ".join(f"{p.piece.name} on sheet {p.sheet + 1}" for p in plan.placements)
    height = 78.0 + plan.sheets * (tall + 44)
    return document(body, width=_WIDTH, height=height, title=title, desc=described, inline=inline)


def _placed(name: str, sides: tuple[float, float], x: float, y: float, scale: float) -> list[str]:
    """One piece on a sheet: ``sides`` across and up in m, upper left corner in drawing units."""
    wide, tall = sides[0] * scale, sides[1] * scale
    out = [rect(x, y, wide, tall, classes="part")]
    size = f"{millimetres(sides[0])} \u00d7 {millimetres(sides[1])}"
    rows = [*wrap(name, max(int((wide - 8) / text_width("n", 11)), 4)), size]
    if len(rows) * 14 + 4 <= tall and max(text_width(row, 11) for row in rows) + 4 <= wide:
        first = y + tall / 2 - 7 * (len(rows) - 1) + 4
        out += [
            text(
                x + wide / 2, first + 14 * i, row, classes="t sm" if row == size else "ts sm", anchor="middle"
            )
            for i, row in enumerate(rows)
        ]
    return out
