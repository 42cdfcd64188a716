"""The blocks that watch, guard and switch: protection, battery side, loudspeaker, switching on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from subwright.build.result import Design
from subwright.build.test_points.battery_guard import battery_guard_readings
from subwright.build.test_points.control import control_load_ohm, control_readings
from subwright.build.test_points.protection import protection_readings
from subwright.build.test_points.speaker_guard import speaker_guard_readings
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.battery_guard_circuit import (
    BEHIND,
    Surroundings,
    battery_guard_circuit,
    has_circuit,
)
from subwright.circuits.control_circuit import control_circuit
from subwright.circuits.gate_drive_circuit import gate_nets
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.speaker_guard_circuit import speaker_guard_circuit
from subwright.outputs.schematic_battery_guard import draw_battery_guard
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_control import draw_control
from subwright.outputs.schematic_converter_blocks import gate_names
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_protection
from subwright.outputs.schematic_speaker_guard import draw_speaker_guard
from subwright.outputs.schematic_trips import draw_trip
from subwright.outputs.signal_words import guard_lines
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level

__all__ = [
    "amplifier_shunt_ohm",
    "battery_guard_block",
    "battery_shunt_ohm",
    "control_block",
    "protection_block",
    "speaker_guard_block",
]


def battery_shunt_ohm(design: Design) -> float | None:
    """The shunt over which the battery's current returns, Ω; None where nothing is sensed by one."""
    trip = None if design.protection is None else design.protection.over_current
    return None if trip is None or trip.method != "shunt" else trip.sense_ohm


def amplifier_shunt_ohm(design: Design) -> float | None:
    """The shunt that senses the amplifier's own current, Ω; None where nothing is sensed by one."""
    trip = None if design.protection is None else design.protection.amplifier_current
    return None if trip is None or trip.method != "shunt" else trip.sense_ohm


def _switch_gate(design: Design, side: str) -> str:
    """Printed name of the first gate of a side's lower switches, as the converter's sheets have it."""
    converter = design.converter
    if converter is None:
        return f"GATE {side.upper()}"
    position = f"low_{side}" if converter.topology == "full-bridge" else side
    return gate_names(converter)[gate_nets(position, converter.plan.switch.per_side)[0]]


def protection_block(design: Design, library: Library) -> Iterator[Block]:
    """Protection: the watches and the run line, then a sheet for each over-current trip."""
    result = design.protection
    if result is None:
        return
    circuit = protection_circuit(
        result,
        library,
        battery=Steady(value=design.supply.corners[Corner.NOMINAL]),
        thermistor=library.ntc(result.ntc).r25_ohm,
    ).with_readings(protection_readings(design, library))
    bridge = design.converter is not None and design.converter.topology == "full-bridge"
    names = {
        "reference": "REF",
        "battery": "BATTERY",
        "control": "CONTROL",
        "supply": "+COMP",
        "inhibit": "INHIBIT",
        "mute": "MUTE",
        "run": "RUN",
        "hold": "HOLD",
        "under_out": "UV",
        "over_out": "OV",
        "thermal_out": "HOT",
        "current_out": "OC",
        "output_out": "OC OUT",
        "current_shunt": "SHUNT",
        "output_shunt": "SHUNT OUT",
        "current_level": "OC LEVEL",
        "output_level": "OUT LEVEL",
        "output_negative": "OUT −",
        **{f"current_gate_{side}": _switch_gate(design, side) for side in "ab"},
        **{f"current_drain_{side}": f"{'LEG' if bridge else 'DRAIN'} {side.upper()}" for side in "ab"},
        **{f"output_gate_{side}": f"GATE L{side.upper()}" for side in "ab"},
        **{f"output_drain_{side}": f"NODE {side.upper()}" for side in "ab"},
    }
    watches = [watch for watch in ("over-current", "amplifier over-current") if watch in result.lamps]
    more: list[Callable[[Kit], tuple[str, ...]]] = [
        partial(draw_trip, watch=watch, with_discharge=number == 0) for number, watch in enumerate(watches)
    ]
    nets = set(circuit.nets)
    yield Block(
        key="protection",
        title="Protection",
        stage="protection",
        circuit=circuit,
        names=names,
        draw=partial(draw_protection, tolerance=result.thresholds["under-voltage trip"].window.tolerance),
        more=tuple(more),
        more_titles=tuple(watches),
        analysis=Transient(stop_s=4.0, step_s=2e-3, accuracy=1e-4),
        probes=tuple(Voltage(net) for net in ("battery", "run", *PROTECTION_NETS.values()) if net in nets),
    )


