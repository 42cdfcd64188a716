"""Panels: the list and the drawings show the box that was designed, hole for hole."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from itertools import combinations
from types import SimpleNamespace
from typing import Any

import pytest

from subwright.outputs.panel_drawing import cut_plan_svg, millimetres, panels_svg
from subwright.physics.acoustics.cutting import CutPlan, Piece, plan_cuts
from subwright.stages.enclosure_panels import Hole, Panel

NS = "{http://www.w3.org/2000/svg}"


def panel(name: str, length: float, width: float, count: int = 1, holes: tuple[Hole, ...] = ()) -> Panel:
    return Panel(
        name=name,
        length_m=length,
        width_m=width,
        thickness_m=0.018,
        count=count,
        holes=holes,
        span_length_m=length,
        span_width_m=width,
        resonance_hz=200.0,
    )


def hole(purpose: str, x: float, y: float, width: float, height: float, shape: str = "round") -> Hole:
    return Hole(purpose=purpose, shape=shape, width_m=width, height_m=height, x_m=x, y_m=y)  # type: ignore[arg-type]


FRONT = panel(
    "front",
    0.420,
    0.360,
    holes=(hole("driver", 0.17, 0.18, 0.231, 0.231), hole("port", 0.36, 0.09, 0.0755, 0.0755)),
)
BRACE = panel("brace", 0.264, 0.324, holes=(hole("window", 0.132, 0.162, 0.164, 0.224, "rectangle"),))
PANELS = (
    FRONT,
    panel("back", 0.42, 0.36),
    panel("top and bottom", 0.42, 0.3, 2),
    panel("sides", 0.3, 0.324, 2),
    BRACE,
)


def test_every_size_and_distance_is_on_the_drawing() -> None:
    texts = [t.text for t in ET.fromstring(panels_svg(PANELS, title="Panels")).iter(f"{NS}text")]
    for expected in (
        "420",
        "360",
        "170",
        "180",
        "90",
        "132",
        "162",
        "264",
        "324",
        "2 \u00d7 sides",
        "18 thick",
    ):
        assert expected in texts, expected
    assert any("75.5" in (t or "") for t in texts)


def test_holes_are_drawn_to_the_panel_scale() -> None:
    """Second route: hole centre and size from the drawing's own scale."""
    root = ET.fromstring(panels_svg(PANELS, title="Panels"))
    front = next(r for r in root.iter(f"{NS}rect") if r.get("class") == "part")
    left, top = float(front.get("x", "")), float(front.get("y", ""))
    wide, tall = float(front.get("width", "")), float(front.get("height", ""))
    scale = wide / 0.42
    assert tall / scale == pytest.approx(0.36, rel=2e-3)
    driver = next(c for c in root.iter(f"{NS}circle") if c.get("class") == "open")
    assert (float(driver.get("cx", "")) - left) / scale == pytest.approx(0.17, rel=2e-3)
    assert (top + tall - float(driver.get("cy", ""))) / scale == pytest.approx(0.18, rel=2e-3)
    assert float(driver.get("r", "")) / scale == pytest.approx(0.231 / 2, rel=2e-3)


def test_panels_do_not_overlap_on_the_drawing() -> None:
    root = ET.fromstring(panels_svg(PANELS, title="Panels"))
    boxes = [
        tuple(float(r.get(k, "")) for k in ("x", "y", "width", "height"))
        for r in root.iter(f"{NS}rect")
        if r.get("class") == "part"
    ]
    assert len(boxes) == len(PANELS)
    for (x1, y1, w1, h1), (x2, y2, w2, h2) in combinations(boxes, 2):
        assert x1 + w1 <= x2 or x2 + w2 <= x1 or y1 + h1 <= y2 or y2 + h2 <= y1


def plan() -> CutPlan:
    pieces = [
        Piece(name=p.name, length_m=p.length_m, width_m=p.width_m) for p in PANELS for _ in range(p.count)
    ]
    return plan_cuts(pieces, sheet_length_m=1.25, sheet_width_m=0.8, kerf_m=0.003)


def box_of(made: CutPlan) -> Any:
    """As much of a box as the drawing looks at."""
    return SimpleNamespace(cut_plan=made)


def test_sawing_plan_shows_each_piece_once_inside_its_sheet() -> None:
    made = plan()
    root = ET.fromstring(cut_plan_svg(box_of(made), title="Sawing plan"))
    parts = [r for r in root.iter(f"{NS}rect") if r.get("class") == "part"]
    sheets = [r for r in root.iter(f"{NS}rect") if r.get("class") == "frame"]
    assert len(parts) == len(made.placements) == 7
    assert len(sheets) == made.sheets

    def box(r: ET.Element) -> tuple[float, float, float, float]:
        x, y, w, h = (float(r.get(k, "")) for k in ("x", "y", "width", "height"))
        return x, y, x + w, y + h

    for part in map(box, parts):
        assert any(
            s[0] - 0.2 <= part[0]
            and s[1] - 0.2 <= part[1]
            and part[2] <= s[2] + 0.2
            and part[3] <= s[3] + 0.2
            for s in map(box, sheets)
        )
    for a, b in combinations(map(box, parts), 2):
        assert a[2] <= b[0] + 0.1 or b[2] <= a[0] + 0.1 or a[3] <= b[1] + 0.1 or b[3] <= a[1] + 0.1


def test_stamp_is_on_both_drawings() -> None:
    assert "NOT READY" in panels_svg(PANELS, title="Panels", stamp="NOT READY")
    assert "NOT READY" in cut_plan_svg(box_of(plan()), title="Sawing plan", stamp="NOT READY")


@pytest.mark.parametrize(
    ("length", "text"), [(0.420, "420"), (0.0755, "75.5"), (0.0180004, "18"), (1.25, "1250")]
)
def test_millimetres(length: float, text: str) -> None:
    assert millimetres(length) == text


def test_list_reads_back() -> None:
    from subwright.outputs.panels import panel_rows, panels_csv

    box = SimpleNamespace(panels=PANELS)
    rows = list(csv.DictReader(io.StringIO(panels_csv(box), newline="")))  # type: ignore[arg-type]
    assert sum(int(row["pieces"] or 0) for row in rows) == 7
    driver = next(row for row in rows if row["cut-out"] == "driver")
    assert (driver["panel"], driver["cut-out width mm"], driver["middle from left mm"]) == (
        "front",
        "231",
        "170",
    )
    table = panel_rows(box)  # type: ignore[arg-type]
    assert table[0][5] == "driver \u2300 231 at 170, 180; port \u2300 75.5 at 360, 90"
