"""The wiring: what the unit sees of the battery, a short circuit at the cable's end, the speaker cable."""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.wiring_values import fault_values, wiring_values
from subwright.circuits.analysis import AcSweep, Current, Transient, Voltage
from subwright.circuits.netlist import GROUND
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.circuits.wiring_circuit import DRIVER_NETS, WiringValues, terminal_nets, wiring_circuit
from subwright.parts.library import Library
from subwright.stages.common import Corner

__all__ = ["EXPERIMENTS"]

_RUN: Final = Transient(stop_s=1e-3, step_s=1e-5)
_SWEEP: Final = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=10)
_AGREEMENT: Final = 0.001  # both routes add the same resistances; nothing is approximated
_BATTERY: Final = Current("BT901")


def _run(values: WiringValues, engine: Engine, timeout_s: float, *, shorted: bool = False) -> Traces:
    nets = [Voltage(net) for net in terminal_nets(values) if net != GROUND]
    circuit = wiring_circuit(values, shorted=shorted)
    return simulate(circuit, _RUN, [*nets, _BATTERY], engine, timeout_s=timeout_s)


def _across(values: WiringValues, traces: Traces) -> Array:
    plus, minus = terminal_nets(values)
    return traces.voltage(plus) - (0.0 if minus == GROUND else traces.voltage(minus))


def _terminals(corner: Corner, design: Design, engine: Engine, timeout_s: float) -> Outcome:
    values = wiring_values(design, corner=corner)
    traces = _run(values, engine, timeout_s)
    across = _across(values, traces)
    check = Check(
        quantity="voltage at the unit's terminals",
        closed=design.supply.terminal_v[corner],
        simulated=float(across[-1]),
        unit="V",
        limit=_AGREEMENT,
    )
    return Outcome(checks=(check,), engine=traces.engine, axis=traces.axis, traces={"terminals, V": across})


def _fault(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    traces = _run(fault_values(design), engine, timeout_s, shorted=True)
    course = -traces.current("BT901")
    check = Check(
        quantity="current of a short circuit",
        closed=design.supply.fault_far_a,
        simulated=float(course[-1]),
        unit="A",
        limit=_AGREEMENT,
    )
    return Outcome(checks=(check,), engine=traces.engine, axis=traces.axis, traces={"battery, A": course})


def _speaker(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    values = wiring_values(design, draw_a=0.0)
    circuit = wiring_circuit(values)
    returns = None if values.single_ended else Voltage("speaker_b")
    nets = [Voltage(net) for net in ("speaker_a", *DRIVER_NETS)]
    probes = nets if returns is None else [*nets, returns]
    traces = simulate(circuit, _SWEEP, probes, engine, timeout_s=timeout_s)
    given = traces.phasor(nets[0]) - (0.0 if returns is None else traces.phasor(returns))
    taken = traces.phasor(nets[1]) - traces.phasor(nets[2])
    lost = np.abs((given - taken) / taken)
    check = Check(
        quantity="speaker cable's share of the load",
        closed=design.wiring.speaker.resistance_ohm / design.amplifier.load_ohm,
        simulated=float(np.max(lost)),
        unit="",
        limit=_AGREEMENT,
    )
    return Outcome(
        checks=(check,),
        engine=traces.engine,
        axis=traces.axis,
        axis_unit="Hz",
        traces={"lost over taken": np.asarray(lost, dtype=np.float64)},
    )


def _lead_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    def terminals(corner: Corner) -> Case:
        return Case(
            name=f"full power, battery {corner.value}",
            run=lambda engine, timeout_s: _terminals(corner, design, engine, timeout_s),
        )

    return (
        *(terminals(corner) for corner in design.supply.terminal_v),
        Case(name="short circuit at the unit", run=partial(_fault, design)),
    )


def _speaker_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    return (Case(name="", run=partial(_speaker, design)),)


EXPERIMENTS: tuple[Experiment, ...] = (
    Experiment(
        name="battery-lead",
        block="wiring",
        title="Battery, fuse and cable under load and shorted",
        about=(
            "Battery, contacts, fuse and both cables as resistances, loaded with the mean current of full "
            "power at each corner, then shorted at the unit while charging; against the drop and the fault "
            "current that cable and fuse were chosen by."
        ),
        cases=_lead_cases,
    ),
    Experiment(
        name="speaker-lead",
        block="wiring",
        title="Speaker cable and drivers",
        about="The amplifier's voltage against the drivers', all of them wired as built.",
        cases=_speaker_cases,
    ),
)
