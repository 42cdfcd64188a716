"""The converter's gate drive, between a controller's outputs and the gates, set beside its closed forms."""

from __future__ import annotations

from dataclasses import replace
from math import log
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.gate_drive_circuit import DRIVER_OHM, POSITIONS, gate_circuit_of, gate_nets
from subwright.circuits.measure import crossings, last_periods, mean_of
from subwright.circuits.netlist import Circuit
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.physics.gate_drive import gate_current_a
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_bill import GATE_PULL_OHM
from subwright.stages.converter_drive import plateau_v
from subwright.stages.converter_gate_transformer import CLAMP_V

__all__ = ["EXPERIMENTS"]

_GATE: Final = 0.10
_EDGE: Final = 0.25
_CHARGE: Final = 0.20
_MAGNETISING: Final = 0.05
_LIGHT_GATE: Final = 1e-3  # of a gate's charge: what is left of the winding's current magnetises


def _compared(quantity: str, closed: float, simulated: float, unit: str, limit: float) -> Check:
    return Check(quantity=quantity, closed=closed, simulated=simulated, unit=unit, limit=limit)


def _gate_outcome(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    result = design.converter
    assert result is not None
    drive, count = result.drive, result.plan.switch.per_side
    timing, period = result.plan.timing, 1.0 / result.plan.timing.switching_hz
    position = POSITIONS[result.topology][-1]  # its source is on ground
    gate = gate_nets(position, count)[0]
    circuit = gate_circuit_of(result, corners={})
    feeds = [p.designator for p in circuit.parts if p.kind == "voltage source" and "LOW" not in p.designator]
    run = Transient(stop_s=4.1 * period, step_s=period / 4000.0, keep_from_s=1.0 * period, from_initial=True)
    node = next(p.nets[0] for p in circuit.by_role("gate resistor") if gate in p.nets)
    probes: tuple[Probe, ...] = (Voltage(gate), Voltage(node), *(Current(name) for name in feeds))
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)
    time, course = traces.axis, traces.voltage(gate)
    checks = []
    if result.gate_transformer is None:
        high = _at_the_end(time, course, period)
        checks.append(_compared("gate, high", drive.gate_v, high, "V", _GATE))
        plateau = _plateau_currents(result, time, course, traces.voltage(node))
        checks.append(_compared("current at the plateau, falling", *plateau, "A", _EDGE))
        rise_s = _first_rise(time, course, high)
        checks.append(_compared("rise, 10 % to 90 %", _rise_s(result, circuit), rise_s, "s", _EDGE))
        drawn = sum(_mean_out(traces, name, period) for name in feeds)
        pulled = result.switch_count * timing.duty_each * drive.gate_v / GATE_PULL_OHM
        checks.append(_compared("supply current of all gates", drive.gate_a + pulled, drawn, "A", _CHARGE))
    else:
        drawn = sum(-mean_of(*last_periods(time, traces.current(name), period, 3)) for name in feeds)
        checks.append(_compared("supply current of the drive", _bridged_a(result), drawn, "A", _CHARGE))
        checks += _bare(result, circuit, gate, engine, timeout_s)
    return Outcome(checks=tuple(checks), engine=traces.engine, axis=time, traces={"gate, V": course})


def _bridged_a(result: ConverterResult) -> float:
    """Supply current of a bridge's drive with the bench's gates, which are the same below 0 V as above, A."""
    drive, timing = result.drive, result.plan.timing
    lifted = (CLAMP_V + drive.driver.low_v) / drive.gate_v  # by the magnetising current, in the pauses
    charge = 2.0 * (1.0 - lifted) * result.plan.switch.mosfet.qg_coul
    gates_a = gate_current_a(charge, timing.switching_hz, result.switch_count)
    return gates_a + drive.magnetising_a + drive.resistors_a


