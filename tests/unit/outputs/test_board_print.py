"""The true-size print: measured on the page as it is set, not in the drawing that goes into it."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from importlib.resources import files

import numpy as np
import pytest
import typst
from board_sample import SAMPLE
from PIL import Image

from subwright.base.errors import SubwrightError
from subwright.boards.record import Board
from subwright.outputs.board_drawing import BAR_UM, assembly_svg, copper_print, drill_print, drill_signs
from subwright.outputs.board_legend import legend_strokes, letterings
from subwright.outputs.board_lettering import text_strokes
from subwright.outputs.board_print import boards_pdf, print_data
from subwright.outputs.made_board import MadeBoard

PPI = 254.0  # ten dots to a millimetre
DOTS_MM = PPI / 25.4


def made(board: Board = SAMPLE) -> MadeBoard:
    return MadeBoard(board=board, off_board=(("Q301", "on the heatsink"),), least_gap_um=740, seconds=1.0)


@cache
def pages(board: Board) -> list[np.ndarray]:
    """The print's pages as grey values, set by the same template and data as the PDF."""
    template = files("subwright.outputs").joinpath("templates/boards.typ").read_bytes()
    data = print_data([made(board)], build="Van", code="4F7K-0QZ3")
    compiler = typst.Compiler(ignore_system_fonts=True)
    shown = compiler.compile(input=template, format="png", ppi=PPI, sys_inputs={"data": data}, timestamp=0)
    return [grey(one) for one in shown]


def grey(png: bytes) -> np.ndarray:
    """A page's grey values, shape (rows, columns)."""
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def longest_run(line: np.ndarray) -> tuple[int, int]:
    """Where the longest run of ink begins and how long it is."""
    if not line.any():
        return 0, 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], line.astype(int), [0]))))
    starts, lengths = edges[::2], edges[1::2] - edges[::2]
    best = int(lengths.argmax())
    return int(starts[best]), int(lengths[best])


def bars(page: np.ndarray) -> tuple[float, float]:
    """Lengths of the two bars on a page, mm: of 0.8 mm, that is solid for six dots across."""
    ink = page < 128
    found = []
    for picture in (ink, ink.T):
        solid = np.lib.stride_tricks.sliding_window_view(picture, 6, axis=0).all(axis=2)
        lines = [longest_run(line) for line in solid if line.sum() > 40 * DOTS_MM]
        found.append(max(length for _, length in lines) / DOTS_MM)
    return found[0], found[1]


def test_the_printed_bars_are_fifty_millimetres() -> None:
    across, along = bars(pages(SAMPLE)[1])
    assert across == pytest.approx(BAR_UM / 1000, abs=1.5 / DOTS_MM)  # a dot of the page
    assert along == pytest.approx(BAR_UM / 1000, abs=1.5 / DOTS_MM)  # a dot of the page


def test_the_printed_copper_is_the_boards() -> None:
    """Each pad's middle is white for the drill and its copper black, by the bars' place and scale."""
    page = pages(SAMPLE)[1] < 128
    left, top = corner(page)
    for placed in SAMPLE.placed:
        for pad in placed.pads:
            x = left + pad.x_um / 1000 * DOTS_MM
            y = top + (SAMPLE.height_um - pad.y_um) / 1000 * DOTS_MM
            assert not page[round(y), round(x)], pad
            reach = 0.35 * pad.along_um / 1000 * DOTS_MM
            assert page[round(y - reach), round(x)], pad
            assert page[round(y + reach), round(x)], pad


def corner(page: np.ndarray) -> tuple[float, float]:
    """Upper left corner of the board on a page, from the two bars, which start level with it."""
    solid = np.lib.stride_tricks.sliding_window_view(page, 6, axis=0).all(axis=2)
    row = next(line for line in solid if longest_run(line)[1] > 49 * DOTS_MM)
    column = next(
        line
        for line in np.lib.stride_tricks.sliding_window_view(page.T, 6, axis=0).all(axis=2)
        if longest_run(line)[1] > 49 * DOTS_MM
    )
    return float(longest_run(row)[0]), float(longest_run(column)[0])


