"""The box's drawings and DXF files: read back, they say what the design says."""

from __future__ import annotations

import io
import math
from xml.etree import ElementTree

import ezdxf
import pytest

from subwright.outputs.box_views import box_exploded_svg, box_views_svg
from subwright.outputs.dxf import LAYERS, cut_plan_dxf, panel_dxf, panel_files
from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureResult, EnclosureSpec, design_enclosure

WEDGE = {
    "outline": "wedge",
    "room_width": "900 mm",
    "room_height": "420 mm",
    "room_depth": "430 mm",
    "room_depth_top": "270 mm",
}
KINDS: dict[str, dict[str, object]] = {
    "sealed": {},
    "wedge": WEDGE,
    "slot": {"kind": "vented", "port_kind": "slot", "braces": 2},
    "band-pass": {"kind": "band-pass"},
}


def box(**keys: object) -> EnclosureResult:
    spec = DriverSpec.model_validate({"part": "Harbour 10", "bolt_circle": "240 mm"})
    driver = design_driver(spec, load_library())
    need = EnclosureNeed(drive_v=driver.rated_v)
    return design_enclosure(EnclosureSpec.model_validate(keys), driver, design_cabin(CabinSpec()), need)


def opened(text: str) -> ezdxf.document.Drawing:  # type: ignore[name-defined]
    return ezdxf.read(io.StringIO(text))


@pytest.mark.parametrize("unit", ["mm", "inch"])
@pytest.mark.parametrize("keys", KINDS.values(), ids=KINDS)
def test_a_panel_read_back_has_its_outline_cut_outs_and_drills(keys: dict[str, object], unit: str) -> None:
    made = box(**keys)
    per_m = 1000.0 if unit == "mm" else 1.0 / 0.0254
    for panel in made.panels:
        document = opened(panel_dxf(panel, unit))  # type: ignore[arg-type]
        assert document.header["$INSUNITS"] == (4 if unit == "mm" else 1)
        assert not document.audit().errors
        space = document.modelspace()
        (outline,) = space.query('LWPOLYLINE[layer=="CUT"]')
        points = [(x, y) for x, y, *_ in outline.get_points()]
        area = 0.5 * abs(
            sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))
        )
        holes = sum(hole.area_m2 for hole in panel.holes)
        assert area / per_m**2 == pytest.approx(panel.face_m2 + holes, rel=1e-9)
        circles = list(space.query('CIRCLE[layer=="HOLE"]'))
        rounds = [hole for hole in panel.holes if hole.shape == "round"]
        assert [2.0 * c.dxf.radius / per_m for c in circles] == pytest.approx([h.width_m for h in rounds])
        drills = list(space.query('CIRCLE[layer=="DRILL"]'))
        assert len(drills) == len(panel.drills)
        for circle, drill in zip(drills, panel.drills, strict=True):
            assert circle.dxf.center.x / per_m == pytest.approx(drill.x_m)
            assert circle.dxf.center.y / per_m == pytest.approx(drill.y_m)
        assert {entity.dxf.layer for entity in space} <= set(LAYERS)


def test_the_same_box_gives_the_same_bytes() -> None:
    made = box()
    assert panel_files(made.panels, made.cut_plan) == panel_files(made.panels, made.cut_plan)


def test_the_cut_plan_shows_every_piece_on_its_sheet() -> None:
    made = box(kind="vented")
    space = opened(cut_plan_dxf(made.cut_plan)).modelspace()
    assert len(space.query('LWPOLYLINE[layer=="CUT"]')) == len(made.cut_plan.placements)
    assert len(space.query('LWPOLYLINE[layer=="SHEET"]')) == made.cut_plan.sheets


@pytest.mark.parametrize("keys", KINDS.values(), ids=KINDS)
def test_views_carry_the_main_dimensions(keys: dict[str, object]) -> None:
    made = box(**keys)
    drawn = box_views_svg(made, title="A box", stamp="not ready")
    root = ElementTree.fromstring(drawn)
    words = {element.text for element in root.iter("{http://www.w3.org/2000/svg}text")}
    for side in (made.outer_width_m, made.outer_height_m, made.outer_depth_m):
        assert f"{side * 1e3:.1f}".removesuffix(".0") in words
    assert "not ready" in words
    if made.back_slope:
        assert f"{math.degrees(math.atan(made.back_slope)):.1f}°" in words


@pytest.mark.parametrize("keys", KINDS.values(), ids=KINDS)
def test_every_board_is_there_when_taken_apart(keys: dict[str, object]) -> None:
    made = box(**keys)
    root = ElementTree.fromstring(box_exploded_svg(made, title="A box"))
    words = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    for board in made.boards:
        assert board.name in words
    _, _, width, height = (float(v) for v in root.attrib["viewBox"].split())
    for element in root.iter("{http://www.w3.org/2000/svg}path"):
        numbers = element.attrib["d"].replace("M", "").replace("Z", "").split("L")
        for pair in numbers:
            x, y = (float(v) for v in pair.split())
            assert -1.0 <= x <= width + 1.0
            assert -1.0 <= y <= height + 1.0
