"""The converter: its power stage, controller and gate drive simulated, and set beside the closed forms."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.controller_circuit import controller_circuit
from subwright.circuits.controller_families import SOFT_NETS
from subwright.circuits.converter_point import averaged_point, quick
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_regulated import regulated_point
from subwright.circuits.converter_settle import settled_point
from subwright.circuits.converter_values import PowerValues, from_result
from subwright.circuits.measure import crossings, last_periods, mean_of
from subwright.circuits.netlist import Circuit, Pulse, Steady
from subwright.circuits.simulate import Array, Engine, simulate
from subwright.parts.library import Library
from subwright.physics.soft_start import charging_a
from subwright.stages.common import Corner
from subwright.stages.converter_family import ramp_v
from subwright.stages.converter_inrush import charging_path, filling
from subwright.stages.converter_timing import soft_start_levels

__all__ = ["EXPERIMENTS"]

# Limits asked of the converter's closed forms.
_RAIL: Final = 0.02
_INPUT: Final = 0.03
_SWITCH: Final = 0.05
# Agreed ones, each with its reason in the experiment's text.
_CLAMP: Final = 0.10
_DUTY: Final = 0.08
_DIP: Final = 0.08
_FILLING: Final = 0.15
_START: Final = 0.03
_RATE: Final = 0.03
_DEAD: Final = 0.12
_LEVEL: Final = 0.02

_CORNERS: Final = (Corner.LOW, Corner.NOMINAL, Corner.MAX)
_ONE_RAIL: Final = 0.95  # of the load, while the other rail idles
_FILL_POINTS: Final = (0.2, 0.4, 0.7, 0.9)  # of the rail's end
_FILL_CYCLES: Final = 80
_STEP_CYCLES: Final = (60, 180)  # before and after a load step
_LIGHT: Final = 0.1
_STEP_MEAN: Final = 10  # cycles averaged before and after


def _values(design: Design, corner: Corner, load: float, split: float) -> PowerValues:
    converter = design.converter
    assert converter is not None
    total = load * design.amplifier.rail_crest_a
    return from_result(
        converter,
        emf_v=design.supply.corners[corner],
        source_ohm=design.supply.source_resistance_ohm,
        positive_a=split * total,
        negative_a=(1.0 - split) * total,
    )


def _check(quantity: str, closed: float, simulated: float, unit: str, limit: float) -> Check:
    return Check(quantity=quantity, closed=closed, simulated=simulated, unit=unit, limit=limit)


# --- steady state ---------------------------------------------------------------------------------


def _steady(
    design: Design, corner: Corner, load: float, split: float, engine: Engine, timeout_s: float
) -> Outcome:
    small = quick(_values(design, corner, load, split))
    closed = averaged_point(small)
    settled = settled_point(small, engine, timeout_s=timeout_s)
    found, traces = settled.found, settled.traces
    checks = [
        _check("positive rail", closed.positive_v, found.positive_v, "V", _RAIL),
        _check("negative rail", closed.negative_v, found.negative_v, "V", _RAIL),
        _check("battery current", closed.battery_a, found.battery_a, "A", _INPUT),
        _check("switch current, rms", closed.switch_rms_a, found.switch_rms_a, "A", _SWITCH),
    ]
    if closed.clamp_v is not None and found.clamp_v is not None:
        checks.append(_check("clamp", closed.clamp_v, found.clamp_v, "V", _CLAMP))
    if small.choke is not None:
        expected = regulated_point(small).gate_share
        checks.append(_check("conducting share", expected, settled.gate_share, "", _DUTY))
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "positive rail, V": traces.voltage("rail_positive"),
            "negative rail, V": traces.voltage("rail_negative"),
            "primary, A": traces.current("T101A"),
        },
    )


def _steady_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    if design.converter is None:
        return ()

    def case(corner: Corner, load: float, split: float) -> Case:
        where = "one rail" if split > 0.5 else "both rails"
        return Case(
            name=f"{corner.value} battery, {load:.0%} on {where}",
            run=lambda engine, timeout_s: _steady(design, corner, load, split, engine, timeout_s),
        )

    rows = [(corner, load, _ONE_RAIL) for corner in _CORNERS for load in (_LIGHT, 1.0)]
    return tuple(case(*row) for row in (*rows, (Corner.NOMINAL, 1.0, 0.5)))


# --- soft start -----------------------------------------------------------------------------------


def _held(values: PowerValues, rail_v: float) -> Circuit:
    """The power stage with its rails held at a voltage, as the banks hold them from one cycle to the next."""
    power = power_circuit(values)
    parts = []
    for part in power.parts:
        changed = part
        if part.designator.startswith("BENCH_LOAD"):
            held = Steady(value=rail_v)
            changed = replace(part, kind="voltage source", value=held, role="rail held")
        elif part.role == "rail capacitor":
            changed = replace(part, initial_v=rail_v)
        elif part.role in ("input capacitor", "clamp capacitor"):
            changed = replace(part, initial_v=values.emf_v)
        parts.append(changed)
    return replace(power, parts=tuple(parts))


def _filling_current(
    design: Design, share: float, rail_v: float, engine: Engine, timeout_s: float
) -> tuple[float, ...]:
    """Currents of the battery and into one rail, A, at a moment of the filling."""
    values = quick(_values(design, Corner.NOMINAL, 1.0, 0.5), snubbed=True)
    stage = replace(values, gate_share=share)
    period = stage.period_s
    run = Transient(
        stop_s=_FILL_CYCLES * period,
        step_s=min(period / 200.0, 0.05 * share * period),
        keep_from_s=0.6 * _FILL_CYCLES * period,
        from_initial=True,
        current_floor_a=1e-4 * averaged_point(values).battery_a,
        voltage_floor_v=1e-3,
    )
    probes = (Current("BT101"), Current("BENCH_LOAD_POSITIVE"))
    traces = simulate(_held(stage, rail_v), run, probes, engine, timeout_s=timeout_s)
    battery, rail = -traces.current("BT101"), traces.current("BENCH_LOAD_POSITIVE")
    return tuple(mean_of(*last_periods(traces.axis, course, period, 12)) for course in (battery, rail))


def _filling(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    converter = design.converter
    assert converter is not None
    emf_v, source_ohm = design.supply.corners[Corner.NOMINAL], design.supply.source_resistance_ohm
    path = charging_path(converter, emf_v=emf_v, source_ohm=source_ohm)
    course = filling(converter, emf_v=emf_v, source_ohm=source_ohm)
    checks = []
    for part in _FILL_POINTS:
        k = int(np.argmax(course.rail_v >= part * path.end_v))
        share, rail_v = float(course.share[k]), float(course.rail_v[k])
        found = _filling_current(design, share, rail_v, engine, timeout_s)
        closed = charging_a(path, share, rail_v)
        for name, one, other in zip(("battery current", "current into a rail"), closed, found, strict=True):
            checks.append(_check(f"{name}, rails at {part:.0%}", one, other, "A", _FILLING))
    return Outcome(
        checks=tuple(checks),
        engine=engine.name,
        axis=course.time_s,
        traces={"rail by the closed form, V": course.rail_v, "battery, A": course.battery_a},
    )


def _start(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    converter = design.converter
    assert converter is not None
    timing, controller = converter.plan.timing, converter.plan.controller
    supply = Steady(value=design.supply.corners[Corner.NOMINAL])
    circuit = controller_circuit(converter, supply=supply, corners={}, stopped=True)
    net = SOFT_NETS[controller.family]
    run = Transient(stop_s=2.5 * timing.soft_start_s, step_s=timing.soft_start_s / 500.0, from_initial=True)
    traces = simulate(circuit, run, (Voltage(net),), engine, timeout_s=timeout_s)
    course = traces.voltage(net)
    begun_v, over_v, _ = soft_start_levels(controller, timing.divider_top_ohm, timing.divider_bottom_ohm)
    begun = 0.0 if begun_v is None else _crossed(traces.axis, course, begun_v, rising=True)
    ended = _crossed(traces.axis, course, over_v, rising=controller.family != "494")
    check = _check("time of the soft start", timing.soft_start_s, ended - begun, "s", _START)
    return Outcome(checks=(check,), engine=traces.engine, axis=traces.axis, traces={f"{net} pin, V": course})


def _crossed(time_s: Array, course: Array, level: float, *, rising: bool) -> float:
    for at, up in crossings(time_s, course, level):
        if up is rising:
            return at
    raise SubwrightError(
        message="The simulated soft start never came to its level.",
        quantity="level",
        value=f"{level:.3g} V",
        remedy="This is an error in subwright, not in the build; please report it.",
    )


def _start_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    converter = design.converter
    if converter is None or converter.choke is not None:
        return ()
    return (Case(name="", run=lambda engine, timeout_s: _filling(design, engine, timeout_s)),)


# --- load step ------------------------------------------------------------------------------------


def _load_step(design: Design, corner: Corner, engine: Engine, timeout_s: float) -> Outcome:
    light, full = (_values(design, corner, load, _ONE_RAIL) for load in (_LIGHT, 1.0))
    small = quick(full)
    before = replace(small, positive_a=light.positive_a, negative_a=small.negative_a)
    period = small.period_s
    first, second = _STEP_CYCLES
    at_s, stop_s = first * period, (first + second) * period
    power = power_circuit(before)
    step = Pulse(
        first=before.positive_a,
        then=small.positive_a,
        delay_s=at_s,
        edge_s=0.01 * period,
        then_s=2.0 * stop_s,
        period_s=4.0 * stop_s,
    )
    parts = tuple(
        replace(part, value=step) if part.designator == "BENCH_LOAD_POSITIVE" else part
        for part in power.parts
    )
    run = Transient(
        stop_s=stop_s,
        step_s=period / 200.0,
        keep_from_s=at_s - (_STEP_MEAN + 2) * period,
        from_initial=True,
        current_floor_a=1e-4 * averaged_point(small).battery_a,
        voltage_floor_v=1e-3,
    )
    probes: tuple[Probe, ...] = (Voltage("rail_positive"), Voltage("rail_negative"), Current("BT101"))
    traces = simulate(replace(power, parts=parts), run, probes, engine, timeout_s=timeout_s)
    time, rail = traces.axis, traces.voltage("rail_positive")
    early = time <= at_s
    start_v = mean_of(*last_periods(time[early], rail[early], period, _STEP_MEAN))
    end_v = mean_of(*last_periods(time, rail, period, _STEP_MEAN))
    closed_start, closed_end = averaged_point(before).positive_v, averaged_point(small).positive_v
    return Outcome(
        checks=(
            _check("rail before", closed_start, start_v, "V", _RAIL),
            _check("rail after", closed_end, end_v, "V", _RAIL),
            _check("dip", closed_start - closed_end, start_v - end_v, "V", _DIP),
        ),
        engine=traces.engine,
        axis=time,
        traces={"positive rail, V": rail, "battery, A": -traces.current("BT101")},
    )


def _step_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    converter = design.converter
    if converter is None or converter.choke is not None:
        return ()

    def case(corner: Corner) -> Case:
        return Case(
            name=f"{corner.value} battery",
            run=lambda engine, timeout_s: _load_step(design, corner, engine, timeout_s),
        )

    return tuple(case(corner) for corner in (Corner.LOW, Corner.NOMINAL))


# --- controller -----------------------------------------------------------------------------------


def _timing(design: Design, corner: Corner, engine: Engine, timeout_s: float) -> Outcome:
    converter = design.converter
    assert converter is not None
    timing, controller = converter.plan.timing, converter.plan.controller
    period = 1.0 / timing.switching_hz
    supply = Steady(value=design.supply.corners[corner])
    circuit = controller_circuit(converter, supply=supply, corners={}, settled=True)
    run = Transient(stop_s=14.0 * period, step_s=period / 1000.0, keep_from_s=4.0 * period, from_initial=True)
    probes = tuple(Voltage(net) for net in ("ct", "out_a", "out_b", "vref"))
    traces = simulate(circuit, run, probes, engine, timeout_s=timeout_s)
    time, a, b = traces.axis, traces.voltage("out_a"), traces.voltage("out_b")
    level = 0.5 * float(max(a.max(), b.max()))
    rises = [at for at, up in crossings(time, a, level) if up]
    if len(rises) < 3:
        raise SubwrightError(message="The simulated controller gives no pulses.")
    rate = (len(rises) - 1) / (rises[-1] - rises[0])
    on = np.where((a > level) | (b > level), 1.0, 0.0)
    kept_s, kept = last_periods(time, on, 1.0 / rate, 8)
    dead_s = (1.0 - mean_of(kept_s, kept)) / (2.0 * rate)
    overlap = float(np.max(np.minimum(a, b)))
    _, ramp = last_periods(time, traces.voltage("ct"), period, 4)
    return Outcome(
        checks=(
            _check("rate of one output", timing.switching_hz, rate, "Hz", _RATE),
            _check("dead time", timing.dead_time_s, dead_s, "s", _DEAD),
            _check("top of the ramp", ramp_v(controller)[1], float(ramp.max()), "V", _LEVEL),
            _check("reference", controller.vref_v, mean_of(time, traces.voltage("vref")), "V", _LEVEL),
            Check(
                quantity="lower output while the other is high",
                closed=0.0,
                simulated=overlap,
                unit="V",
                limit=1.0,
                absolute=True,
            ),
        ),
        engine=traces.engine,
        axis=time,
        traces={"CT, V": traces.voltage("ct"), "output A, V": a, "output B, V": b},
    )


def _timing_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    if design.converter is None:
        return ()

    def case(corner: Corner) -> Case:
        return Case(
            name=f"{corner.value} battery",
            run=lambda engine, timeout_s: _timing(design, corner, engine, timeout_s),
        )

    start = Case(name="soft start", run=lambda engine, timeout_s: _start(design, engine, timeout_s))
    return (*(case(corner) for corner in (Corner.LOW, Corner.NOMINAL)), start)


def _all() -> Iterator[Experiment]:
    yield Experiment(
        name="converter-steady-state",
        block="converter",
        title="The converter in steady state",
        about=(
            "The switched power stage on the lowest, nominal and highest battery with a tenth and all of the "
            "crest's load, on one rail and on both, run until it settles. Rails within 2 %, battery current "
            "within 3 %, rms of a switch within 5 %, as asked of the closed forms. The clamp may be 10 % "
            "off: its energy goes with the square of the current at turn-off. Regulated rails run at the "
            "duty that the closed form finds; where the choke's current has gaps the duty is put right once "
            "and may be 8 % off, for magnetising current and snubbers feed the rails in the gaps."
        ),
        cases=_steady_cases,
    )
    yield Experiment(
        name="converter-soft-start",
        block="converter",
        title="Filling the rails during soft start",
        about=(
            "Four moments of the filling: the power stage at that moment's duty, its rails held where the "
            "banks are. Currents of battery and rails may be 15 % off the closed form, which leaves out what "
            "the clamp draws at rest; that matters early, when both are small. The switches keep their "
            "snubbers: a leakage current without a capacitance costs a simulator its steps. The embedded "
            "engine gets through with some builds; with others it finds no solution at an edge of the "
            "clamp, whatever its steps, tolerances and the diodes' capacitances. Peak-charged rails only: "
            "behind a choke the duty sets the rail."
        ),
        cases=_start_cases,
        embedded=False,
    )
    yield Experiment(
        name="converter-load-step",
        block="converter",
        title="A load step on one rail",
        about=(
            "One rail goes from a tenth of the crest's current to all of it. Rails before and after within "
            "2 %, as in steady state; the dip within 8 %: a diode's threshold moves by 12 mV for each decade "
            "of current, which the closed form leaves out. Peak-charged rails only."
        ),
        cases=_step_cases,
    )
    yield Experiment(
        name="controller-timing",
        block="converter",
        title="The controller's timing parts",
        about=(
            "Controller, RT, CT and dead-time part as a behavioural model whose constants are those of the "
            "family's frequency equation. Each output's rate within 3 %: half of the ramp's. The dead time "
            "may be 12 % off, for the model's edges take some nanoseconds. Never are both outputs up. The "
            "soft start, on its pin with the ramp held, within 3 % of the design's time."
        ),
        cases=_timing_cases,
    )


EXPERIMENTS = tuple(_all())
