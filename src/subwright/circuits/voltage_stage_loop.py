"""The loop closed: a class-AB output stage with its real voltage stage in place of the ideal one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import pi
from typing import Final

from subwright.circuits.amplifier_parts import NEGATIVE, POSITIVE
from subwright.circuits.amplifier_values import ClassABValues
from subwright.circuits.builder import Builder
from subwright.circuits.models import BipolarModel, Model
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady
from subwright.circuits.voltage_stage_circuit import (
    MUTE_OPEN_V,
    REFERENCE,
    LegFeed,
    add_voltage_stage,
    bench_line,
    stage_points,
)
from subwright.parts.library import Library
from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.stages.amplifier_voltage_stage_currents import strays
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["INJECTION", "closed_loop", "leg_feeds", "opened"]

INJECTION: Final = "BENCH_INJECTION"
"""Source in the feedback's way of an opened loop."""
_HUNDRED: Final = 1400
_DRIVERS: Final = {"DRIVER_NPN": "driver NPN", "DRIVER_PNP": "driver PNP"}
_IDEAL: Final = frozenset(
    {
        "a leg's share",
        "current source of the bias",
        "half of the supply",
        "input stages",
        "signal",
        "source's own load",
        "voltage stage",
        "voltage stage's own",
    }
)
"""Bench equipment that stood for what is real now, by role."""


def leg_feeds(values: ClassABValues, *, lifted: bool = False) -> Mapping[str, LegFeed]:
    """Between which nets each leg's voltage stage works.

    Parameters
    ----------
    values : the output stage. lifted : class H: on each leg's own rail.
    """
    low = NEGATIVE if values.split_rails else GROUND
    return {
        leg: LegFeed(positive=f"feed_{leg}" if lifted else POSITIVE, negative=low)
        for leg in "ab"[: values.legs]
    }


def closed_loop(
    output: Circuit,
    values: ClassABValues,
    stage: VoltageStage,
    library: Library,
    *,
    signal: Ramp | Steady,
    crest_a: float,
    lifted: bool = False,
    mute: float | Ramp = MUTE_OPEN_V,
) -> Circuit:
    """An output stage's netlist with its voltage stage.

    Parameters
    ----------
    output : the output stage with an ideal one. values : everything in it. stage : the design of the voltage
    stage. library : with the drawer merged. signal : at the filter's output, V. crest_a : of a leg, A, at
    which the current gains are taken. lifted : class H.
    mute : what the line that mutes is pulled to, V.

    Returns
    -------
    Circuit: output devices and drivers with their least gains, transition frequencies and capacitances; the
    load hangs where it hung.
    """
    feeds = leg_feeds(values, lifted=lifted)
    build = Builder(_HUNDRED, values.ids)
    add_voltage_stage(build, stage, feeds, split_rails=values.split_rails, supply_v=values.rail_v)
    build.bench("SIGNAL", "voltage source", ("wanted_a", GROUND), signal, "filter's output")
    bench_line(build, stage, open_v=mute)
    kept = [part for part in output.parts if part.standing != "bench" or part.role not in _IDEAL]
    parts = [*kept, *_gate_charges(kept, values), *build.parts, *_mute_charges(build.parts, stage)]
    used = {part.model for part in parts}
    models = [_real(model, values, stage, library, crest_a) for model in output.models if model.name in used]
    return Circuit(
        name=f"{output.name} with its voltage stage",
        parts=tuple(parts),
        models=(*models, *build.models),
        couplings=output.couplings,
        test_points=(
            *output.test_points,
            *stage_points(stage, feeds, split_rails=values.split_rails, supply_v=values.rail_v),
        ),
    )


