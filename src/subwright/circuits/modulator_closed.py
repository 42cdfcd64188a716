"""Modulator, output stage, filter and load in one netlist: the closed loop, its switches on real drivers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from subwright.circuits.amplifier_class_d import class_d_circuit
from subwright.circuits.amplifier_values import ClassDValues
from subwright.circuits.models import SwitchModel
from subwright.circuits.modulator_circuit import modulator_bench, modulator_parts
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import Circuit, Part, Steady, Value

__all__ = ["closed_loop_circuit"]

_REPLACED: Final = (
    "BENCH_RAIL_",
    "BENCH_GATE_",
)  # benches of the output stage, whose place the modulator takes


def closed_loop_circuit(
    v: ModulatorValues,
    stage: ClassDValues,
    *,
    load_ohm: float,
    wanted: Value,
    mute: Value = None,
    rails: tuple[Value, Value] | None = None,
    modulation: float = 0.0,
    whole_gates: bool = False,
) -> Circuit:
    """Netlist of the amplifier from the line filter's output to the load.

    Parameters
    ----------
    v : the modulator. stage : the output stage, at the modulator's rails.
    load_ohm : in place of the loudspeaker, Ω. wanted : at the line filter's output, V.
    mute : of the mute line, V; None while it plays.
    rails : (positive, negative) each above its other end, V; None for stiff ones of the modulator's voltage.
    modulation : at which output filter and integrator begin, -1 to 1.
    whole_gates : each gate holds its whole charge, for what the drivers draw; else only what delays it up to
        its threshold.

    Returns
    -------
    Circuit, all capacitors charged to where they rest: start it from them.

    Raises
    ------
    SubwrightError : modulator and output stage don't belong together.
    """
    build = modulator_parts(v, modulation)
    playing = Steady(value=v.record.mute_high_v) if mute is None else mute
    modulator_bench(build, v, wanted=wanted, mute=playing, rails=rails)
    power = class_d_circuit(stage, load_ohm=load_ohm, modulation=modulation, periods=1)
    current_a = modulation * v.swing_v / (load_ohm + stage.lead_ohm)
    kept = [
        replace(part, initial_a=current_a if "node_a" in part.nets else -current_a)
        if part.kind == "inductor"
        else part
        for part in power.parts
        if not part.designator.startswith(_REPLACED)
    ]
    gate_f = v.gate_f if whole_gates else v.first_f
    charges = [charge for part in kept for charge in _charges(part, gate_f, v.drain_f)]
    models = tuple(
        replace(model, threshold_v=v.threshold_v) if isinstance(model, SwitchModel) else model
        for model in power.models
    )
    return Circuit(
        name="class-D amplifier, closed loop",
        parts=(*build.parts, *kept, *charges),
        models=(*build.models, *models),
        open_nets=() if v.record.clocked else ("spare_output",),
    )


def _charges(part: Part, gate_f: float, drain_f: float) -> Iterator[Part]:
    """Gate and drain capacitance of a switch."""
    if part.role != "output switch":
        return
    drain, gate, source = part.nets
    for name, ends, farad in (("GATE", (gate, source), gate_f), ("DRAIN", (drain, source), drain_f)):
        yield replace(
            part,
            designator=f"{part.designator}_{name}",
            kind="capacitor",
            nets=ends,
            value=farad,
            model="",
            role="charge of a switch",
            part_id="",
            standing="inherent",
        )
