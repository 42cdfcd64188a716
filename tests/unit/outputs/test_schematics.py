"""The schematics say what the netlists say, nothing covers anything, and they end inside the frame."""

from __future__ import annotations

import dataclasses
import re
from contextlib import suppress
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.outputs.bom import designators
from subwright.outputs.schematic_blocks import blocks, drawn_designators
from subwright.outputs.schematic_exports import netlist_csv, spice_text
from subwright.outputs.schematic_files import build_pins
from subwright.outputs.schematic_frame import DRAWING
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_symbols import STYLES
from subwright.outputs.schematic_trace import agree, drawn_nets, real_nets, trace
from subwright.outputs.schematics import Schematics, schematics
from subwright.parts.library import Library
from subwright.service.solved import library_of

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))


@cache
def solved(path: Path) -> tuple[Design, Library]:
    made = service.solve(path)
    return made.design, library_of(made)


@cache
def drawn(path: Path) -> Schematics:
    return schematics(*solved(path))


pytestmark = pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.partition(".")[0])


def test_every_block_has_its_sheet(path: Path) -> None:
    made = drawn(path)
    assert made.missing == ()
    wanted = {"wiring", "filter", "protection", "amplifier"} | (
        {"converter"} if solved(path)[0].converter else set()
    )
    assert wanted <= {sheet.key for sheet in made.sheets}


def test_the_drawing_joins_what_the_netlist_joins(path: Path) -> None:
    """An own route: pairs of pins that share a net, drawn and real, without the check that ships."""
    for block in drawn(path).blocks:
        found, problems = drawn_nets([sheet.svg for sheet in drawn(path).sheets if sheet.block == block.key])
        real = real_nets(block.circuit, with_inherent=block.drawn_inherent, without=block.elsewhere)
        assert not problems
        assert set(found) == set(real)
        pairs = set(combinations(sorted(real), 2))
        joined = {pair for pair in pairs if found[pair[0]] == found[pair[1]]}
        assert joined == {pair for pair in pairs if real[pair[0]] == real[pair[1]]}


def test_a_wrong_wire_is_caught(path: Path) -> None:
    sheets = [sheet for sheet in drawn(path).sheets if sheet.block == "filter"]
    sheet, others = sheets[0], [sheet.svg for sheet in sheets[1:]]
    wires = re.findall(r'<path data-wire="" d="[^"]+" class="[^"]+"/>', sheet.svg)
    agree(sheet.circuit, [sheet.svg, *others])
    caught = 0
    for wire in wires[::3]:
        with suppress(SubwrightError):
            agree(sheet.circuit, [sheet.svg.replace(wire, "", 1), *others])
            continue
        caught += 1
    assert caught > 0.8 * len(wires[::3])  # the others join places that bear one name anyway
    places = dict(re.findall(r'data-part="([^"]+)" data-pins="([^"]+)"', sheet.svg))
    here = [item for item in real_nets(sheet.circuit).items() if item[0][0] in places]
    pins = sorted(here, key=lambda item: item[1])
    (first, _), (last, _) = pins[0], pins[-1]
    a, b = (_place(places[name], pin) for name, pin in (first, last))
    short = f'<path data-wire="" d="M{a[0]} {a[1]}L{b[0]} {a[1]}L{b[0]} {b[1]}" class="wire"/></svg>'
    with pytest.raises(SubwrightError, match="doesn't agree"):
        agree(sheet.circuit, [sheet.svg.replace("</svg>", short), *others])


def _place(written: str, pin: str) -> tuple[int, int]:
    found = re.search(rf"(?:^| ){re.escape(pin)}@(-?\d+),(-?\d+)", written)
    assert found
    return int(found.group(1)), int(found.group(2))


