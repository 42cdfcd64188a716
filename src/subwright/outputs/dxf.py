"""Panels and cut plan as DXF: outlines, cut-outs and drill holes on layers of their own, in mm or inch."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final, Literal

from subwright.outputs.panel_drawing import millimetres
from subwright.stages.enclosure import CutPlan
from subwright.stages.enclosure_panels import Panel

__all__ = ["LAYERS", "DxfUnit", "cut_plan_dxf", "panel_dxf", "panel_files"]

DxfUnit = Literal["mm", "inch"]

LAYERS: Final[Mapping[str, int]] = {"CUT": 7, "HOLE": 1, "DRILL": 5, "SHEET": 8, "NOTE": 3}
_PER_M: Final = {"mm": 1000.0, "inch": 1.0 / 0.0254}
_CODE: Final = {"mm": 4, "inch": 1}  # $INSUNITS
_TEXT_M: Final = 0.012
_GUID: Final = "{00000000-0000-0000-0000-000000000000}"


def _document(unit: DxfUnit) -> Any:
    from ezdxf.filemanagement import new

    with _without_time():
        made = new("R2010", setup=False)
    made.header["$FINGERPRINTGUID"] = made.header["$VERSIONGUID"] = _GUID
    made.header["$INSUNITS"] = _CODE[unit]
    made.header["$MEASUREMENT"] = 1 if unit == "mm" else 0
    for name, colour in LAYERS.items():
        made.layers.add(name, color=colour)
    return made


@contextmanager
def _without_time() -> Iterator[None]:
    """Keep time and random numbers out of what ezdxf writes, so that the same panels give the same bytes."""
    from ezdxf._options import options

    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _written(document: Any) -> str:
    stream = io.StringIO()
    with _without_time():
        document.write(stream)
    return stream.getvalue()


def _corners(panel: Panel) -> tuple[tuple[float, float], ...]:
    if panel.outline_m:
        return panel.outline_m
    length, width = panel.length_m, panel.width_m
    return (0.0, 0.0), (length, 0.0), (length, width), (0.0, width)


def _draw(space: Any, panel: Panel, scale: float) -> None:
    points = [(x * scale, y * scale) for x, y in _corners(panel)]
    space.add_lwpolyline(points, close=True, dxfattribs={"layer": "CUT"})
    for hole in panel.holes:
        x, y = hole.x_m * scale, hole.y_m * scale
        if hole.shape == "round":
            space.add_circle((x, y), 0.5 * hole.width_m * scale, dxfattribs={"layer": "HOLE"})
        else:
            a, b = 0.5 * hole.width_m * scale, 0.5 * hole.height_m * scale
            corners = [(x - a, y - b), (x + a, y - b), (x + a, y + b), (x - a, y + b)]
            space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "HOLE"})
    for drill in panel.drills:
        centre = (drill.x_m * scale, drill.y_m * scale)
        space.add_circle(centre, 0.5 * drill.diameter_m * scale, dxfattribs={"layer": "DRILL"})


def _note(space: Any, words: str, x_m: float, y_m: float, scale: float) -> None:
    space.add_text(words, height=_TEXT_M * scale, dxfattribs={"layer": "NOTE"}).set_placement(
        (x_m * scale, y_m * scale)
    )


def _facts(panel: Panel) -> Iterator[str]:
    yield f"{panel.count} x {panel.name}, {millimetres(panel.thickness_m)} mm thick, seen from outside"
    for bevel in panel.bevels:
        yield f"{bevel.edge} edge bevelled {bevel.angle_deg:.1f} deg"
    if panel.rebate_m:
        depth, wide = millimetres(panel.rebate_m), millimetres(panel.thickness_m)
        yield f"rebate inside, all round: {depth} mm deep, {wide} mm wide"


def panel_dxf(panel: Panel, unit: DxfUnit = "mm", *, stamp: str = "") -> str:
    """One panel, its lower left corner at the origin, seen from outside; ``stamp`` is written under it."""
    document, scale = _document(unit), _PER_M[unit]
    space = document.modelspace()
    _draw(space, panel, scale)
    for row, words in enumerate([*_facts(panel), *([stamp] if stamp else [])]):
        _note(space, words, 0.0, -2.0 * _TEXT_M * (row + 1), scale)
    return _written(document)


def cut_plan_dxf(plan: CutPlan, unit: DxfUnit = "mm", *, stamp: str = "") -> str:
    """The sheets side by side with the pieces on them; ``stamp`` is written under them."""
    document, scale = _document(unit), _PER_M[unit]
    space = document.modelspace()
    step = plan.sheet_length_m + 0.1

    def box(x: float, y: float, wide: float, tall: float, layer: str) -> None:
        corners = [(x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall)]
        points = [(a * scale, b * scale) for a, b in corners]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})

    for sheet in range(plan.sheets):
        box(sheet * step, 0.0, plan.sheet_length_m, plan.sheet_width_m, "SHEET")
    for placed in plan.placements:
        piece = placed.piece
        sides = (piece.width_m, piece.length_m) if placed.turned else (piece.length_m, piece.width_m)
        left = placed.sheet * step + placed.x_m
        box(left, placed.y_m, *sides, "CUT")
        _note(space, piece.name, left + _TEXT_M, placed.y_m + _TEXT_M, scale)
    if stamp:
        _note(space, stamp, 0.0, -2.0 * _TEXT_M, scale)
    return _written(document)


def panel_files(
    panels: Sequence[Panel], plan: CutPlan, unit: DxfUnit = "mm", *, stamp: str = ""
) -> Mapping[str, str]:
    """Every panel and the cut plan as DXF by file name; ``stamp`` says that the design isn't ready."""
    files = {f"{_slug(panel.name)}.dxf": panel_dxf(panel, unit, stamp=stamp) for panel in panels}
    files["cut-plan.dxf"] = cut_plan_dxf(plan, unit, stamp=stamp)
    return files


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
