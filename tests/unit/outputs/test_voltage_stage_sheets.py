"""Sheets of linear amplifiers: every flag has its partner, every part of the bill its place."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.result import Design
from subwright.outputs.bom import designators
from subwright.outputs.point_words import on_nominal
from subwright.outputs.schematic_blocks import drawn_designators
from subwright.outputs.schematic_trace import trace
from subwright.outputs.schematics import Schematics, schematics
from subwright.service.solved import library_for

EXAMPLES = Path(__file__).parents[3] / "examples"
VAN, BIKE = "storyteller-van", "cargo-bike-cinema"
SHUNT = {"protection": {"over_current": "shunt"}}
BUILDS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "pairs": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "pair"}, "goal": {"power_w": 60.0}}),
    "lateral": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "lateral"}, "goal": {"power_w": 50.0}}),
    "class G": (VAN, {"amplifier": {"kind": "class_g"}}),
    "class H": (BIKE, {"amplifier": {"kind": "bridge_class_h"}}),
    "bridge": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"}, "goal": {"power_w": 4.0}},
    ),
    "chip": (VAN, {"amplifier": {"kind": "class_ab"}, "goal": {"power_w": 20.0}}),
    "bridge chip": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0}, "goal": {"power_w": 8.0}},
    ),
    "class H over a shunt": (BIKE, {"amplifier": {"kind": "bridge_class_h"}, **SHUNT}),
    "bridge over a shunt": (
        BIKE,
        {
            "amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"},
            "goal": {"power_w": 4.0},
            **SHUNT,
        },
    ),
    "bridge chip over a shunt": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0}, "goal": {"power_w": 8.0}, **SHUNT},
    ),
}
DISCRETE = [name for name in BUILDS if "chip" not in name]


@cache
def made(name: str) -> tuple[Design, Schematics]:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    spec = spec.model_copy(update=parts)
    design = service.solve(spec, folder=EXAMPLES).design
    return design, schematics(design, library_for(spec, EXAMPLES))


def bearers(name: str) -> dict[str, set[str]]:
    found: dict[str, set[str]] = defaultdict(set)
    for sheet in made(name)[1].sheets:
        for shown, _ in sheet.references:
            found[shown].add(sheet.block)
    return found


@pytest.mark.parametrize("name", BUILDS)
def test_every_flag_has_its_partner(name: str) -> None:
    drawn = made(name)[1]
    assert drawn.missing == ()
    places: Counter[str] = Counter()
    flags: set[str] = set()
    for sheet in drawn.sheets:
        block = next(block for block in drawn.blocks if block.key == sheet.block)
        for run in trace(sheet.svg):
            places.update({block.names.get(net, net) for net in run.names})
        flags |= {shown for shown, is_flag in sheet.references if is_flag}
    assert {shown for shown in flags if places[shown] < 2} <= {"REMOTE"}


@pytest.mark.parametrize("name", DISCRETE)
def test_the_voltage_stage_stands_between_filter_and_output(name: str) -> None:
    found = bearers(name)
    legs = made(name)[0].amplifier.model.legs
    assert found["FILTER OUT"] == {"filter", "voltage-stage"}
    for leg in "AB"[:legs]:
        for sign in "+−":
            assert found[f"DRIVE {leg} {sign}"] == {"voltage-stage", "amplifier"}
    assert "voltage-stage" in found["SPEAKER +"]
    assert {"control", "voltage-stage"} <= found["MUTE"]
    assert "amplifier" not in found["MUTE"]


@pytest.mark.parametrize("name", [name for name in BUILDS if name not in DISCRETE])
def test_a_chip_has_its_own_input_and_mute(name: str) -> None:
    found = bearers(name)
    assert found["FILTER OUT"] == {"filter", "amplifier"}
    assert {"control", "amplifier"} <= found["MUTE"]
    assert found["MUTE PIN"] == {"amplifier"}


@pytest.mark.parametrize("name", BUILDS)
def test_no_sheet_leaves_anything_to_others(name: str) -> None:
    for sheet in made(name)[1].sheets:
        assert "not designed here" not in sheet.svg, sheet.key
        assert "INVERTED" not in sheet.svg


@pytest.mark.parametrize("name", BUILDS)
def test_names_of_half_supplies_are_not_mixed_up(name: str) -> None:
    """The amplifier's half belongs to it; the filter and the protection have their own."""
    found = bearers(name)
    assert found.get("AMP HALF", {"voltage-stage"}) == {"voltage-stage"}


@pytest.mark.parametrize("name", BUILDS)
def test_the_amplifier_s_bill_is_drawn_once_and_in_full(name: str) -> None:
    design, drawn = made(name)
    counted: Counter[str] = Counter()
    holders: dict[str, set[str]] = defaultdict(set)
    for block in drawn.blocks:
        for role, count in block.circuit.bought().items():
            if block.stage_of(role) == "amplifier":
                counted[role] += count
                holders[role].add(block.key)
    pairs = design.amplifier.rail_switching is not None or name in DISCRETE
    for use in design.amplifier.parts:
        each = 2 if use.role == "output stage" and pairs else 1  # one line buys a pair
        assert counted[use.role] == use.quantity * each, use.role
    assert all(len(found) == 1 for found in holders.values())
    given = designators(tuple(design.part_uses()), drawn_designators(drawn.blocks))
    names = [designator for found in given.values() for designator in found]
    assert [designator for designator, count in Counter(names).items() if count > 1] == []


@pytest.mark.parametrize("name", DISCRETE)
def test_test_points_and_their_voltages_are_printed(name: str) -> None:
    drawn = made(name)[1]
    block = next(block for block in drawn.blocks if block.key == "voltage-stage")
    sheets = " ".join(sheet.svg for sheet in drawn.sheets if sheet.block == "voltage-stage")
    for point in block.circuit.test_points:
        assert re.search(rf">{point.designator}<", sheets)
        volts = f"{next(on_nominal(point)).dc_v:.2f}".replace("-", "\u2212")
        assert f"{point.designator} {volts}" in sheets.replace("\n", " ") or volts in sheets
