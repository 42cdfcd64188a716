"""Sheets of builds of every kind as a stranger reads them: nothing covered, nothing without its partner."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from functools import cache
from itertools import combinations, pairwise
from math import isfinite
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.base.units import code
from subwright.build.result import Design
from subwright.circuits.netlist import GROUND
from subwright.circuits.shunt_return import OUTPUT_SHUNT_NET, SHUNT_NET
from subwright.outputs.drawing import Box
from subwright.outputs.schematic_labels import gap, overlap
from subwright.outputs.schematic_texts import polarised
from subwright.outputs.schematics import Schematics, SchematicSheet, schematics
from subwright.service.solved import library_for
from subwright.stages.amplifier_supply_capacitors import CHIP_BYPASS, CHIP_RESERVOIR, LEG_FILM
from subwright.stages.common import PartUse
from subwright.web.german import german

EXAMPLES = Path(__file__).parents[3] / "examples"
VAN, BIKE, BOAT, WAGON = "storyteller-van", "cargo-bike-cinema", "canal-workboat", "harvest-wagon"
Changes = dict[str, dict[str, Any]]
BUILDS: dict[str, tuple[str, Changes]] = {
    "class G": (VAN, {"amplifier": {"kind": "class_g"}}),
    "class G behind a full bridge": (
        VAN,
        {
            "amplifier": {"kind": "class_g"},
            "converter": {"topology": "full-bridge"},
            "goal": {"power_w": 40.0},
        },
    ),
    "class H": (BIKE, {"amplifier": {"kind": "bridge_class_h"}}),
    "lateral, regulators": (
        VAN,
        {"amplifier": {"kind": "class_ab", "ab_output": "lateral"}, "goal": {"power_w": 50.0}},
    ),
    "bridge of pairs": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"}, "goal": {"power_w": 4.0}},
    ),
    "chip": (VAN, {"amplifier": {"kind": "class_ab"}, "goal": {"power_w": 20.0}}),
    "bridge chip": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0}, "goal": {"power_w": 8.0}},
    ),
    "bridge chip over the shunt": (
        BIKE,
        {
            "amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0},
            "goal": {"power_w": 8.0},
            "protection": {"over_current": "shunt"},
        },
    ),
    "full bridge, two at a corner": (
        VAN,
        {
            "supply": {"system_v": 48},
            "converter": {"output": "regulated", "topology": "full-bridge", "mosfets_per_side": 2},
        },
    ),
    "494 behind a zener": (
        VAN,
        {"supply": {"system_v": 48}, "converter": {"controller": "TL494", "topology": "full-bridge"}},
    ),
    "494 regulated": (
        VAN,
        {"converter": {"controller": "TL494", "output": "regulated", "dead_time_s": 1.5e-6}},
    ),
    "3524 regulated": (VAN, {"converter": {"controller": "SG3524", "output": "regulated"}}),
    "3846 regulated": (VAN, {"converter": {"controller": "UC3846", "output": "regulated"}}),
    "3525 regulated, small winding": (
        VAN,
        {"converter": {"output": "regulated", "auxiliary_feed": "winding"}},
    ),
    "boost, self-oscillating": (
        WAGON,
        {
            "amplifier": {"modulator": "self-oscillating"},
            "converter": {"gate_drive": "buffer", "disconnect": "fuse"},
        },
    ),
    "48 V bridge, self-oscillating": (
        BIKE,
        {
            "supply": {"system_v": 48},
            "amplifier": {"kind": "bridge_class_d", "modulator": "self-oscillating"},
            "goal": {"power_w": 150.0},
        },
    ),
    "equal parts, followers": (BOAT, {"filter": {"op_amp_supply": "follower", "topology": "equal"}}),
    "swept state-variable": (
        VAN,
        {
            "filter": {
                "topology": "state-variable",
                "sweep_low_hz": 50.0,
                "sweep_high_hz": 150.0,
                "boost_db": 6.0,
                "transform_hz": 35.0,
                "phase_control": True,
                "sensitivity_v": 0.25,
                "sensitivity_most_v": 2.0,
            },
            "input": {"receiver": "difference"},
        },
    ),
    "multiple feedback, speaker level": (
        VAN,
        {
            "filter": {"topology": "multiple-feedback", "phase_control": True},
            "input": {"source": "speaker"},
        },
    ),
    "every trimmer and shunt": (
        VAN,
        {
            "protection": {
                "thermal_trimmer": True,
                "trimmer": True,
                "over_current": "shunt",
                "amplifier_current": "shunt",
                "over_current_after": "latch",
            },
            "speaker_guard": {"switch": "relay", "contact": "grounded"},
            "battery_guard": {"reverse": "p_mosfet"},
        },
    ),
    "four a side over the shunt": (
        BOAT,
        {
            "protection": {"over_current": "shunt"},
            "converter": {"mosfets_per_side": 4},
            "speaker_guard": {"switch": "mosfet"},
        },
    ),
}
OUT_OF_THE_BUILD = {"REMOTE"}  # the vehicle's remote line


@cache
def made(name: str) -> tuple[Design, Schematics]:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    spec = spec.model_copy(update=parts)
    design = service.solve(spec, folder=EXAMPLES).design
    return design, schematics(design, library_for(spec, EXAMPLES))


pytestmark = pytest.mark.parametrize("name", BUILDS)


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _texts(sheet: SchematicSheet) -> list[tuple[str, Box]]:
    return [*((" ".join(label.lines), label.box) for label in sheet.labels), *sheet.fixed]


def _stretches(sheet: SchematicSheet) -> Iterator[Box]:
    for written in re.findall(r'data-wire="" d="M([^"]+)"', sheet.svg):
        corners = [tuple(map(int, corner.split())) for corner in written.split("L")]
        for (a, b), (c, d) in pairwise(corners):
            yield min(a, c) - 0.5, min(b, d) - 0.5, max(a, c) + 0.5, max(b, d) + 0.5


def test_texts_marks_symbols_wires_and_notes_keep_apart(name: str) -> None:
    """Every kind of thing against every other: a flag under a capacitor was nobody's to find."""
    drawn = made(name)[1]
    assert drawn.missing == ()
    for sheet in drawn.sheets:
        texts = _texts(sheet)
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key
        for things in (texts, sheet.bodies, [("mark", box) for box in sheet.marks]):
            for (a, one), (b, other) in combinations(things, 2):
                assert overlap(one, other) == 0.0, (sheet.key, a, b)
        for words, box in texts:
            assert [body for body, taken in sheet.bodies if overlap(box, taken) > 0.0] == [], words
            inner = _grown(box, -2.3)  # a bar's name grazes its own bar's box
            assert [mark for mark in sheet.marks if overlap(inner, mark) > 0.0] == [], (sheet.key, words)
        for body, box in sheet.bodies:
            inner = _grown(box, -1.0)
            assert [mark for mark in sheet.marks if overlap(inner, mark) > 0.0] == [], (sheet.key, body)
        things = [*sheet.bodies, *((words, _grown(box, 2.5)) for words, box in sheet.fixed)]
        for wire in _stretches(sheet):
            crossed = [what for what, box in things if overlap(wire, _grown(box, -3.0)) > 0.0]
            assert crossed == [], (sheet.key, wire)
        rows = [float(y) for y in re.findall(r'<text x="106" y="([\d.]+)" class="sm t"', sheet.svg)]
        notes = (76.0, min(rows) - 11.0, 726.0, 794.0)
        for what, box in [*texts, *sheet.bodies, *(("mark", box) for box in sheet.marks)]:
            assert overlap(notes, box) == 0.0, (sheet.key, what)


