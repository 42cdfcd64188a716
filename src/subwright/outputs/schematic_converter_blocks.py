"""The converter's blocks: controller, gate drive and auxiliary supply, with what their sheets print."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points import battery_voltages
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.auxiliary_circuit import auxiliary_circuit
from subwright.circuits.controller_circuit import controller_circuit, supply_net
from subwright.circuits.gate_drive_circuit import POSITIONS, gate_circuit_of, gate_nets
from subwright.circuits.netlist import Circuit, Steady
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_auxiliary import draw_auxiliary
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_controller import draw_controller
from subwright.outputs.schematic_gate_drive import draw_gate_drive
from subwright.outputs.schematic_kit import Kit
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.converter import ConverterResult

__all__ = [
    "auxiliary_block",
    "controller_block",
    "gate_drive_block",
    "gate_names",
]

_PERIODS = 20


def _switched(design: Design) -> bool:
    """Whether the control circuits have a supply that is switched, or hang on the battery."""
    return design.control is not None and design.control.remote is not None


def gate_names(result: ConverterResult) -> dict[str, str]:
    """Printed names of the gates' nets, and of the legs that bear a bridge's upper switches."""
    names = {"leg_a": "LEG A", "leg_b": "LEG B"}
    for position in POSITIONS[result.topology]:
        row, _, side = position.rpartition("_")
        short = f"{row[:1].upper()}{side.upper()}"
        nets = gate_nets(position, result.plan.switch.per_side)
        for k, net in enumerate(nets, 1):
            names[net] = f"SW {short}{k if len(nets) > 1 else ''}"
    return names


def _supply_names(design: Design) -> dict[str, str]:
    return {"control": "CONTROL" if _switched(design) else "BATTERY", "drive": "+DRIVE"}


def controller_block(design: Design, _library: Library) -> Iterator[Block]:
    """Controller, timing parts and its supply."""
    result = design.converter
    if result is None:
        return
    timing, volts = result.plan.timing, design.supply.corners[Corner.NOMINAL]
    circuit = controller_circuit(
        result, supply=Steady(value=volts), corners=battery_voltages(design), settled=True
    )
    shared = design.protection is not None and design.protection.reference.kind == "controller"
    period = 1.0 / timing.switching_hz

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_controller(kit, supply_net(result), shared=shared)
        return _controller_notes(design, result, circuit)

    yield Block(
        key="controller",
        title="Converter controller",
        stage="converter",
        circuit=circuit,
        names={
            **_supply_names(design),
            "vref": "REF" if shared else "VREF",
            "inhibit": "INHIBIT",
            "rail_positive": "RAIL +",
            "error": "ERROR",
            "out_a": "OUT A",
            "out_b": "OUT B",
        },
        draw=draw,
        analysis=Transient(
            stop_s=_PERIODS * period, step_s=period / 1000.0, keep_from_s=5.0 * period, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in ("ct", "out_a", "out_b", "vref")),
    )


def _controller_notes(design: Design, result: ConverterResult, circuit: Circuit) -> tuple[str, ...]:
    timing, controller = result.plan.timing, result.plan.controller
    least = controller.uvlo_on_v or controller.supply_min_v
    loop = (
        f"Divider and {show(result.loop_f, 'capacitance')} around the error amplifier hold the rail."
        if result.loop_f
        else "No feedback: the duty opens to its end and the rails follow the battery."
    )
    stops = "within 0.5 ms" if controller.family == "494" else "at once"
    by_itself = controller.family in ("3525", "3846")
    starts = "its soft-start capacitor" if by_itself else _restarting(circuit)
    return (
        f"Ramp {show(timing.oscillator_hz, 'frequency')}, outputs at half; dead time "
        f"{show(timing.dead_time_s, 'time')}. RT, CT, ceramic ≤ 10 mm from the pins.",
        f"{controller.id} starts at {show(least, 'voltage')}. High INHIBIT stops it {stops}; {starts} then "
        f"{'begin' if ' and ' in starts else 'begins'} a new soft start of "
        f"{show(timing.soft_start_s, 'time')}.",
        loop if controller.family != "3846" else f"{loop} Voltage mode: its own ramp stands at CS+.",
        readings_line(circuit),
        f"Resistors 0.25 W, capacitors 63 V unless stated.{_cooled(result, circuit)}",
    )


def _cooled(result: ConverterResult, circuit: Circuit) -> str:
    """What the follower of the gate supply is bolted to, where it needs that."""
    supply = result.gate_supply
    if supply is None or not supply.sink_k_per_w:
        return ""
    name = circuit.by_role("gate supply transistor")[0].designator
    return f" {name} on a heatsink of {supply.sink_k_per_w:g} K/W."


def _restarting(circuit: Circuit) -> str:
    """Designators of the transistors that empty the soft start."""
    roles = ("inhibit transistor", "soft-start reset transistor")
    return " and ".join(part.designator for role in roles for part in circuit.by_role(role))


def gate_drive_block(design: Design, _library: Library) -> Iterator[Block]:
    """Drivers, gate transformer of a bridge, and the parts at each gate."""
    result = design.converter
    if result is None:
        return
    circuit = gate_circuit_of(result, corners=battery_voltages(design))
    period = 1.0 / result.plan.timing.switching_hz
    gates = [gate_nets(position, 1)[0] for position in POSITIONS[result.topology]]
    count = result.plan.switch.per_side
    first = tuple(gate_nets(position, count)[0] for position in POSITIONS[result.topology])

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_gate_drive(kit, supply_net(result))
        return _gate_notes(result, circuit)

    yield Block(
        key="gate-drive",
        title="Gate drive",
        stage="converter",
        circuit=circuit,
        names={**_supply_names(design), **gate_names(result), "out_a": "OUT A", "out_b": "OUT B"},
        draw=draw,
        texts=_gate_texts(result),
        analysis=Transient(stop_s=5.0 * period, step_s=period / 2000.0, from_initial=True),
        probes=tuple(Voltage(net) for net in (first if count > 1 else gates)),
    )


def _gate_texts(result: ConverterResult) -> dict[str, tuple[str, ...]]:
    gate = result.gate_transformer
    return (
        {}
        if gate is None
        else {f"T1101{letter}": (f"T1101{letter}", f"{gate.turns} t") for letter in "ABCDE"}
    )


def _gate_notes(result: ConverterResult, circuit: Circuit) -> tuple[str, ...]:
    drive, gate = result.drive, result.gate_transformer
    mosfet = result.plan.switch.mosfet
    notes = [
        "SW …: gates of the power stage's switches. Resistor and pull-down sit at their gate, the driver "
        "within 50 mm; source and driver ground meet at the switches' sources.",
        f"{mosfet.qg_coul * 1e9:.0f} nC a gate; the drive takes {drive.supply_a * 1e3:.0f} mA from its "
        f"supply, {drive.gate_w * 1e3:.0f} mW; turn-off takes {show(drive.turn_off_s, 'time')}.",
    ]
    if gate is not None:
        notes.append(
            f"T1101: {gate.core.id}, five windings of {gate.turns} turns laid together; dots are starts. A "
            "swapped pair of ends shorts a leg: check the phases with the power stage unfed. Its magnetising "
            f"current, {show(gate.magnetising_a, 'current')} peak, returns through the four diodes."
        )
    return (*notes, readings_line(circuit), "Resistors 0.25 W unless stated.")


def auxiliary_block(design: Design, _library: Library) -> Iterator[Block]:
    """The small rails' own winding, where the main rails don't feed them."""
    result = design.converter
    if result is None or not result.auxiliary.turns:
        return
    aux = result.auxiliary
    circuit = auxiliary_circuit(
        result, battery_v=design.supply.corners[Corner.NOMINAL], corners=battery_voltages(design)
    )
    period = 1.0 / result.plan.timing.switching_hz

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_auxiliary(kit)
        return (
            f"T101E and T101F: 2 × {aux.turns} turns on the main transformer, wound last; dots are starts.",
            f"{show(aux.low_v, 'voltage')} to {show(aux.high_v, 'voltage')} on each side, for "
            f"{show(aux.current_a, 'current')}.",
            readings_line(circuit),
        )

    yield Block(
        key="auxiliary",
        title="Auxiliary supply",
        stage="converter",
        circuit=circuit,
        names={"aux_positive": "AUX +", "aux_negative": "AUX −"},
        draw=draw,
        texts={f"T101{letter}": (f"T101{letter}", f"{aux.turns} t") for letter in "EF"},
        analysis=Transient(stop_s=200.0 * period, step_s=period / 200.0, from_initial=True),
        probes=(Voltage("aux_positive"), Voltage("aux_negative")),
    )
