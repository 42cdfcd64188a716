"""Electronics inside the box: the corner kept for them is clear of everything else, or refused."""

from __future__ import annotations

import math

import pytest

from subwright.base.errors import NoSolutionError
from subwright.outputs.box_views import box_views_svg
from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureResult, EnclosureSpec, design_enclosure

CORNERS = ("rear left bottom", "rear right bottom", "rear left top", "rear right top")


def box(part: str = "Harbour 10", driver: dict[str, object] | None = None, **keys: object) -> EnclosureResult:
    group = design_driver(DriverSpec.model_validate({"part": part, **(driver or {})}), load_library())
    need = EnclosureNeed(drive_v=group.rated_v, source_ohm=0.1)
    asked = EnclosureSpec.model_validate({"electronics_inside": True, **keys})
    return design_enclosure(asked, group, design_cabin(CabinSpec()), need)


WEDGE = {"room_width": "900 mm", "room_height": "420 mm", "room_depth": "430 mm", "room_depth_top": "270 mm"}
SLOT = {"kind": "vented", "port_kind": "slot", "volume": "40 l", "tuning": "40 Hz", "port_bend": "one bend"}
CASES: dict[str, dict[str, object]] = {
    "sealed": {},
    "large": {"volume": "60 l", "electronics": "3 l"},
    "vented": {"kind": "vented", "volume": "45 l", "port_bend": "straight", "tuning": "38 Hz"},
    "slot": SLOT,
    "straight slot": {**SLOT, "volume": "60 l", "tuning": "45 Hz", "port_bend": "straight"},
    "wedge": {"outline": "wedge", **WEDGE},
    "band-pass": {"kind": "band-pass", "electronics": "0.5 l"},
    "braced": {"volume": "80 l", "braces": 2},
    "rebated": {"joint": "rebate"},
}


@pytest.mark.parametrize("keys", CASES.values(), ids=CASES)
def test_every_point_of_the_compartment_is_free(keys: dict[str, object]) -> None:
    """By another route: points of its surface and inside against walls, boards, motor and duct."""
    made = box(**keys)
    room = made.compartment
    assert room is not None
    assert math.prod(room.sides_m) >= room.volume_m3
    assert math.prod(room.sides_m) <= 1.05 * room.volume_m3
    assert made.displaced_m3["electronics"] == room.volume_m3
    t = made.panels[0].thickness_m
    steps = [i / 12 for i in range(13)]
    spots = [
        tuple(low + s * (high - low) for low, high, s in zip(room.low_m, room.high_m, (a, b, c), strict=True))
        for a in steps
        for b in steps
        for c in steps
    ]
    front = next(panel for panel in made.panels if panel.name == "front")
    thick = t * made.front_layers
    for x, y, z in spots:
        assert t - 1e-9 <= x <= made.outer_width_m - t + 1e-9
        assert t - 1e-9 <= z <= made.outer_height_m - t + 1e-9
        assert y <= made.outer_depth_m - made.back_slope * z - t * math.hypot(1.0, made.back_slope) + 1e-9
        assert y >= made.front_slope * z + thick * math.hypot(1.0, made.front_slope) - 1e-9
        for board in made.boards[6:]:
            ys, zs = zip(*board.profile_m, strict=True)
            inside = board.left_m < x < board.right_m and min(ys) < y < max(ys) and min(zs) < z < max(zs)
            assert not inside, board.name
        if made.chambers is not None:
            assert x <= t + made.chambers.rear_width_m + 1e-9
            continue
        assert made.driver_depth_m is not None
        for hole in front.holes:
            off = math.hypot(x - hole.x_m, z - hole.y_m)
            if hole.purpose == "driver" and made.front_slope == 0.0:
                share = 1.0 if y < 0.45 * made.driver_depth_m else 0.55
                assert off > 0.5 * share * hole.width_m or y > made.driver_depth_m
            if hole.purpose == "port" and hole.shape == "round":
                assert made.port is not None
                assert off > 0.5 * hole.width_m or y > made.port.length_m
        if made.port is not None and made.port.height_m is not None:
            straight = made.port.bend == "straight"
            assert z >= t + made.port.height_m + t - 1e-9 or (straight and y > made.port.length_m)


@pytest.mark.parametrize("corner", CORNERS)
def test_a_corner_asked_for_is_the_corner_taken(corner: str) -> None:
    made = box(volume="60 l", electronics_corner=corner)
    room = made.compartment
    assert room is not None
    assert room.corner == corner
    middle = 0.5 * (room.low_m[0] + room.high_m[0])
    assert (middle < 0.5 * made.outer_width_m) is ("left" in corner)
    upright = 0.5 * (room.low_m[2] + room.high_m[2])
    assert (upright < 0.5 * made.outer_height_m) is corner.endswith("bottom")
    assert room.high_m[1] == pytest.approx(made.outer_depth_m - 0.018)


def test_auto_goes_round_what_is_in_the_way() -> None:
    made = box(**SLOT)
    assert made.compartment is not None
    assert made.compartment.corner.endswith("top")
    with pytest.raises(NoSolutionError, match=r"port in the way") as caught:
        box(**SLOT, electronics_corner="rear left bottom")
    assert caught.value.quantity == "enclosure.electronics_corner"
    assert "electronics_inside" in (caught.value.remedy or "")


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"room_depth": "200 mm", "room_height": "320 mm", "electronics": "6 l"}, "driver"),
        ({"volume": "50 l", "braces": 3, "electronics": "7 l"}, "ring brace"),
    ],
)
def test_a_collision_names_what_is_hit(keys: dict[str, object], words: str) -> None:
    with pytest.raises(NoSolutionError, match=words):
        box(**keys)


def test_outside_there_is_no_compartment_and_inside_every_view_shows_it() -> None:
    assert box(electronics_inside=False).compartment is None
    plain = box_views_svg(box(electronics_inside=False), title="A box")
    drawn = box_views_svg(box(volume="60 l"), title="A box")
    assert plain.count('class="ref"') == 0
    assert drawn.count('class="ref"') == 3
    assert "electronics rear left bottom" in drawn
