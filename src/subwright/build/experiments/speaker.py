"""Direct voltage at the loudspeaker: thresholds of both polarities, times, and a bass note left alone."""

from __future__ import annotations

from functools import partial
from math import hypot, log, pi
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.circuits.speaker_guard_circuit import speaker_guard_circuit
from subwright.parts.library import Library
from subwright.physics.rc_timing import rc_dc_detect_time_s
from subwright.stages.common import Corner, Level
from subwright.stages.speaker_guard_records import DcDetector, SpeakerGuardResult

__all__ = ["EXPERIMENT"]

_JUNCTIONS: Final = 0.03  # transistors switch over some tens of millivolts
_TIME: Final = 0.05
_BASS: Final = 0.05
_SIDES: Final = {1.0: "positive", -1.0: "negative"}
_FLYBACK_V: Final = 0.7


def _played(
    design: Design,
    guard: SpeakerGuardResult,
    library: Library,
    output: Ramp,
    run: Transient,
    engine: Engine,
    timeout_s: float,
) -> Traces:
    detector = guard.detector
    circuit = speaker_guard_circuit(
        guard,
        library,
        control=Steady(value=design.supply.corners[Corner.NOMINAL]),
        output=output,
        load_ohm=design.amplifier.load_ohm,
        outputs_v=0.0 if detector is None else detector.outputs_v,
    )
    nets = ["dc_sense", "driver_out", "speaker_out", "speaker_amp"]
    if detector is not None and detector.floating:
        nets += ["dc_return", "speaker_return"]
    return simulate(circuit, run, [Voltage(net) for net in nets], engine, timeout_s=timeout_s)


def _sense(detector: DcDetector, traces: Traces) -> Array:
    sense = traces.voltage("dc_sense")
    return sense - traces.voltage("dc_return") if detector.floating else sense


def _let_go_s(traces: Traces, after_s: float) -> float:
    """When the driver lets go: its collector rises past the middle of what it ever is."""
    out = traces.voltage("driver_out")
    middle = 0.5 * float(out.min() + out.max())
    rises = (time for time, rising in crossings(traces.axis, out, middle) if rising and time > after_s)
    return next(rises, float(traces.axis[-1]))


def _crept(
    design: Design,
    guard: SpeakerGuardResult,
    detector: DcDetector,
    library: Library,
    sign: float,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """The direct voltage raised slowly until the driver lets go."""
    closed = detector.threshold_v if sign > 0.0 else detector.negative_v
    top, begin = 1.6 * closed, detector.tau_s
    end = begin + 400.0 * detector.tau_s
    output = Ramp(points=((0.0, 0.0), (begin, 0.0), (end, sign * top)))
    run = Transient(stop_s=end, step_s=0.1 * detector.tau_s, accuracy=1e-5)
    traces = _played(design, guard, library, output, run, engine, timeout_s)
    found = float(np.interp(_let_go_s(traces, begin), (begin, end), (0.0, top)))
    check = Check(
        quantity=f"{_SIDES[sign]} direct voltage that parts the driver",
        closed=closed,
        simulated=found,
        unit="V",
        limit=_JUNCTIONS,
    )
    return Outcome(
        checks=(check,),
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "amplifier, V": np.interp(traces.axis, (0.0, begin, end), (0.0, 0.0, sign * top)),
            "driver's collector, V": traces.voltage("driver_out"),
        },
    )


