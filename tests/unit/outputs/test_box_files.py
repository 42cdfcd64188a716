"""The box's drawings and DXF files: read back, they say what the design says."""

from __future__ import annotations

import io
import math
from itertools import combinations
from xml.etree import ElementTree

import ezdxf
import pytest

from subwright.outputs.box_exploded import box_exploded_svg
from subwright.outputs.box_views import box_views_svg
from subwright.outputs.drawing import text_width
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
BRACED: dict[str, dict[str, object]] = {
    **KINDS,
    "three braces": {"volume": "80 l", "braces": 3},
    "slot and three braces": {"kind": "vented", "port_kind": "slot", "braces": 3},
    "leaning, three braces": {**WEDGE, "braces": 3},
    "band-pass, two braces": {"kind": "band-pass", "braces": 2},
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
        numbers = element.attrib["d"].replace("ZM", "L").replace("M", "").replace("Z", "").split("L")
        for pair in numbers:
            x, y = (float(v) for v in pair.split())
            assert -1.0 <= x <= width + 1.0
            assert -1.0 <= y <= height + 1.0


def label_boxes(root: ElementTree.Element) -> list[tuple[str, float, float, float, float]]:
    """Left, top, right, bottom of each text of a drawing; monospaced 11 or 12 units high."""
    found = []
    for element in root.iter("{http://www.w3.org/2000/svg}text"):
        words = element.text or ""
        size = 11.0 if " sm" in element.attrib["class"] else 14.0
        wide = text_width(words, size)
        x, y = float(element.attrib["x"]), float(element.attrib["y"])
        left = (
            x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[element.attrib.get("text-anchor", "start")]
        )
        found.append((words, left, y - 0.8 * size, left + wide, y + 0.25 * size))
    return found


@pytest.mark.parametrize("keys", BRACED.values(), ids=BRACED)
def test_labels_of_the_box_taken_apart_keep_clear_of_each_other(keys: dict[str, object]) -> None:
    made = box(**keys)
    root = ElementTree.fromstring(box_exploded_svg(made, title="A box", stamp="not ready"))
    labels = label_boxes(root)
    _, _, width, height = (float(v) for v in root.attrib["viewBox"].split())
    assert {board.name for board in made.boards} <= {words for words, *_ in labels}
    for words, left, top, right, bottom in labels:
        assert left >= 0.0, words
        assert top >= 0.0, words
        assert right <= width, words
        assert bottom <= height, words
    for (first, *a), (second, *b) in combinations(labels, 2):
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart, (first, second)


def words_of(drawn: str) -> set[str]:
    root = ElementTree.fromstring(drawn)
    return {element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text")}


def shapes_of(drawn: str, kind: str) -> list[str]:
    root = ElementTree.fromstring(drawn)
    paths = root.iter("{http://www.w3.org/2000/svg}path")
    return [path.attrib["d"] for path in paths if path.attrib["class"] == kind]


@pytest.mark.parametrize("joint", ["butt", "rebate"])
def test_the_section_shows_slot_shelf_and_riser_with_their_sizes(joint: str) -> None:
    made = box(kind="vented", port_kind="slot", joint=joint)
    drawn = box_views_svg(made, title="A box")
    assert made.port is not None
    assert made.port.height_m is not None
    panels = {panel.name: panel for panel in made.panels}
    wanted = [made.port.height_m, panels["port shelf"].width_m]
    if made.port.bend != "straight":
        wanted.append(panels["port riser"].width_m)
    for size in wanted:
        assert f"{1e3 * size:.1f}".removesuffix(".0") in words_of(drawn), size
    # the slot in the upright section, the driver in both; the front view's are circles and rectangles
    assert len(shapes_of(drawn, "open")) == 3
    told = any("rebates in front and back, 9 deep, 18 wide" in words for words in words_of(drawn))
    assert told is (joint == "rebate")


def test_rebated_boards_run_into_front_and_back_in_the_section() -> None:
    for joint, depth in (("butt", 0.0), ("rebate", 0.009)):
        made = box(joint=joint)
        boards = {board.name: board.profile_m for board in made.boards}
        for name in ("top", "bottom", "left side", "right side"):
            assert boards["front"][1][0] - boards[name][0][0] == pytest.approx(depth)
            assert boards[name][1][0] - boards["back"][0][0] == pytest.approx(depth)
