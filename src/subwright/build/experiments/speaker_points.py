"""Test points of the loudspeaker's protection: what their sheet promises, against the circuit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points.control import control_readings
from subwright.build.test_points.speaker_guard import (
    DELAYED,
    HELD,
    METER_OHM,
    outputs_supply_v,
    speaker_guard_readings,
    steady_v,
)
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, operating_points, played
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.circuits.speaker_guard_circuit import speaker_guard_circuit
from subwright.parts.library import Library
from subwright.stages.speaker_guard_records import SpeakerGuardResult

__all__ = ["EXPERIMENT"]

_SHARE: Final = 0.01
_SMALL_V: Final = 0.01  # of what saturated transistors and junctions leave
_SINE: Final = 0.005
_PERIODS: Final = 3
_STEPS: Final = 100  # of a period
_RISE_S: Final = 1e-5  # to the first crest
_RESTING: Final = tuple(played(NO_SIGNAL))
_STILL: Final = Transient(stop_s=1e-3, step_s=0.5e-3, accuracy=1e-6)


def _circuit(
    design: Design,
    guard: SpeakerGuardResult,
    library: Library,
    at: str,
    point: OperatingPoint,
    output: Steady | Ramp,
) -> Circuit:
    """The guard on the battery of a state, a meter on its driver's collector."""
    assert guard.detector is not None
    resting_at = at.replace(FULL_SINE, NO_SIGNAL)
    if resting_at not in _RESTING:
        resting_at = _RESTING[len(_RESTING) // 2]
    switched = control_readings(design, library).get("control", ())
    control_v = next((row.dc_v for row in switched if row.at == resting_at), point.terminal_v)
    circuit = speaker_guard_circuit(
        guard,
        library,
        control=Steady(value=control_v),
        output=output,
        load_ohm=design.amplifier.load_ohm,
        outputs_v=outputs_supply_v(guard.detector, point),
        timer_open=not at.startswith(DELAYED),
    )
    meter = Part(
        designator="BENCH_METER",
        kind="resistor",
        nets=("driver_out", GROUND),
        value=METER_OHM,
        role="meter",
        standing="bench",
    )
    return replace(circuit, parts=(*circuit.parts, meter))


def _promised(design: Design, library: Library, at: str) -> Mapping[str, float]:
    """Steady voltages in a state by net, V."""
    return {
        net: row.dc_v
        for net, rows in speaker_guard_readings(design, library).items()
        for row in rows
        if row.at == at
    }


def _steady(
    design: Design,
    guard: SpeakerGuardResult,
    library: Library,
    at: str,
    point: OperatingPoint,
    output_v: float,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """Every point that a state tells of, with a steady voltage at the amplifier's output."""
    circuit = _circuit(design, guard, library, at, point, Steady(value=output_v))
    promised = _promised(design, library, at)
    traces = simulate(circuit, _STILL, [Voltage(net) for net in promised], engine, timeout_s=timeout_s)
    names = {test.net: f"{test.what}, {test.designator}" for test in circuit.test_points}
    checks = tuple(
        Check(
            quantity=names[net],
            closed=closed,
            simulated=float(traces.voltage(net)[-1]),
            unit="V",
            limit=max(_SMALL_V, _SHARE * abs(closed)),
            absolute=True,
        )
        for net, closed in promised.items()
    )
    return Outcome(checks=checks, engine=traces.engine)


def _sine(
    design: Design,
    guard: SpeakerGuardResult,
    library: Library,
    at: str,
    point: OperatingPoint,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """The lowest note behind the low-pass and behind the switch.

    It begins at its crest, so that nothing of it stays behind on the low-pass's capacitor.
    """
    load_ohm = design.amplifier.load_ohm
    peak_v = point.output_peak_v * (1.0 + guard.resistance_ohm / load_ohm)
    hertz = design.spec.goal.lowest_note_hz
    stop_s = _PERIODS / hertz
    times = np.linspace(0.0, stop_s, _PERIODS * _STEPS + 1)[1:]
    course = ((float(t), float(peak_v * np.cos(2.0 * np.pi * hertz * t))) for t in times)
    output = Ramp(points=((0.0, 0.0), (_RISE_S, peak_v), *course))
    circuit = _circuit(design, guard, library, at, point, output)
    swings = {
        net: row.ripple_v
        for net, rows in speaker_guard_readings(design, library).items()
        for row in rows
        if row.at == at
    }
    run = Transient(stop_s=stop_s, step_s=1.0 / (_STEPS * hertz), accuracy=1e-5)
    traces = simulate(circuit, run, [Voltage(net) for net in swings], engine, timeout_s=timeout_s)
    last = traces.axis >= stop_s - 1.0 / hertz
    names = {test.net: f"peak of the sine, {test.what}, {test.designator}" for test in circuit.test_points}
    checks = tuple(
        Check(
            quantity=names[net],
            closed=0.5 * swing_v,
            simulated=0.5 * float(np.ptp(traces.voltage(net)[last])),
            unit="V",
            limit=_SINE,
        )
        for net, swing_v in swings.items()
    )
    return Outcome(checks=checks, engine=traces.engine)


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    return tuple(_each(design, library))


def _each(design: Design, library: Library) -> Iterator[Case]:
    guard = design.speaker_guard
    if guard is None or guard.detector is None:
        return
    given = (design, guard, library)
    resting = tuple(operating_points(design, NO_SIGNAL))
    for at, point in resting:
        yield Case(name=at, run=partial(_steady, *given, at, point, 0.0))
    _, nominal = resting[len(resting) // 2]
    found = speaker_guard_readings(design, library)
    for row in found["driver_out"]:
        if row.at.startswith(DELAYED):
            yield Case(name=row.at, run=partial(_steady, *given, row.at, nominal, 0.0))
        elif row.at.startswith(HELD):
            sign = 1.0 if row.at.removeprefix(HELD).startswith("+") else -1.0
            output_v = sign * steady_v(guard.detector)
            yield Case(name=row.at, run=partial(_steady, *given, row.at, nominal, output_v))
    for at, point in operating_points(design, FULL_SINE):
        if at.startswith("nominal"):
            yield Case(name=at, run=partial(_sine, *given, at, point))


EXPERIMENT: Final = Experiment(
    name="speaker-test-points",
    block="speaker",
    title="Test points of the loudspeaker's protection",
    about=(
        "Detector, driver and switch with a meter on them: each test point while the delay runs, without a "
        "signal on the lowest, the nominal and the highest battery, with a steady voltage of either sign on "
        "the detector, and with the lowest note at full output. Limits: 1 % of a steady voltage or 10 mV, as "
        "saturated transistors are modelled, and 0.5 % of a sine."
    ),
    cases=_cases,
)
