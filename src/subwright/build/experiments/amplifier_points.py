"""What the output stage's test points read: the closed forms beside the circuit on the same rails."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from subwright.build.experiments.amplifier import linear_circuit
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.test_points import FULL_SINE, NO_SIGNAL, operating_points
from subwright.build.test_points.amplifier import amplifier_readings
from subwright.circuits.amplifier_class_d import class_d_circuit
from subwright.circuits.amplifier_values import class_d_values
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.measure import last_periods, mean_of
from subwright.circuits.netlist import Reading
from subwright.circuits.simulate import Array, Engine, simulate
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel

__all__ = ["EXPERIMENT", "point_checks"]

_MEAN, _SHIFT = 0.01, 0.005  # of the mean, and of the swing about it
_SWING: Final = 0.02  # of the swing
_LEAST_V: Final = 5e-3  # an offset that an endless loop gain would not leave
_SETTLE, _PER_PERIOD = 40, 200
_EVEN: Final = 2000
_ON: Final = (5.0, 95.0)  # percentiles that leave dead times and edges out
_OPEN_OHM: Final = 1e6  # nothing on the output
_NOMINAL: Final = "nominal battery"


def point_checks(reading: Reading, name: str, time_s: Array, course: Array) -> Iterator[Check]:
    """Mean and swing of one test point.

    Parameters
    ----------
    reading : by the closed form. name : of the point. time_s, course : whole periods of it, s and V.

    Yields
    ------
    One check, or two where something moves.
    """
    yield Check(
        quantity=f"{name}, mean",
        closed=reading.dc_v,
        simulated=mean_of(time_s, course),
        unit="V",
        limit=_MEAN * abs(reading.dc_v) + _SHIFT * reading.ripple_v + _LEAST_V,
        absolute=True,
    )
    if reading.ripple_v > 0.0:
        yield Check(
            quantity=f"{name}, peak to peak",
            closed=reading.ripple_v,
            simulated=float(np.ptp(course)),
            unit="V",
            limit=_SWING,
        )


def _outcome(
    design: Design, library: Library, signal: str, rail_v: float, peak_v: float, engine: Engine, wait_s: float
) -> Outcome:
    result, at = design.amplifier, f"{_NOMINAL}, {signal}"
    if isinstance(result.model, ClassDModel):
        values = class_d_values(result, rail_v=rail_v)
        period_s = values.period_s
        circuit = class_d_circuit(values, load_ohm=_OPEN_OHM, modulation=0.0, periods=_SETTLE + 1)
        run = Transient(
            stop_s=_SETTLE * period_s,
            step_s=period_s / _PER_PERIOD,
            keep_from_s=(_SETTLE - 2) * period_s,
            from_initial=True,
            accuracy=1e-4,
        )
    else:
        note_hz = design.spec.goal.lowest_note_hz
        period_s = 1.0 / note_hz
        circuit, run, _ = linear_circuit(design, peak_v, rail_v, library, note_hz)
    readings = _at(amplifier_readings(design, library), at)
    points = [point for point in circuit.test_points if point.net in readings]
    traces = simulate(circuit, run, [Voltage(point.net) for point in points], engine, timeout_s=wait_s)
    checks: list[Check] = []
    for point in points:
        time_s, course = last_periods(traces.axis, traces.voltage(point.net), period_s, 1)
        if point.net.startswith("node_"):  # the body diodes' share of the dead time is no level
            even = np.interp(np.linspace(time_s[0], time_s[-1], _EVEN), time_s, course)
            course = np.clip(course, *np.percentile(even, _ON))
        checks += point_checks(readings[point.net], f"{point.designator} {point.what}", time_s, course)
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{point.designator}, V": traces.voltage(point.net) for point in points},
    )


def _at(readings: Mapping[str, tuple[Reading, ...]], at: str) -> dict[str, Reading]:
    """Readings of one state by net."""
    return {net: row for net, rows in readings.items() for row in rows if row.at == at}


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    switched = isinstance(design.amplifier.model, ClassDModel)

    def case(signal: str, rail_v: float, peak_v: float) -> Case:
        return Case(
            name=f"{_NOMINAL}, {signal}",
            run=lambda engine, wait_s: _outcome(design, library, signal, rail_v, peak_v, engine, wait_s),
        )

    return tuple(
        case(signal, point.rail_mean_v, point.output_peak_v if signal == FULL_SINE else 0.0)
        for signal in ((NO_SIGNAL,) if switched else (NO_SIGNAL, FULL_SINE))
        for at, point in operating_points(design, signal)
        if at.startswith(_NOMINAL)
    )


EXPERIMENT = Experiment(
    name="amplifier-test-points",
    block="amplifier",
    title="What the output stage's test points read",
    about=(
        "Mean and swing at every test point of the output stage, on the nominal battery's rails: class D at "
        "rest, its output open; class AB, G and H at rest and with a full sine of the lowest note. Limits: "
        "1 % of a mean and 0.5 % of the swing about it, 2 % of a swing. The sine of class D is in the power "
        "at the onset of clipping."
    ),
    cases=_cases,
)
