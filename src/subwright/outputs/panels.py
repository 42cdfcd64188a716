"""The panel list: what to saw, and what to cut out of it."""

from __future__ import annotations

from subwright.outputs.csvfile import table
from subwright.outputs.panel_drawing import edge_words, millimetres
from subwright.stages.enclosure import EnclosureResult
from subwright.stages.enclosure_drills import Hole

__all__ = ["panel_rows", "panels_csv"]


def _cut_out(hole: Hole) -> str:
    at = f"at {millimetres(hole.x_m)}, {millimetres(hole.y_m)}"
    if hole.shape == "round":
        return f"{hole.purpose} \u2300 {millimetres(hole.width_m)} {at}"
    return f"{hole.purpose} {millimetres(hole.width_m)} \u00d7 {millimetres(hole.height_m)} {at}"


def panel_rows(box: EnclosureResult) -> tuple[tuple[str, ...], ...]:
    """Panels as table rows in millimetres: name, pieces, length, width, thickness, cut-outs and edges."""
    return tuple(
        (
            panel.name,
            str(panel.count),
            millimetres(panel.length_m),
            millimetres(panel.width_m),
            millimetres(panel.thickness_m),
            "; ".join((*(_cut_out(hole) for hole in panel.holes), *edge_words(panel))),
        )
        for panel in box.panels
    )


def panels_csv(box: EnclosureResult) -> str:
    """Panels and cut-outs as CSV, one line for each panel and each of its cut-outs, millimetres."""
    header = (
        "panel",
        "pieces",
        "length mm",
        "width mm",
        "thickness mm",
        "cut-out",
        "shape",
        "cut-out width mm",
        "cut-out height mm",
        "middle from left mm",
        "middle from below mm",
    )
    rows: list[tuple[str, ...]] = []
    for panel in box.panels:
        size = tuple(millimetres(v) for v in (panel.length_m, panel.width_m, panel.thickness_m))
        rows.append((panel.name, str(panel.count), *size, "", "", "", "", "", ""))
        rows += [(panel.name, "", "", "", "", "edge", words, "", "", "", "") for words in edge_words(panel)]
        rows += [
            (
                panel.name,
                "",
                "",
                "",
                "",
                hole.purpose,
                hole.shape,
                *(millimetres(v) for v in (hole.width_m, hole.height_m, hole.x_m, hole.y_m)),
            )
            for hole in panel.holes
        ]
    return table(header, rows)