def _stuck(
    design: Design,
    guard: SpeakerGuardResult,
    detector: DcDetector,
    library: Library,
    sign: float,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """The output jumps to a rail and stays there."""
    volts = design.amplifier.stuck_a * design.amplifier.load_ohm
    node = detector.node_v if sign > 0.0 else detector.negative_node_v
    closed = rc_dc_detect_time_s(detector.resistor_ohm, detector.capacitor_f, volts, node)
    relay = guard.relay
    decay = 0.0
    if relay is not None:
        zener_v = 0.0 if guard.drive is None else guard.drive.zener_v
        coil_v = relay.coil_a * relay.coil_ohm
        against = _FLYBACK_V + zener_v
        decay = relay.coil_h / relay.coil_ohm * log((coil_v + against) / (relay.drop_out_v + against))
    begin = 0.2
    stop = begin + 3.0 * closed + 3.0 * decay + 5e-3
    output = Ramp(points=((0.0, 0.0), (begin, 0.0), (begin + 1e-5, sign * volts), (stop, sign * volts)))
    run = Transient(stop_s=stop, step_s=min(closed, 1e-3) / 20.0, accuracy=1e-5)
    traces = _played(design, guard, library, output, run, engine, timeout_s)
    gone = _let_go_s(traces, begin)
    checks = [
        Check(
            quantity=f"output stuck {_SIDES[sign]}, until the driver lets go",
            closed=closed,
            simulated=gone - begin,
            unit="s",
            limit=_TIME,
        )
    ]
    lead = np.abs(traces.voltage("speaker_out") - _back(detector, traces))
    if relay is not None:
        opened = next(
            time for time, rising in crossings(traces.axis, lead, 0.5 * volts) if not rising and time > begin
        )
        checks.append(
            Check(
                quantity="relay's current dies, until its contact opens",
                closed=decay,
                simulated=opened - gone,
                unit="s",
                limit=_TIME * decay + 0.2e-3,
                absolute=True,
            )
        )
    checks.append(
        Check(
            quantity="left at the loudspeaker",
            closed=0.0,
            simulated=float(lead[-1]),
            unit="V",
            limit=0.1,
            absolute=True,
        )
    )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={"loudspeaker, V": lead, "behind the low-pass, V": _sense(detector, traces)},
    )


def _back(detector: DcDetector, traces: Traces) -> Array | float:
    return traces.voltage("speaker_return") if detector.floating else 0.0


def _note(
    design: Design,
    guard: SpeakerGuardResult,
    detector: DcDetector,
    library: Library,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """The lowest note at full output from its zero crossing on: its first half wave reaches furthest."""
    hertz = design.spec.goal.lowest_note_hz
    peak = max(point.output_peak_v for point in design.points if point.level is Level.FULL)
    omega = 2.0 * pi * hertz
    stop = 4.0 / hertz
    times = np.linspace(0.0, stop, 321)
    output = Ramp(points=tuple((float(t), float(peak * np.sin(omega * t))) for t in times))
    run = Transient(stop_s=stop, step_s=0.002 / hertz, accuracy=1e-5)
    traces = _played(design, guard, library, output, run, engine, timeout_s)
    sense = _sense(detector, traces)
    out = traces.voltage("driver_out")
    checks = (
        Check(
            quantity="lowest note behind the low-pass, first half wave",
            closed=2.0 * peak / hypot(1.0, omega * detector.tau_s),
            simulated=float(np.abs(sense).max()),
            unit="V",
            limit=_BASS,
        ),
        Check(
            quantity="driver's collector while the note plays",
            closed=float(out[0]),
            simulated=float(out.max()),
            unit="V",
            limit=0.3,
            absolute=True,
        ),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={"behind the low-pass, V": sense, "driver's collector, V": out},
    )


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    guard = design.speaker_guard
    if guard is None or guard.detector is None:
        return ()
    detector = guard.detector
    cases = []
    for sign, side in _SIDES.items():
        given = (design, guard, detector, library, sign)
        cases.append(Case(name=f"{side}, rising slowly", run=partial(_crept, *given)))
        cases.append(Case(name=f"{side}, stuck to a rail", run=partial(_stuck, *given)))
    note = partial(_note, design, guard, detector, library)
    return (*cases, Case(name="lowest note at full output", run=note))


EXPERIMENT: Final = Experiment(
    name="speaker-dc",
    block="speaker",
    title="Direct voltage at the loudspeaker",
    about="A direct voltage of either polarity raised slowly to the threshold, then the output stuck to a "
    "rail: time until the driver lets go and the relay's current has died; and the lowest note at full "
    "output, which must not part the driver. Limits 3 % of a threshold made of junctions, 5 % of the times.",
    cases=_cases,
)
