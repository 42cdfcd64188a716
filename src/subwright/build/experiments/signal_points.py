"""Test points of inputs and line-level filter: what their sheets promise, against the whole circuit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import sqrt
from typing import Final

from subwright.build.bringup_tone import bring_up_tone
from subwright.build.experiments.record import Case, Check, Experiment, Outcome, worst_of
from subwright.build.result import Design
from subwright.build.test_points.filter import filter_readings
from subwright.build.test_points.filter_supply import SupplyPoint, drawn_a, supply_points
from subwright.build.test_points.inputs import input_readings
from subwright.build.test_points.states import ANY_BATTERY
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part, Reading, Steady
from subwright.circuits.signal_circuit import signal_circuit
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.physics.networks.supplies import adjustable_regulator_v

__all__ = ["EXPERIMENT"]

_SUPPLY: Final = 0.01
_SINE: Final = 0.005
_REST_V: Final = 1e-3
_SUPPLIES: Final = ("op_positive", "op_negative", "op_supply", "mid")
_STILL: Final = Transient(stop_s=1e-3, step_s=0.5e-3, accuracy=1e-6)


def _promised(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    return {**input_readings(design, library), **filter_readings(design, library)}


def _with_draw(circuit: Circuit, design: Design) -> Circuit:
    """With the currents that op-amps and regulators take, which their models leave out."""
    battery = design.filter.op_amp_supply.kind == "battery"
    ends = ("op_supply", GROUND) if battery else ("op_positive", "op_negative")
    flows = [("OP_AMPS", ends, drawn_a(design), "what the op-amps draw")]
    for word, positive in (("positive", True), ("negative", False)):
        adjust = f"adjust_{word}"
        if adjust in circuit.nets:
            pins = (GROUND, adjust) if positive else (adjust, GROUND)
            flows.append((f"ADJUST_{word.upper()}", pins, _adjust_a(design), "regulator's adjust pin"))
    drawn = tuple(
        Part(
            designator=f"BENCH_{name}",
            kind="current source",
            nets=nets,
            value=Steady(value=amperes),
            role=role,
            standing="bench",
        )
        for name, nets, amperes, role in flows
    )
    return replace(circuit, parts=(*circuit.parts, *drawn))


def _adjust_a(design: Design) -> float:
    """Current of a regulator's adjust pin, by what it adds to the output, A."""
    r1_ohm, r2_ohm = design.filter.op_amp_supply.r1_ohm or 0.0, design.filter.op_amp_supply.r2_ohm or 0.0
    more = adjustable_regulator_v(r1_ohm, r2_ohm) - adjustable_regulator_v(r1_ohm, r2_ohm, 0.0)
    return float(more) / r2_ohm


def _rest(design: Design, library: Library, point: SupplyPoint, engine: Engine, timeout_s: float) -> Outcome:
    """Every point without a signal, on one battery."""
    circuit = signal_circuit(design.input, design.filter, library, supply_v=point.feed_v)
    promised = _promised(design, library)
    traces = simulate(
        _with_draw(circuit, design), _STILL, [Voltage(net) for net in promised], engine, timeout_s=timeout_s
    )
    signal = point.at.partition(", ")[2]
    closed = {
        net: next(r.dc_v for r in readings if r.at in (point.at, f"{ANY_BATTERY}, {signal}"))
        for net, readings in promised.items()
    }
    found = {net: float(traces.voltage(net)[-1]) for net in promised}
    supplies, resting = [], []
    for net in promised:
        if net in _SUPPLIES:
            what = _named(circuit, net)
            supplies.append(
                Check(quantity=what, closed=closed[net], simulated=found[net], unit="V", limit=_SUPPLY)
            )
            continue
        on_mid = closed[net] != 0.0
        resting.append(
            Check(
                quantity=f"rest against the signal's ground, farthest off at {_designator(circuit, net)}",
                closed=closed[net] - (closed["mid"] if on_mid else 0.0),
                simulated=found[net] - (found["mid"] if on_mid else 0.0),
                unit="V",
                limit=_REST_V,
                absolute=True,
            )
        )
    return Outcome(checks=(*supplies, worst_of(resting)), engine=traces.engine)


def _sine(design: Design, library: Library, point: SupplyPoint, engine: Engine, timeout_s: float) -> Outcome:
    """The bring-up's sine at every point that the signal passes."""
    tone = bring_up_tone(design)
    circuit = signal_circuit(design.input, design.filter, library, supply_v=point.feed_v)
    moving = {
        net: next(r.ripple_v for r in readings if r.ripple_v > 0.0)
        for net, readings in _promised(design, library).items()
        if any(r.ripple_v > 0.0 for r in readings)
    }
    sweep = AcSweep(low_hz=tone.hertz, high_hz=2.0 * tone.hertz, per_decade=10)
    traces = simulate(circuit, sweep, [Voltage(net) for net in moving], engine, timeout_s=timeout_s)
    checks: dict[bool, list[Check]] = {True: [], False: []}
    for net, swing_v in moving.items():
        peak = sqrt(2.0) * tone.input_v * abs(complex(traces.phasor(Voltage(net))[0]))
        into = net.startswith("receiver_")
        where = "inputs" if into else "filter"
        what = f"sine's peak in the {where}, farthest off at {_designator(circuit, net)}"
        checks[into].append(Check(quantity=what, closed=0.5 * swing_v, simulated=peak, unit="V", limit=_SINE))
    return Outcome(checks=tuple(worst_of(found) for found in checks.values()), engine=traces.engine)


def _designator(circuit: Circuit, net: str) -> str:
    return next(point.designator for point in circuit.test_points if point.net == net)


def _named(circuit: Circuit, net: str) -> str:
    return next(f"{point.what}, {point.designator}" for point in circuit.test_points if point.net == net)


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    return tuple(_each(design, library))


def _each(design: Design, library: Library) -> Iterator[Case]:
    points = supply_points(design, library)

    def at_rest(point: SupplyPoint) -> Case:
        return Case(
            name=point.at,
            run=lambda engine, timeout_s: _rest(design, library, point, engine, timeout_s),
        )

    yield from map(at_rest, points)
    nominal = points[len(points) // 2]
    yield Case(
        name="the bring-up's sine",
        run=lambda engine, timeout_s: _sine(design, library, nominal, engine, timeout_s),
    )


EXPERIMENT: Final = Experiment(
    name="signal-test-points",
    block="filter",
    title="Test points of inputs and filter, at rest and with the bring-up's sine",
    about=(
        "Inputs, filter and the op-amps' supply as one circuit, with what op-amps and regulators draw put in "
        "as currents: each test point's steady voltage on the lowest, the nominal and the highest battery, "
        "and the peak of the sine that the first power-up plays, at every output up to the amplifier. "
        "Limits: 1 % of a supply made of diodes and dividers, 1 mV about 0 V, 0.5 % of a sine."
    ),
    cases=_cases,
)
