"""The class-D modulator's netlist: made of its bill, joined to the output stage, in every form."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.build.closed_loop import loop_of
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits.amplifier_class_d import class_d_circuit
from subwright.circuits.amplifier_values import class_d_values
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.modulator_circuit import modulator_circuit
from subwright.circuits.modulator_points import modulator_points
from subwright.circuits.modulator_values import modulator_values
from subwright.circuits.netlist import Circuit
from subwright.circuits.spice_text import deck
from subwright.outputs.schematic_blocks import blocks
from subwright.parts.library import load_library
from subwright.service.solved import library_for
from subwright.stages.common import PartUse

EXAMPLES = Path(__file__).parents[3] / "examples"
BUILDS: dict[str, tuple[str, dict[str, Any]]] = {
    "half-bridge": ("storyteller-van", {}),
    "half-bridge, own rate": ("storyteller-van", {"modulator": "self-oscillating"}),
    "full bridge": ("storyteller-van", {"kind": "class_d_full_bridge"}),
    "full bridge, own rate": (
        "storyteller-van",
        {"kind": "class_d_full_bridge", "modulator": "self-oscillating"},
    ),
    "12 V bridge": ("cargo-bike-cinema", {}),
    "12 V bridge, own rate": ("cargo-bike-cinema", {"modulator": "self-oscillating"}),
    "raised rail": ("harvest-wagon", {}),
    "48 V": ("canal-workboat", {}),
    "24 V bridge": ("", {"system": 24}),
    "48 V bridge, own rate": ("", {"system": 48, "modulator": "self-oscillating"}),
}
RUN = Transient(stop_s=1e-5, step_s=1e-7)


def invented(system: int, modulator: str = "clocked") -> dict[str, Any]:
    """A bridge straight from a battery that no example has."""
    return {
        "format_version": 1,
        "name": "a bridge",
        "supply": {
            "battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"
        },
        "driver": {"part": "Harbour 10"},
        "goal": {"power": "60 W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": "bridge_class_d", "modulator": modulator},
        "enclosure": {"kind": "sealed"},
    }  # fmt: skip


@cache
def solved(name: str) -> Design:
    example, wishes = BUILDS[name]
    if not example:
        return solve_build(BuildSpec.model_validate(invented(**wishes)), load_library())
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    amplifier = spec.amplifier.model_copy(update=wishes)
    return service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=EXAMPLES).design


def made(name: str) -> Circuit:
    design = solved(name)
    return modulator_circuit(modulator_values(design.amplifier, library_for(design.spec, EXAMPLES)))


def uses(design: Design) -> dict[str, PartUse]:
    return {part.role: part for part in design.amplifier.parts}


@pytest.mark.parametrize("name", BUILDS)
def test_it_is_made_of_its_bill(name: str) -> None:
    design, circuit = solved(name), made(name)
    modulator = design.amplifier.modulator
    assert modulator is not None
    billed = uses(design)
    own = {
        *modulator.resistors_ohm,
        *modulator.capacitors_f,
        *modulator.part_ids,
        "modulator op-amp",
        "modulator comparator",
        "logic inverters",
        "gate driver",
    }
    assert set(circuit.bought()) == own
    for role, count in circuit.bought().items():
        assert billed[role].quantity == count, role
    for part in circuit.parts:
        if part.standing == "bought":
            assert part.part_id == billed[part.role].part_id, part.designator


@pytest.mark.parametrize("name", BUILDS)
def test_values_are_those_of_the_record(name: str) -> None:
    modulator = solved(name).amplifier.modulator
    assert modulator is not None
    for role, ohms in modulator.resistors_ohm.items():
        parts = made(name).by_role(role)
        assert {(part.value, part.part_id) for part in parts} == {(ohms, code(ohms, "resistance"))}
    for role, farads in modulator.capacitors_f.items():
        assert {part.value for part in made(name).by_role(role)} == {farads}


@pytest.mark.parametrize("name", BUILDS)
def test_its_nets_join_the_output_stages(name: str) -> None:
    """Rails, nodes and gates have the names that the output stage has, and each leg's own."""
    design = solved(name)
    stage = class_d_circuit(class_d_values(design.amplifier), load_ohm=4.0, modulation=0.0, periods=1)
    circuit, legs = made(name), "ab"[: design.amplifier.model.legs]
    joined = {f"{side}_{leg}" for side in ("gate_upper", "gate_lower", "node") for leg in legs}
    assert joined <= set(circuit.nets)
    assert joined <= set(stage.nets)
    own = {net for part in circuit.parts if part.standing == "bought" for net in part.nets}
    theirs = {net for part in stage.parts if part.standing == "bought" for net in part.nets}
    rails = {"rail_positive", "rail_negative"} & theirs & own
    assert own & theirs == joined | rails | {"0"}


