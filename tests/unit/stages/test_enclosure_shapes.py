"""Leaning outlines, joints, screw holes, balance: the geometry has to close."""

from __future__ import annotations

import math

import pytest

from subwright.base.errors import NoSolutionError
from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureResult, EnclosureSpec, design_enclosure

CABIN = design_cabin(CabinSpec())
LEANING = {
    "room_width": "900 mm",
    "room_height": "420 mm",
    "room_depth": "430 mm",
    "room_depth_top": "270 mm",
}


def box(part: str = "Drover 12", driver: dict[str, object] | None = None, **keys: object) -> EnclosureResult:
    group = design_driver(DriverSpec.model_validate({"part": part, **(driver or {})}), load_library())
    need = EnclosureNeed(drive_v=group.rated_v, source_ohm=0.1)
    return design_enclosure(EnclosureSpec.model_validate(keys), group, CABIN, need)


CASES: dict[str, dict[str, object]] = {
    "rectangular": {},
    "vented": {"kind": "vented"},
    "doubled front": {"front_layers": 2},
    "wedge": {"outline": "wedge", **LEANING},
    "trapezoid": {"outline": "trapezoid", **LEANING},
    "vented wedge": {"outline": "wedge", "kind": "vented", **LEANING, "room_depth": "460 mm"},
    "braced": {"braces": 3, "volume": "60 l"},
    "band-pass": {"kind": "band-pass"},
    "rebated": {"joint": "rebate"},
    "rebated, doubled front": {"joint": "rebate", "front_layers": 2},
}


@pytest.mark.parametrize("keys", CASES.values(), ids=CASES)
def test_walls_and_inside_fill_the_outside(keys: dict[str, object]) -> None:
    """By two routes: the prism of the outline, and the sum of six boards and the inner volume."""
    made = box(**keys)
    section = 0.5 * (made.outer_depth_m + made.outer_depth_top_m) * made.outer_height_m
    outer = made.outer_width_m * section
    walls = sum(board.volume_m3 for board in made.boards[:6])
    assert walls + made.gross_volume_m3 == pytest.approx(outer, rel=1e-9)


@pytest.mark.parametrize("keys", CASES.values(), ids=CASES)
def test_boards_in_space_weigh_what_the_cut_list_weighs(keys: dict[str, object]) -> None:
    """The cut list counts bevels and rounding up to whole millimetres as wood, and leaves cut-outs out."""
    made = box(**keys)
    holes = sum(
        panel.count * panel.thickness_m * hole.area_m2
        for panel in made.panels
        for hole in panel.holes
        if hole.purpose != "window"
    )
    solid = sum(board.volume_m3 for board in made.boards)
    assert made.wood_kg / 740.0 + holes == pytest.approx(solid, rel=0.03)


@pytest.mark.parametrize("outline", ["wedge", "trapezoid"])
def test_a_leaning_box_keeps_inside_its_room(outline: str) -> None:
    made = box(outline=outline, **LEANING)
    lean = (0.43 - 0.27) / 0.42
    assert made.front_slope + made.back_slope == pytest.approx(lean)
    assert made.outer_depth_m <= 0.43 + 1e-9
    assert made.outer_height_m <= 0.42 + 1e-9
    top_of_room = 0.43 - lean * made.outer_height_m
    assert made.outer_depth_top_m <= top_of_room + 1e-9
    names = {panel.name for panel in made.panels}
    assert {"top", "bottom", "front", "back"} <= names
    back = next(panel for panel in made.panels if panel.name == "back")
    assert [round(b.angle_deg, 3) for b in back.bevels] == [
        round(math.degrees(math.atan(made.back_slope)), 3)
    ] * 2
    assert back.width_m > made.outer_height_m
    sides = next(panel for panel in made.panels if panel.name == "sides")
    assert len(sides.outline_m) == 4
    trapezoid = made.inner_height_m * made.inner_depth_m
    assert sides.face_m2 == pytest.approx(trapezoid, rel=1e-9)


