"""The wiring: what the unit sees of the battery, a short circuit at the cable's end, the speaker cable."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.test_points import BATTERIES, FULL_SINE, NO_SIGNAL
from subwright.build.test_points.wiring import battery_currents, wiring_readings
from subwright.build.wiring_values import fault_values, inside_ohm, wiring_values
from subwright.circuits.analysis import AcSweep, Current, Transient, Voltage
from subwright.circuits.netlist import GROUND, Ramp
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.circuits.wiring_circuit import DRIVER_NETS, FUSED, WiringValues, terminal_nets, wiring_circuit
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level

__all__ = ["EXPERIMENTS"]

_EACH_S: Final = 1e-3
_EDGE_S: Final = 1e-6
_SWEEP: Final = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=10)
_AGREEMENT: Final = 0.001  # both routes add the same resistances; nothing is approximated
_BATTERY: Final = Current("BT901")


def _across(values: WiringValues, traces: Traces) -> Array:
    plus, minus = terminal_nets(values)
    return traces.voltage(plus) - (0.0 if minus == GROUND else traces.voltage(minus))


def _steps(values: Sequence[float]) -> Ramp:
    """One value after the other, each for ``_EACH_S``."""
    edges = [
        (number * _EACH_S + late, value) for number, value in enumerate(values) for late in (_EDGE_S, _EACH_S)
    ]
    return Ramp(points=((0.0, values[0]), *edges))


def _terminals(corner: Corner, design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """The unit draws its current at rest, then the mean of a full sine, then that of its crest."""
    values = wiring_values(design, corner=corner)
    currents = battery_currents(design, corner, Level.FULL)
    circuit = wiring_circuit(values, draw=_steps(currents))
    nets = list(dict.fromkeys((*terminal_nets(values), *(point.net for point in circuit.test_points))))
    run = Transient(stop_s=len(currents) * _EACH_S, step_s=1e-5)
    probes = [Voltage(net) for net in nets if net != GROUND]
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)

    def steps_of(course: Array) -> list[float]:
        middles = (np.arange(len(currents)) + 0.5) * _EACH_S
        return [float(value) for value in np.interp(middles, traces.axis, course)]

    across = _across(values, traces)
    checks = [
        Check(
            quantity="voltage at the unit's terminals",
            closed=design.supply.terminal_v[corner] + inside_ohm(design) * currents[1],
            simulated=steps_of(across)[1],
            unit="V",
            limit=_AGREEMENT,
        )
    ]
    for net, readings in wiring_readings(design, library).items():
        told = {reading.at: reading for reading in readings}
        rest_v, mean_v, crest_v = steps_of(traces.voltage(net))
        for battery in (name for name, at in BATTERIES.items() if at is corner):
            full = told[f"{battery}, {FULL_SINE}"]
            rows = {
                NO_SIGNAL: (told[f"{battery}, {NO_SIGNAL}"].dc_v, rest_v),
                f"{FULL_SINE}, mean": (full.dc_v, mean_v),
                f"{FULL_SINE}, peak to peak": (full.ripple_v, rest_v - crest_v),
            }
            name = "behind the fuse" if net == FUSED else "at the unit's board"
            checks += [
                Check(quantity=f"{name}, {what}", closed=v, simulated=found, unit="V", limit=_AGREEMENT)
                for what, (v, found) in rows.items()
            ]
    return Outcome(
        checks=tuple(checks), engine=traces.engine, axis=traces.axis, traces={"terminals, V": across}
    )


def _fault(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    circuit = wiring_circuit(fault_values(design), shorted=True)
    run = Transient(stop_s=_EACH_S, step_s=1e-5)
    traces = simulate(circuit, run, [_BATTERY], engine, timeout_s=timeout_s)
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


def _lead_cases(design: Design, library: Library) -> tuple[Case, ...]:
    def terminals(corner: Corner) -> Case:
        return Case(
            name=f"full power, battery {corner.value}",
            run=lambda engine, timeout_s: _terminals(corner, design, library, engine, timeout_s),
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
            "Battery, contacts, fuse and both cables as resistances, loaded with the battery's current at "
            "rest, of a full sine on average and of its crest at each corner, then shorted at the unit while "
            "charging; against the drop and the fault current that cable and fuse were chosen by, and what "
            "the sheet's test points read."
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
