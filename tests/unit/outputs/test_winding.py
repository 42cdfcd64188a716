"""Winding sheet and drawing: the same turns, ends and lengths as the transformer that was designed."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from functools import cache

import pytest

from subwright.base.units import show
from subwright.outputs.to_json import dumps
from subwright.outputs.winding_drawing import winding_svg
from subwright.outputs.winding_sheet import check_rows, passes, step_rows, winding_text
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.transformer import design_transformer
from subwright.stages.transformer_records import (
    PhasingCheck,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
)

NS = "{http://www.w3.org/2000/svg}"
NEED = TransformerNeed(
    switching_hz=50e3,
    v_primary_max_v=14.8,
    duty=0.92,
    ratio_min=3.0,
    ratio_max=3.6,
    ratio_target=3.2,
    primary_rms_a=12.0,
    secondary_rms_a=3.8,
    ambient_c=50.0,
    programme_mean_square=0.25,
    corner_v={Corner.LOW: 11.0, Corner.NOMINAL: 12.6, Corner.MAX: 14.8},
)
SHAPES = ("ring", "etd", "foil")


@cache
def result(shape: str) -> TransformerResult:
    library = load_library()
    if shape == "foil":
        spec = TransformerSpec(core="ETD44/22/15-N87", primary_wire="foil 0.1x32")
        return design_transformer(spec, NEED, library)
    cores = [core.id for core in library.cores.values() if core.shape == shape and core.outer_m > 0.035]
    return design_transformer(TransformerSpec(core=sorted(cores)[0]), NEED, library)


@pytest.mark.parametrize("shape", SHAPES)
def test_drawing_is_well_formed_and_repeats(shape: str) -> None:
    text = winding_svg(result(shape))
    ET.fromstring(text)
    assert text == winding_svg(result(shape))
    assert "NOT READY" not in text
    assert "NOT READY" in winding_svg(result(shape), stamp="NOT READY TO BUILD: MAG-01")


@pytest.mark.parametrize("shape", SHAPES)
def test_each_wound_step_has_its_picture_with_its_ends(shape: str) -> None:
    made = result(shape)
    texts = [t.text for t in ET.fromstring(winding_svg(made)).iter(f"{NS}text")]
    for step in made.steps:
        if step.turns:
            assert any(t and t.startswith(f"{step.number} ") and step.winding in t for t in texts)
            if step.start_labels:
                assert f"start {' '.join(step.start_labels)}" in texts
            if step.finish_labels:
                assert f"finish {' '.join(step.finish_labels)}" in texts


@pytest.mark.parametrize("shape", SHAPES)
def test_dots_are_at_the_starts(shape: str) -> None:
    root = ET.fromstring(winding_svg(result(shape)))
    dots = [float(c.get("cy", "")) for c in root.iter(f"{NS}circle") if c.get("class") == "dot"]
    y = {t.text: float(t.get("y", "")) - 4 for t in root.iter(f"{NS}text")}
    for end in ("P1", "P3", "S1", "S3"):
        assert any(abs(dot - y[end]) < 8 for dot in dots), end
    for end in ("P4", "S4"):
        assert not any(abs(dot - y[end]) < 8 for dot in dots), end


@pytest.mark.parametrize("shape", SHAPES)
def test_sheet_tells_every_step_and_check_within_its_width(shape: str) -> None:
    made = result(shape)
    text = winding_text(made, name="Harbour van", stamp="NOT READY TO BUILD: MAG-01")
    joined = " ".join(text.split())
    for step in made.steps:
        assert " ".join(step.action.split()) in joined
    for check in made.checks:
        assert " ".join(check.action.split()) in joined
        assert passes(check) in joined
    assert text.splitlines()[1] == "NOT READY TO BUILD: MAG-01"
    assert max(map(len, text.splitlines())) <= 110
    for winding in (made.primary, made.secondary):
        pieces = winding.strands * winding.halves
        assert f"cut {pieces} pieces to {show(winding.cut_length_m, 'length')}" in text


@pytest.mark.parametrize("shape", SHAPES)
def test_tables_agree_with_the_records(shape: str) -> None:
    made = result(shape)
    rows = step_rows(made.steps)
    assert [row[0] for row in rows] == [str(step.number) for step in made.steps]
    turns = {"primary": 0, "secondary": 0}
    for step, row in zip(made.steps, rows, strict=True):
        if step.turns:
            turns[step.winding] += int(row[2])
    assert turns == {"primary": made.primary_turns, "secondary": made.secondary_turns}
    assert len(check_rows(made.checks)) == len(made.checks)


def test_open_ended_check_says_at_least() -> None:
    check = PhasingCheck(
        number=1, action="a", quantity="resistance", unit="Ω", expected=1e7, low=1e6, high=None, failure="f"
    )
    assert passes(check) == "at least 1.00 MΩ"


def test_name_can_not_forge_lines() -> None:
    text = winding_text(result("ring"), name="van\nNOTHING TO MEASURE")
    assert text.splitlines()[0] == "WINDING SHEET: van NOTHING TO MEASURE"


@pytest.mark.parametrize("shape", SHAPES)
def test_json_holds_no_run_time(shape: str) -> None:
    assert not re.search(r"seconds_s", dumps(result(shape)))


def test_foil_is_drawn_and_told_as_foil() -> None:
    made = result("foil")
    svg, text = winding_svg(made), winding_text(made, name="foil")
    width = show(made.primary.foil_width_m, "length")
    assert f"cut {width} wide" in svg
    assert "foil on foil" in text
    assert f"by {width}" in text
    bars = [node for node in ET.fromstring(svg).iter(f"{NS}rect") if node.get("class") == "solid"]
    assert len(bars) == made.primary.layers


def test_layers_of_a_sandwich_are_drawn_where_they_lie() -> None:
    made = result("etd")
    assert made.interleave == "sandwich"
    svg = winding_svg(made)
    for count in (made.secondary.layers_below, made.secondary.layers - made.secondary.layers_below):
        assert f"secondary, {count} layer" in svg
