"""Sheets of inputs, filters and output stages of every kind: true to their netlists, and readable."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.outputs.schematic_frame import DRAWING, Title, framed
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_trace import drawn_nets, real_nets
from subwright.outputs.schematics import Schematics, schematics
from subwright.service.solved import library_for

EXAMPLES = Path(__file__).parents[3] / "examples"
VAN, BIKE = "storyteller-van", "cargo-bike-cinema"
BUILDS: Mapping[str, tuple[str, Mapping[str, Mapping[str, Any]]]] = {
    "class G": (VAN, {"amplifier": {"kind": "class_g"}}),
    "class G, small": (VAN, {"amplifier": {"kind": "class_g"}, "goal": {"power_w": 40.0}}),
    "class H": (BIKE, {"amplifier": {"kind": "bridge_class_h"}}),
    "chip": (VAN, {"amplifier": {"kind": "class_ab"}, "goal": {"power_w": 20.0}}),
    "pairs": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "pair"}, "goal": {"power_w": 60.0}}),
    "lateral": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "lateral"}, "goal": {"power_w": 50.0}}),
    "bridge chip": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0}, "goal": {"power_w": 8.0}},
    ),
    "bridge of pairs": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"}, "goal": {"power_w": 4.0}},
    ),
    "speaker level": (VAN, {"input": {"source": "speaker"}}),
    "difference": (VAN, {"input": {"receiver": "difference"}, "filter": {"op_amp_supply": "zener"}}),
    "difference on the battery": (BIKE, {"input": {"receiver": "difference"}}),
    "speaker level on the battery": (BIKE, {"input": {"source": "speaker"}, "filter": {"inputs": "mono"}}),
    "state variable": (
        VAN,
        {"filter": {"topology": "state-variable", "order": 2, "alignment": "butterworth"}},
    ),
    "multiple feedback": (VAN, {"filter": {"topology": "multiple-feedback", "phase_control": True}}),
    "state variable, two stages on the battery": (
        BIKE,
        {"filter": {"topology": "state-variable", "order": 4, "phase_control": True}},
    ),
    "everything": (
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
    "swept": (VAN, {"filter": {"sweep_low_hz": 50.0, "sweep_high_hz": 120.0, "sensitivity_most_v": 5.0}}),
}
KEYS = frozenset({"input", "filter", "voltage-stage", "amplifier"})
DISCRETE = frozenset({"class G", "class G, small", "class H", "pairs", "lateral", "bridge of pairs"})


@cache
def drawn(name: str) -> Schematics:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=dict(new)) for part, new in changes.items()}
    made = service.solve(spec.model_copy(update=parts), folder=EXAMPLES)
    return schematics(made.design, library_for(spec, EXAMPLES))


@pytest.mark.parametrize("name", BUILDS)
def test_every_sheet_is_there_and_joins_what_its_netlist_joins(name: str) -> None:
    made = drawn(name)
    assert [
        what
        for what in made.missing
        if what[0] in ("Inputs", "Line-level filter", "Voltage stage", "Output stage")
    ] == []
    found_keys = set()
    for block in made.blocks:
        if block.key not in KEYS:
            continue
        found_keys.add(block.key)
        found, problems = drawn_nets([sheet.svg for sheet in made.sheets if sheet.block == block.key])
        real = real_nets(block.circuit, with_inherent=block.drawn_inherent, without=block.elsewhere)
        assert not problems
        assert set(found) == set(real)
        pins = set(combinations(sorted(real), 2))
        assert {p for p in pins if found[p[0]] == found[p[1]]} == {
            p for p in pins if real[p[0]] == real[p[1]]
        }
    assert found_keys == (KEYS if name in DISCRETE else KEYS - {"voltage-stage"})


@pytest.mark.parametrize("name", BUILDS)
def test_nothing_covers_anything_or_leaves_the_frame(name: str) -> None:
    left, top, right, bottom = DRAWING
    for sheet in drawn(name).sheets:
        if sheet.block not in KEYS:
            continue
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in [*combinations(texts, 2), *combinations(sheet.bodies, 2)]:
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for words, box in texts:
            assert all(overlap(box, body) == 0.0 for _, body in sheet.bodies), (sheet.key, words)
        marks = [("mark", box) for box in sheet.marks]
        for what, box in [*texts, *marks, *sheet.bodies]:
            inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
            assert inside, (sheet.key, what, box)


@pytest.mark.parametrize("name", BUILDS)
def test_no_wire_runs_through_a_symbol_a_text_or_another_wire(name: str) -> None:
    for sheet in drawn(name).sheets:
        if sheet.block not in KEYS:
            continue
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
        slim = [(n, (x0 + 3, y0 + 3, x1 - 3, y1 - 3)) for n, (x0, y0, x1, y1) in sheet.bodies]
        slim += [(words, (x0 + 0.5, y0 + 0.5, x1 - 0.5, y1 - 0.5)) for words, (x0, y0, x1, y1) in sheet.fixed]
        for what, body in slim:
            for a, b in stretches:
                box = (
                    min(a[0], b[0]) - 0.5, min(a[1], b[1]) - 0.5, max(a[0], b[0]) + 0.5, max(a[1], b[1]) + 0.5
                )  # fmt: skip
                assert overlap(box, body) == 0.0, (sheet.key, what, a, b)


@pytest.mark.parametrize("name", ["class G", "speaker level", "chip"])
def test_flags_of_one_name_join_the_sheets(name: str) -> None:
    """What leaves the inputs arrives at the filter, and what leaves that at a chip's input."""
    bearers: dict[str, set[str]] = {}
    for sheet in drawn(name).sheets:
        for shown, _ in sheet.references:
            bearers.setdefault(shown, set()).add(sheet.block)
    assert bearers["IN A"] == bearers["IN B"] == {"input", "filter"}
    if name == "chip":
        assert {"filter", "amplifier"} <= bearers["FILTER OUT"]
    assert {"amplifier"} <= bearers["RAIL +"]