def test_a_taller_wedge_leaves_less_at_the_top() -> None:
    made = box(outline="wedge", volume="45 l", **LEANING)
    assert made.net_volume_m3 == pytest.approx(0.045, rel=0.02)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"outline": "wedge"}, "needs the room"),
        ({"room_depth_top": "200 mm"}, "rectangular"),
        ({"outline": "wedge", **LEANING, "room_depth_top": "440 mm"}, "narrower"),
        ({"outline": "wedge", **LEANING, "room_depth_top": "60 mm", "room_depth": "120 mm"}, "fit the room"),
        ({"outline": "wedge", "kind": "band-pass", **LEANING}, "upright"),
        (
            {"outline": "wedge", "kind": "vented", "port_kind": "slot", **LEANING},
            r'enclosure\.port_kind.*Write enclosure\.port_kind = "round"',
        ),
        (
            {"outline": "wedge", "joint": "rebate", **LEANING},
            r'enclosure\.joint.*Write enclosure\.joint = "butt"',
        ),
    ],
)
def test_outlines_that_cannot_be_are_refused(keys: dict[str, object], words: str) -> None:
    with pytest.raises(NoSolutionError, match=f"(?s){words}"):
        box(**keys)


def test_a_rebated_box_weighs_what_a_butt_jointed_one_weighs() -> None:
    """The same sides inside and outside: what is cut from front and back is what the others gain."""
    butt, rebated = box(), box(joint="rebate")
    assert rebated.wood_kg == pytest.approx(butt.wood_kg, rel=1e-9)
    assert rebated.balance.y_m == pytest.approx(butt.balance.y_m, abs=0.002)


def test_rebates_lengthen_what_lies_between_front_and_back() -> None:
    butt, rebated = box(), box(joint="rebate")
    assert rebated.net_volume_m3 == pytest.approx(butt.net_volume_m3)
    for name in ("top and bottom", "sides"):
        one = next(panel for panel in butt.panels if panel.name == name)
        other = next(panel for panel in rebated.panels if panel.name == name)
        along = "width_m" if name == "top and bottom" else "length_m"
        assert getattr(other, along) - getattr(one, along) == pytest.approx(2 * 0.009)
    assert {panel.rebate_m for panel in rebated.panels if panel.name in ("front", "back")} == {0.009}


def test_screw_holes_lie_in_the_wood_behind_and_clear_of_cut_outs() -> None:
    made = box(kind="vented", driver={"bolt_circle": "300 mm", "bolt_count": 8})
    front = next(panel for panel in made.panels if panel.name == "front")
    screws = [drill for drill in front.drills if drill.purpose == "screw"]
    assert len(screws) >= 12
    for drill in screws:
        edge = min(drill.x_m, drill.y_m, front.length_m - drill.x_m, front.width_m - drill.y_m)
        assert edge == pytest.approx(0.009)
        for hole in front.holes:
            assert math.hypot(drill.x_m - hole.x_m, drill.y_m - hole.y_m) > 0.5 * hole.width_m
    bolts = [drill for drill in front.drills if drill.purpose == "driver screw"]
    cut = next(hole for hole in front.holes if hole.purpose == "driver")
    assert len(bolts) == 8
    for bolt in bolts:
        assert math.hypot(bolt.x_m - cut.x_m, bolt.y_m - cut.y_m) == pytest.approx(0.15)
    use = next(part for part in made.parts if part.role == "box screws")
    assert use.quantity == sum(
        panel.count * sum(d.purpose == "screw" for d in panel.drills) for panel in made.panels
    )


def test_the_centre_of_gravity_moves_towards_the_driver() -> None:
    made = box(volume="60 l")
    balance = made.balance
    assert balance.x_m == pytest.approx(0.5 * made.outer_width_m)
    assert 0.0 < balance.y_m < 0.5 * made.outer_depth_m
    assert balance.z_m == pytest.approx(0.5 * made.outer_height_m, rel=0.02)
    assert balance.tip_g == pytest.approx(balance.y_m / balance.z_m)
    wedge = box(outline="wedge", **LEANING)
    assert wedge.balance.z_m < 0.5 * wedge.outer_height_m


def test_a_steep_wedge_does_not_run_out_to_an_edge() -> None:
    keys: dict[str, object] = {"outline": "wedge", "room_width": "555 mm", "room_height": "665 mm"}
    keys |= {"room_depth": "608 mm", "room_depth_top": "302 mm"}
    made = box("Skerry 8", panel_thickness="22 mm", front_layers=2, volume="32 l", **keys)
    assert made.inner_depth_m - 0.5 * made.back_slope * made.inner_height_m >= 0.05 - 1e-9
    section = 0.5 * (made.outer_depth_m + made.outer_depth_top_m) * made.outer_height_m
    walls = sum(board.volume_m3 for board in made.boards[:6])
    assert walls + made.gross_volume_m3 == pytest.approx(made.outer_width_m * section, rel=1e-9)