def places(svg: str) -> set[tuple[float, float]]:
    found = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="0.200" fill="#fff"/>', svg)
    return {(float(x), float(y)) for x, y in found}


def test_the_copper_as_it_looks_is_the_mirror_image() -> None:
    through, copper = (copper_print(SAMPLE, seen_from=side) for side in ("components", "copper"))
    middle = 11.0 + SAMPLE.width_um / 2000
    flipped = {(round(2 * middle - x, 3), y) for x, y in places(through)}
    assert flipped == places(copper) != places(through)


def test_drills_are_counted() -> None:
    rows = drill_signs(SAMPLE)
    assert [row[0] for row in rows] == ["A", "B", "C", "D"]
    assert [row[1:] for row in rows] == [(800, 2), (900, 12), (1_200, 5), (3_200, 4)]
    drawn = drill_print(SAMPLE)
    assert drawn.count(">A</text>") == 2
    assert ">B</text>" not in drawn  # the commonest goes without
    assert drawn.count(">D</text>") == 4


def test_a_wide_board_is_turned_and_a_larger_one_has_no_true_size() -> None:
    wide = replace(SAMPLE, width_um=200_000, height_um=150_000)
    assert '"turned": true' in print_data([made(wide)], build="Van", code="")
    assert '"turned": false' in print_data([made()], build="Van", code="")
    large = print_data([made(replace(SAMPLE, width_um=260_000))], build="Van", code="")
    assert "no page at true size" in large
    assert "no page at true size" not in print_data([made(wide)], build="Van", code="")
    assert boards_pdf([made(replace(SAMPLE, width_um=260_000))], build="Van", code="").startswith(b"%PDF")
    with pytest.raises(SubwrightError, match="no such paper"):
        print_data([made()], build="Van", code="", paper="a3")  # type: ignore[arg-type]


def test_wires_to_gates_are_cautioned_where_there_are_some() -> None:
    gates = replace(SAMPLE, wire_pads=(replace(SAMPLE.wire_pads[0], name="GATE UA"), *SAMPLE.wire_pads[1:]))
    assert "Wires to gates" in print_data([made(), made(gates)], build="Van", code="")
    assert "Wires to gates" not in print_data([made()], build="Van", code="")


def test_the_print_repeats_byte_for_byte() -> None:
    first, second = (
        boards_pdf([made()], build="Van #1 *", code="4F7K-0QZ3", paper="letter") for _ in range(2)
    )
    assert first == second
    assert first.startswith(b"%PDF")


def test_the_drawing_names_every_part_and_shows_every_link() -> None:
    svg = assembly_svg(SAMPLE)
    for placed in SAMPLE.placed:
        assert svg.count(f'data-part="{placed.case}"') >= 2  # its body and its name
    assert svg.count("data-link=") == len(SAMPLE.links)
    for wire in SAMPLE.wire_pads:
        assert f">{wire.name}</text>" in svg
    sleeved = replace(SAMPLE, links=(replace(SAMPLE.links[0], insulated=True),))
    assert "1 in a sleeve" in assembly_svg(sleeved)
    assert "stroke-dasharray" in assembly_svg(sleeved)
    hostile = replace(SAMPLE, placed=(replace(SAMPLE.placed[0], label='<b>"&'),))
    assert "<b>" not in assembly_svg(hostile)


def test_each_true_size_print_says_which_face_it_is() -> None:
    said = (
        (copper_print(SAMPLE, seen_from="components"), "TO TRANSFER"),
        (copper_print(SAMPLE, seen_from="copper"), "TO COMPARE"),
        (drill_print(SAMPLE), "TO DRILL"),
    )
    for svg, words in said:
        assert [other for _, other in said if other in svg] == [words]


def test_values_stand_in_the_printed_legend() -> None:
    values = [one for one in letterings(SAMPLE) if one.kind == "value"]
    assert {one.text for one in values} >= {"4.7 kΩ", "TL072"}
    drawn = set(legend_strokes(SAMPLE))
    for one in values:
        assert set(text_strokes(one.text, one.x_um, one.y_um, one.size_um, one.turn)) <= drawn
