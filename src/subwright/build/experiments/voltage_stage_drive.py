"""The voltage stage at large signals: full drive, clipping, and how fast its output moves."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.experiments.record import Check, Experiment, Outcome
from subwright.build.experiments.voltage_stage import CIRCUIT, cases_of
from subwright.build.linear_amplifier import (
    SILENT,
    across,
    closed_amplifier,
    ends_of,
    rails_lifted,
    stage_of,
    values_of,
)
from subwright.build.result import Design
from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.amplifier_values import ClassABValues
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.circuits.voltage_stage_circuit import voltage_stage_circuit
from subwright.circuits.voltage_stage_loop import leg_feeds
from subwright.parts.library import Library
from subwright.stages.amplifier_driving import THERMAL_V
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["EXPERIMENTS"]

_NOTE_HZ: Final = 1e3
_LOW_NOTE_HZ: Final = 40.0
_POINTS: Final = 200
_OVER: Final = 1.4  # drive at which it clips for certain
_TURNED: Final = 3.0  # step over what turns the pair over


def _driven(
    design: Design, library: Library, drive_v: float, engine: Engine, timeout_s: float
) -> tuple[Traces, Circuit]:
    """A sine at the filter's output; class H from charged capacitors, at a note that its comparators know."""
    lifted = rails_lifted(design)
    hz, cycles = (_LOW_NOTE_HZ, 3) if lifted else (_NOTE_HZ, 2)
    signal = sine_ramp(drive_v, hz, cycles=cycles, points=_POINTS)
    circuit = closed_amplifier(design, library, signal)
    run = Transient(
        stop_s=cycles / hz,
        step_s=1.0 / hz / _POINTS,
        keep_from_s=(cycles - 1) / hz,
        accuracy=1e-3 if lifted else 1e-4,
        from_initial=lifted,
    )
    return simulate(circuit, run, ends_of(circuit), engine, timeout_s=timeout_s), circuit


def _full(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """Full drive, and one leg of split rails overdriven until it clips."""
    stage, result, values = stage_of(design), design.amplifier, values_of(design)
    assert stage is not None
    load = result.load_ohm
    full_v = result.peak_v * (load + values.lead_ohm) / load
    traces, circuit = _driven(design, library, full_v / stage.gain, engine, timeout_s)
    course = across(traces, circuit)
    lifted = rails_lifted(design)
    checks = [
        Check(
            quantity="crest at full drive",
            closed=full_v / np.hypot(1.0, stage.low_corner_hz / _LOW_NOTE_HZ) if lifted else full_v,
            simulated=0.5 * float(np.ptp(course)),
            unit="V",
            limit=0.005,
        )
    ]
    if values.legs == 1 and result.rail_switching is None:
        traces, circuit = _driven(design, library, _OVER * full_v / stage.gain, engine, timeout_s)
        course = across(traces, circuit)
        ballast_v = values.ballast_ohm / values.pairs * full_v / (load + values.lead_ohm)
        checks += [
            Check(
                quantity=f"{side} crest when it clips",
                closed=values.rail_v - lost - ballast_v,
                simulated=crest,
                unit="V",
                limit=0.05,
            )
            for side, lost, crest in (
                ("upper", stage.clip_upper_v, float(np.max(course))),
                ("lower", stage.clip_lower_v, -float(np.min(course))),
            )
        ]
    return Outcome(checks=tuple(checks), engine=traces.engine, axis=traces.axis, traces={"output, V": course})


def _slew(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """A step at the pair's base that turns it over: the tail's whole current charges the Miller capacitor."""
    stage, result, values = stage_of(design), design.amplifier, values_of(design)
    assert stage is not None
    rest_v = 0.0 if stage.half_v is None else 0.5 * values.rail_v
    turned_v = _TURNED * (stage.tail_a * stage.resistors_ohm["pair degeneration"] + 4.0 * THERMAL_V)
    time_s = max(result.peak_v / values.legs / stage.slew_v_per_s, 0.5e-6)
    step = Ramp(
        points=(
            (0.0, rest_v),
            (time_s, rest_v),
            (1.02 * time_s, rest_v + turned_v),
            (4.0 * time_s, rest_v + turned_v),
        )
    )
    pushed = Part(
        designator="BENCH_STEP",
        kind="voltage source",
        nets=("input_base_a", GROUND),
        value=step,
        role="step",
        standing="bench",
    )
    whole = closed_amplifier(design, library, SILENT) if values.lateral else _by_itself(design, stage, values)
    circuit = replace(whole, parts=(*whole.parts, pushed))
    run = Transient(stop_s=4.0 * time_s, step_s=time_s / 200.0, accuracy=1e-4)
    traces = simulate(circuit, run, [Voltage("out_a")], engine, timeout_s=timeout_s)
    course = traces.voltage("out_a")
    grid = np.linspace(0.0, 4.0 * time_s, 400)
    even = np.interp(grid, traces.axis, course)
    fastest = float(np.max(np.gradient(even, grid)))
    check = Check(
        quantity="fastest rise of the output",
        closed=stage.slew_v_per_s,
        simulated=fastest,
        unit="V/s",
        limit=0.08,
    )
    return Outcome(
        checks=(check,), engine=traces.engine, axis=traces.axis, traces={"output of leg A, V": course}
    )


def _by_itself(design: Design, stage: VoltageStage, values: ClassABValues) -> Circuit:
    """The voltage stage on steady feeds, its output stage an ideal follower."""
    return voltage_stage_circuit(
        stage,
        values.ids,
        leg_feeds(values, lifted=rails_lifted(design)),
        split_rails=values.split_rails,
        supply_v=values.rail_v,
        spread_v=values.spread_v,
        signal=SILENT,
    )


EXPERIMENTS = (
    Experiment(
        name="voltage-stage-full",
        block="amplifier",
        title="Full drive and clipping",
        about=CIRCUIT
        + "A sine of 1 kHz at full drive must come out whole, 0.5 %; overdriven it clips where the sources "
        "saturate, 5 %. Class G and H and bridges are held to the first; class H at 40 Hz, third cycle, half "
        "of which its lower leg stands still, less what the input coupling takes there.",
        cases=cases_of(_full),
    ),
    Experiment(
        name="voltage-stage-slew",
        block="amplifier",
        title="Fastest rise of the output",
        about=CIRCUIT
        + "A step at the first base that turns the pair over for good. The closed form is the least of what "
        "tail, voltage amplifier and its buffer can move; of a lateral MOSFET's C_GS it charges the share "
        "that the source stays behind, with its slope at rest. Bipolar stages by themselves, an ideal "
        "follower for their output; lateral MOSFETs with it. 8 %: the tail's rest and the capacitances that "
        "the steps of a simulator round.",
        cases=cases_of(_slew),
    ),
)
