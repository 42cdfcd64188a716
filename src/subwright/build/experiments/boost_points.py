"""What the boost converter's test points read: closed forms beside stage and controller as one circuit."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points import FULL_SINE, operating_points
from subwright.build.test_points.boost import boost_control_readings, boost_readings, boost_values_at
from subwright.circuits.analysis import Voltage
from subwright.circuits.boost_closed import closed_boost_circuit, closed_run
from subwright.circuits.measure import last_periods, mean_of
from subwright.circuits.netlist import Circuit, Reading
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.stages.converter_boost_records import BoostResult

__all__ = ["EXPERIMENT"]

_NOMINAL: Final = "nominal battery"
_CYCLES: Final = 10  # that are averaged
_SETTLE: Final = 44
_CABLE_H: Final = 1e-6  # keeps the ripple out of the battery, as a metre of cable does
_MEANS: Final = {"input": 0.01, "node": 0.02, "rail": 0.01, "sense": 0.03, "cs": 0.06, "gate": 0.08}
_SWINGS: Final = {"input": 0.03, "node": 0.02, "rail": 0.05, "sense": 0.03, "cs": 0.06, "gate": 0.08}


def _circuit(design: Design, boost: BoostResult, point: OperatingPoint) -> Circuit:
    values, crest = boost_values_at(design, point)
    circuit = closed_boost_circuit(boost, values, crest, point.emf_v)
    return replace(
        circuit,
        parts=tuple(
            replace(
                part,
                kind="inductor",
                value=_CABLE_H,
                series_ohm=values.source_ohm,
                initial_a=crest.choke_a,
            )
            if part.designator == "BT101_RS"
            else part
            for part in circuit.parts
        ),
    )


def _outcome(
    design: Design, boost: BoostResult, at: str, point: OperatingPoint, engine: Engine, timeout_s: float
) -> Outcome:
    values, _ = boost_values_at(design, point)
    rows = {**boost_readings(design), **boost_control_readings(design)}
    readings: dict[str, Reading] = {net: row for net, of in rows.items() for row in of if row.at == at}
    traces = simulate(
        _circuit(design, boost, point),
        replace(closed_run(values), stop_s=_SETTLE * values.period_s),
        [Voltage(net) for net in readings],
        engine,
        timeout_s=timeout_s,
    )
    checks: list[Check] = []
    for net, reading in readings.items():
        time_s, course = last_periods(traces.axis, traces.voltage(net), values.period_s, _CYCLES)
        swing = np.median([np.ptp(part) for part in np.array_split(course, _CYCLES)])
        for quantity, closed, simulated, limit in (
            (f"{net}, mean", reading.dc_v, mean_of(time_s, course), _MEANS[net]),
            (f"{net}, peak to peak", reading.ripple_v, float(swing), _SWINGS[net]),
        ):
            checks.append(Check(quantity=quantity, closed=closed, simulated=simulated, unit="V", limit=limit))
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{net}, V": traces.voltage(net) for net in readings},
    )


def _cases(design: Design, _library: Library) -> tuple[Case, ...]:
    boost = design.boost
    if boost is None:
        return ()

    def case(at: str, point: OperatingPoint) -> Case:
        return Case(
            name=at,
            run=lambda engine, timeout_s: _outcome(design, boost, at, point, engine, timeout_s),
        )

    return tuple(
        case(at, point) for at, point in operating_points(design, FULL_SINE) if at.startswith(_NOMINAL)
    )


EXPERIMENT = Experiment(
    name="boost-test-points",
    block="converter",
    title="What the boost converter's test points read",
    about=(
        "Power stage and controller as one circuit at the mean load of a full sine: mean and swing over a "
        "switching cycle at the battery's terminal, the node, the rail, the burden, the sense pin and the "
        "gates. Limits: 1 % of terminal and rail; 2 % of the node, whose mean the choke's last drift moves; "
        "3 % behind the current transformer; 5 % of the rail's ripple; 6 % of the sense pin, where a "
        "base-emitter voltage of the ramp's follower counts; 8 % of the gates, as the circuit's output stage "
        "drops what its sheet states at its full current."
    ),
    cases=_cases,
)
