"""The wiring's netlist: what is in the loop, where 0 V is, and how the drivers share the amplifier."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.build.wiring_values import fault_values, wiring_values
from subwright.circuits.netlist import GROUND, Circuit
from subwright.circuits.wiring_circuit import (
    DRIVER_NETS,
    UNIT_NETS,
    WiringValues,
    terminal_nets,
    wiring_circuit,
)
from subwright.outputs.schematic_frame import DRAWING
from subwright.outputs.schematic_wiring import wiring_block
from subwright.outputs.schematics import schematics
from subwright.parts.library import load_library
from subwright.stages.common import Corner

VALUES = WiringValues(
    emf_v=12.0,
    battery_ohm=6e-3,
    contact_ohm=7e-3,
    out_ohm=5e-3,
    return_ohm=5e-3,
    chassis=False,
    link_ohm=1e-3,
    guard_ohm=None,
    draw_a=30.0,
    amplifier_v=1.0,
    speaker_ohm=0.06,
    single_ended=True,
    driver_ohm=4.0,
    branches=(1,),
    fuse_id="strip 40 A",
    cable_id="vehicle-16 mm²",
    link_id="wire 2.24 mm",
    speaker_id="iec60228-0.75 mm²",
    driver_id="Harbour 10",
)


@cache
def design(**changed: str) -> Design:
    build = {
        "format_version": 1,
        "name": "Harbour van",
        "goal": {"power": "40 W"},
        "driver": {"part": "Harbour 10"},
        "enclosure": {"kind": "vented"},
        "supply": {"return_path": changed.get("return_path", "cable")},
    }
    return solve_build(BuildSpec.model_validate(build), load_library())


def between(circuit: Circuit, first: str, last: str) -> Fraction:
    """Resistance of the drivers between two nets, added up branch by branch as exact fractions."""
    drivers = circuit.by_role("driver")
    total = Fraction(0)
    for driver in drivers:
        if driver.nets[0] != first:
            continue
        assert isinstance(driver.value, float)
        branch, at = Fraction(driver.value), driver.nets[1]
        while at != last:
            onward = next(part for part in drivers if part.nets[0] == at)
            assert isinstance(onward.value, float)
            branch, at = branch + Fraction(onward.value), onward.nets[1]
        total += 1 / branch
    return 1 / total


@pytest.mark.parametrize("branches", [(1,), (2,), (1, 1), (2, 2), (4,), (1, 1, 1, 1), (2, 2, 2, 2), (4, 4)])
def test_drivers_make_the_groups_impedance(branches: tuple[int, ...]) -> None:
    circuit = wiring_circuit(replace(VALUES, branches=branches))
    assert len(circuit.by_role("driver")) == sum(branches)
    assert float(between(circuit, *DRIVER_NETS)) == pytest.approx(4.0, rel=1e-12)


def test_the_return_is_the_units_ground() -> None:
    circuit = wiring_circuit(VALUES)
    back = circuit.by_role("link, battery input")[1]
    assert back.nets == ("return", GROUND)
    assert terminal_nets(VALUES) == ("terminal", "return")


def test_without_links_the_cables_end_at_the_board() -> None:
    bare = replace(VALUES, link_ohm=None)
    circuit = wiring_circuit(bare)
    assert circuit.by_role("link, battery input") == ()
    assert circuit.by_role("supply cable, positive")[0].nets[1] == UNIT_NETS[0] == terminal_nets(bare)[0]
    assert circuit.by_role("supply cable, return")[0].nets[1] == GROUND == terminal_nets(bare)[1]


def test_a_guard_in_the_return_parts_battery_and_ground() -> None:
    circuit = wiring_circuit(replace(VALUES, guard_ohm=2e-3))
    grounded = [part.designator for part in circuit.parts if GROUND in part.nets and part.standing != "bench"]
    assert grounded == [circuit.by_role("speaker cable")[1].designator]


def test_a_body_return_is_nothing_to_buy() -> None:
    circuit = wiring_circuit(replace(VALUES, chassis=True))
    assert circuit.bought().keys() == {
        "driver", "link, battery input", "speaker cable", "supply cable, positive", "supply fuse",
    }  # fmt: skip


@pytest.mark.parametrize("return_path", ["cable", "chassis"])
def test_values_add_up_to_the_supplys_own(return_path: str) -> None:
    made = design(return_path=return_path)
    values = wiring_values(made)
    loop = values.battery_ohm + values.contact_ohm + values.out_ohm + values.return_ohm
    assert loop == pytest.approx(made.supply.source_resistance_ohm, rel=1e-9)
    fault = fault_values(made)
    short = fault.battery_ohm + fault.contact_ohm + fault.out_ohm + fault.return_ohm
    assert fault.emf_v / short == pytest.approx(made.supply.fault_far_a, rel=1e-9)
    assert fault.emf_v == made.supply.corners[Corner.CHARGING]


@pytest.mark.parametrize("return_path", ["cable", "chassis"])
def test_its_sheet_is_drawn(return_path: str) -> None:
    made, library = design(return_path=return_path), load_library()
    drawn = schematics(made, library)
    assert "wiring" in {sheet.key for sheet in drawn.sheets}, drawn.missing
    (block,) = wiring_block(made, library)
    assert block.circuit.bought()["supply fuse"] == 1


@pytest.mark.parametrize(
    ("count", "connection", "compound"),
    [
        (1, "single", "none"),
        (1, "single", "series"),
        (2, "series", "none"),
        (2, "parallel", "parallel"),
        (4, "series-parallel", "series"),
        (4, "parallel", "parallel"),
        (4, "series", "none"),
    ],
)
def test_every_arrangement_of_drivers_finds_its_place(count: int, connection: str, compound: str) -> None:
    made = design()
    spec = made.spec.model_copy(
        update={"driver": made.spec.driver.model_copy(update={"compound": compound, "count": count})}
    )
    other = replace(made, spec=spec, driver=replace(made.driver, count=count, connection=connection))
    drawn = schematics(other, load_library())
    sheets = [sheet for sheet in drawn.sheets if sheet.block == "wiring"]
    pieces = count * (1 if compound == "none" else 2)
    assert {len(sheet.circuit.by_role("driver")) for sheet in sheets} == {pieces}
    for sheet in sheets:
        assert [label.lines for label in sheet.labels if label.cost > 0.0] == []
        boxes = [*(label.box for label in sheet.labels), *sheet.marks, *(box for _, box in sheet.bodies)]
        assert all(DRAWING[0] <= box[0] and box[2] <= DRAWING[2] and box[3] <= DRAWING[3] for box in boxes)
