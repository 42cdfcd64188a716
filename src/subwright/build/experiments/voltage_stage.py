"""The voltage stage of discrete class AB, its loop closed through the real output stage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_values import ClassABValues, class_ab_values
from subwright.circuits.analysis import AcSweep, Probe, Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady
from subwright.circuits.simulate import Array, Complex, Engine, Traces, simulate
from subwright.circuits.voltage_stage_circuit import MUTE_OPEN_V, voltage_stage_circuit
from subwright.circuits.voltage_stage_loop import closed_loop, leg_feeds, opened
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier_driving import THERMAL_V
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["EXPERIMENTS"]

_Run: TypeAlias = Callable[[Design, Library, Engine, float], Outcome]

_SILENT: Final = Steady(value=0.0)
_TEST: Final = Steady(value=0.0, ac=1.0)
_WIDE: Final = AcSweep(low_hz=0.1, high_hz=10e6, per_decade=20)
_LOOP: Final = AcSweep(low_hz=10.0, high_hz=10e6, per_decade=20)
_BAND: Final = AcSweep(low_hz=50.0, high_hz=500.0, per_decade=4)
_REST_S: Final = 1e-6
_NOTE_HZ: Final = 1e3
_LOW_NOTE_HZ: Final = 40.0
_POINTS: Final = 200
_OVER: Final = 1.4  # drive at which it clips for certain
_OFF_OHM: Final = 10e3  # in place of the loudspeaker, for the fastest loop
_TURNED: Final = 3.0  # step over what turns the pair over


def _stage_of(design: Design) -> VoltageStage | None:
    return design.amplifier.voltage_stage


def _values(design: Design) -> ClassABValues:
    model = design.amplifier.model
    assert isinstance(model, ClassABModel)
    return class_ab_values(design.amplifier, switched=model.switched)


def _closed(
    design: Design,
    library: Library,
    signal: Ramp | Steady,
    mute: float | Ramp = MUTE_OPEN_V,
    *,
    loaded: bool = True,
) -> Circuit:
    """The whole amplifier at a signal from the filter, V."""
    result, stage, values = design.amplifier, _stage_of(design), _values(design)
    assert stage is not None
    rails, load = result.rail_switching, result.load_ohm if loaded else _OFF_OHM
    lifted = _lifted(design)
    if rails is None:
        output = class_ab_circuit(values, load_ohm=load, signal=_SILENT)
    elif rails.form == "lifted":
        output = class_h_circuit(
            values,
            rails,
            library,
            lift_f=result.lift_f,
            cans=result.lift_count,
            load_ohm=load,
            signals=(_SILENT, _SILENT),
        )
    else:
        output = class_g_circuit(values, rails, library, load_ohm=load, signal=_SILENT)
    crest_a = result.peak_least_a
    return closed_loop(
        output, values, stage, library, signal=signal, crest_a=crest_a, lifted=lifted, mute=mute
    )


def _lifted(design: Design) -> bool:
    """Whether the legs' rails are lifted."""
    rails = design.amplifier.rail_switching
    return rails is not None and rails.form == "lifted"


def _ends(circuit: Circuit) -> list[Probe]:
    """Where the amplifier's own output is seen."""
    return [Voltage("out_a"), *([Voltage("out_b")] if "out_b" in circuit.nets else [])]


def _across(traces: Traces, circuit: Circuit) -> Array:
    course = traces.voltage("out_a")
    return course - traces.voltage("out_b") if "out_b" in circuit.nets else course


def _phasor(traces: Traces, circuit: Circuit) -> Complex:
    found = traces.phasor(Voltage("out_a"))
    return found - traces.phasor(Voltage("out_b")) if "out_b" in circuit.nets else found


# -- at rest ------------------------------------------------------------------------------------------------


def _rest(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage, values = _stage_of(design), _values(design)
    assert stage is not None
    circuit = _closed(design, library, _SILENT)
    feed = {p.designator: p for p in circuit.by_role("tail source")}
    first = next(iter(feed.values()))
    upper = next(p for p in circuit.by_role("tail resistor") if first.nets[2] in p.nets).nets[0]
    nets = [upper, "tail_source_a", "stage_source_a"]
    probes = [*_ends(circuit), *map(Voltage, nets)]
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
            limit=0.08,
        ),
        Check(
            quantity="current of the voltage amplifier",
            closed=stage.stage_a,
            simulated=(at(upper) - at("stage_source_a")) / ohms["stage source resistor"],
            unit="A",
            limit=0.08,
        ),
        Check(
            quantity="steady voltage across the load, parts alike",
            closed=0.0,
            simulated=float(_across(traces, circuit)[-1]),
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
                limit=0.05,
            )
        )
    return Outcome(checks=tuple(checks), engine=traces.engine)


