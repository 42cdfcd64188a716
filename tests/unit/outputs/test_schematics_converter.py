"""The converter's sheets for builds of every kind: as the netlist joins, nothing covered, all in frame."""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations, pairwise

import pytest

from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.schematic_frame import DRAWING
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_symbols import STYLES, ResistorStyle
from subwright.outputs.schematic_trace import drawn_nets, real_nets, trace
from subwright.outputs.schematics import SchematicSheet, schematics
from subwright.parts.library import load_library

LIBRARY = load_library()
KEYS = ("converter", "controller", "gate-drive", "auxiliary")
BUILDS: dict[str, tuple[int, int, dict[str, object]]] = {
    "48 V bridge": (48, 300, {"mosfets_per_side": 2}),
    "48 V bridge regulated": (48, 200, {"output": "regulated", "auxiliary_feed": "winding"}),
    "12 V regulated": (12, 150, {"output": "regulated"}),
    "many cans": (12, 190, {"mosfets_per_side": 4, "input_capacitor": "EL 1000u 25V"}),
    "494 with follower": (24, 150, {"topology": "push-pull", "controller": "TL494", "gate_drive": "buffer"}),
    "494 with divider": (12, 150, {"controller": "TL494", "dead_time": "1.5 us"}),
    "494 regulated": (12, 150, {"controller": "TL494", "output": "regulated", "dead_time": "1.5 us"}),
    "494 bridge regulated": (48, 150, {"controller": "TL494", "output": "regulated"}),
    "3524": (12, 150, {"controller": "SG3524"}),
    "3524 bridge regulated": (48, 150, {"controller": "SG3524", "output": "regulated"}),
    "3846": (12, 150, {"controller": "UC3846"}),
    "3846 bridge regulated": (48, 150, {"controller": "UC3846", "output": "regulated"}),
    "direct": (12, 150, {"gate_drive": "direct"}),
    "two clamp cases": (12, 190, {"clamp": "resistor"}),
    "four a side, regulated": (12, 150, {"mosfets_per_side": 4, "output": "regulated"}),
    "four a side, straight from the controller": (12, 150, {"mosfets_per_side": 4, "gate_drive": "direct"}),
    "three at a corner": (48, 200, {"mosfets_per_side": 3}),
    "four at a corner over the shunt": (48, 200, {"mosfets_per_side": 4, "output": "regulated"}),
    **{
        f"{count} a side over the shunt": (24, 320, {"mosfets_per_side": count, "mosfet": "IRFB4115"})
        for count in (2, 3, 4)
    },
}


@cache
def sheets(name: str, style: ResistorStyle) -> tuple[SchematicSheet, ...]:
    system, power, wishes = BUILDS[name]
    spec = {
        "format_version": 1,
        "name": name,
        "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
        "driver": {"part": "Harbour 10"},
        "goal": {"power": f"{power} W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": "class_d_half_bridge"},
        "enclosure": {"kind": "sealed"},
        "converter": wishes,
        "protection": {"over_current": "shunt" if "shunt" in name else "none"},
    }
    made = schematics(solve_build(BuildSpec.model_validate(spec), LIBRARY), LIBRARY, style=style)
    assert [reason for title, reason in made.missing if "onverter" in title or title == "Gate drive"] == []
    return tuple(sheet for sheet in made.sheets if sheet.key in KEYS)


pytestmark = pytest.mark.parametrize("name", BUILDS)


@pytest.mark.parametrize("style", STYLES)
def test_nothing_is_covered_and_all_is_inside(name: str, style: ResistorStyle) -> None:
    left, top, right, bottom = DRAWING
    for sheet in sheets(name, style):
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in combinations([*texts], 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for (a, box_a), (b, box_b) in combinations(sheet.bodies, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for a, b in combinations(sheet.marks, 2):
            assert overlap(a, b) == 0.0, (sheet.key, a, b)
        for what, box in [*texts, *sheet.bodies, *(("mark", box) for box in sheet.marks)]:
            inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
            assert inside, (sheet.key, what, box)


def test_notes_keep_clear_of_the_drawing(name: str) -> None:
    """Long notes grow upwards out of their corner."""
    for sheet in sheets(name, "iec"):
        tops = [float(y) for y in re.findall(r'<text x="106" y="([\d.]+)" class="sm t"', sheet.svg)]
        assert tops, sheet.key
        notes = (76.0, min(tops) - 11.0, 726.0, 794.0)
        drawn = [*((str(label.lines), label.box) for label in sheet.labels), *sheet.fixed, *sheet.bodies]
        for what, box in [*drawn, *(("mark", box) for box in sheet.marks)]:
            assert overlap(notes, box) == 0.0, (sheet.key, what)


def test_the_drawing_joins_what_the_netlist_joins(name: str) -> None:
    for sheet in sheets(name, "iec"):
        found, problems = drawn_nets([sheet.svg])
        real = real_nets(sheet.circuit, without=frozenset({"BT101"}))
        assert not problems
        assert set(found) == set(real)
        for first, second in combinations(sorted(real), 2):
            assert (found[first] == found[second]) is (real[first] == real[second]), (first, second)


def test_no_wire_runs_through_a_symbol_or_a_flag(name: str) -> None:
    for sheet in sheets(name, "iec"):
        runs = [
            [tuple(map(int, corner.split())) for corner in written.split("L")]
            for written in re.findall(r'data-wire="" d="M([^"]+)"', sheet.svg)
        ]
        for a, b in [(a, b) for run in runs for a, b in pairwise(run)]:
            wire = (
                min(a[0], b[0]) - 0.5,
                min(a[1], b[1]) - 0.5,
                max(a[0], b[0]) + 0.5,
                max(a[1], b[1]) + 0.5,
            )
            for what, box in [*sheet.bodies, *(("mark", box) for box in sheet.marks)]:
                if what == "mark" and box[2] - box[0] < 12:
                    continue  # test points sit on their wire
                slim = (box[0] + 3, box[1] + 3, box[2] - 3, box[3] - 3)
                assert overlap(wire, slim) == 0.0, (sheet.key, what, a, b)


def test_a_group_names_every_part_that_it_stands_for(name: str) -> None:
    sheet = next(sheet for sheet in sheets(name, "iec") if sheet.key == "converter")
    cans = sheet.circuit.by_role("input capacitor")
    drawn = {part for run in trace(sheet.svg) for part, _ in run.pins}
    assert {can.designator for can in cans} <= drawn
    words = [line for label in sheet.labels for line in label.lines]
    if len(cans) > 1:
        assert any(line.startswith(f"{len(cans)} × ") for line in words)
        assert f"{cans[0].designator}–{cans[-1].designator}" in words