def test_no_text_covers_anything(path: Path) -> None:
    for sheet in drawn(path).sheets:
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == []
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in combinations(texts, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for (a, box_a), (b, box_b) in combinations(sheet.bodies, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for words, box in texts:
            assert all(overlap(box, body) == 0.0 for _, body in sheet.bodies), (sheet.key, words)


def test_everything_is_inside_the_frame(path: Path) -> None:
    left, top, right, bottom = DRAWING
    for sheet in drawn(path).sheets:
        boxes = [(" ".join(label.lines), label.box) for label in sheet.labels]
        marks = [("mark", box) for box in sheet.marks]
        for what, box in [*boxes, *marks, *sheet.fixed, *sheet.bodies]:
            inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
            assert inside, (sheet.key, what, box)
        written = "".join(re.findall(r'data-wire="" d="([^"]+)"', sheet.svg))
        for x, y in re.findall(r"[ML](-?\d+) (-?\d+)", written):
            assert left <= int(x) <= right
            assert top <= int(y) <= bottom


def _grown(box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """A text's box, so much larger that the margin that a symbol's leads need leaves it whole."""
    return box[0] - 2.5, box[1] - 2.5, box[2] + 2.5, box[3] + 2.5


def test_no_wire_lies_on_another_or_through_a_symbol(path: Path) -> None:
    for sheet in drawn(path).sheets:
        runs = [
            [tuple(map(int, corner.split())) for corner in written.split("L")]
            for written in re.findall(r'data-wire="" d="M([^"]+)"', sheet.svg)
        ]
        stretches = [(a, b) for run in runs for a, b in pairwise(run)]
        for (a, b), (c, d) in combinations(stretches, 2):
            for axis in (0, 1):
                if a[axis] == b[axis] == c[axis] == d[axis]:
                    low = max(min(a[1 - axis], b[1 - axis]), min(c[1 - axis], d[1 - axis]))
                    high = min(max(a[1 - axis], b[1 - axis]), max(c[1 - axis], d[1 - axis]))
                    assert high <= low, (sheet.key, a, b, c, d)
        for name, body in [*sheet.bodies, *((words, _grown(box)) for words, box in sheet.fixed)]:
            for a, b in stretches:
                left, right = sorted((a[0], b[0]))
                top, bottom = sorted((a[1], b[1]))
                box = (left - 0.5, top - 0.5, right + 0.5, bottom + 0.5)
                slim = (body[0] + 3, body[1] + 3, body[2] - 3, body[3] - 3)
                assert overlap(box, slim) == 0.0, (sheet.key, name, a, b)


@pytest.mark.parametrize("style", STYLES)
def test_sheets_are_a4_and_repeat(path: Path, style: str) -> None:
    stamp = "NOT READY TO BUILD: SUP-01"
    again = schematics(*solved(path), style="us" if style == "us" else "iec", stamp=stamp)
    for one in again.sheets:
        root = ET.fromstring(one.alone)
        assert (root.get("width"), root.get("height")) == ("297mm", "210mm")
        assert stamp in one.alone
    if style == "iec":
        plain = schematics(*solved(path))
        assert [sheet.svg for sheet in plain.sheets] == [sheet.svg for sheet in drawn(path).sheets]


def test_designators_are_those_of_the_bill(path: Path) -> None:
    design, library = solved(path)
    found, _ = blocks(design, library)
    given = designators(tuple(design.part_uses()), drawn_designators(found))
    every = [name for names in given.values() for name in names]
    assert len(set(every)) == len(every)
    for block in found:
        for part in block.circuit.parts:
            if part.standing == "bought":
                wound = part.role == "output inductor"  # bought as its core
                role = (
                    "output inductor core"
                    if wound and (block.stage_of(part.role), part.role) not in given
                    else part.role
                )
                assert part.case in given[block.stage_of(role), role]
    for block in drawn(path).blocks:
        own = [sheet for sheet in drawn(path).sheets if sheet.block == block.key]
        names = {name for sheet in own for run in trace(sheet.svg) for name, _ in run.pins}
        bought = {part.case for part in block.circuit.parts if part.standing == "bought"}
        assert bought <= {re.sub(r"(?<=\d)[A-Z]$", "", name) for name in names}


def test_every_block_has_test_points_and_each_says_what_it_reads(path: Path) -> None:
    for block in drawn(path).blocks:
        assert block.circuit.test_points, block.key
        silent = [point.net for point in block.circuit.test_points if not point.readings]
        assert silent == [], block.key


def test_exports_hold_every_part(path: Path) -> None:
    design, library = solved(path)
    found, _ = blocks(design, library)
    listed = netlist_csv(build_pins(drawn(path), library))
    for block in found:
        text = spice_text(block)
        assert text.endswith(".end\n")
        for part in block.circuit.parts:
            assert part.designator in text
            if part.standing == "bought" and part.kind not in ("op-amp", "comparator"):
                assert f",{part.designator}," in listed


def test_a_block_without_a_circuit_is_named(path: Path) -> None:
    design, library = solved(path)
    if design.protection is None or design.protection.reference.clamp_id == "":
        pytest.skip("needs a protection")
    lost = dataclasses.replace(design.protection, comparator="no such comparator")
    made = schematics(dataclasses.replace(design, protection=lost), library)
    assert [title for title, _ in made.missing] == ["Protection"]
    assert "protection" not in {sheet.key for sheet in made.sheets}
