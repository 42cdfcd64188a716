"""The power amplifier: clipping, ripple, heat and the output filter, in time and frequency."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.test_points import FULL_SINE, played
from subwright.build.test_points.amplifier import amplifier_readings
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_class_d import INDUCTORS, class_d_circuit, class_d_filter_circuit
from subwright.circuits.amplifier_drive import LEAST_LEG_V, bridge_ramps, sine_ramp
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_values import ClassDValues, class_ab_values, class_d_values
from subwright.circuits.analysis import AcSweep, Current, Probe, Transient, Voltage
from subwright.circuits.enclosure_circuit import enclosure_circuit
from subwright.circuits.measure import last_periods, mean_of, rms_of
from subwright.circuits.netlist import Circuit
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.class_d import filter_response, ripple_current_pp_a
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.common import Corner, Level

__all__ = ["EXPERIMENTS", "linear_circuit"]

_PLAYING: Final = (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
_RIPPLE, _LOSS, _CLIP, _SINE_PEAK = 0.03, 0.03, 0.02, 0.02
_RESPONSE_DB: Final = 0.1
_RESPONSE_DEG: Final = 1.0
_CARRIER: Final = AcSweep(low_hz=20.0, high_hz=300e3, per_decade=30)
_SETTLE, _KEEP, _PER_PERIOD = 100, 4, 200
_DIODE_QUIET_V: Final = 0.25  # across a switch, below which its body diode carries nothing
_NOTE_HZ: Final = 40.0
_POINTS: Final = 240
_SINE: Final = np.sin((np.arange(4000) + 0.5) * (np.pi / 8000))


# -- class D ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class _Switched:
    """A class-D stage at a steady duty, averaged over its last periods."""

    ripple_a: float
    output_v: float  # at the load's terminals
    leg_v: float  # mean of the first leg's output against its rest
    input_w: float
    load_w: float
    traces: Traces
    coil: Array


def _switched(
    values: ClassDValues, load_ohm: float, modulation: float, engine: Engine, timeout_s: float
) -> _Switched:
    periods = _SETTLE + _KEEP
    circuit = class_d_circuit(values, load_ohm=load_ohm, modulation=modulation, periods=periods + 1)
    run = Transient(
        stop_s=periods * values.period_s,
        step_s=values.period_s / _PER_PERIOD,
        keep_from_s=(_SETTLE - 1) * values.period_s,
        from_initial=True,
        accuracy=1e-4,
    )
    bridge = values.legs == 2
    rails = ["BENCH_RAIL_POSITIVE"] + (["BENCH_RAIL_NEGATIVE"] if values.split_rails else [])
    near = "terminal" if values.lead_ohm > 0.0 else "out_a"
    nets = dict.fromkeys((near, "out_a", *(["out_b"] if bridge else [])))
    probes: list[Probe] = [Current(INDUCTORS[0]), *map(Current, rails), *map(Voltage, nets)]
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)

    def last(course: Array) -> tuple[Array, Array]:
        return last_periods(traces.axis, course, _KEEP * values.period_s, 1)

    _, coil = last(traces.current(INDUCTORS[0]))
    across = traces.voltage(near) - (traces.voltage("out_b") if bridge else 0.0)
    time_s, out = last(across)
    drawn = sum(mean_of(*last(-traces.current(rail))) for rail in rails)
    return _Switched(
        ripple_a=float(np.ptp(coil)),
        output_v=mean_of(time_s, out),
        leg_v=mean_of(*last(traces.voltage("out_a"))) - (0.0 if values.split_rails else 0.5 * values.rail_v),
        input_w=values.rail_v * drawn,
        load_w=rms_of(time_s, out) ** 2 / load_ohm,
        traces=traces,
        coil=traces.current(INDUCTORS[0]),
    )


def _class_d(design: Design) -> tuple[AmplifierResult, ClassDModel] | None:
    model = design.amplifier.model
    return (design.amplifier, model) if isinstance(model, ClassDModel) else None


def _ripple(design: Design, duty: float, engine: Engine, timeout_s: float) -> Outcome:
    """Ripple and loss at a steady duty, without dead time: its diodes are another matter."""
    found = _class_d(design)
    assert found is not None
    result, stated = found
    model = replace(stated, dead_time_s=0.0)
    values = replace(class_d_values(result), dead_time_s=0.0, snubber_ohm=None)
    m = 2.0 * duty - 1.0
    load = _quiet_load_ohm(result, values, m)
    seen = _switched(values, load, m, engine, timeout_s)
    ripple = ripple_current_pp_a(values.bus_v, values.inductance_h, values.switching_hz, m)
    ideal = m * float(model.swing_v(values.rail_v)) * load / (load + model.series_ohm())
    v = np.array([ideal])
    terms = model.losses_w(v, v / load, values.rail_v)
    names = ("switch conduction", "output inductor copper", "filter damping", "speaker lead")
    loss = sum(float(terms[name][0]) for name in names)
    checks = [
        Check(
            quantity="ripple of the output inductor, peak to peak",
            closed=ripple,
            simulated=seen.ripple_a,
            unit="A",
            limit=_RIPPLE,
        ),
        Check(
            quantity="loss in switches, inductors, damping and lead",
            closed=loss,
            simulated=seen.input_w - seen.load_w,
            unit="W",
            limit=_LOSS,
        ),
    ]
    if m != 0.0:
        checks.append(
            Check(quantity="mean output", closed=ideal, simulated=seen.output_v, unit="V", limit=2e-3)
        )
    return Outcome(
        checks=tuple(checks),
        engine=seen.traces.engine,
        axis=seen.traces.axis,
        traces={"current of the output inductor, A": seen.coil},
    )


def _quiet_load_ohm(result: AmplifierResult, values: ClassDValues, modulation: float) -> float:
    """Load that leaves the switches' body diodes out: their share of the current is not in the model, Ω."""
    most_a = _DIODE_QUIET_V / values.switch_ohm
    reach_v = abs(modulation) * 0.5 * values.legs * values.bus_v
    return max(result.load_ohm, reach_v / most_a)