def test_a_flag_s_name_is_printed_where_it_leads(name: str) -> None:
    """A test point's ring is no name: TP102 doesn't say that its wire is DRAIN A."""
    drawn = made(name)[1]
    printed = Counter(word for sheet in drawn.sheets for word in sheet.written)
    flags = {word for sheet in drawn.sheets for word, is_flag in sheet.references if is_flag}
    assert {word for word in flags if printed[word] < 2} <= OUT_OF_THE_BUILD


def test_each_flag_has_the_numbers_of_all_other_sheets(name: str) -> None:
    drawn = made(name)[1]
    bearers: dict[str, set[int]] = defaultdict(set)
    for number, sheet in enumerate(drawn.sheets, 1):
        for word, _ in sheet.references:
            bearers[word].add(number)
    for number, sheet in enumerate(drawn.sheets, 1):
        told = [label for label in sheet.labels if label.lines[0].startswith("\u2192")]
        numbers = Counter(frozenset(_numbers(label.lines[0])) for label in told)
        flagged = {word for word, is_flag in sheet.references if is_flag}
        wanted = {word: frozenset(bearers[word] - {number}) for word in flagged}
        assert set(numbers) == {found for found in wanted.values() if found}, sheet.key
        for label in told:  # it stands beside its flag
            assert min(gap(label.box, mark) for mark in sheet.marks) < 30.0, (sheet.key, label.lines)
        bars = {word for word, is_flag in sheet.references if not is_flag and bearers[word] - {number}}
        note = next((words for words in sheet.notes if words.startswith("On other sheets too: ")), "")
        missing = [word for word in bars if word not in note and not re.search(rf"{word[:-1]}\d–\d", note)]
        assert missing == [], (sheet.key, note)
        assert bool(note) is bool(bars)


