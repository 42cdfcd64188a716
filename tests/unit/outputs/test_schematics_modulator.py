"""The modulator's sheets in every form: as the netlist joins, nothing covered, every flag with a partner."""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations, pairwise

import pytest

from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits.netlist import PINS
from subwright.circuits.shunt_return import SHUNT_NET
from subwright.outputs.schematic_frame import DRAWING
from subwright.outputs.schematic_labels import overlap
from subwright.outputs.schematic_pins import case_pin
from subwright.outputs.schematic_symbols import STYLES, ResistorStyle
from subwright.outputs.schematic_trace import drawn_nets, real_nets, trace
from subwright.outputs.schematics import Schematics, SchematicSheet, schematics
from subwright.parts.library import load_library

LIBRARY = load_library()
STAGES: dict[str, tuple[int, int, dict[str, dict[str, object]]]] = {
    "half-bridge": (12, 150, {"amplifier": {"kind": "class_d_half_bridge"}}),
    "full bridge on rails": (24, 300, {"amplifier": {"kind": "class_d_full_bridge"}}),
    "12 V bridge": (12, 40, {"amplifier": {"kind": "bridge_class_d"}}),
    "12 V bridge over a shunt": (
        12,
        40,
        {"amplifier": {"kind": "bridge_class_d"}, "protection": {"over_current": "shunt"}},
    ),
    "48 V": (48, 200, {"amplifier": {"kind": "class_d_half_bridge"}}),
    "48 V bridge": (48, 200, {"amplifier": {"kind": "bridge_class_d"}}),
    "raised rail": (12, 120, {"amplifier": {"kind": "bridge_class_d"}, "converter": {"topology": "boost"}}),
}
FORMS = ("clocked", "self-oscillating")


@cache
def design(stage: str, form: str) -> Design:
    system, power, wishes = STAGES[stage]
    spec: dict[str, object] = {
        "format_version": 1,
        "name": stage,
        "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
        "driver": {"part": "Harbour 10"},
        "goal": {"power": f"{power} W", "lowest_note": "32 Hz"},
        "enclosure": {"kind": "sealed"},
        **wishes,
        "amplifier": {**wishes["amplifier"], "modulator": form},
    }
    return solve_build(BuildSpec.model_validate(spec), LIBRARY)


@cache
def drawn(stage: str, form: str, style: ResistorStyle = "iec") -> Schematics:
    return schematics(design(stage, form), LIBRARY, style=style)


def own(made: Schematics) -> tuple[SchematicSheet, ...]:
    return tuple(sheet for sheet in made.sheets if sheet.block in ("modulator", "amplifier"))


pytestmark = [pytest.mark.parametrize("stage", STAGES), pytest.mark.parametrize("form", FORMS)]


def test_every_form_is_drawn_and_joins_what_the_netlist_joins(stage: str, form: str) -> None:
    made = drawn(stage, form)
    assert made.missing == ()
    block = next(block for block in made.blocks if block.key == "modulator")
    found, problems = drawn_nets([sheet.svg for sheet in made.sheets if sheet.block == "modulator"])
    real = real_nets(block.circuit)
    assert problems == []
    assert set(found) == set(real)
    for one, other in combinations(sorted(real), 2):
        assert (found[one] == found[other]) is (real[one] == real[other]), (one, other)


def test_every_flag_of_both_blocks_has_its_partner(stage: str, form: str) -> None:
    made = drawn(stage, form)
    bearers: dict[str, int] = {}
    for sheet in made.sheets:
        block = next(block for block in made.blocks if block.key == sheet.block)
        for run in trace(sheet.svg):
            for net in run.names:
                shown = block.names.get(net, net)
                bearers[shown] = bearers.get(shown, 0) + 1
    flags = {name for sheet in own(made) for name, _ in sheet.references}
    legs = "A" if "node_b" not in own(made)[0].circuit.nets else "AB"
    assert {"FILTER OUT", "MUTE", *(f"NODE {leg}" for leg in legs)} <= flags
    assert {f"GATE {side}{leg}" for side in "UL" for leg in legs} <= flags
    assert {name for name in flags if bearers[name] < 2} == set()


