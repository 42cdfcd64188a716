"""The converter's netlists hold what the design says, for the examples and builds of every kind.

Values one by one, and the bill both ways: every bought part of a netlist is on it as often as there, and
every electrical part of it is in a netlist.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits.auxiliary_circuit import auxiliary_circuit
from subwright.circuits.controller_circuit import controller_circuit
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_readings import power_readings
from subwright.circuits.converter_values import PowerValues, from_result
from subwright.circuits.gate_drive_circuit import POSITIONS, gate_circuit_of, gate_nets
from subwright.circuits.netlist import PINS, Circuit, Steady
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.converter import ConverterResult

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))
LIBRARY = load_library()

WISHES: dict[str, tuple[int, int, dict[str, object]]] = {
    # battery, power, converter
    "12 V": (12, 150, {}),
    "12 V regulated": (12, 150, {"output": "regulated"}),
    "12 V, four a side": (12, 190, {"mosfets_per_side": 4, "input_capacitor": "EL 1000u 25V"}),
    "12 V without clamp": (12, 100, {"clamp": "none"}),
    "12 V, 494": (12, 150, {"controller": "TL494", "dead_time": "1.5 us", "auxiliary_feed": "winding"}),
    "12 V direct": (12, 150, {"gate_drive": "direct"}),
    "12 V, 494 regulated": (12, 150, {"controller": "TL494", "output": "regulated"}),
    "12 V, 494 regulated, divider": (
        12,
        150,
        {"controller": "TL494", "output": "regulated", "dead_time": "1.5 us"},
    ),
    "12 V, 3524": (12, 150, {"controller": "SG3524"}),
    "12 V, 3524 regulated": (12, 150, {"controller": "SG3524", "output": "regulated"}),
    "48 V bridge, 3524": (48, 200, {"controller": "SG3524", "dead_time": "2 us"}),
    "12 V, 3846": (12, 150, {"controller": "UC3846"}),
    "12 V, 3846 regulated": (12, 150, {"controller": "UC3846", "output": "regulated"}),
    "48 V bridge, 3846": (48, 200, {"controller": "UC3846"}),
    "24 V": (24, 200, {"topology": "push-pull"}),
    "24 V regulated": (24, 150, {"topology": "push-pull", "output": "regulated"}),
    "24 V bridge": (24, 240, {"topology": "full-bridge"}),
    "24 V bridge regulated": (24, 150, {"topology": "full-bridge", "output": "regulated"}),
    "24 V, 494 buffered": (24, 150, {"topology": "push-pull", "controller": "TL494", "gate_drive": "buffer"}),
    "48 V bridge": (48, 300, {"mosfets_per_side": 2}),
    "48 V bridge regulated": (48, 200, {"output": "regulated", "auxiliary_feed": "winding"}),
}
NO_CIRCUIT = "W"  # letter of wire


@cache
def built(name: str) -> Design:
    system, power, wishes = WISHES[name]
    spec = {
        "format_version": 1,
        "name": name,
        "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
        "driver": {"part": "Harbour 10"},
        "goal": {"power": f"{power} W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": "class_d_half_bridge"},
        "enclosure": {"kind": "sealed"},
        "converter": wishes,
    }
    return solve_build(BuildSpec.model_validate(spec), LIBRARY)


@cache
def designed(name: str) -> Design | None:
    if name in WISHES:
        return built(name)
    path = next(path for path in EXAMPLES if path.name == name)
    return service.solve(path).design


WITH_CONVERTER = ("canal-workboat.build.toml", "storyteller-van.build.toml")
NAMES = [*WISHES, *WITH_CONVERTER]


def test_every_example_with_a_converter_is_here() -> None:
    found = [path.name for path in EXAMPLES if service.solve(path).design.converter is not None]
    assert tuple(found) == WITH_CONVERTER


def of(name: str) -> tuple[Design, ConverterResult]:
    design = designed(name)
    assert design is not None
    assert design.converter is not None
    return design, design.converter


def values_of(design: Design, result: ConverterResult) -> PowerValues:
    emf_v = design.supply.corners[Corner.NOMINAL]
    source_ohm = design.supply.source_resistance_ohm
    return from_result(result, emf_v=emf_v, source_ohm=source_ohm, positive_a=1.0, negative_a=1.0)


def circuits_of(design: Design, result: ConverterResult) -> tuple[Circuit, ...]:
    volts = design.supply.corners[Corner.NOMINAL]
    made = [
        power_circuit(
            values_of(design, result), power_readings(values_of(design, result), {"nominal": volts})
        ),
        controller_circuit(result, supply=Steady(value=volts), corners={"nominal": volts}),
        gate_circuit_of(result, corners={"nominal": volts}),
    ]
    if result.auxiliary.turns:
        made.append(auxiliary_circuit(result, battery_v=volts, corners={"nominal": volts}))
    return tuple(made)


@pytest.mark.parametrize("name", NAMES)
def test_values_are_those_of_the_design(name: str) -> None:
    design, result = of(name)
    v, plan, magnetics = values_of(design, result), result.plan, result.magnetics
    assert v.bridge is (result.topology == "full-bridge")
    assert v.ratio == result.secondary_turns / result.primary_turns
    assert (v.switching_hz, v.share) == (plan.timing.switching_hz, plan.timing.share)
    assert (v.switch_ohm, v.primary_winding_ohm, v.link_ohm) == (
        result.switch_ohm, result.winding_ohm, result.link_ohm,
    )  # fmt: skip
    assert (v.secondary_winding_ohm, v.leakage_h, v.magnetising_h) == (
        magnetics.secondary_ohm, magnetics.leakage_h, magnetics.magnetising_h,
    )  # fmt: skip
    assert (v.diode_ohm, v.diode_v) == (result.diode_ohm, result.diode_v)
    assert v.avalanche_v == plan.switch.mosfet.vds_v
    assert (v.input_f, v.input_count) == (result.input_bank.capacitance_f, result.input_bank.count)
    assert (v.reservoir_f, v.reservoir_count) == (
        result.reservoir_bank.capacitance_f, result.reservoir_bank.count,
    )  # fmt: skip
    assert (v.clamp is None) is (result.clamp is None)
    if v.clamp is not None and result.clamp is not None:
        assert v.clamp.resistor_ohm == result.clamp.resistor_ohm
        assert v.clamp.capacitor_f == result.clamp.capacitor_f
        assert v.clamp.each == result.clamp.diodes_each
    assert (v.choke is None) is (result.choke is None)
    if v.choke is not None and result.choke is not None:
        assert v.choke.inductance_h == result.choke.choke.inductance_h
        assert v.choke.resistance_ohm == result.choke.choke.resistance_ohm
        assert v.choke.set_v == result.choke.set_v


@pytest.mark.parametrize("name", NAMES)
def test_netlists_and_bill_are_one(name: str) -> None:
    design, result = of(name)
    bill = {use.role: use for use in result.parts}
    bought: dict[str, int] = {}
    for circuit in circuits_of(design, result):
        for role, count in circuit.bought().items():
            role = "output choke core" if role == "output choke" else role
            bought[role] = bought.get(role, 0) + count
        for part in circuit.parts:
            if part.standing != "bought" or part.role == "output choke":
                continue
            assert part.part_id == bill[part.role].part_id, part.designator
    missing = {
        role: use.quantity
        for role, use in bill.items()
        if use.letter != NO_CIRCUIT and bought.get(role) != use.quantity
    }
    assert missing == {}
    assert set(bought) <= set(bill)


@pytest.mark.parametrize("name", NAMES)
def test_designators_and_gates_agree_between_the_blocks(name: str) -> None:
    design, result = of(name)
    circuits = circuits_of(design, result)
    own = [
        part.designator
        for circuit in circuits
        for part in circuit.parts
        if part.standing in ("bought", "elsewhere")
    ]
    assert len(own) == len(set(own))
    power, _, drive = circuits[:3]
    gates = {
        net
        for position in POSITIONS[result.topology]
        for net in gate_nets(position, result.plan.switch.per_side)
    }
    assert gates == {part.nets[1] for part in power.parts if part.kind == "mosfet"}
    assert gates <= set(drive.nets)


@pytest.mark.parametrize("name", NAMES)
def test_test_points_say_what_to_read(name: str) -> None:
    design, result = of(name)
    for circuit in circuits_of(design, result):
        assert circuit.test_points
        assert all(point.readings for point in circuit.test_points)


def test_a_bare_emitter_drives_no_gate_by_itself() -> None:
    wishes = {"controller": "TL494", "gate_drive": "direct"}
    WISHES["refused"] = (12, 60, dict(wishes))
    with pytest.raises(SubwrightError, match="No transistors for this gate drive"):
        built("refused")
    del WISHES["refused"]


def test_a_family_of_unknown_pins_is_refused_with_a_way_out() -> None:
    _, result = of("12 V")
    controller = replace(result.plan.controller, family="9999")
    other = replace(result, plan=replace(result.plan, controller=controller))
    with pytest.raises(SubwrightError, match="no circuit around a 9999-family"):
        controller_circuit(other, supply=Steady(value=12.6), corners={})


@pytest.mark.parametrize("name", NAMES)
def test_every_pin_of_a_controller_leads_somewhere_or_may_be_left_open(name: str) -> None:
    """An amplifier's input, a shutdown or a ground that ends at its pin would be a mistake."""
    _, result = of(name)
    circuit = controller_circuit(result, supply=Steady(value=12.6), corners={"nominal": 12.6})
    chip = circuit.by_role("push-pull controller")[0]
    nets = dict(zip(PINS[chip.kind], chip.nets, strict=True))
    ends = Counter(net for part in circuit.parts for net in part.nets)
    alone = {pin for pin, net in nets.items() if ends[net] == 1}
    assert alone <= {"SYNC", "OSC", "FB", "COMP"}
    assert not (result.choke is not None and alone & {"FB", "COMP"})  # it has its loop there


@pytest.mark.parametrize("name", [name for name in NAMES if "regulated" in name])
def test_the_divided_rail_meets_the_reference_at_the_error_amplifier(name: str) -> None:
    """Ohm's law over divider and reference resistors, no current into the inputs: both are alike at set_v."""
    _, result = of(name)
    assert result.choke is not None
    circuit = controller_circuit(result, supply=Steady(value=12.6), corners={"nominal": 12.6})
    values = {part.role: part.value for part in circuit.parts if isinstance(part.value, float)}
    below, above = values["feedback divider, bottom"], values["feedback divider, top"]
    divided = result.choke.set_v * below / (below + above)
    reference = result.plan.controller.vref_v
    if "reference divider, top" in values:
        low, high = values["reference divider, bottom"], values["reference divider, top"]
        reference *= low / (low + high)
    assert divided == pytest.approx(reference, rel=1e-9)
