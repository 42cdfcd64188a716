"""The class-D modulator's closed loop: rate, mean, dead time, and what it leaves of an error."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.closed_loop import (
    RATE,
    RATE_LOADED,
    ClosedLoop,
    Run,
    ask,
    bench_part,
    cases_of,
    plateau_s,
    rate_hz,
)
from subwright.build.experiments.record import Check, Experiment, Outcome
from subwright.circuits.analysis import Probe, Voltage
from subwright.circuits.measure import crossings, last_periods, mean_of
from subwright.circuits.netlist import GROUND, Circuit, Ramp, Value
from subwright.circuits.simulate import Engine, Traces
from subwright.physics.modulators import loop_suppression_db

__all__ = ["EXPERIMENTS"]

_SETTLE, _KEEP = 12, 12  # periods
_MEAN: Final = 0.01  # of half the nodes' swing
_DEAD_S, _DEAD = 20e-9, 0.10
_HIGH: Final = 0.8
_SLOWER: Final = 12  # periods of switching in one of a disturbance
_ERROR: Final = 0.1  # of half the nodes' swing, peak
_FINE: Final = 1e-3  # accuracy of a small difference
_IDLE: Final = 1000.0
_LOW_PASS_OHM: Final = 1e3
_SUPPRESSED_DB: Final = 2.0
_SEEN: Final = 1  # periods of the disturbance that are measured
_CORNERS: Final = 8  # switching frequency over the corner of each of the bench's low-passes
_POINTS: Final = 100  # of a sine


# -- rate, mean output and dead time ------------------------------------------------------------------------


def _modulated(loop: ClosedLoop, modulation: float, engine: Engine, timeout_s: float) -> Outcome:
    """A steady input: how fast it switches, what the nodes come to, and at rest the dead times."""
    periods = _SETTLE + _KEEP
    slowest = 1.0 if loop.m.clocked else 1.0 - modulation**2
    stop_s = periods * loop.period_s / slowest
    gates = [Voltage(f"gate_{side}_a") for side in ("upper", "lower")]
    probes: list[Probe] = [*loop.both("node"), *gates, Voltage("integrated")]
    run = loop.run(stop_s, _SETTLE * loop.period_s / slowest)
    traces = ask(loop.circuit(modulation), run, probes, engine, timeout_s=timeout_s)
    rises = loop.rises(traces)
    rate = (len(rises) - 1) / (rises[-1] - rises[0]) if len(rises) > 1 else 0.0
    difference = loop.difference(traces, "node")
    inside = (
        (traces.axis >= rises[0]) & (traces.axis <= rises[-1]) if len(rises) > 1 else difference > -np.inf
    )
    mean = mean_of(traces.axis[inside], difference[inside])
    wanted = modulation * loop.v.swing_v
    checks = [
        Check(
            quantity="switching frequency",
            closed=rate_hz(loop, modulation),
            simulated=rate,
            unit="Hz",
            limit=RATE if modulation == 0.0 else RATE_LOADED,
        ),
        Check(
            quantity="mean of the switched nodes",
            closed=wanted,
            simulated=mean,
            unit="V",
            limit=_MEAN * loop.v.swing_v,
            absolute=True,
        ),
    ]
    if modulation == 0.0:
        checks += _dead_times(loop, traces)
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "switched node A, V": traces.voltage("node_a"),
            "error integrator, V": traces.voltage("integrated"),
        },
    )


def _dead_times(loop: ClosedLoop, traces: Traces) -> list[Check]:
    """From one gate's fall through the threshold to the other's rise, in the middle of what was seen."""
    level = loop.v.threshold_v
    upper = crossings(traces.axis, traces.voltage("gate_upper_a") - traces.voltage("node_a"), level)
    lower = crossings(traces.axis, traces.voltage("gate_lower_a") - loop.low_v, level)
    closed = loop.m.dead_time_s + plateau_s(loop)
    checks = []
    for words, first, then in (
        ("upper switch off to lower on", upper, lower),
        ("lower switch off to upper on", lower, upper),
    ):
        ons = [t for t, up in then if up]
        gaps = [min(t - off for t in ons if t > off) for off, up in first if not up and off < ons[-1]]
        checks.append(
            Check(
                quantity=f"dead time, {words}",
                closed=closed,
                simulated=float(np.median(gaps)),
                unit="s",
                limit=max(_DEAD_S, _DEAD * closed),
                absolute=True,
            )
        )
    return checks


# -- the loop ------------------------------------------------------------------------------------------------


def _error(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """An error of the output stage, as a source behind the node of leg A: what the loop leaves of it.

    Inductors so large that they carry nothing: with a current the dead time adds errors of its own.
    """
    hz = loop.m.switching_hz / _SLOWER
    stop_s = (_SEEN + 1) / hz
    peak_v = _ERROR * loop.v.swing_v
    circuit = _disturbed(loop.circuit(), loop, _wave(0.0, peak_v, hz, stop_s))
    probes: list[Probe] = [Voltage("averaged"), *loop.both("node")]
    run = replace(loop.run(stop_s), accuracy=_FINE)
    traces = ask(circuit, run, probes, engine, timeout_s=timeout_s)
    # without a current the node waits for the dead time's end at either edge
    waits_s = loop.m.dead_time_s - loop.m.delays_s["node"]
    loop_hz = 1.0 / (1.0 / loop.m.loop_hz + 2.0 * math.pi * waits_s)
    left_v = _amplitude(traces, hz) / _filter_gain(loop, hz)
    check = Check(
        quantity="suppression of an error at a twelfth of the switching frequency",
        closed=loop_suppression_db(hz, loop_hz),
        simulated=20.0 * math.log10(peak_v / left_v),
        unit="dB",
        limit=_SUPPRESSED_DB,
        absolute=True,
    )
    return Outcome(
        checks=(check,),
        engine=traces.engine,
        axis=traces.axis,
        traces={"nodes' difference with the error, averaged, V": traces.voltage("averaged")},
    )


def _wave(mean: float, peak: float, hz: float, stop_s: float) -> Ramp:
    """A sine of straight lines about a mean."""
    times = np.arange(0.0, stop_s + 1.0 / hz, 1.0 / (_POINTS * hz))
    return Ramp(
        points=tuple((float(t), mean + peak * math.sin(2.0 * math.pi * hz * float(t))) for t in times)
    )


def _corner_s(loop: ClosedLoop) -> float:
    """Time constant of each of the bench's two low-passes, s."""
    return _CORNERS / (2.0 * math.pi * loop.m.switching_hz)