@pytest.mark.parametrize("name", ["half-bridge", "12 V bridge", "raised rail", "48 V", "24 V bridge"])
def test_designators_are_its_own_in_the_whole_build(name: str) -> None:
    design = solved(name)
    drawn, failed = blocks(design, library_for(design.spec, EXAMPLES))
    assert failed == ()
    counted = Counter(
        part.designator
        for block in drawn
        for part in block.circuit.parts
        if part.standing == "bought" and not part.designator.startswith("BENCH_")
    )
    mine = {part.designator for part in made(name).parts if part.standing == "bought"}
    assert mine
    assert {counted[designator] for designator in mine} == {1}
    assert all("13" in designator for designator in mine)


@pytest.mark.parametrize("name", BUILDS)
def test_its_test_points_are_on_its_nets_and_say_what_to_expect(name: str) -> None:
    design = solved(name)
    values = modulator_values(design.amplifier, library_for(design.spec, EXAMPLES))
    points = modulator_points(values)
    assert len({point.designator for point in points}) == len(points)
    assert {point.net for point in points} <= set(made(name).nets)
    assert ("carrier" in {point.net for point in points}) == values.record.clocked
    low = -values.rail_v if values.record.split_rails else 0.0
    reading = {point.net: point.readings[0].dc_v for point in points}
    assert reading["logic_supply"] - low == pytest.approx(values.record.logic_supply_v)
    assert reading["driver_supply"] - low == pytest.approx(values.record.gate_supply_v)


@pytest.mark.parametrize("name", BUILDS)
def test_the_closed_loop_holds_both_blocks_and_is_the_same_each_time(name: str) -> None:
    design = solved(name)
    loop = loop_of(design, library_for(design.spec, EXAMPLES))
    circuit = loop.circuit(0.5)
    assert dict(made(name).bought()).items() <= dict(circuit.bought()).items()
    switches = [part for part in circuit.parts if part.role == "output switch"]
    assert len(switches) == 2 * loop.m.legs
    for switch in switches:
        drivers = [p for p in circuit.parts if p.role == "gate resistor on" and switch.nets[1] in p.nets]
        assert len(drivers) == 1
    texts = {deck(loop.circuit(0.5), RUN, [Voltage("node_a")]).text for _ in range(2)}
    assert len(texts) == 1


@pytest.mark.parametrize("name", BUILDS)
def test_nothing_drains_a_battery_that_is_switched_off(name: str) -> None:
    """On one supply whatever feeds the drivers hangs on the switched control supply, or is switched by it."""
    modulator, circuit = solved(name).amplifier.modulator, made(name)
    assert modulator is not None
    feeds = [part for part in circuit.parts if "rail_positive" in part.nets and part.standing == "bought"]
    if modulator.split_rails:
        assert feeds
        return
    assert {part.role for part in feeds} <= {"driver supply dropper"}
    assert any("control" in part.nets for part in circuit.by_role("driver supply resistor"))


def test_an_amplifier_without_one_is_refused() -> None:
    design = solved("half-bridge")
    bare = replace(design.amplifier, modulator=None)
    with pytest.raises(SubwrightError, match="no modulator"):
        modulator_values(bare, library_for(design.spec, EXAMPLES))
