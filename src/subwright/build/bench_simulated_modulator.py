"""The class-D modulator on the simulated bench: its supplies while muted, and its gates once it plays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.build.bench_simulated_unit import Bench, Readings
from subwright.circuits.amplifier_values import class_d_values
from subwright.circuits.analysis import Probe, Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.modulator_circuit import modulator_circuit
from subwright.circuits.modulator_closed import closed_loop_circuit
from subwright.circuits.modulator_values import ModulatorValues, modulator_values
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.simulate import Traces

__all__ = ["MODULATOR_BLOCKS"]

Array = NDArray[np.float64]

_PERIODS: Final = 26
_FREE: Final = 7  # periods after which the mute frees it: the supplies are up by then
_SETTLE: Final = 16  # periods before anything is read
_STEPS: Final = 80  # to a period
_ACCURACY: Final = 3e-3
_SAMPLES: Final = 400  # of a mean
_BOOTSTRAP: Final = (
    8.0  # times a gate: enough for a period, and one that nothing charges shows within the run
)
_QUICK: Final[Mapping[str, tuple[float, float]]] = {
    # in place of the real ones, and empty at the start: they settle in microseconds
    "driver supply capacitor": (22e-9, 0.0),
    "driver decoupling": (1e-9, 0.0),
    **{f"{name} supply capacitor": (10e-9, 0.0) for name in ("logic", "op", "clock")},
    "logic decoupling": (1e-9, 0.0),
    "op decoupling": (1e-9, 0.0),
    "reference capacitor": (10e-9, 0.0),
    "mute capacitor": (220e-12, 0.0),
}


def _run(v: ModulatorValues) -> Transient:
    period_s = 1.0 / v.record.switching_hz
    return Transient(
        stop_s=_PERIODS * period_s,
        step_s=period_s / _STEPS,
        from_initial=True,
        accuracy=_ACCURACY,
        voltage_floor_v=1e-4,
        current_floor_a=1e-6,
    )


def _with(circuit: Circuit, changes: Mapping[str, tuple[float, float]]) -> Circuit:
    """The circuit with other capacitors, F, and voltages on them at the start, V, by role."""
    return replace(
        circuit,
        parts=tuple(
            replace(part, value=changes[part.role][0], initial_v=changes[part.role][1])
            if part.kind == "capacitor" and part.role in changes
            else part
            for part in circuit.parts
        ),
    )


def _mean(v: ModulatorValues, traces: Traces, course: Array) -> float:
    grid = np.linspace(_SETTLE / v.record.switching_hz, float(traces.axis[-1]), _SAMPLES)
    return float(np.mean(np.interp(grid, traces.axis, course)))


def _rate(v: ModulatorValues, traces: Traces, course: Array, level: float) -> float:
    """Frequency of a course, from where it rises through a level once settled, Hz; 0 where it stands."""
    start = _SETTLE / v.record.switching_hz
    rises = [t for t, up in crossings(traces.axis, course, level) if up and t >= start]
    return (len(rises) - 1) / (rises[-1] - rises[0]) if len(rises) > 1 else 0.0


def _supplies(bench: Bench) -> Readings:
    """Muted, the nodes still: where the supplies come to, the stop and the clock."""
    v = modulator_values(bench.design.amplifier, bench.library)
    m = v.record
    low_v = -v.rail_v if m.split_rails else 0.0
    circuit = _with(modulator_circuit(v), _QUICK)
    parts = tuple(
        replace(part, value=Steady(value=0.0)) if part.designator == "BENCH_MUTE" else part
        for part in circuit.parts
    )
    nets = ["driver_supply", "logic_supply", "op_positive", "stop"]
    nets.append("op_negative" if m.split_rails else "reference")
    probes: list[Probe] = [Voltage(net) for net in [*nets, *(["carrier"] if m.clocked else [])]]
    traces = bench.run(replace(circuit, parts=parts), _run(v), probes)
    means = {net: _mean(v, traces, traces.voltage(net)) for net in nets}
    found = {
        "modulator-gate-supply": means["driver_supply"] - low_v,
        "modulator-logic-supply": means["logic_supply"] - low_v,
        "modulator-op-positive": means["op_positive"],
        "modulator-stop": means["stop"] - low_v,
    }
    if m.split_rails:
        found["modulator-op-negative"] = -means["op_negative"]
    else:
        found["modulator-reference"] = means["reference"]
    if m.clocked:
        middle_v = 0.5 * (m.clock_low_v + m.clock_high_v)
        found["modulator-clock"] = _rate(v, traces, traces.voltage("carrier"), middle_v)
    return found


def _gates(bench: Bench) -> Readings:
    """Free, at rest: how fast both gates of leg A go, their dead times, and the bootstrap capacitors."""
    result = bench.design.amplifier
    v = modulator_values(result, bench.library)
    m = v.record
    low_v = -v.rail_v if m.split_rails else 0.0
    free_s = _FREE / m.switching_hz
    whole = closed_loop_circuit(
        v,
        class_d_values(result, rail_v=v.rail_v),
        load_ohm=result.load_ohm,
        wanted=Steady(value=0.0),
        mute=Ramp(points=((0.0, 0.0), (free_s, 0.0), (1.02 * free_s, m.mute_high_v))),
    )
    floating = (_BOOTSTRAP * v.first_f, m.bootstrap_v)
    circuit = _with(
        whole, {**_QUICK, "bootstrap capacitor": floating, "bootstrap bypass": (1e-9, m.bootstrap_v)}
    )
    legs = "ab"[: m.legs]
    nets = ["gate_upper_a", "gate_lower_a", *(f"{net}_{leg}" for net in ("node", "boost") for leg in legs)]
    traces = bench.run(circuit, _run(v), [Voltage(net) for net in (*nets, "stop")])
    upper = traces.voltage("gate_upper_a") - traces.voltage("node_a")
    lower = traces.voltage("gate_lower_a") - low_v
    rate = _rate(v, traces, lower, v.threshold_v)
    found = {
        "modulator-stop-free": max(_mean(v, traces, traces.voltage("stop")) - low_v, 0.0),
        "gate-frequency": rate,
        "amplifier-switching": _rate(v, traces, traces.voltage("node_a"), low_v + 0.5 * v.bus_v),
        "gate-dead-time-down": _gap(v, traces, upper, lower),
        "gate-dead-time-up": _gap(v, traces, lower, upper),
        "node-rest": _mean(v, traces, traces.voltage("node_a")),
    }
    for leg in legs:
        across = traces.voltage(f"boost_{leg}") - traces.voltage(f"node_{leg}")
        found[f"bootstrap-{leg}"] = _mean(v, traces, across)
    return found


def _gap(v: ModulatorValues, traces: Traces, first: Array, then: Array) -> float:
    """Time from one gate's fall to the other's rise, s; 0 where there is none."""
    start, level = _SETTLE / v.record.switching_hz, v.threshold_v
    offs = [t for t, up in crossings(traces.axis, first, level) if not up and t >= start]
    ons = [t for t, up in crossings(traces.axis, then, level) if up]
    gaps = [min(t - off for t in ons if t > off) for off in offs if ons and off < ons[-1]]
    return float(np.median(gaps)) if gaps else 0.0


MODULATOR_BLOCKS: Final[Mapping[str, Callable[[Bench], Readings]]] = {
    "modulator-supplies": _supplies,
    "modulator-gates": _gates,
}
"""Blocks of the modulator, by name."""