def _numbers(words: str) -> Iterator[int]:
    for run in words.removeprefix("\u2192 ").split(","):
        first, _, last = run.partition("\u2013")
        yield from range(int(first), int(last or first) + 1)


def test_sheets_with_pin_numbers_say_whose_they_are(name: str) -> None:
    for sheet in made(name)[1].sheets:
        numbered = any(words.isdigit() for words, _ in sheet.fixed)
        assert any(note.startswith("Pin numbers") for note in sheet.notes) is numbered, sheet.key


def _bill(design: Design) -> dict[tuple[str, str], PartUse]:
    return {(stage, use.role): use for stage, use in design.part_uses()}


def test_the_bill_counts_what_the_netlists_hold(name: str) -> None:
    design, drawn = made(name)
    lines = _bill(design)
    held: Counter[tuple[str, str]] = Counter()
    for block in drawn.blocks:
        for role, count in block.circuit.bought().items():
            held[block.stage_of(role), role] += count
    for (stage, role), count in held.items():
        bought = (stage, role)
        if bought not in lines and role in ("output inductor", "output choke"):
            bought = (stage, f"{role} core")  # wound, and bought as its core
        assert bought in lines, bought
        pair = 2 if lines[bought].description.startswith("complementary") else 1  # a line buys both
        if lines[bought].unit == "pcs":
            assert count == pair * lines[bought].quantity, bought


def test_every_block_has_test_points_and_each_says_what_it_reads(name: str) -> None:
    """At each state once; a mean in range; where something moves, how far or in which shape."""
    for block in made(name)[1].blocks:
        points = block.circuit.test_points
        assert points, block.key
        assert [point.net for point in points if not point.readings] == [], block.key
        for point in points:
            states = [reading.at for reading in point.readings]
            assert len(set(states)) == len(states), (block.key, point.net)
            for reading in point.readings:
                assert isfinite(reading.dc_v), (block.key, point.net)
                assert abs(reading.dc_v) < 500.0, (block.key, point.net)
                assert 0.0 <= reading.ripple_v < 500.0, (block.key, point.net)


