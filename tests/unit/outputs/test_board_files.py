"""A board's files read back by a reader that is not ours, and compared with the board."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace
from itertools import combinations

import pytest
from board_sample import SAMPLE
from gerbonara import ExcellonFile, GerberFile
from gerbonara.apertures import CircleAperture, ObroundAperture
from gerbonara.graphic_objects import Flash, Line
from gerbonara.ipc356 import Netlist
from gerbonara.utils import MM

from subwright.boards.record import Board
from subwright.outputs.board_legend import LEAST_LETTER_UM, box_of, letterings
from subwright.outputs.board_lettering import _SHAPES, text_strokes, text_width_um
from subwright.outputs.board_lists import PLACES_HEADER, places_csv, stuffing_rows
from subwright.outputs.board_test import finished_board_text
from subwright.outputs.drill import drill_files, holes_by_diameter
from subwright.outputs.gerber import MASK_MARGIN_UM, gerber_files

Land = tuple[int, int, int, int]


def layers(board: Board = SAMPLE) -> dict[str, GerberFile]:
    made = gerber_files(board, build="Van, 100 % *blue*", code="4F7K-0QZ3")
    return {name: GerberFile.from_string(text) for name, text in made.items()}


def um(value: float) -> int:
    """A micrometre is a thousand of the format's steps: reading back may not round."""
    assert math.isclose(value * 1000, round(value * 1000), abs_tol=1e-6), value
    return round(value * 1000)


def lands(board: Board) -> dict[tuple[int, int], tuple[int, int, str]]:
    found = {
        (pad.x_um, pad.y_um): (pad.across_um, pad.along_um, pad.net)
        for placed in board.placed
        for pad in placed.pads
    }
    for link in board.links:
        found |= dict.fromkeys((link.start, link.end), (link.pad_um, link.pad_um, link.net))
    return found | {(w.x_um, w.y_um): (w.pad_um, w.pad_um, w.net) for w in board.wire_pads}


def size(flash: Flash) -> tuple[int, int]:
    tool = flash.aperture
    if isinstance(tool, CircleAperture):
        return um(tool.diameter), um(tool.diameter)
    assert isinstance(tool, ObroundAperture)
    return um(tool.w), um(tool.h)


def test_copper_is_the_boards() -> None:
    found = layers()["copper-bottom.gbr"]
    flashes = [one for one in found.objects if isinstance(one, Flash)]
    read = {(um(one.x), um(one.y)): (*size(one), one.attrs[".N"][0].replace("N/C", "")) for one in flashes}
    assert len(read) == len(flashes)
    assert read == lands(SAMPLE)
    lines = [
        (um(o.x1), um(o.y1), um(o.x2), um(o.y2), um(o.aperture.diameter), o.attrs[".N"][0])
        for o in found.objects
        if isinstance(o, Line)
    ]
    wanted = [
        (*a, *b, track.width_um, track.net)
        for track in SAMPLE.tracks
        for a, b in zip(track.points, track.points[1:], strict=False)
    ]
    assert sorted(lines) == sorted(wanted)
    assert len(found.objects) == len(flashes) + len(lines)


def test_pins_are_named_at_their_pads() -> None:
    flashes = [one for one in layers()["copper-bottom.gbr"].objects if isinstance(one, Flash)]
    read = {one.attrs[".P"]: (um(one.x), um(one.y)) for one in flashes}
    for placed in SAMPLE.placed:
        for pad in placed.pads:
            assert read[pad.case, pad.pin] == (pad.x_um, pad.y_um)
    assert all(one.attrs[".C"] == (one.attrs[".P"][0],) for one in flashes)
    assert all("ComponentPad" in dict(one.aperture.attrs)[".AperFunction"] for one in flashes)


def test_mask_is_open_over_every_pad_and_nowhere_else() -> None:
    objects = layers()["soldermask-bottom.gbr"].objects
    read = {(um(one.x), um(one.y)): size(one) for one in objects}
    more = 2 * MASK_MARGIN_UM
    assert read == {at: (across + more, along + more) for at, (across, along, _) in lands(SAMPLE).items()}