def opened(circuit: Circuit, legs: str = "a", *, difference: bool = False) -> Circuit:
    """The same with a source in the feedback's way: loop gain is minus what stands before it over what
    stands behind it.

    Parameters
    ----------
    circuit : with its loop closed. legs : whose; of both, "ab", the sources have opposite signs, so that the
        loop of their difference is measured. difference : the loop round both legs of class H; else the
        legs' own, their drive held.

    Returns
    -------
    Circuit with the net ``sensed_a`` or, of both legs, ``sensed_b`` too behind the sources; the loop's direct
    voltages are as they were.
    """
    role = "difference feedback" if difference else "voltage feedback"
    moved = {f"out_{name}": f"sensed_{name}" for name in legs}
    parts = [
        replace(part, nets=tuple(moved.get(net, net) for net in part.nets)) if part.role == role else part
        for part in circuit.parts
    ]
    if not difference:
        parts = [_held(part) for part in parts]
    injected = [
        Part(
            designator=f"{INJECTION}_{name.upper()}",
            kind="voltage source",
            nets=(f"sensed_{name}", f"out_{name}"),
            value=Steady(value=0.0, ac=1.0 if name == legs[0] else -1.0),
            role="injection",
            standing="bench",
        )
        for name in legs
    ]
    parts += injected
    used = {part.model for part in parts}
    models = tuple(model for model in circuit.models if model.name in used)
    return replace(circuit, parts=tuple(parts), models=models)


def _held(part: Part) -> Part:
    """The difference's integrator as a source that holds leg A's drive at half; any other part as it is."""
    if part.kind != "op-amp" or part.nets[2] != "steer_a":
        return part
    return Part(
        designator="BENCH_HELD",
        kind="voltage by voltage",
        nets=("steer_a", GROUND, REFERENCE, GROUND),
        value=1.0,
        role="held drive",
        standing="bench",
    )


def _real(
    model: Model, values: ClassABValues, stage: VoltageStage, library: Library, crest_a: float
) -> Model:
    """An output stage's model with the figures of its part; current gains at the crest.

    The bias transistor keeps an ideal gain. Its base current through the upper resistor is some hundred
    millivolts of the spread, and one per cent of the stage's current a handful of them: as much as the idle
    current hangs on. A hand trims that on the bench, and the netlist has no hand.
    """
    if not isinstance(model, BipolarModel) or model.name not in ("UPPER", "LOWER", *_DRIVERS):
        return model
    part = OUTPUT_STAGES[values.device_id]
    gain, transit_hz = part.gain_at(crest_a / values.pairs), part.transit_hz
    if model.name in _DRIVERS:
        # the stage's need says what the drivers' gain has fallen to there
        gain = max(crest_a / gain / stage.need_a, 1.0)
        part_id = values.ids[_DRIVERS[model.name]]
        transit_hz = library.transistors[part_id].ft_hz
        model = replace(model, collector_f=strays(part_id)[1])
    transit_s = 1.0 / (2.0 * pi * transit_hz) if transit_hz > 0.0 else 0.0
    return replace(model, current_gain=gain, transit_s=transit_s)


def _gate_charges(parts: list[Part], values: ClassABValues) -> list[Part]:
    """Capacitances of lateral MOSFETs' gates, to source and to drain."""
    if not values.lateral:
        return []
    device = OUTPUT_STAGES[values.device_id]
    return [
        Part(
            designator=f"{part.designator}_{word}",
            kind="capacitor",
            nets=(part.nets[1], part.nets[end]),
            value=farads,
            role="gate capacitance",
            standing="inherent",
        )
        for part in parts
        if part.role == "output stage" and part.kind == "mosfet"
        for word, end, farads in (("INPUT", 2, device.input_f), ("REVERSE", 0, device.reverse_f))
        if farads > 0.0
    ]


def _mute_charges(parts: list[Part], stage: VoltageStage) -> list[Part]:
    """Capacitance from the mute's channels to their gates: what carries the line's course into the signal."""
    return [
        Part(
            designator=f"{part.designator}_GATE",
            kind="capacitor",
            nets=part.nets[:2],
            value=stage.transistors[part.role].collector_f,
            role="gate capacitance",
            standing="inherent",
            initial_v=-MUTE_OPEN_V,
        )
        for part in parts
        if part.role == "mute transistor"
    ]
