"""Sheets of protection, guards and switching on in every form that a builder may ask for."""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import pytest

from subwright import service
from subwright.outputs.schematic_frame import DRAWING
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_trace import drawn_nets, real_nets
from subwright.outputs.schematics import SchematicSheet, schematics
from subwright.service.solved import library_for

EXAMPLES = Path(__file__).parents[3] / "examples"
OURS = ("protection", "control", "battery-guard", "speaker-guard")
TITLES = ("Protection", "Switching on and off", "Battery guard", "Speaker guard")

Changes = dict[str, dict[str, object]]
FORMS: dict[str, tuple[str, Changes, int]] = {
    "both trips latching, every trimmer": (
        "storyteller-van",
        {
            "protection": {
                "over_current": "switch",
                "over_current_after": "latch",
                "amplifier_current": "shunt",
                "thermal_trimmer": True,
                "trimmer": True,
            }
        },
        6,
    ),
    "shunt, P-channel, grounded relay": (
        "canal-workboat",
        {
            "protection": {"over_current": "shunt", "isolating_link": False, "reference": "shunt"},
            "battery_guard": {"reverse": "p_mosfet"},
            "speaker_guard": {"switch": "relay", "contact": "grounded"},
            # stated: this guard's drop leaves a rail just short of what the drivers' own dead time asks for
            "amplifier": {"dead_time_s": 60e-9},
        },
        5,
    ),
    "diode, always on, relay in a bridge": (
        "cargo-bike-cinema",
        {
            "battery_guard": {"reverse": "shunt_diode", "alternator": "unclamped"},
            "control": {"remote": "none"},
            "speaker_guard": {"switch": "relay", "release": "plain"},
        },
        4,
    ),
    "amplifier on the battery, every trip": (
        "cargo-bike-cinema",
        {
            "protection": {
                "over_current": "shunt",  # a second shunt in the same return would read this one's drop
                "amplifier_current": "switch",
                "thermal_trimmer": True,
                "trimmer": True,
            }
        },
        5,
    ),
    "48 V, dropper before the coil": (
        "storyteller-van",
        {
            "supply": {"system_v": 48},
            "battery_guard": {"reverse": "n_mosfet"},
            "speaker_guard": {"switch": "relay"},
        },
        4,
    ),
    "many switches": (
        "storyteller-van",
        {
            "battery_guard": {"reverse": "n_mosfet", "reverse_mosfets": 6},
            "speaker_guard": {"switch": "mosfet", "mosfet": "IRF540N"},
        },
        4,
    ),
    "four P-channel in a row": (
        "canal-workboat",
        {"battery_guard": {"reverse": "p_mosfet", "reverse_mosfets": 6}, "speaker_guard": {"switch": "none"}},
        3,
    ),
}


@cache
def drawn(form: str, style: str = "iec") -> tuple[SchematicSheet, ...]:
    example, changes, _ = FORMS[form]
    path = EXAMPLES / f"{example}.build.toml"
    spec = service.open_build(path).spec
    for part, update in changes.items():
        spec = spec.model_copy(update={part: getattr(spec, part).model_copy(update=update)})
    design = service.solve(spec, folder=path.parent).design
    made = schematics(design, library_for(spec, path.parent), style="us" if style == "us" else "iec")
    lost = [(title, why) for title, why in made.missing if title in TITLES]
    assert lost == []
    return tuple(sheet for sheet in made.sheets if sheet.key.rstrip("-23") in OURS)


@pytest.mark.parametrize("style", ["iec", "us"])
@pytest.mark.parametrize("form", FORMS)
def test_every_form_has_its_sheets(form: str, style: str) -> None:
    sheets = drawn(form, style)
    assert len(sheets) == FORMS[form][2], [sheet.key for sheet in sheets]
    titles = [sheet.title for sheet in sheets]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("form", FORMS)
def test_the_drawing_joins_what_the_netlist_joins(form: str) -> None:
    """An own route: pairs of pins that share a net, drawn and real; a block's sheets together."""
    blocks: dict[str, list[SchematicSheet]] = {}
    for sheet in drawn(form):
        blocks.setdefault(sheet.circuit.name, []).append(sheet)
    for sheets in blocks.values():
        found, problems = drawn_nets([sheet.svg for sheet in sheets])
        real = real_nets(sheets[0].circuit)
        assert not problems
        assert set(found) == set(real)
        for a, b in combinations(sorted(real), 2):
            assert (found[a] == found[b]) is (real[a] == real[b]), (a, b)


@pytest.mark.parametrize("style", ["iec", "us"])
@pytest.mark.parametrize("form", FORMS)
def test_nothing_covers_anything(form: str, style: str) -> None:
    left, top, right, bottom = DRAWING
    for sheet in drawn(form, style):
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == []
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in combinations(texts, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for (a, box_a), (b, box_b) in combinations(sheet.bodies, 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        flags = [("flag", box) for box in sheet.marks]
        for words, box in [*texts, *flags, *sheet.bodies]:
            inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
            assert inside, (sheet.key, words, box)
        for words, box in [*texts, *flags]:
            assert all(overlap(box, body) == 0.0 for _, body in sheet.bodies), (sheet.key, words, box)


@pytest.mark.parametrize("form", FORMS)
def test_no_wire_lies_on_another_or_through_a_symbol(form: str) -> None:
    for sheet in drawn(form):
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
        for name, body in [*sheet.bodies, *sheet.fixed]:
            for a, b in stretches:
                box = (
                    min(a[0], b[0]) - 0.5,
                    min(a[1], b[1]) - 0.5,
                    max(a[0], b[0]) + 0.5,
                    max(a[1], b[1]) + 0.5,
                )
                slim = (body[0] + 3, body[1] + 3, body[2] - 3, body[3] - 3)
                assert overlap(box, slim) == 0.0, (sheet.key, name, a, b)


def test_no_word_of_a_suppressor_where_none_is_fitted() -> None:
    texts = {
        form: next(s.alone for s in drawn(form) if s.title == "Battery guard")
        for form in ("48 V, dropper before the coil", "many switches")
    }
    assert ["suppressor" in text for text in texts.values()] == [False, True]


def test_a_second_lower_resistor_is_drawn_and_the_tolerance_named() -> None:
    """Coarse values of a drawer without finer ones: the sheet said 1 % whatever was fitted."""
    path = EXAMPLES / "canal-workboat.build.toml"
    spec = service.open_build(path).spec
    changes = {
        "resistor_series": "E12",
        "resistor_tolerance": 0.05,
        "over_voltage_trip_v": 36.8,
        "over_voltage_release_v": 35.4,
    }
    spec = spec.model_copy(update={"drawer": None, "protection": spec.protection.model_copy(update=changes)})
    design = service.solve(spec, folder=path.parent).design
    second = (
        design.protection.over_voltage.lower_second_ohm or design.protection.under_voltage.lower_second_ohm
    )
    assert second is not None
    made = schematics(design, library_for(spec, path.parent))
    sheet = next(sheet for sheet in made.sheets if sheet.key == "protection")
    assert "Resistors 0.25 W, 5 %" in sheet.svg
    found, problems = drawn_nets([sheet.svg])
    real = real_nets(sheet.circuit)
    assert not problems
    for a, b in combinations(sorted(real), 2):
        assert (found[a] == found[b]) is (real[a] == real[b]), (a, b)