def _ripple_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    if _class_d(design) is None:
        return ()

    def case(duty: float) -> Case:
        return Case(
            name=f"duty {100.0 * duty:.0f} %",
            run=lambda engine, timeout_s: _ripple(design, duty, engine, timeout_s),
        )

    return tuple(case(duty) for duty in (0.25, 0.5, 0.75))


def _as_one_leg(values: ClassDValues) -> ClassDValues:
    """Both legs of a bridge folded into one, for what lies between them."""
    if values.legs == 1:
        return values
    return replace(
        values,
        legs=1,
        switch_ohm=2.0 * values.switch_ohm,
        inductance_h=2.0 * values.inductance_h,
        inductor_ohm=2.0 * values.inductor_ohm,
        filter_f=0.5 * values.filter_f,
        damping_ohm=2.0 * values.damping_ohm,
        damping_f=0.5 * values.damping_f,
    )


def _output_filter(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    """The output filter with the driver in its box for a load."""
    found = _class_d(design)
    assert found is not None
    values, system = class_d_values(found[0]), design.enclosure.system
    folded = _as_one_leg(values)
    speaker = enclosure_circuit(system.driver, system.box, source_ohm=values.lead_ohm, air=system.air)
    circuit = class_d_filter_circuit(folded, speaker)
    net = Voltage("out_a")
    traces = simulate(circuit, _CARRIER, [net], engine, timeout_s=timeout_s)
    closed = filter_response(
        traces.axis,
        values.inductance_h,
        values.filter_f,
        values.damping_ohm,
        values.damping_f,
        values.switch_ohm + values.inductor_ohm,
        system.solve(traces.axis).impedance_ohm + values.lead_ohm,
        values.legs,
    )
    seen = traces.phasor(net)
    level = 20.0 * np.log10(np.abs(closed))
    off_db = 20.0 * np.log10(np.abs(seen / closed))
    off_deg = np.degrees(np.angle(seen / closed))
    angle = np.degrees(np.angle(closed))
    k, n = int(np.argmax(np.abs(off_db))), int(np.argmax(np.abs(off_deg)))
    checks = (
        Check(
            quantity="level of the output filter, 20 Hz to 300 kHz",
            closed=float(level[k]),
            simulated=float(level[k] + off_db[k]),
            unit="dB",
            limit=_RESPONSE_DB,
            absolute=True,
        ),
        Check(
            quantity="angle of the output filter, 20 Hz to 300 kHz",
            closed=float(angle[n]),
            simulated=float(angle[n] + off_deg[n]),
            unit="°",
            limit=_RESPONSE_DEG,
            absolute=True,
        ),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        axis_unit="Hz",
        traces={"level, dB": level + off_db, "level by the closed form, dB": level},
    )


def _output_filter_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    if _class_d(design) is None:
        return ()
    return (Case(name="", run=lambda engine, timeout_s: _output_filter(design, engine, timeout_s)),)


# -- clipping -----------------------------------------------------------------------------------------------


def _clip(design: Design, corner: Corner, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """The output at the onset of clipping, on the rail that the chain settled for this battery."""
    point, result = design.point(corner, Level.FULL), design.amplifier
    load = result.load_ohm
    found = _class_d(design)
    checks: list[Check] = []
    if found is not None:
        values = class_d_values(result, rail_v=point.rail_crest_v)
        seen = _switched(values, load, found[1].modulation_max, engine, timeout_s)
        peak, traces = seen.output_v, seen.traces
        checks = _sine_checks(design, corner, library, seen.leg_v)
        courses = {"current of the output inductor, A": seen.coil}
    else:
        sine = _sine_of(design, point.output_peak_v, point.rail_crest_v, library, engine, timeout_s)
        peak, traces = float(np.max(sine.output)), sine.traces
        courses = {"output, V": sine.course}
    power = Check(
        quantity="power at the onset of clipping",
        closed=point.output_w,
        simulated=peak**2 / (2.0 * load),
        unit="W",
        limit=_CLIP,
    )
    return Outcome(checks=(power, *checks), engine=traces.engine, axis=traces.axis, traces=courses)


def _sine_checks(design: Design, corner: Corner, library: Library, leg_v: float) -> list[Check]:
    """The sine that the output's test point reads, where its corner has a reading."""
    states = [at for at, (of, _) in played(FULL_SINE).items() if of is corner]
    return [
        Check(
            quantity="sine at the first filter output, peak",
            closed=0.5 * row.ripple_v,
            simulated=leg_v,
            unit="V",
            limit=_SINE_PEAK,
        )
        for row in amplifier_readings(design, library)["out_a"]
        if row.at in states
    ]


def _clip_cases(design: Design, library: Library) -> tuple[Case, ...]:
    def case(corner: Corner) -> Case:
        return Case(
            name=f"{corner.value} battery",
            run=lambda engine, timeout_s: _clip(design, corner, library, engine, timeout_s),
        )

    return tuple(case(corner) for corner in _PLAYING if any(p.corner is corner for p in design.points))


# -- class AB, G and H --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Sine:
    """A linear stage with a sine, over its last cycle; ``course`` is the output of the whole run."""

    input_w: float
    load_w: float
    output: Array
    course: Array
    traces: Traces


def linear_circuit(
    design: Design, peak_v: float, rail_v: float, library: Library, note_hz: float = _NOTE_HZ
) -> tuple[Circuit, Transient, dict[str, float]]:
    """Circuit, run, and the voltage of each supply by its source, for a peak at the load's terminals.

    Parameters
    ----------
    design : with a class-AB, G or H stage. peak_v, rail_v : V; a peak of 0 for a stage at rest.
    library : with the drawer merged. note_hz : of the sine, Hz.
    """
    result, load = design.amplifier, design.amplifier.load_ohm
    model, rails = result.model, result.rail_switching
    assert isinstance(model, ClassABModel)
    values = class_ab_values(result, rail_v=rail_v, switched=model.switched)
    at_lead = peak_v * (load + values.lead_ohm) / load
    step = 1.0 / note_hz / _POINTS
    supplies = {"BENCH_RAIL_POSITIVE": rail_v}
    if values.split_rails:
        supplies["BENCH_RAIL_NEGATIVE"] = rail_v
    if rails is None:
        wanted = sine_ramp(at_lead, note_hz, points=_POINTS)
        circuit = class_ab_circuit(values, load_ohm=load, signal=wanted)
        return circuit, Transient(stop_s=1.0 / note_hz, step_s=step, accuracy=1e-4), supplies
    if rails.form == "two pairs":
        supplies |= {f"BENCH_INNER_{side}": rails.inner_ratio * rail_v for side in ("POSITIVE", "NEGATIVE")}
        wanted = sine_ramp(at_lead, note_hz, cycles=2, points=_POINTS)
        circuit = class_g_circuit(values, rails, library, load_ohm=load, signal=wanted)
        return circuit, Transient(stop_s=2.0 / note_hz, step_s=step, accuracy=1e-4), supplies
    circuit = class_h_circuit(
        values,
        rails,
        library,
        lift_f=result.lift_f,
        cans=result.lift_count,
        load_ohm=load,
        signals=bridge_ramps(rail_v, LEAST_LEG_V, at_lead, note_hz, cycles=3, points=_POINTS),
    )
    run = Transient(stop_s=3.0 / note_hz, step_s=step / 8.0, accuracy=1e-4, from_initial=True)
    return circuit, run, supplies


def _sine_of(
    design: Design, peak_v: float, rail_v: float, library: Library, engine: Engine, timeout_s: float
) -> _Sine:
    circuit, run, supplies = linear_circuit(design, peak_v, rail_v, library)
    near = "terminal" if "terminal" in circuit.nets else "out_a"
    nets = [near, *(["out_b"] if "out_b" in circuit.nets else [])]
    probes: list[Probe] = [*map(Current, supplies), *map(Voltage, nets)]
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)
    course = traces.voltage(near) - (traces.voltage("out_b") if len(nets) > 1 else 0.0)

    def last(of: Array) -> tuple[Array, Array]:
        return last_periods(traces.axis, of, 1.0 / _NOTE_HZ, 1)

    time_s, output = last(course)
    return _Sine(
        input_w=sum(volts * mean_of(*last(-traces.current(name))) for name, volts in supplies.items()),
        load_w=rms_of(time_s, output) ** 2 / design.amplifier.load_ohm,
        output=output,
        course=course,
        traces=traces,
    )


def _linear_loss(design: Design, share: float, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    result, load = design.amplifier, design.amplifier.load_ohm
    rail_v, peak = result.rail_needed_v, share * result.peak_v
    seen = _sine_of(design, peak, rail_v, library, engine, timeout_s)
    v = peak * _SINE
    drawn = float(np.mean(result.model.input_power_w(v, v / load, rail_v)))
    power = peak**2 / (2.0 * load)
    checks = (
        Check(quantity="power from the rails", closed=drawn, simulated=seen.input_w, unit="W", limit=_LOSS),
        Check(
            quantity="heat in the amplifier",
            closed=drawn - power,
            simulated=seen.input_w - seen.load_w,
            unit="W",
            limit=_LOSS,
        ),
        Check(quantity="power in the load", closed=power, simulated=seen.load_w, unit="W", limit=5e-3),
    )
    return Outcome(
        checks=checks, engine=seen.traces.engine, axis=seen.traces.axis, traces={"output, V": seen.course}
    )


def _linear_cases(design: Design, library: Library, shares: Sequence[float]) -> Iterator[Case]:
    def case(share: float) -> Case:
        return Case(
            name=f"sine at {100.0 * share:.0f} % of full drive",
            run=lambda engine, timeout_s: _linear_loss(design, share, library, engine, timeout_s),
        )

    yield from (case(share) for share in shares)


def _class_ab_cases(design: Design, library: Library) -> tuple[Case, ...]:
    model = design.amplifier.model
    if not isinstance(model, ClassABModel) or model.switched:
        return ()
    return tuple(_linear_cases(design, library, (0.5, 0.64, 1.0)))


def _rail_cases(design: Design, library: Library) -> tuple[Case, ...]:
    model = design.amplifier.model
    if not isinstance(model, ClassABModel) or not model.switched:
        return ()
    return tuple(_linear_cases(design, library, (0.4, 0.75, 1.0)))


EXPERIMENTS = (
    Experiment(
        name="amplifier-clip",
        block="amplifier",
        title="Power at the onset of clipping, at every battery",
        about=(
            "The output stage on the rail that the settled chain gives at the crest of a full sine: class D "
            "at its greatest modulation with its dead time, class AB at its full drive. The closed form is "
            "the power that the chain reports. Saturation of class-AB devices is not in the circuit: there "
            "the check says that the drive reported comes out whole."
        ),
        cases=_clip_cases,
    ),
    Experiment(
        name="class-d-ripple",
        block="amplifier",
        title="Ripple, mean output and loss of the class-D stage",
        about=(
            "The switched stage with its output filter at a steady duty, resistive switches, no dead time. "
            "Closed forms: the buck's ripple, and conduction with the ripple's rms. Edges have no loss here."
        ),
        cases=_ripple_cases,
    ),
    Experiment(
        name="output-filter-response",
        block="amplifier",
        title="Output filter on the driver in its box",
        about=(
            "The class-D output filter with the whole loudspeaker's circuit for a load, swept from the "
            "lowest note past the carrier; a bridge is folded into one leg. The closed form divides the "
            "filter's impedances with the driver's. The limits allow for the ladder that stands for the "
            "voice coil."
        ),
        cases=_output_filter_cases,
    ),
    Experiment(
        name="class-ab-loss",
        block="amplifier",
        title="Power drawn and heat of the class-AB stage",
        about=(
            "Complementary followers with drivers, bias and emitter resistors over a cycle of 40 Hz; the "
            "closed form is the loss model that the whole design rests on. The transistors are exponentials."
        ),
        cases=_class_ab_cases,
    ),
    Experiment(
        name="changing-rails-loss",
        block="amplifier",
        title="Power drawn and heat of class G or class H",
        about=(
            "The output with its commutation diodes and what changes its rails, comparator, gates and "
            "lifting capacitors included, over cycles of 40 Hz. The closed form counts each current at the "
            "rail that feeds it, and the charge of a lifting capacitor twice."
        ),
        cases=_rail_cases,
    ),
)
