"""Inputs and line-level filter: the whole circuit, part by part, against its transfer functions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.input_circuit import INPUT_OUTPUTS, INPUT_PARTS, input_circuit
from subwright.circuits.signal_circuit import input_place, signal_circuit, summing_ohm
from subwright.circuits.simulate import Array, Complex, Engine, simulate
from subwright.parts.library import Library
from subwright.physics.networks.difference import difference_gains, difference_rejection_db
from subwright.stages.common import Corner

__all__ = ["EXPERIMENTS"]

_SWEEP: Final = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40)
_BAND: Final = AcSweep(low_hz=20.0, high_hz=200.0, per_decade=10)
_SPAN: Final = f"{_SWEEP.low_hz:g} to {_SWEEP.high_hz:g} Hz"
_LEVEL_DB: Final = 0.05
_ANGLE_DEG: Final = 0.5
_REJECTION_DB: Final = 0.3
_OUTPUT: Final = Voltage(FILTER_OUTPUT)


def _db(gain: Complex | Array) -> Array:
    return np.asarray(20.0 * np.log10(np.abs(gain)), dtype=np.float64)


def _supply_v(design: Design) -> float:
    if design.filter.op_amp_supply.kind == "battery" or design.converter is None:
        return design.supply.corners[Corner.NOMINAL]
    return design.converter.rail_unloaded_v


def _compared(simulated: Complex, closed: Complex, what: str) -> tuple[Check, Check]:
    """Level and angle where the two lie farthest apart."""
    level, angle = _db(closed), np.degrees(np.angle(closed))
    off_db, off_deg = _db(simulated) - level, np.degrees(np.angle(simulated / closed))
    k, n = int(np.argmax(np.abs(off_db))), int(np.argmax(np.abs(off_deg)))
    return (
        Check(
            quantity=f"level {what}, {_SPAN}",
            closed=float(level[k]),
            simulated=float(level[k] + off_db[k]),
            unit="dB",
            limit=_LEVEL_DB,
            absolute=True,
        ),
        Check(
            quantity=f"angle {what}, {_SPAN}",
            closed=float(angle[n]),
            simulated=float(angle[n] + off_deg[n]),
            unit="°",
            limit=_ANGLE_DEG,
            absolute=True,
        ),
    )


def _curves(simulated: Complex, closed: Complex) -> Mapping[str, Array]:
    return {"level, dB": _db(simulated), "level by the closed form, dB": _db(closed)}


def _filter(
    design: Design, library: Library, phase_deg: Literal[0, 180], engine: Engine, timeout_s: float
) -> Outcome:
    result = design.filter
    circuit = filter_circuit(result, library, supply_v=_supply_v(design), phase_deg=phase_deg)
    traces = simulate(circuit, _SWEEP, [_OUTPUT], engine, timeout_s=timeout_s)
    closed: Complex = np.asarray(result.transfer(traces.axis, phase_deg=phase_deg), dtype=np.complex128)
    found = traces.phasor(_OUTPUT)
    return Outcome(
        checks=_compared(found, closed, "of the filter"),
        engine=traces.engine,
        axis=traces.axis,
        axis_unit="Hz",
        traces=_curves(found, closed),
    )


def _filter_cases(design: Design, library: Library) -> tuple[Case, ...]:
    positions: tuple[Literal[0, 180], ...] = (0, 180) if design.spec.filter.phase_switch else (0,)

    def case(phase_deg: Literal[0, 180]) -> Case:
        return Case(
            name=f"phase switch at {phase_deg}°" if len(positions) > 1 else "",
            run=lambda engine, timeout_s: _filter(design, library, phase_deg, engine, timeout_s),
        )

    return tuple(case(position) for position in positions)


def _whole(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """From the radio's leads to the power stage."""
    circuit = signal_circuit(design.input, design.filter, library, supply_v=_supply_v(design))
    traces = simulate(circuit, _SWEEP, [_OUTPUT], engine, timeout_s=timeout_s)
    closed: Complex = np.asarray(design.filter.transfer(traces.axis) * design.input.gain, dtype=np.complex128)
    found = traces.phasor(_OUTPUT)
    return Outcome(
        checks=_compared(found, closed, "of inputs and filter"),
        engine=traces.engine,
        axis=traces.axis,
        axis_unit="Hz",
        traces=_curves(found, closed),
    )