def test_electrolytics_stand_the_right_way_round(name: str) -> None:
    """On nets whose name says on which side of 0 V they are; a bipolar one is called so."""
    design, drawn = made(name)
    lines = _bill(design)
    for block in drawn.blocks:
        for part in block.circuit.parts:
            use = lines.get((block.stage_of(part.role), part.role))
            if part.kind != "capacitor" or use is None:
                continue
            if "bipolar" in use.description:
                shown = " ".join(sheet.svg for sheet in drawn.sheets if sheet.block == block.key)
                below = r"</text>\n?<text[^>]*>"
                assert re.search(rf">{part.designator}{below}[^<]* V{below}bipolar<", shown)
                continue
            if not polarised(part, {part.role: use}):
                continue
            plus, minus = part.nets
            assert not ("negative" in plus and minus == GROUND), (block.key, part.designator)
            assert not ("positive" in minus and plus == GROUND), (block.key, part.designator)


def test_a_twin_diode_drawn_as_one_says_that_both_legs_are_joined(name: str) -> None:
    design, drawn = made(name)
    lines = _bill(design)
    for block in drawn.blocks:
        shown = " ".join(sheet.svg for sheet in drawn.sheets if sheet.block == block.key)
        for part in (part for part in block.circuit.parts if part.kind == "diode"):
            use = lines.get((block.stage_of(part.role), part.role))
            if use is None or part.designator != part.case or "2 ×" not in use.description:
                continue
            below = rf"</text>\n?<text[^>]*>{part.part_id}</text>\n?<text[^>]*>both legs<"
            beside = rf" {part.part_id} both legs<"
            assert re.search(rf">{part.designator}(?:{below}|{beside})", shown), part.designator


def test_an_adjustable_regulator_has_its_capacitors(name: str) -> None:
    """The negative one of the family oscillates without 10 µF at its output [lm317]."""
    for block in made(name)[1].blocks:
        for regulator in (part for part in block.circuit.parts if part.kind == "regulator"):
            entry, out, _ = regulator.nets
            stores = [part for part in block.circuit.parts if part.kind == "capacitor" and out in part.nets]
            assert max(part.value for part in stores if isinstance(part.value, float)) >= 10e-6
            assert any(part.kind == "capacitor" and entry in part.nets for part in block.circuit.parts)


def test_output_devices_have_their_capacitors_at_the_supply(name: str) -> None:
    """A film one across each pair of class-D switches; two at each supply pin of a chip; all as billed."""
    design, drawn = made(name)
    block = next(block for block in drawn.blocks if block.key == "amplifier")
    ground = {GROUND, SHUNT_NET, OUTPUT_SHUNT_NET}
    for upper in block.circuit.by_role("output switch"):
        drain, _, node = upper.nets
        for lower in block.circuit.by_role("output switch"):
            if lower.nets[0] == node:  # as many of them as legs
                films = [p for p in block.circuit.by_role(LEG_FILM) if p.nets == (drain, lower.nets[2])]
                assert len(films) == design.amplifier.model.legs
    chips = {p.case: p for p in block.circuit.parts if p.kind == "op-amp" and p.role == "output stage"}
    pins = {net for chip in chips.values() for net in chip.nets[3:]} - ground
    assert {
        net
        for net in pins
        for role in (CHIP_BYPASS, CHIP_RESERVOIR)
        if sum(net in p.nets and bool(ground & set(p.nets)) for p in block.circuit.by_role(role))
        != len(chips)
    } == set()
    labels = [" ".join(label.lines) for sheet in drawn.sheets for label in sheet.labels]
    lettered = {words.split(" ")[0]: words for words in labels}
    for part in block.circuit.parts:
        if part.role not in (LEG_FILM, CHIP_BYPASS, CHIP_RESERVOIR):
            continue
        use = _bill(design)["amplifier", part.role]
        assert isinstance(part.value, float)
        assert code(part.value, "capacitance") == part.part_id == use.part_id
        assert german(use.role) is not None
        rated = use.ratings[0].limit
        assert rated >= (1.25 if part.role == CHIP_RESERVOIR else 1.5) * use.ratings[0].applied
        assert f" {rated:g} V" in use.description
        beside = lettered[part.designator]
        assert rated == 63.0 or f"{rated:g} V" in beside, (part.designator, beside)
