"""The taps that feed class G's inner rails: on the power sheet, on the winding sheet, and in the netlist."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections import Counter
from functools import cache
from itertools import combinations
from math import sqrt
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.circuits.tapped_secondary import with_taps
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_trace import trace
from subwright.outputs.schematics import Schematics, schematics
from subwright.outputs.winding_drawing import winding_svg
from subwright.outputs.winding_sheet import winding_text
from subwright.service.solved import library_for
from subwright.stages.transformer_records import TransformerResult

EXAMPLES = Path(__file__).parents[3] / "examples"
NS = "{http://www.w3.org/2000/svg}"
FORMS: dict[str, dict[str, dict[str, Any]]] = {
    "push-pull": {"amplifier": {"kind": "class_g"}},
    "small": {"amplifier": {"kind": "class_g", "inner_rail": 0.35}, "goal": {"power_w": 40.0}},
    "full bridge": {
        "amplifier": {"kind": "class_g"},
        "converter": {"topology": "full-bridge"},
        "goal": {"power_w": 40.0},
    },
    "small winding": {"amplifier": {"kind": "class_g"}, "converter": {"auxiliary_feed": "winding"}},
    "plain": {"amplifier": {"kind": "class_ab", "ab_output": "pair"}, "goal": {"power_w": 60.0}},
}
TAPPED = [name for name in FORMS if name != "plain"]


@cache
def made(form: str) -> tuple[Design, Schematics]:
    spec = service.open_build(EXAMPLES / "storyteller-van.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in FORMS[form].items()}
    spec = spec.model_copy(update=parts)
    design = service.solve(spec, folder=EXAMPLES).design
    return design, schematics(design, library_for(spec, EXAMPLES))


def wound(form: str) -> TransformerResult:
    found = made(form)[0].transformer
    assert found is not None
    return found


@pytest.mark.parametrize("form", TAPPED)
def test_taps_have_partners(form: str) -> None:
    drawn = made(form)[1]
    assert drawn.missing == ()
    for name in ("TAP A", "TAP B"):
        assert {s.block for s in drawn.sheets if (name, True) in s.references} == {"converter", "amplifier"}
    ends: Counter[str] = Counter()
    for sheet in drawn.sheets:
        for run in trace(sheet.svg):
            ends.update(set(run.names) & {"tap_a", "tap_b"})
    assert ends["tap_a"] >= 2
    assert ends["tap_b"] >= 2


def test_nothing_is_tapped_where_nothing_asks_for_it() -> None:
    design, drawn = made("plain")
    assert wound("plain").tap_turns == 0
    assert all("TAP" not in name for sheet in drawn.sheets for name, _ in sheet.references)
    assert "S5" not in winding_text(wound("plain"), name=design.spec.name)


@pytest.mark.parametrize("form", TAPPED)
def test_the_sections_are_the_half_that_was(form: str) -> None:
    """Inductances in series add as (sqrt(a) + sqrt(b))², resistances plainly; turns as inductances' roots."""
    drawn, transformer = made(form)[1], wound(form)
    circuit = next(block.circuit for block in drawn.blocks if block.key == "converter")
    primary = next(part for part in circuit.parts if part.designator == "T101A")
    for outer, inner, tap, far in (
        ("T101C", "T101G", "tap_a", "second_a"),
        ("T101D", "T101H", "tap_b", "second_b"),
    ):
        a, b = circuit.part(outer), circuit.part(inner)
        assert set(a.nets) == {far, tap}
        assert set(b.nets) == {tap, "0"}
        assert isinstance(a.value, float)
        assert isinstance(b.value, float)
        assert isinstance(primary.value, float)
        ratio = (sqrt(a.value) + sqrt(b.value)) / sqrt(primary.value)
        assert ratio == pytest.approx(transformer.ratio, rel=1e-9)
        assert sqrt(b.value) / (sqrt(a.value) + sqrt(b.value)) == pytest.approx(
            transformer.tap_turns / transformer.secondary_turns, rel=1e-9
        )
    (core,) = [coupling for coupling in circuit.couplings if coupling.designator == "T101"]
    assert {"T101C", "T101D", "T101G", "T101H"} <= set(core.windings)


@pytest.mark.parametrize("form", TAPPED)
def test_the_winder_is_told_the_turn(form: str) -> None:
    design, transformer = made(form)[0], wound(form)
    rails = design.amplifier.rail_switching
    assert rails is not None
    share = transformer.tap_turns / transformer.secondary_turns
    assert rails.inner_ratio == pytest.approx(share, rel=1e-12)  # the amplifier reckons with whole turns
    assert abs(share - design.spec.amplifier.inner_rail) <= 0.5 / transformer.secondary_turns + 1e-12
    steps = [step.action for step in transformer.steps if "S5" in step.action]
    told = re.search(r"after (\d+) turns?: S5.*after (\d+) turns?: S6", steps[0])
    assert told is not None
    assert transformer.secondary_turns - int(told.group(1)) == int(told.group(2)) == transformer.tap_turns
    number = next(step.number for step in transformer.steps if step.action == steps[0])
    first = next(step.number for step in transformer.steps if step.winding == "secondary" and step.turns)
    assert number == first - 1
    ratio = next(check for check in transformer.checks if "S5" in check.action)
    assert ratio.expected == pytest.approx(share)
    assert f"taps S5 and S6: {transformer.tap_turns} turns" in winding_text(transformer, name="x")


@pytest.mark.parametrize("form", TAPPED)
def test_the_taps_are_drawn_in_their_halves(form: str) -> None:
    texts = [
        (t.text or "", float(t.get("x", "")), float(t.get("y", "")), t.get("text-anchor", "start"))
        for t in ET.fromstring(winding_svg(wound(form))).iter(f"{NS}text")
    ]
    at = {words: y for words, _, y, _ in texts if re.fullmatch(r"[PSA][1-6]", words)}
    assert at["S1"] < at["S5"] < at["S2"] < at["S3"] < at["S6"] < at["S4"]
    boxes = [
        (words, (x - (8.0 * len(words) if anchor == "end" else 0.0), y - 9.0, x + 8.0 * len(words), y + 2.0))
        for words, x, y, anchor in texts
        if re.fullmatch(r"[SA][1-6]", words)
    ]
    for (a, box_a), (b, box_b) in combinations(boxes, 2):
        assert overlap(box_a, box_b) == 0.0, (a, b)


@pytest.mark.parametrize("form", TAPPED)
def test_the_power_sheet_stays_readable(form: str) -> None:
    sheet = next(sheet for sheet in made(form)[1].sheets if sheet.key == "converter")
    assert [label.lines for label in sheet.labels if label.cost > 0.0] == []
    texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
    for words, box in [*texts, *(("mark", box) for box in sheet.marks)]:
        assert all(overlap(box, body) == 0.0 for _, body in sheet.bodies), words


def test_a_tap_outside_the_winding_is_refused() -> None:
    circuit = next(block.circuit for block in made("plain")[1].blocks if block.key == "converter")
    for tap in (0, 7):
        with pytest.raises(SubwrightError, match="tapped"):
            with_taps(circuit, 7, tap)