@pytest.mark.parametrize("style", STYLES)
def test_nothing_is_covered_and_all_is_inside(stage: str, form: str, style: ResistorStyle) -> None:
    left, top, right, bottom = DRAWING
    for sheet in own(drawn(stage, form, style)):
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == [], sheet.key
        texts = [(" ".join(label.lines), label.box) for label in sheet.labels] + list(sheet.fixed)
        for (a, box_a), (b, box_b) in combinations([*texts, *sheet.bodies], 2):
            assert overlap(box_a, box_b) == 0.0, (sheet.key, a, b)
        for a, b in combinations(sheet.marks, 2):
            assert overlap(a, b) == 0.0, (sheet.key, a, b)
        for what, box in [*texts, *sheet.bodies, *(("mark", box) for box in sheet.marks)]:
            inside = box[0] >= left and box[1] >= top and box[2] <= right and box[3] <= bottom
            assert inside, (sheet.key, what, box)
        rows = [float(y) for y in re.findall(r'<text x="106" y="([\d.]+)" class="sm t"', sheet.svg)]
        notes = (76.0, min(rows) - 11.0, 726.0, 794.0)
        for what, box in [*texts, *sheet.bodies, *(("mark", box) for box in sheet.marks)]:
            assert overlap(notes, box) == 0.0, (sheet.key, what)


def test_no_wire_lies_on_another_or_through_a_symbol(stage: str, form: str) -> None:
    for sheet in own(drawn(stage, form)):
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
        grown = [(words, (x - 2.5, y - 2.5, u + 2.5, v + 2.5)) for words, (x, y, u, v) in sheet.fixed]
        for name, body in [*sheet.bodies, *grown]:
            slim = (body[0] + 3, body[1] + 3, body[2] - 3, body[3] - 3)
            for a, b in stretches:
                x, y = sorted((a[0], b[0])), sorted((a[1], b[1]))
                box = (x[0] - 0.5, y[0] - 0.5, x[1] + 0.5, y[1] + 0.5)
                assert overlap(box, slim) == 0.0, (sheet.key, name, a, b)


def test_pins_of_every_case_are_numbered_and_none_twice(stage: str, form: str) -> None:
    """Each pin of each integrated circuit on one number of its case; sections share only the supply."""
    circuit = own(drawn(stage, form))[0].circuit
    numbers: dict[str, dict[str, tuple[str, str]]] = {}
    channels = {record.id: record.channels for record in LIBRARY.op_amps.values()}
    channels |= {record.id: record.channels for record in LIBRARY.comparators.values()}
    chips = ("op-amp", "grounded comparator", "schmitt inverter", "half-bridge driver")
    for part in circuit.parts:
        if part.kind not in chips:
            continue
        for pin in PINS[part.kind]:
            number = case_pin(part, pin, channels)
            assert number is not None, (part.designator, pin)
            shared = pin in ("V+", "V-")
            holder = numbers.setdefault(part.case, {}).setdefault(number, (pin, part.designator))
            assert holder == (pin, part.designator) or (shared and holder[0] == pin), (part.case, number)
    assert len(numbers) == 3 + (2 if "node_b" in circuit.nets else 1)


def test_drivers_return_where_their_switches_do(stage: str, form: str) -> None:
    made = drawn(stage, form)
    stages = {block.key: block.circuit for block in made.blocks}
    for leg in "ab":
        lower = [p for p in stages["amplifier"].by_role("output switch") if f"gate_lower_{leg}" in p.nets]
        drivers = [p for p in stages["modulator"].by_role("gate driver") if f"node_{leg}" in p.nets]
        assert len(lower) == len(drivers)
        for switch, driver in zip(lower, drivers, strict=True):
            common = driver.nets[PINS["half-bridge driver"].index("COM")]
            assert common == switch.nets[2]
            assert (common == SHUNT_NET) is ("shunt" in stage)


def test_a_voltage_of_a_test_point_is_told_on_a_sheet(stage: str, form: str) -> None:
    sheets = [sheet for sheet in own(drawn(stage, form)) if sheet.block == "modulator"]
    text = " ".join(re.findall(r">([^<]+)</text>", "".join(sheet.svg for sheet in sheets)))
    for point in sheets[0].circuit.test_points:
        assert text.count(point.designator) >= 2, point.designator  # at its ring and in the list
        assert point.readings