def _filter_gain(loop: ClosedLoop, hz: float) -> float:
    return float(1.0 / (1.0 + (2.0 * math.pi * hz * _corner_s(loop)) ** 2))


def _disturbed(circuit: Circuit, loop: ClosedLoop, error: Value) -> Circuit:
    """The same with an error between leg A's node and what senses it, and two low-passes behind it all."""
    sensing = ("integrator feedback", "hysteresis feedback")
    parts = [
        replace(part, nets=tuple("sensed" if net == "node_a" else net for net in part.nets))
        if part.role in sensing
        else part
        for part in circuit.parts
    ]
    large_h = _IDLE * loop.stage.inductance_h
    parts = [replace(part, value=large_h) if part.kind == "inductor" else part for part in parts]
    parts.append(bench_part("ERROR", "voltage source", ("sensed", "node_a"), error))
    at = ("sensed", "node_b" if loop.m.legs == 2 else GROUND)
    for k, out in ((1, "averaged_once"), (2, "averaged")):
        copy = f"copy_{k}"
        parts += [
            bench_part(f"COPY_{k}", "voltage by voltage", (copy, GROUND, *at), 1.0),
            bench_part(f"AVERAGE_OHM_{k}", "resistor", (copy, out), _LOW_PASS_OHM),
            bench_part(f"AVERAGE_{k}", "capacitor", (out, GROUND), _corner_s(loop) / _LOW_PASS_OHM),
        ]
        at = (out, GROUND)
    return replace(circuit, parts=tuple(parts))


def _amplitude(traces: Traces, hz: float) -> float:
    """Amplitude of one frequency in the last periods of it."""
    time_s, course = last_periods(traces.axis, traces.voltage("averaged"), 1.0 / hz, _SEEN)
    turn = np.exp(-2j * np.pi * hz * time_s)
    span = time_s[-1] - time_s[0]
    return float(2.0 * abs(np.trapezoid((course - mean_of(time_s, course)) * turn, time_s)) / span)


# -- what there is -------------------------------------------------------------------------------------------


def _at(modulation: float) -> Run:
    return lambda loop, engine, timeout_s: _modulated(loop, modulation, engine, timeout_s)


def _high(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """At 80 %, or as far as a clocked loop's shorter pulse outlasts its delay.

    Beyond, an edge is decided before the node has answered the one before, and pulses alternate.
    """
    m = loop.m
    smooth = 1.0 - 2.0 * m.switching_hz * (m.delay_s + m.dead_time_s)
    return _modulated(loop, min(_HIGH, smooth) if m.clocked else _HIGH, engine, timeout_s)


EXPERIMENTS = (
    Experiment(
        name="modulator-rate",
        block="modulator",
        title="Switching frequency, gain and dead time of the closed loop",
        about=(
            "Modulator, drivers, output stage and load in one netlist, all parts typical. Closed forms: the "
            "clock's or the loop's own period, the ratio of the integrator's resistors, the dead times' "
            "resistors and capacitors. A simulator's steps place edges to some ten nanoseconds, hence the "
            "limits; with load the switches' own times add to it. A clocked loop is tried as far as its "
            "shorter pulse outlasts its delay and both dead times: beyond, an edge is decided before the "
            "node has answered the one before, and long and short pulses alternate about the same mean."
        ),
        cases=cases_of({"at rest": _at(0.0), "half modulation": _at(0.5), "high modulation": _high}),
    ),
    Experiment(
        name="modulator-loop",
        block="modulator",
        title="Error of the output stage that the loop leaves",
        about=(
            "A source behind the switched node of leg A, slow against the switching frequency, and how much "
            "is left where the feedback is taken, with no current in the inductors. The closed form is a "
            "loop of first order with the frequency at which its gain is 1; the clock's samples and the bend "
            "of its flanks are not in it."
        ),
        cases=cases_of({"": _error}),
    ),
)