# -- small signals ------------------------------------------------------------------------------------------


def _response(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage = _stage_of(design)
    assert stage is not None
    circuit = _closed(design, library, _TEST)
    traces = simulate(circuit, _WIDE, _ends(circuit), engine, timeout_s=timeout_s)
    gain: Array = np.abs(_phasor(traces, circuit))
    middle = int(np.argmax(gain))
    top = float(np.median(gain[(traces.axis > 100.0) & (traces.axis < 2e3)]))
    low, high = _edges(traces.axis, gain, middle, top / np.sqrt(2.0))
    checks = (
        Check(quantity="gain", closed=stage.gain, simulated=top, unit="V/V", limit=0.03),
        Check(
            quantity="low corner, -3 dB",
            closed=stage.low_corner_hz,
            simulated=low,
            unit="Hz",
            limit=0.05 if stage.half_v is None else 0.35,
        ),
        Check(quantity="bandwidth, -3 dB", closed=stage.closed_hz, simulated=high, unit="Hz", limit=0.3),
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
    stage = _stage_of(design)
    assert stage is not None
    axis, loaded = _loop_gain(design, library, leg, engine, timeout_s, loaded=True)[:2]
    size = 20.0 * np.log10(np.abs(loaded))

    def at(hz: float) -> float:
        return float(np.interp(np.log(hz), np.log(axis), size))

    axis, alone, name = _loop_gain(design, library, leg, engine, timeout_s, loaded=False)
    level, angle = 20.0 * np.log10(np.abs(alone)), np.degrees(np.unwrap(np.angle(alone)))
    past = int(np.flatnonzero(level < 0.0)[0])
    share = level[past - 1] / (level[past - 1] - level[past])
    unity = float(axis[past - 1] * (axis[past] / axis[past - 1]) ** share)
    lag = float(np.interp(np.log(unity), np.log(axis), angle))
    checks = (
        Check(quantity="loop gain at 50 Hz", closed=stage.loop_gain_50hz_db, simulated=at(50.0), unit="dB",
              limit=6.0, absolute=True),
        Check(quantity="loop gain at 1 kHz", closed=stage.loop_gain_1khz_db, simulated=at(1e3), unit="dB",
              limit=4.0, absolute=True),
        Check(quantity="frequency of loop gain one", closed=stage.unity_hz, simulated=unity, unit="Hz",
              limit=0.25),
        Check(quantity="phase margin", closed=stage.phase_margin_deg, simulated=180.0 + lag, unit="°",
              limit=12.0, absolute=True),
    )  # fmt: skip
    return Outcome(
        checks=checks,
        engine=name,
        axis=axis,
        axis_unit="Hz",
        traces={"loop gain, dB": size, "without a load, dB": level, "its angle, \u00b0": angle},
    )


def _loop_gain(
    design: Design, library: Library, leg: str, engine: Engine, timeout_s: float, *, loaded: bool
) -> tuple[Array, Complex, str]:
    """Frequencies in Hz, the loop's gain, and who simulated."""
    stage = _stage_of(design)
    assert stage is not None
    crossed = stage.bridge == "crossed"
    circuit = opened(_closed(design, library, _SILENT, loaded=loaded), leg, crossed=crossed)
    legs = "ab" if crossed else leg
    probes = [Voltage(f"{word}_{name}") for name in legs for word in ("out", "sensed")]
    traces = simulate(circuit, _LOOP, probes, engine, timeout_s=timeout_s)
    seen = [traces.phasor(probe) for probe in probes]
    loop = -(seen[0] - seen[2]) / (seen[1] - seen[3]) if crossed else -seen[0] / seen[1]
    return traces.axis, loop, traces.engine


def _mute(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    stage = _stage_of(design)
    assert stage is not None
    levels = []
    for line_v in (MUTE_OPEN_V, 0.0):
        circuit = _closed(design, library, _TEST, line_v)
        traces = simulate(circuit, _BAND, _ends(circuit), engine, timeout_s=timeout_s)
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
    stage = _stage_of(design)
    assert stage is not None
    soft_s = stage.resistors_ohm["mute gate"] * stage.capacitors_f["mute capacitor"]
    line = Ramp(
        points=((0.0, 0.0), (0.2 * soft_s, 0.0), (0.21 * soft_s, MUTE_OPEN_V), (5.0 * soft_s, MUTE_OPEN_V))
    )
    circuit = _closed(design, library, _SILENT, line)
    run = Transient(stop_s=5.0 * soft_s, step_s=0.02 * soft_s, accuracy=1e-5)
    traces = simulate(circuit, run, _ends(circuit), engine, timeout_s=timeout_s)
    course = _across(traces, circuit)
    return float(np.max(np.abs(course - course[0])))


# -- large signals ------------------------------------------------------------------------------------------


def _driven(
    design: Design, library: Library, drive_v: float, engine: Engine, timeout_s: float
) -> tuple[Traces, Circuit]:
    """A sine at the filter's output; class H from charged capacitors, at a note that its comparators know."""
    lifted = _lifted(design)
    hz, cycles = (_LOW_NOTE_HZ, 3) if lifted else (_NOTE_HZ, 2)
    signal = sine_ramp(drive_v, hz, cycles=cycles, points=_POINTS)
    circuit = _closed(design, library, signal)
    run = Transient(
        stop_s=cycles / hz,
        step_s=1.0 / hz / _POINTS,
        keep_from_s=(cycles - 1) / hz,
        accuracy=1e-3 if lifted else 1e-4,
        from_initial=lifted,
    )
    return simulate(circuit, run, _ends(circuit), engine, timeout_s=timeout_s), circuit


def _full(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """Full drive, and one leg of split rails overdriven until it clips."""
    stage, result, values = _stage_of(design), design.amplifier, _values(design)
    assert stage is not None
    load = result.load_ohm
    full_v = result.peak_v * (load + values.lead_ohm) / load
    traces, circuit = _driven(design, library, full_v / stage.gain, engine, timeout_s)
    course = _across(traces, circuit)
    lifted = _lifted(design)
    checks = [
        Check(
            quantity="crest at full drive",
            closed=_standing_crest_v(stage, values, full_v) if lifted else full_v,
            simulated=0.5 * float(np.ptp(course)),
            unit="V",
            limit=0.1 if lifted else 0.03,
        )
    ]
    if values.legs == 1 and result.rail_switching is None:
        traces, circuit = _driven(design, library, _OVER * full_v / stage.gain, engine, timeout_s)
        course = _across(traces, circuit)
        ballast_v = values.ballast_ohm / values.pairs * full_v / (load + values.lead_ohm)
        checks += [
            Check(
                quantity=f"{side} crest when it clips",
                closed=values.rail_v - lost - ballast_v,
                simulated=crest,
                unit="V",
                limit=0.06,
            )
            for side, lost, crest in (
                ("upper", stage.clip_upper_v, float(np.max(course))),
                ("lower", stage.clip_lower_v, -float(np.min(course))),
            )
        ]
    return Outcome(checks=tuple(checks), engine=traces.engine, axis=traces.axis, traces={"output, V": course})


def _standing_crest_v(stage: VoltageStage, values: ClassABValues, full_v: float) -> float:
    """Crest of crossed legs at a drive that would give ``full_v`` with both free: the lower one stands.

    Superposition at the pair's bases, with the shares of own output, other output and drive.
    """
    ohms = stage.resistors_ohm
    own, other, drive = (1.0 / ohms[r] for r in ("voltage feedback", "cross resistor", "leg input"))
    back = own / (own + 1.0 / ohms["voltage feedback shunt"])
    plus = other + drive + 1.0 / ohms["leg bias"]
    cross, fed = other / plus, drive / plus
    half_v, least_v = 0.5 * values.rail_v, stage.clip_lower_v
    if full_v <= 2.0 * (half_v - least_v):
        return full_v
    signal_v = full_v * (back + cross) / (2.0 * fed)
    upper_v = half_v + (fed * signal_v + cross * (least_v - half_v)) / back
    return upper_v - least_v


def _slew(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """A step at the pair's base that turns it over: the tail's whole current charges the Miller capacitor."""
    stage, result, values = _stage_of(design), design.amplifier, _values(design)
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
    whole = _closed(design, library, _SILENT) if values.lateral else _by_itself(design, stage, values)
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
        limit=0.5 if values.lateral else 0.25,
    )
    return Outcome(
        checks=(check,), engine=traces.engine, axis=traces.axis, traces={"output of leg A, V": course}
    )


def _by_itself(design: Design, stage: VoltageStage, values: ClassABValues) -> Circuit:
    """The voltage stage on steady feeds, its output stage an ideal follower."""
    return voltage_stage_circuit(
        stage,
        values.ids,
        leg_feeds(values, lifted=_lifted(design)),
        split_rails=values.split_rails,
        supply_v=values.rail_v,
        spread_v=values.spread_v,
        signal=_SILENT,
    )


def _cases(run: _Run) -> Callable[[Design, Library], tuple[Case, ...]]:
    """One case for each design that has the stage."""

    def cases(design: Design, library: Library) -> tuple[Case, ...]:
        if _stage_of(design) is None:
            return ()
        return (Case(name="", run=lambda engine, timeout_s: run(design, library, engine, timeout_s)),)

    return cases


def _loop_cases(design: Design, library: Library) -> tuple[Case, ...]:
    stage = _stage_of(design)
    if stage is None:
        return ()

    def case(leg: str, name: str) -> Case:
        return Case(name=name, run=lambda engine, timeout_s: _loop(design, library, leg, engine, timeout_s))

    if design.amplifier.model.legs == 1:
        return (case("a", ""),)
    if stage.bridge == "crossed":
        return (case("a", "difference of both legs"),)
    return tuple(case(leg, f"leg {leg.upper()}") for leg in "ab")


_CIRCUIT: Final = (
    "The whole amplifier from the filter's output to the load: voltage stage, bias, drivers and output "
    "devices with their least current gains, transition frequencies, Early voltages and capacitances. "
)

EXPERIMENTS = (
    Experiment(
        name="voltage-stage-rest",
        block="amplifier",
        title="Currents and offset of the voltage stage at rest",
        about=_CIRCUIT
        + "Closed forms take the sources' base currents for nothing and the diodes' law for a transistor's: "
        "8 %. Parts are alike here, so the output must lie within the offset that unlike ones are reckoned "
        "with.",
        cases=_cases(_rest),
    ),
    Experiment(
        name="voltage-stage-response",
        block="amplifier",
        title="Gain and corners of the closed loop",
        about=_CIRCUIT
        + "The closed forms are the networks' ratios, and corners one after the other; the loop's own second "
        "pole bends the upper corner: 30 %. Half of a single supply moves with the signal near the low "
        "corner, which the closed form leaves out: 35 % there, 5 % on split rails.",
        cases=_cases(_response),
    ),
    Experiment(
        name="voltage-stage-loop",
        block="amplifier",
        title="Loop gain and phase margin",
        about=_CIRCUIT
        + "A source in the feedback's way measures the loop gain. The closed form has one integrator with "
        "poles behind it; at the lowest frequencies it reckons with the load at a crest, where the output "
        "asks most. Its follower follows all the way, as without a load, where the loop is fastest: so unity "
        "and phase margin are compared there.",
        cases=_loop_cases,
    ),
    Experiment(
        name="voltage-stage-full",
        block="amplifier",
        title="Full drive and clipping",
        about=_CIRCUIT
        + "A sine of 1 kHz at full drive must come out whole; overdriven it clips where the sources "
        "saturate. Class G and H and bridges are held to the first. Class H at 40 Hz, its closed form with "
        "the lower leg standing still at the crest, where the gain falls a little: 10 % there.",
        cases=_cases(_full),
    ),
    Experiment(
        name="voltage-stage-slew",
        block="amplifier",
        title="Fastest rise of the output",
        about=_CIRCUIT
        + "A step at the first base that turns the pair over for good. The closed form is the least of what "
        "tail, voltage amplifier and its buffer can move. Bipolar stages by themselves, an ideal follower "
        "for their output: 25 %. Lateral MOSFETs with it: the closed form lets a quarter of C_GS be "
        "charged, of which a strong device asks less, so it is a lower bound: 50 %.",
        cases=_cases(_slew),
    ),
    Experiment(
        name="voltage-stage-mute",
        block="amplifier",
        title="What the mute leaves",
        about=_CIRCUIT
        + "Gain with the line that mutes low, over that with it high: two dividers. And what the silent "
        "output does while the line rises, by the charge that the gates push: the closed form takes the "
        "steepest rise; up to twice of it passes.",
        cases=_cases(_mute),
    ),
)
