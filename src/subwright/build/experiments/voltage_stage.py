"""The voltage stage of discrete class AB, its loop closed through the real output stage."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, TypeAlias

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.linear_amplifier import (
    SILENT,
    across,
    closed_amplifier,
    ends_of,
    stage_of,
    values_of,
)
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.simulate import Array, Complex, Engine, Traces, simulate
from subwright.circuits.voltage_stage_circuit import MUTE_OPEN_V
from subwright.circuits.voltage_stage_loop import opened
from subwright.parts.library import Library

__all__ = ["CIRCUIT", "EXPERIMENTS", "cases_of"]

_Run: TypeAlias = Callable[[Design, Library, Engine, float], Outcome]

_TEST: Final = Steady(value=0.0, ac=1.0)
_WIDE: Final = AcSweep(low_hz=0.1, high_hz=10e6, per_decade=20)
_LOOP: Final = AcSweep(low_hz=10.0, high_hz=10e6, per_decade=20)
_BAND: Final = AcSweep(low_hz=50.0, high_hz=500.0, per_decade=4)
_REST_S: Final = 1e-6


def _phasor(traces: Traces, circuit: Circuit) -> Complex:
    found = traces.phasor(Voltage("out_a"))
    return found - traces.phasor(Voltage("out_b")) if "out_b" in circuit.nets else found


# -- at rest ------------------------------------------------------------------------------------------------


def _rest(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage, values = stage_of(design), values_of(design)
    assert stage is not None
    circuit = closed_amplifier(design, library, SILENT)
    feed = {p.designator: p for p in circuit.by_role("tail source")}
    first = next(iter(feed.values()))
    upper = next(p for p in circuit.by_role("tail resistor") if first.nets[2] in p.nets).nets[0]
    nets = [upper, "tail_source_a", "stage_source_a"]
    probes = [*ends_of(circuit), *map(Voltage, nets)]
    run = Transient(stop_s=_REST_S, step_s=0.1 * _REST_S)
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)

    def at(net: str) -> float:
        return float(traces.voltage(net)[-1])

    ohms = stage.resistors_ohm
    checks = [
        Check(
            quantity="current of the pair",
            closed=stage.tail_a,
            simulated=(at(upper) - at("tail_source_a")) / ohms["tail resistor"],
            unit="A",
            limit=0.04,
        ),
        Check(
            quantity="current of the voltage amplifier",
            closed=stage.stage_a,
            simulated=(at(upper) - at("stage_source_a")) / ohms["stage source resistor"],
            unit="A",
            limit=0.04,
        ),
        Check(
            quantity="steady voltage across the load, parts alike",
            closed=0.0,
            simulated=float(across(traces, circuit)[-1]),
            unit="V",
            limit=stage.offset_v,
            absolute=True,
        ),
    ]
    if stage.half_v is not None:
        checks.append(
            Check(
                quantity="output of leg A at rest",
                closed=0.5 * values.rail_v,
                simulated=at("out_a"),
                unit="V",
                limit=0.03,
            )
        )
    return Outcome(checks=tuple(checks), engine=traces.engine)


# -- small signals ------------------------------------------------------------------------------------------


def _response(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage = stage_of(design)
    assert stage is not None
    circuit = closed_amplifier(design, library, _TEST)
    traces = simulate(circuit, _WIDE, ends_of(circuit), engine, timeout_s=timeout_s)
    gain: Array = np.abs(_phasor(traces, circuit))
    middle = int(np.argmax(gain))
    top = float(np.median(gain[(traces.axis > 100.0) & (traces.axis < 2e3)]))
    low, high = _edges(traces.axis, gain, middle, top / np.sqrt(2.0))
    checks = (
        Check(quantity="gain", closed=stage.gain, simulated=top, unit="V/V", limit=0.01),
        Check(
            quantity="low corner, -3 dB",
            closed=stage.low_corner_hz,
            simulated=low,
            unit="Hz",
            limit=0.02,
        ),
        Check(quantity="bandwidth, -3 dB", closed=stage.closed_hz, simulated=high, unit="Hz", limit=0.06),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        axis_unit="Hz",
        traces={"gain, dB": 20.0 * np.log10(gain)},
    )


def _edges(axis: Array, gain: Array, middle: int, level: float) -> tuple[float, float]:
    """Frequencies at which a response falls under a level, below and above."""
    under = np.flatnonzero(gain < level)
    below, above = under[under < middle], under[under > middle]

    def between(a: int, b: int) -> float:
        share = np.log(level / gain[a]) / np.log(gain[b] / gain[a])
        return float(axis[a] * (axis[b] / axis[a]) ** share)

    low = between(int(below[-1]), int(below[-1]) + 1) if below.size else float(axis[0])
    high = between(int(above[0]) - 1, int(above[0])) if above.size else float(axis[-1])
    return low, high


def _loop(design: Design, library: Library, leg: str, engine: Engine, timeout_s: float) -> Outcome:
    stage = stage_of(design)
    assert stage is not None
    axis, loaded = _loop_gain(design, library, leg, engine, timeout_s, loaded=True)[:2]
    under_load = _crossing(axis, loaded)[1]
    size = 20.0 * np.log10(np.abs(loaded))

    def at(hz: float) -> float:
        return float(np.interp(np.log(hz), np.log(axis), size))

    axis, alone, name = _loop_gain(design, library, leg, engine, timeout_s, loaded=False)
    level, angle = 20.0 * np.log10(np.abs(alone)), np.degrees(np.unwrap(np.angle(alone)))
    unity, margin = _crossing(axis, alone)
    checks = (
        Check(quantity="loop gain at 50 Hz", closed=stage.loop_gain_50hz_db, simulated=at(50.0), unit="dB",
              limit=1.5, absolute=True),
        Check(quantity="loop gain at 1 kHz", closed=stage.loop_gain_1khz_db, simulated=at(1e3), unit="dB",
              limit=0.7, absolute=True),
        Check(quantity="frequency of loop gain one", closed=stage.unity_hz, simulated=unity, unit="Hz",
              limit=0.07),
        Check(quantity="phase margin, with the load or without, the lesser",
              closed=stage.phase_margin_deg, simulated=min(margin, under_load), unit="°",
              limit=6.0, absolute=True),
    )  # fmt: skip
    return Outcome(
        checks=checks,
        engine=name,
        axis=axis,
        axis_unit="Hz",
        traces={"loop gain, dB": size, "without a load, dB": level, "its angle, \u00b0": angle},
    )


def _loop_gain(
    design: Design,
    library: Library,
    legs: str,
    engine: Engine,
    timeout_s: float,
    *,
    loaded: bool,
    difference: bool = False,
) -> tuple[Array, Complex, str]:
    """Frequencies in Hz, the gain of a leg's loop or of that of two legs' difference, and who simulated."""
    whole = closed_amplifier(design, library, SILENT, loaded=loaded)
    circuit = opened(whole, legs, difference=difference)
    probes = [Voltage(f"{word}_{name}") for name in legs for word in ("out", "sensed")]
    traces = simulate(circuit, _LOOP, probes, engine, timeout_s=timeout_s)
    seen = [traces.phasor(probe) for probe in probes]
    if len(legs) == 2:
        seen = [seen[0] - seen[2], seen[1] - seen[3]]
    return traces.axis, -seen[0] / seen[1], traces.engine


def _difference_loop(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """The loop that holds the difference of two legs, round both of them."""
    stage = stage_of(design)
    assert stage is not None
    axis, loop, name = _loop_gain(design, library, "ab", engine, timeout_s, loaded=True, difference=True)
    unity, margin = _crossing(axis, loop)
    lag = np.degrees(np.arctan(unity / stage.unity_hz))
    checks = (
        Check(quantity="frequency of loop gain one", closed=stage.difference_hz, simulated=unity, unit="Hz",
              limit=0.03),
        Check(quantity="phase margin", closed=90.0 - float(lag), simulated=margin, unit="°",
              limit=3.0, absolute=True),
    )  # fmt: skip
    return Outcome(
        checks=checks,
        engine=name,
        axis=axis,
        axis_unit="Hz",
        traces={"loop gain, dB": 20.0 * np.log10(np.abs(loop))},
    )


def _crossing(axis: Array, loop: Complex) -> tuple[float, float]:
    """Frequency in Hz at which a loop's gain falls to one, and its phase margin there in degrees."""
    level, angle = 20.0 * np.log10(np.abs(loop)), np.degrees(np.unwrap(np.angle(loop)))
    past = int(np.flatnonzero(level < 0.0)[0])
    share = level[past - 1] / (level[past - 1] - level[past])
    unity = float(axis[past - 1] * (axis[past] / axis[past - 1]) ** share)
    return unity, 180.0 + float(np.interp(np.log(unity), np.log(axis), angle))


