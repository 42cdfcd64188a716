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
    LegFeed,
    add_voltage_stage,
    bench_line,
    stage_points,
)
from subwright.parts.library import Library
from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["INJECTION", "closed_loop", "leg_feeds", "opened"]

INJECTION: Final = "BENCH_INJECTION"
"""Source in the feedback's way of an opened loop."""
_HUNDRED: Final = 1400
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
    lifted: bool = False,
    mute: float | Ramp = MUTE_OPEN_V,
) -> Circuit:
    """An output stage's netlist with its voltage stage.

    Parameters
    ----------
    output : the output stage with an ideal one. values : everything in it. stage : the design of the voltage
    stage. library : with the drawer merged. signal : at the filter's output, V. lifted : class H.
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
    parts = [*kept, *_gate_charges(kept, values), *build.parts]
    used = {part.model for part in parts}
    models = [_real(model, values, library) for model in output.models if model.name in used]
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


def opened(circuit: Circuit, leg: str = "a") -> Circuit:
    """The same with a source in the feedback's way of one leg: loop gain is minus what stands before it over
    what stands behind it.

    Parameters
    ----------
    circuit : with its loop closed. leg : whose.

    Returns
    -------
    Circuit with the net ``sensed`` behind the source; the loop's direct voltages are as they were.
    """
    out = f"out_{leg}"
    parts = tuple(
        replace(part, nets=tuple("sensed" if net == out else net for net in part.nets))
        if part.role == "voltage feedback" and out in part.nets
        else part
        for part in circuit.parts
    )
    source = Part(
        designator=INJECTION,
        kind="voltage source",
        nets=("sensed", out),
        value=Steady(value=0.0, ac=1.0),
        role="injection",
        standing="bench",
    )
    return replace(circuit, parts=(*parts, source))


def _real(model: Model, values: ClassABValues, library: Library) -> Model:
    """An output stage's model with the figures of its part."""
    if not isinstance(model, BipolarModel) or model.name.startswith("BUFFER"):
        return model
    if model.name in ("UPPER", "LOWER"):
        part = OUTPUT_STAGES[values.device_id]
        gain, transit_hz = part.gain, part.transit_hz
    else:
        role = {"DRIVER_NPN": "driver NPN", "DRIVER_PNP": "driver PNP", "BIAS": "bias transistor"}[model.name]
        small = library.transistors[values.ids[role]]
        gain, transit_hz = small.hfe_min, small.ft_hz
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