def battery_guard_block(design: Design, library: Library) -> Iterator[Block]:
    """Reverse polarity and suppressor; nothing where neither is fitted."""
    result = design.battery_guard
    if result is None or not has_circuit(result):
        return
    nominal_v = design.supply.corners[Corner.NOMINAL]
    full = design.point(Corner.NOMINAL, Level.FULL)
    circuit = battery_guard_circuit(
        result,
        library,
        source=Ramp(points=((0.0, -nominal_v), (0.2, -nominal_v), (0.3, nominal_v), (0.5, nominal_v))),
        around=Surroundings(
            source_ohm=design.supply.source_resistance_ohm, load_ohm=nominal_v / full.battery_a
        ),
    ).with_readings(battery_guard_readings(design, library))
    yield Block(
        key="battery-guard",
        title="Battery guard",
        stage="battery_guard",
        circuit=circuit,
        names={BEHIND: "BATTERY", "fused": "UNIT +", "battery_minus": "UNIT −", "guard_gate": "GUARD GATE"},
        draw=draw_battery_guard,
        analysis=Transient(stop_s=0.5, step_s=1e-3, accuracy=1e-4),
        probes=(Voltage(BEHIND),),
    )


def speaker_guard_block(design: Design, library: Library) -> Iterator[Block]:
    """Detector of direct voltage and switch; nothing where none is fitted."""
    result = design.speaker_guard
    if result is None or result.detector is None:
        return
    stuck_v = design.amplifier.stuck_a * design.amplifier.load_ohm
    control_v = design.supply.corners[Corner.NOMINAL]
    outputs_v = result.detector.outputs_v
    circuit = speaker_guard_circuit(
        result,
        library,
        control=Steady(value=control_v),
        output=Ramp(points=((0.0, 0.0), (0.1, 0.0), (0.1001, stuck_v), (0.5, stuck_v))),
        load_ohm=design.amplifier.load_ohm,
        outputs_v=outputs_v,
    ).with_readings(speaker_guard_readings(design, library))
    source = "outputs" if outputs_v > 0.0 else "control"

    def draw(kit: Kit) -> tuple[str, ...]:
        return (*draw_speaker_guard(kit, source=source), *guard_lines(circuit))

    names = {
        "control": "CONTROL",
        "speaker_amp": "SPEAKER +",
        "speaker_return": "SPEAKER −",
        "speaker_out": "DRIVER +",
        "speaker_on": "SPEAKER ON",
        "outputs": "RAIL +" if design.amplifier.rails == "raised" else "BATTERY",
    }
    yield Block(
        key="speaker-guard",
        title="Speaker guard",
        stage="speaker_guard",
        circuit=circuit,
        names=names,
        draw=draw,
        analysis=Transient(stop_s=0.5, step_s=1e-4, accuracy=1e-4),
        probes=tuple(Voltage(net) for net in ("speaker_amp", "speaker_out", "dc_sense")),
    )


def control_block(design: Design, library: Library) -> Iterator[Block]:
    """Remote line, supply switch and timers."""
    result = design.control
    if result is None:
        return
    nominal_v = design.supply.corners[Corner.NOMINAL]
    circuit = control_circuit(
        result,
        library,
        battery=Steady(value=nominal_v),
        remote=Ramp(points=((0.0, 0.0), (0.5, 0.0), (0.501, nominal_v), (10.0, nominal_v))),
        load_ohm=control_load_ohm(design),
    ).with_readings(control_readings(design, library))
    names = {
        "battery": "BATTERY",
        "control": "CONTROL",
        "remote": "REMOTE",
        "timer": "+TIMER",
        "half": "HALF",
        "mute": "MUTE",
        "speaker_on": "SPEAKER ON",
    }
    yield Block(
        key="control",
        title="Switching on and off",
        stage="control",
        circuit=circuit,
        names=names,
        draw=draw_control,
        analysis=Transient(stop_s=10.0, step_s=2e-3, accuracy=1e-4),
        probes=tuple(
            Voltage(net) for net in ("remote", "control", "mute", "speaker_on") if net in circuit.nets
        ),
    )