def _mute(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage = stage_of(design)
    assert stage is not None
    levels = []
    for line_v in (MUTE_OPEN_V, 0.0):
        circuit = closed_amplifier(design, library, _TEST, line_v)
        traces = simulate(circuit, _BAND, ends_of(circuit), engine, timeout_s=timeout_s)
        levels.append(20.0 * float(np.log10(np.abs(_phasor(traces, circuit)[0]))))
    check = Check(
        quantity="what the mute leaves of the signal",
        closed=stage.mute_db,
        simulated=levels[1] - levels[0],
        unit="dB",
        limit=1.0,
        absolute=True,
    )
    thump = Check(
        quantity="step at the load when the mute lets go",
        closed=stage.mute_thump_v,
        simulated=_thump_v(design, library, engine, timeout_s),
        unit="V",
        limit=stage.mute_thump_v,
        absolute=True,
    )
    return Outcome(checks=(check, thump), engine=traces.engine)


def _thump_v(design: Design, library: Library, engine: Engine, timeout_s: float) -> float:
    """How far the silent output moves while the line that mutes rises, V."""
    stage = stage_of(design)
    assert stage is not None
    soft_s = stage.resistors_ohm["mute gate"] * stage.capacitors_f["mute capacitor"]
    line = Ramp(
        points=((0.0, 0.0), (0.2 * soft_s, 0.0), (0.21 * soft_s, MUTE_OPEN_V), (5.0 * soft_s, MUTE_OPEN_V))
    )
    circuit = closed_amplifier(design, library, SILENT, line)
    run = Transient(stop_s=5.0 * soft_s, step_s=0.02 * soft_s, accuracy=1e-5)
    traces = simulate(circuit, run, ends_of(circuit), engine, timeout_s=timeout_s)
    course = across(traces, circuit)
    return float(np.max(np.abs(course - course[0])))


def cases_of(run: _Run) -> Callable[[Design, Library], tuple[Case, ...]]:
    """One case for each design that has the stage."""

    def cases(design: Design, library: Library) -> tuple[Case, ...]:
        if stage_of(design) is None:
            return ()
        return (Case(name="", run=lambda engine, timeout_s: run(design, library, engine, timeout_s)),)

    return cases


def _loop_cases(design: Design, library: Library) -> tuple[Case, ...]:
    stage = stage_of(design)
    if stage is None:
        return ()

    def case(leg: str, name: str) -> Case:
        return Case(name=name, run=lambda engine, timeout_s: _loop(design, library, leg, engine, timeout_s))

    if design.amplifier.model.legs == 1:
        return (case("a", ""),)
    if stage.bridge != "difference":
        return tuple(case(leg, f"leg {leg.upper()}") for leg in "ab")
    both = Case(
        name="difference of both legs",
        run=lambda engine, timeout_s: _difference_loop(design, library, engine, timeout_s),
    )
    return (case("ab", "both legs"), both)


CIRCUIT: Final = (
    "The whole amplifier from the filter's output to the load: voltage stage, bias, drivers and output "
    "devices with their least current gains, transition frequencies, Early voltages and capacitances. "
)

EXPERIMENTS = (
    Experiment(
        name="voltage-stage-rest",
        block="amplifier",
        title="Currents and offset of the voltage stage at rest",
        about=CIRCUIT
        + "Closed forms let the sources' base currents pass the diodes by; what is left is the Early effect "
        "on their gains and the rail under load: 4 %. Parts are alike here, so the output must lie within "
        "the offset that unlike ones are reckoned with.",
        cases=cases_of(_rest),
    ),
    Experiment(
        name="voltage-stage-response",
        block="amplifier",
        title="Gain and corners of the closed loop",
        about=CIRCUIT
        + "The closed forms are Kirchhoff's law at the bases and outputs, each loop ideal, and on one supply "
        "at its half too, which moves with the bias currents: 2 % at the low corner, 1 % of the gain, which "
        "the loop's own gain leaves. The upper corner is the closed loop's with the input filter before it: "
        "6 %, as its unity frequency has.",
        cases=cases_of(_response),
    ),
    Experiment(
        name="voltage-stage-loop",
        block="amplifier",
        title="Loop gain and phase margin",
        about=CIRCUIT
        + "A source in the feedback's way measures the loop gain. The closed form goes from node to node: "
        "base currents in the networks that drive the pair, the Early effect at each collector and on each "
        "gain, the mirror's pole that only half of the signal meets, the buffer's load, drivers and outputs "
        "at rest with the load behind them, and what the voltage amplifier's source tells the pair's tail "
        "through their common reference. Direct voltages are round ones in it: 1.5 dB at 50 Hz, 0.7 dB at "
        "1 kHz. Unity without a load, where the loop is fastest, 7 %, and 6 degrees: capacitances of drivers "
        "and wiring beyond those of the parts are not in it. Where op-amps hold the difference of two legs, "
        "their loop is one integrator, with the lag of a leg as its phase: 3 % and 3 degrees, which the "
        "second legs' and the op-amps' own poles leave.",
        cases=_loop_cases,
    ),
    Experiment(
        name="voltage-stage-mute",
        block="amplifier",
        title="What the mute leaves",
        about=CIRCUIT
        + "Gain with the line that mutes low, over that with it high: two dividers. And what the silent "
        "output does while the line rises, by the charge that the gates push: the closed form takes the "
        "steepest rise; up to twice of it passes.",
        cases=cases_of(_mute),
    ),
)