def test_loudspeaker_level_comes_in_by_terminals_and_line_level_by_sockets() -> None:
    """A socket is one pin in an open ring; a pair of terminals is two screws in a box."""
    shapes = {}
    for name in ("speaker level", "difference"):
        sheet = next(sheet for sheet in drawn(name).sheets if sheet.key == "input")
        body = re.search(r'<g data-part="J601"[^>]*>(.*?)</g>', sheet.svg)
        assert body is not None
        shapes[name] = (body.group(1).count("Z"), "sockets" in sheet.svg)
    assert shapes == {"speaker level": (3, False), "difference": (1, True)}


@pytest.mark.parametrize("name", ["state variable, two stages on the battery", "everything"])
def test_each_state_variable_stage_has_its_own_names(name: str) -> None:
    """A second "BAND" would ask for a wire between two stages."""
    made = drawn(name)
    block = next(b for b in made.blocks if b.key == "filter")
    inner = {net: printed for net, printed in block.names.items() if re.match("(high|band)_", net)}
    assert sorted(inner.values()) == ["BAND A", "BAND B", "HIGH A", "HIGH B"]
    sheets = [sheet for sheet in made.sheets if sheet.block == "filter"]
    assert len(sheets) > 1
    for printed in inner.values():
        bearers = [sheet for sheet in sheets if printed in sheet.svg]
        assert len(bearers) == 1, printed


@pytest.mark.parametrize("pairs", [2, 5, 6, 7, 8])
def test_many_pairs_stand_side_by_side_and_apart(pairs: int) -> None:
    example, changes = BUILDS["pairs"]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=dict(new)) for part, new in changes.items()}
    design = service.solve(spec.model_copy(update=parts), folder=EXAMPLES).design
    counts = {"output stage": float(pairs), "emitter resistor": 2.0 * pairs}
    more = tuple(
        dataclasses.replace(use, quantity=counts.get(use.role, use.quantity))
        for use in design.amplifier.parts
    )
    other = dataclasses.replace(design, amplifier=dataclasses.replace(design.amplifier, parts=more))
    made = schematics(other, library_for(spec, EXAMPLES))
    (sheet,) = (sheet for sheet in made.sheets if sheet.key == "amplifier")
    assert len(sheet.circuit.by_role("output stage")) == 2 * pairs
    assert [label.lines for label in sheet.labels if label.cost > 0.0] == []


def test_a_stamp_stands_in_the_edge_clear_of_the_drawing() -> None:
    title = Title(
        build="b", sheet="s", number=1, of=2, made_with="m", stamp="NOT READY TO BUILD: " + "AA-01, " * 30
    )
    found = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>(NOT READY[^<]*)<', framed(title, [], (), ""))
    assert len(found) == 1
    x, y, words = found[0]
    assert float(y) < DRAWING[1]
    assert float(x) - 9.0 * len(words) > DRAWING[0]


def test_a_sheet_that_cannot_be_drawn_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> tuple[str, ...]:
        raise ValueError("no place")

    monkeypatch.setattr("subwright.outputs.schematic_signal_blocks.draw_filter", refuse)
    _, missing = service.schematic_files(service.solve(EXAMPLES / f"{VAN}.build.toml"))
    assert "Line-level filter" in [title for title, _ in missing]