def _rejection(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """Each resistor of a channel off by its tolerance in turn, and what then comes through of both leads."""
    entry = design.input
    into, out = entry.difference_in_ohm or 0.0, entry.difference_out_ohm or 0.0
    tolerance = design.spec.input.resistor_tolerance
    place = input_place(design.filter, library, entry.op_amps)
    shunt = np.inf if entry.shunt_ohm is None else entry.shunt_ohm
    net, used = Voltage(INPUT_OUTPUTS[0]), ""
    checks = []
    for k, part in enumerate(INPUT_PARTS):
        off = [1.0 + tolerance * (k == n) for n in range(6)]
        hot, cold = entry.series_ohm * off[0], entry.series_ohm * off[1]
        six = (hot, cold, into * off[2], out * off[3], into * off[4], out * off[5])
        both = []
        for mode in ("differential", "common"):
            circuit = input_circuit(
                entry,
                library.op_amp(design.filter.op_amp),
                side_v=0.5 * design.filter.op_amp_supply.low_v,
                summing_ohm=summing_ohm(design.filter),
                place=place,
                mode="common" if mode == "common" else "differential",
                off={part: tolerance},
                resting_v=entry.resting_v,
            )
            traces = simulate(circuit, _BAND, [net], engine, timeout_s=timeout_s)
            both.append(float(np.abs(traces.phasor(net))[0]))
            used = traces.engine
        wanted = float(difference_gains(six, shunt)[0])
        checks += [
            Check(
                quantity=f"gain with {part} {100.0 * tolerance:g} % high",
                closed=float(_db(np.array([wanted]))[0]),
                simulated=float(_db(np.array([both[0]]))[0]),
                unit="dB",
                limit=_LEVEL_DB,
                absolute=True,
            ),
            Check(
                quantity=f"rejection with {part} {100.0 * tolerance:g} % high",
                closed=float(difference_rejection_db(six, shunt)),
                simulated=float(_db(np.array([both[0] / both[1]]))[0]),
                unit="dB",
                limit=_REJECTION_DB,
                absolute=True,
            ),
        ]
    return Outcome(checks=tuple(checks), engine=used)


def _input_cases(design: Design, library: Library) -> tuple[Case, ...]:
    whole = Case(
        name="inputs and filter together",
        run=lambda engine, timeout_s: _whole(design, library, engine, timeout_s),
    )
    if design.input.receiver != "difference":
        return (whole,)
    return (
        whole,
        Case(
            name="one resistor off at a time",
            run=lambda engine, timeout_s: _rejection(design, library, engine, timeout_s),
        ),
    )


EXPERIMENTS = (
    Experiment(
        name="filter-response",
        block="filter",
        title="Response of the whole line-level filter",
        about=(
            "Every resistor, capacitor and op-amp of the filter with its supply, swept over frequency; the "
            "closed form is the product of the blocks' transfer functions with the op-amps' bandwidth. Both "
            "have the same one-pole op-amps: the limits are those of an ideal junction between the blocks."
        ),
        cases=_filter_cases,
    ),
    Experiment(
        name="input-response",
        block="filter",
        title="From the radio's leads to the power stage, and what both leads share",
        about=(
            "Series resistors, capacitors, clamps, pad, receivers and filter as one circuit, swept over "
            "frequency. Difference amplifiers also with one resistor at a time off by its tolerance: what "
            "both leads share then comes through, against the closed form of the six resistors."
        ),
        cases=_input_cases,
    ),
)
