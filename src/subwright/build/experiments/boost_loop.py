"""The boost converter's controller: alone, and with its power stage as a closed loop."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.build.experiments.boost import hot_boost_values
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.boost_closed import (
    closed_boost_circuit,
    closed_probes,
    closed_run,
    control_voltage,
    pulses,
    simulated_loop,
)
from subwright.circuits.boost_control import boost_control_circuit, boost_feed
from subwright.circuits.boost_values import closed_point, from_plan
from subwright.circuits.measure import mean_of
from subwright.circuits.netlist import Ramp, Value
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.converter_boost_records import BoostResult

__all__ = ["EXPERIMENTS"]

_RAIL: Final = 0.01
_RATE: Final = 0.02
_PEAK: Final = 0.03
_CONTROL: Final = 0.03
_ALTERNATION: Final = 0.02  # of the peak
_QUIET_V: Final = 1.0  # at the gates, V: the PNP leaves its base voltage there
_ASLEEP_V: Final = 0.5
_CYCLES: Final = 30
_SETTLED: Final = 6  # cycles
_STEPS: Final = 200
_SHARE: Final = 0.97
_CORNERS: Final = (Corner.LOW, Corner.NOMINAL)


def _closed(design: Design, boost: BoostResult, corner: Corner, engine: Engine, timeout_s: float) -> Outcome:
    plan, hot = boost.plan, hot_boost_values(design, boost)
    emf_v, source_ohm = design.supply.corners[corner], design.supply.source_resistance_ohm
    rail_a = plan.demand.rail_crest_a
    crest = closed_point(hot, plan, emf_v=emf_v, source_ohm=source_ohm, rail_a=rail_a)
    values = from_plan(hot, plan, emf_v=emf_v, source_ohm=source_ohm, rail_a=rail_a)
    circuit = closed_boost_circuit(boost, values, crest, emf_v)
    traces = simulate(circuit, closed_run(values), closed_probes(), engine, timeout_s=timeout_s)
    point = simulated_loop(values, traces)
    rate = plan.timing.switching_hz
    return Outcome(
        checks=(
            Check(quantity="raised rail", closed=boost.set_v, simulated=point.rail_v, unit="V", limit=_RAIL),
            Check(quantity="frequency", closed=rate, simulated=point.switching_hz, unit="Hz", limit=_RATE),
            Check(
                quantity="peak of the choke",
                closed=crest.peak_a,
                simulated=point.choke_peak_a,
                unit="A",
                limit=_PEAK,
            ),
            Check(
                quantity="error amplifier's output",
                closed=control_voltage(plan, crest),
                simulated=point.control_v,
                unit="V",
                limit=_CONTROL,
            ),
            Check(
                quantity="one peak against the next",
                closed=0.0,
                simulated=point.alternation_a,
                unit="A",
                limit=_ALTERNATION * crest.peak_a,
                absolute=True,
            ),
        ),
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "raised rail, V": traces.voltage("rail"),
            "choke, A": traces.current("L101"),
            "error amplifier, V": traces.voltage("comp"),
        },
    )


def _alone(
    boost: BoostResult,
    engine: Engine,
    timeout_s: float,
    *,
    rail: Value = None,
    control: float = 12.0,
    inhibit: Value = 0.0,
    divider: bool = True,
    awake: bool = True,
) -> Traces:
    """The controller without its power stage for thirty cycles, its loop fully open from the start."""
    period = 1.0 / boost.plan.timing.switching_hz
    circuit = boost_control_circuit(
        boost,
        rail=_SHARE * boost.set_v if rail is None else rail,
        control=control,
        inhibit=inhibit,
        settled=awake,
        comp_v=boost.plan.controller.vref_v if awake else None,
    )
    if not divider:
        left = tuple(part for part in circuit.parts if part.role != "feedback divider, top")
        circuit = replace(circuit, parts=left)
    run = Transient(
        stop_s=_CYCLES * period,
        step_s=period / _STEPS,
        from_initial=True,
        current_floor_a=1e-6,
        voltage_floor_v=1e-4,
    )
    probes = (*(Voltage(net) for net in ("gate", "ramp", "rail")), Voltage(boost_feed(boost)))
    return simulate(circuit, run, probes, engine, timeout_s=timeout_s)


def _timing(boost: BoostResult, engine: Engine, timeout_s: float) -> Outcome:
    timing, traces = boost.plan.timing, _alone(boost, engine, timeout_s)
    begin, end = pulses(traces.axis, traces.voltage("gate"))
    count = min(begin.size, end.size)
    if count <= _SETTLED:
        raise SubwrightError(
            message="The simulated controller gave too few pulses.",
            quantity="pulses",
            value=f"{count}",
            limit=f"{_SETTLED + 1}",
            remedy="This is an error in subwright, not in the build; please report it.",
        )
    period = float(np.diff(begin[_SETTLED:]).mean())
    duty = float((end[_SETTLED:count] - begin[_SETTLED:count]).mean()) / period
    return Outcome(
        checks=(
            Check(
                quantity="frequency",
                closed=timing.switching_hz,
                simulated=1.0 / period,
                unit="Hz",
                limit=_RATE,
            ),
            Check(quantity="greatest duty", closed=timing.duty_most, simulated=duty, unit="", limit=_RATE),
        ),
        engine=traces.engine,
        axis=traces.axis,
        traces={"ramp, V": traces.voltage("ramp"), "gates, V": traces.voltage("gate")},
    )


def _guard(boost: BoostResult, engine: Engine, timeout_s: float) -> Outcome:
    """The divider open, the rail rising slowly: where the last pulse ends."""
    guard, period = boost.plan.guard, 1.0 / boost.plan.timing.switching_hz
    low_v, high_v = 0.97 * guard.least_v, 1.02 * guard.most_v
    course = ((0.0, low_v), (_SETTLED * period, low_v), (_CYCLES * period, high_v))
    traces = _alone(boost, engine, timeout_s, rail=Ramp(points=course), divider=False)
    _, end = pulses(traces.axis, traces.voltage("gate"))
    last_s = float(end[-1]) if end.size else 0.0
    return Outcome(
        checks=(
            Check(
                quantity="rail at which the guard ends all pulses",
                closed=guard.nominal_v,
                simulated=float(np.interp(last_s, traces.axis, traces.voltage("rail"))),
                unit="V",
                limit=0.5 * (guard.most_v - guard.least_v),
                absolute=True,
            ),
        ),
        engine=traces.engine,
        axis=traces.axis,
        traces={"raised rail, V": traces.voltage("rail"), "gates, V": traces.voltage("gate")},
    )


def _stopped(design: Design, boost: BoostResult, engine: Engine, timeout_s: float) -> Outcome:
    """The stop line high from the start; then the control line dead, the rail at the battery's voltage."""
    stop_v = boost.plan.controller.vref_v
    held = _alone(boost, engine, timeout_s, inhibit=stop_v)
    late = held.axis > 0.5 * held.axis[-1]
    checks = [
        Check(
            quantity="gates while stopped",
            closed=0.0,
            simulated=mean_of(held.axis[late], held.voltage("gate")[late]),
            unit="V",
            limit=_QUIET_V,
            absolute=True,
        )
    ]
    battery_v = design.supply.corners[Corner.NOMINAL]
    asleep = _alone(boost, engine, timeout_s, rail=battery_v, control=0.0, awake=False)
    checks.append(
        Check(
            quantity="supply of the controller, control line dead",
            closed=0.0,
            simulated=float(asleep.voltage(boost_feed(boost)).max()),
            unit="V",
            limit=_ASLEEP_V,
            absolute=True,
        )
    )
    return Outcome(
        checks=tuple(checks),
        engine=held.engine,
        axis=held.axis,
        traces={"gates, V": held.voltage("gate")},
    )