def test_profile_is_the_bare_board() -> None:
    (left, low), (right, high) = layers()["profile.gbr"].bounding_box(MM)
    pen = um(layers()["profile.gbr"].objects[0].aperture.diameter)
    assert (um(left) + pen // 2, um(low) + pen // 2) == (0, 0)
    assert (um(right) - pen // 2, um(high) - pen // 2) == (SAMPLE.width_um, SAMPLE.height_um)


def test_legend_stays_on_the_board_and_off_the_holes() -> None:
    objects = layers()["legend-top.gbr"].objects
    assert len(objects) > 60
    (left, low), (right, high) = layers()["legend-top.gbr"].bounding_box(MM)
    assert min(left, low) > 0
    assert right * 1000 < SAMPLE.width_um
    assert high * 1000 < SAMPLE.height_um


@pytest.mark.parametrize(
    ("name", "function", "polarity"),
    [
        ("copper-bottom.gbr", ("Copper", "L2", "Bot"), "Positive"),
        ("soldermask-bottom.gbr", ("Soldermask", "Bot"), "Negative"),
        ("legend-top.gbr", ("Legend", "Top"), "Positive"),
        ("profile.gbr", ("Profile", "NP"), "Positive"),
    ],
)
def test_layers_say_what_they_are(name: str, function: tuple[str, ...], polarity: str) -> None:
    attributes = layers()[name].file_attrs
    assert attributes[".FileFunction"] == function
    assert attributes[".FilePolarity"] == (polarity,)
    assert attributes[".Part"] == ("Single",)
    # fields keep what would steer the format by number: comma, per cent, star
    assert attributes[".ProjectId"][0] == r"Van\u002C 100 \u0025 \u002Ablue\u002A: Line-level filter"
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", attributes[".ProjectId"][1])


def test_same_board_same_bytes() -> None:
    first, second = (gerber_files(replace(SAMPLE), build="a", code="b") for _ in range(2))
    assert first == second
    assert drill_files(SAMPLE) == drill_files(replace(SAMPLE))


def test_holes_come_back() -> None:
    files = drill_files(SAMPLE)
    assert list(files) == ["holes-unplated.drl"]  # nothing of a board with one copper side is plated
    read = ExcellonFile.from_string(files["holes-unplated.drl"])
    found = sorted((um(one.aperture.diameter), um(one.x), um(one.y)) for one in read.objects)
    wanted = sorted((d, x, y) for d, places in holes_by_diameter(SAMPLE).items() for x, y in places)
    assert found == wanted
    holes = sum(len(p.pads) for p in SAMPLE.placed) + 2 * len(SAMPLE.links) + len(SAMPLE.wire_pads)
    assert len(found) == holes + len(SAMPLE.holes)


def test_plated_holes_have_a_file_of_their_own() -> None:
    chip = SAMPLE.placed[2]
    plated = replace(chip, pads=tuple(replace(pad, plated=True) for pad in chip.pads))
    files = drill_files(replace(SAMPLE, placed=(*SAMPLE.placed[:2], plated)))
    assert "FileFunction,Plated,1,2,PTH" in files["holes-plated.drl"]
    read = {name: ExcellonFile.from_string(text) for name, text in files.items()}
    assert len(read["holes-plated.drl"].objects) == len(chip.pads)
    whole = ExcellonFile.from_string(drill_files(SAMPLE)["holes-unplated.drl"])
    assert len(read["holes-unplated.drl"].objects) == len(whole.objects) - len(chip.pads)


def test_test_records_come_back() -> None:
    """Read by another reader of IPC-D-356A: nets, pins, holes, places and sizes."""
    text = finished_board_text(SAMPLE, build="Van", code="4F7K-0QZ3", made_with="subwright")
    assert {len(line) for line in text.splitlines()} == {80}
    records = Netlist.from_string(text, filename="board.d356").test_records
    pads = [one for one in records if one.pad_type.name == "THROUGH_HOLE"]
    read = {(um(one.x), um(one.y)): (um(one.w), um(one.h), one.net_name or "") for one in pads}
    assert read == lands(SAMPLE)
    named = {(one.ref_des, one.pin): (um(one.x), um(one.y), um(one.hole_dia)) for one in pads}
    for placed in SAMPLE.placed:
        for pad in placed.pads:
            assert named[pad.case, pad.pin] == (pad.x_um, pad.y_um, pad.hole_um)
    assert {one.access_layer for one in pads} == {2}
    assert {one.is_plated for one in pads} == {False}
    assert len(records) - len(pads) == len(SAMPLE.holes)


def test_a_long_net_goes_by_an_alias() -> None:
    long = "PROTECTION.THERMAL_SENSE"
    track = replace(SAMPLE.tracks[2], net=long)
    resistor = SAMPLE.placed[0]
    pads = (replace(resistor.pads[0], net=long), resistor.pads[1])
    board = replace(SAMPLE, tracks=(track,), placed=(replace(resistor, pads=pads),))
    text = finished_board_text(board, build="Van", code="", made_with="")
    assert f"P  NNAME1    {long}" in text
    records = Netlist.from_string(text, filename="board.d356").test_records
    assert long in {one.net_name for one in records}


def test_places_list_every_pin() -> None:
    rows = list(csv.DictReader(io.StringIO(places_csv(SAMPLE), newline="")))
    assert tuple(rows[0]) == PLACES_HEADER
    assert len(rows) == len(lands(SAMPLE))
    chip = {row["pin"]: row for row in rows if row["part"] == "U101"}
    assert (chip["1"]["pin x mm"], chip["1"]["pin y mm"], chip["1"]["hole mm"]) == (
        "29.210",
        "22.860",
        "0.900",
    )
    assert chip["1"]["net"] == "OUT"


def test_stuffing_goes_from_low_to_high() -> None:
    rows = stuffing_rows(SAMPLE)
    assert [row[1] for row in rows] == ["link 1", "D101", "R101", "U101"]
    assert rows[0][2:4] == ("0.6 mm bare tinned wire", "10.16 mm long")
    assert rows[1][4] == "band at the line"
    assert rows[3][4] == "notch at the ring"


def test_names_can_be_read_and_lie_on_nothing() -> None:
    found = letterings(SAMPLE)
    named = {one.of for one in found if one.kind in ("part", "wire")}
    assert named == {"R101", "D101", "U101", "IN", "0 V", "OUT", "+OP", "−OP"}
    assert not any(one.crowded for one in found)
    assert all(one.size_um >= LEAST_LETTER_UM for one in found)
    for a, b in combinations(found, 2):
        assert a.box[2] <= b.box[0] or b.box[2] <= a.box[0] or a.box[3] <= b.box[1] or b.box[3] <= a.box[1]
    for one in found:
        for diameter, places in holes_by_diameter(SAMPLE).items():
            for x, y in places:
                away = max(one.box[0] - x, x - one.box[2], one.box[1] - y, y - one.box[3])
                assert away >= diameter / 2, one
        for placed in SAMPLE.placed:
            left, low, right, high = box_of(placed.body)
            inside = one.box[0] < right and one.box[2] > left and one.box[1] < high and one.box[3] > low
            assert not inside or one.of == placed.case


def test_a_board_too_full_for_its_names_says_so() -> None:
    """Bodies over each other: a name that finds no free place is kept and marked."""
    board = replace(SAMPLE, width_um=8_000, height_um=4_000, links=(), wire_pads=(), holes=(), placed=())
    crowd = tuple(
        replace(
            SAMPLE.placed[0],
            case=f"R{n}",
            body=replace(
                SAMPLE.placed[0].body, points=((500, 500), (7_500, 500), (7_500, 3_500), (500, 3_500))
            ),
        )
        for n in range(101, 106)
    )
    found = letterings(replace(board, placed=crowd))
    assert {one.of for one in found if one.kind == "part"} == {f"R{n}" for n in range(101, 106)}
    assert any(one.crowded for one in found)


@pytest.mark.parametrize("letter", sorted(_SHAPES))
def test_every_letter_stays_in_its_box(letter: str) -> None:
    for turn in (0, 90):
        for x, y in (place for stroke in text_strokes(letter, 0, 0, 1_200, turn) for place in stroke):
            across, up = (y, x) if turn else (x, y)
            assert abs(across) <= text_width_um(letter, 1_200) / 2 + 1
            assert abs(up) <= 601


def test_letters_differ() -> None:
    assert len(set(_SHAPES.values())) == len(_SHAPES)
    assert text_strokes("r1", 0, 0, 1_200) == text_strokes("R1", 0, 0, 1_200)
    assert text_strokes("−", 0, 0, 1_200) == text_strokes("-", 0, 0, 1_200)
    assert text_strokes("", 0, 0, 1_200) == ()
    assert text_width_um("", 1_200) == 0


def test_a_name_rather_lies_over_a_links_wire_than_over_a_part() -> None:
    resistor = SAMPLE.placed[0]
    body = replace(resistor.body, points=((500, 500), (7_500, 500), (7_500, 3_500), (500, 3_500)))
    link = replace(SAMPLE.links[0], start=(4_000, -500), end=(4_000, 5_000))
    board = replace(SAMPLE, width_um=8_000, height_um=4_000, wire_pads=(), holes=(), tracks=(), links=(link,))
    pads = tuple(replace(pad, x_um=pad.x_um + 90_000) for pad in resistor.pads)
    board = replace(board, placed=(replace(resistor, body=body, pads=pads),))
    name = next(one for one in letterings(board) if one.kind == "part")
    assert not name.crowded
    assert name.box[0] < 4_000 < name.box[2]