def _bare(
    result: ConverterResult, circuit: Circuit, net: str, engine: Engine, timeout_s: float
) -> tuple[Check, ...]:
    """Level and gate transformer's current shortly before a pulse ends, next to nothing on its gates.

    What a gate has stored while the magnetising current came back holds the level up until near the end.
    """
    timing, drive, gate = result.plan.timing, result.drive, result.gate_transformer
    assert gate is not None
    period, winding = 1.0 / timing.switching_hz, circuit.by_role("gate transformer core")[0].designator
    light = tuple(
        replace(part, value=_LIGHT_GATE * part.value)
        if part.role == "gate of a switch" and isinstance(part.value, float)
        else part
        for part in circuit.parts
    )
    run = Transient(stop_s=6.1 * period, step_s=period / 4000.0, keep_from_s=5.0 * period, from_initial=True)
    bare = replace(circuit, parts=light)
    traces = simulate(bare, run, (Current(winding), Voltage(net)), engine, timeout_s=timeout_s)
    before_s = 0.02 * period
    at_s = (5.1 + timing.duty_each) * period - before_s
    found = float(np.interp(at_s, traces.axis, traces.current(winding)))
    pulls_a = result.switch_count * drive.gate_v / GATE_PULL_OHM
    closed = gate.magnetising_a - drive.gate_v * before_s / gate.inductance_h + pulls_a
    high = float(np.interp(at_s, traces.axis, traces.voltage(net)))
    return (
        _compared("gate, high", drive.gate_v, high, "V", _GATE),
        _compared("gate transformer's current, peak", closed, found, "A", _MAGNETISING),
    )


def _at_the_end(time_s: Array, course: Array, period_s: float) -> float:
    """Level shortly before the pulse falls, clear of ringing, V."""
    falls = [at for at, up in crossings(time_s, course, 0.5 * float(course.max())) if not up]
    return float(np.interp(falls[-1] - 0.03 * period_s, time_s, course))


def _mean_out(traces: Traces, source: str, period_s: float) -> float:
    """Mean of what a source gives; what it takes back is heat in the driver, A."""
    given = np.maximum(-traces.current(source), 0.0)
    return mean_of(*last_periods(traces.axis, given, period_s, 3))


def _rise_s(result: ConverterResult, circuit: Circuit) -> float:
    """Ten to ninety per cent of an RC edge: gate resistor, gate, and the generator shared by its gates."""
    count, farad = result.plan.switch.per_side, _gate_f(circuit)
    own = result.plan.switch.mosfet.rg_ohm or 0.0
    shared = count * DRIVER_OHM if result.drive.driver.kind != "buffer" else 0.0
    return log(9.0) * (result.gate_ohm + own + shared) * farad


def _gate_f(circuit: Circuit) -> float:
    part = next(p for p in circuit.parts if p.role == "gate of a switch")
    return float(part.value) if isinstance(part.value, float) else 0.0


def _first_rise(time_s: Array, course: Array, high: float) -> float:
    low_at = [at for at, up in crossings(time_s, course, 0.1 * high) if up]
    high_at = [at for at, up in crossings(time_s, course, 0.9 * high) if up]
    return next(at for at in high_at if at > low_at[0]) - low_at[0]


def _plateau_currents(
    result: ConverterResult, time_s: Array, outside: Array, node: Array
) -> tuple[float, float]:
    """Current out of one gate as it falls through its plateau: closed form, and through its resistor."""
    mosfet, drive, count = result.plan.switch.mosfet, result.drive, result.plan.switch.per_side
    level, own_ohm = plateau_v(mosfet), mosfet.rg_ohm or 0.0
    low_v = 0.7 if drive.driver.buffered else 0.0
    ohm = result.gate_ohm + own_ohm + (0.0 if drive.driver.buffered else count * DRIVER_OHM)
    current = (outside - node) / result.gate_ohm
    inside = outside + own_ohm * current
    falls = [at for at, up in crossings(time_s, inside, level) if not up]
    if not falls:
        raise SubwrightError(message="The simulated gate never falls through its plateau.")
    return (level - low_v) / ohm, float(np.interp(falls[0], time_s, current))


def _gate_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    if design.converter is None:
        return ()
    return (Case(name="", run=lambda engine, timeout_s: _gate_outcome(design, engine, timeout_s)),)


EXPERIMENTS = (
    Experiment(
        name="gate-drive",
        block="converter",
        title="Drivers and gates",
        about=(
            "The gate drive's parts between a generator of 1 Ω and gates as capacitors of the data sheet's "
            "charge. High level at a pulse's end within 10 %: the last tenths come late. Supply current "
            "within 20 % of charge times rate, for a transistor leaves the gate some tenths of a volt. Rise "
            "time and the current at the plateau within 25 %: exponential junctions stand where the design "
            "has 0.7 V. A bridge's supply current, with what its gate transformer's magnetising current "
            "takes and gives back, within 20 % too: windings that leak a thousandth ring with the gates. "
            "Level and peak of that current, with nothing to speak of on the windings, within 10 % and 5 %."
        ),
        cases=_gate_cases,
    ),
)