def _closed_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    boost = design.boost
    if boost is None:
        return ()

    def case(corner: Corner) -> Case:
        return Case(
            name=f"{corner.value} battery, crest of a full sine",
            run=lambda engine, timeout_s: _closed(design, boost, corner, engine, timeout_s),
        )

    return tuple(
        case(at.corner)
        for at in boost.corners
        if at.corner in _CORNERS and at.rail_v >= boost.set_v and at.duty <= boost.plan.timing.duty_most
    )


def _alone_cases(design: Design, _library: Library) -> tuple[Case, ...]:
    boost = design.boost
    if boost is None:
        return ()
    return (
        Case(name="timing", run=lambda engine, timeout_s: _timing(boost, engine, timeout_s)),
        Case(name="guard of the rail", run=lambda engine, timeout_s: _guard(boost, engine, timeout_s)),
        Case(name="stopped", run=lambda engine, timeout_s: _stopped(design, boost, engine, timeout_s)),
    )


EXPERIMENTS = (
    Experiment(
        name="boost-closed-loop",
        block="converter",
        title="The boost converter with its controller",
        about=(
            "Power stage and controller as one circuit, at the crest of a full sine: divider, compensation, "
            "current sense and slope decide every pulse. Rail, frequency, peak and the error amplifier's "
            "output must be those of the closed forms, and no peak may differ from the next: too little "
            "slope makes them alternate. It begins where the closed form has it."
        ),
        cases=_closed_cases,
    ),
    Experiment(
        name="boost-controller",
        block="controller",
        title="The boost converter's controller alone",
        about=(
            "Frequency and greatest duty of the timing parts; the rail at which the zeners end all pulses "
            "while the divider is open, which must lie within their tolerance; no pulse while the stop line "
            "is high, and a controller that sleeps while the control line is dead."
        ),
        cases=_alone_cases,
    ),
)
