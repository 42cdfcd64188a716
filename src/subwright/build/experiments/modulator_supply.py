"""What the class-D modulator needs to play: its supplies, its start from rest, its bootstrap capacitors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.closed_loop import RATE, ClosedLoop, ask, bench_part, cases_of, rate_hz
from subwright.build.experiments.record import Check, Experiment, Outcome, worst_of
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.measure import mean_of
from subwright.circuits.modulator_circuit import modulator_parts
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady
from subwright.circuits.simulate import Array, Engine, Traces
from subwright.physics.modulators import bootstrap_charge_coul
from subwright.stages.amplifier_modulator_supply import OP_AMP_A

__all__ = ["EXPERIMENTS"]

_SETTLE, _KEEP = 24, 12  # periods
_SUPPLY, _BOOST = 0.03, 0.04
_DRAWN: Final = 0.06
_QUICK_F: Final[Mapping[str, float]] = {
    "driver supply capacitor": 220e-9,
    "driver decoupling": 100e-9,
    "op supply capacitor": 100e-9,
    "bootstrap capacitor": 1e-6,
}
_NOUGHT: Final = Steady(value=0.0)
_MUTE_PERIODS: Final = (4, 24, 34)  # freed, muted again, end
_ASTRAY: Final = 0.05  # of full output
_STARTED: Final = 8  # periods after which it must play, or rest
_MUTE_F: Final = 220e-12
_BOOST_CAPACITORS: Final = ("bootstrap capacitor", "bootstrap bypass")
_FILTER_CAPACITORS: Final = ("filter capacitor", "filter damping capacitor")
_OVERDRIVEN, _ALMOST = 1.5, 0.95
_FEW: Final = 1000  # steps of a run in which little moves
_FINE: Final = 3e-4  # its accuracy: long steps through the first edges lead a simulator astray
_HOLD: Final = 0.15  # leaks are reckoned at the voltage of the start, and fall with it
_WAIT: Final = 0.10
_WAITS: Final = 6.0  # time constants


# -- supplies ------------------------------------------------------------------------------------------------


def _supplies(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """What modulator and gates draw at rest, and where the supplies and the bootstrap capacitors settle."""
    m = loop.m
    circuit, meters = _sensed(_quick(loop.circuit(whole_gates=True)), loop)
    stop_s = (_SETTLE + _KEEP) * loop.period_s
    nets = ["driver_supply", "logic_supply", "op_positive", *(["op_negative"] if m.split_rails else [])]
    probes: list[Probe] = [*map(Voltage, nets), *loop.both("node"), *loop.both("boost")]
    probes += map(Current, meters)
    run = loop.run(stop_s, _SETTLE * loop.period_s)
    traces = ask(circuit, run, probes, engine, timeout_s=timeout_s)

    def mean(course: Array) -> float:
        rises = loop.rises(traces)
        inside = (traces.axis >= rises[0]) & (traces.axis <= rises[-1])
        return mean_of(traces.axis[inside], course[inside])

    above_v = _above_v(loop)
    drawn = sum(volts * mean(traces.current(name)) for name, volts in meters.items())
    boost = mean(traces.voltage("boost_a") - traces.voltage("node_a"))
    rows = [
        (
            "supply of the drivers",
            m.gate_supply_v + above_v,
            mean(traces.voltage("driver_supply")) - loop.low_v,
            _SUPPLY,
        ),
        ("supply of the logic", m.logic_supply_v, mean(traces.voltage("logic_supply")) - loop.low_v, _SUPPLY),
        ("supply of the op-amps", m.op_supply_v + above_v, mean(traces.voltage("op_positive")), _SUPPLY),
        ("bootstrap capacitor", m.bootstrap_v + above_v, boost, _BOOST),
    ]
    checks = [
        Check(quantity=name, closed=closed, simulated=seen, unit="V", limit=limit)
        for name, closed, seen, limit in rows
    ]
    checks.append(
        Check(
            quantity="power drawn by modulator and gates at rest",
            closed=_drawn_w(loop) * (1.0 + above_v / m.gate_supply_v) ** 2,
            simulated=drawn,
            unit="W",
            limit=_DRAWN,
        )
    )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={"bootstrap capacitor, V": traces.voltage("boost_a") - traces.voltage("node_a")},
    )


def _above_v(loop: ClosedLoop) -> float:
    """Control supply of the netlist above the one that the record's voltages are stated for, V.

    Drivers straight from it follow it; their currents do as well, so the power goes with its square.
    """
    m = loop.m
    if not m.driver_supply_direct or loop.v.control_v is None:
        return 0.0
    stated_v = m.gate_supply_v + m.driver_supply_a * m.resistors_ohm["driver supply resistor"]
    return loop.v.control_v - stated_v


def _drawn_w(loop: ClosedLoop) -> float:
    """Closed form: what the loss model counts for gates and control circuits at rest."""
    terms = loop.model.losses_w(np.zeros(1), np.zeros(1), loop.v.rail_v)
    names = ("gate drive", "gate supply regulator", "control circuits")
    return float(sum(terms[name][0] for name in names))


def _quick(circuit: Circuit) -> Circuit:
    """The same with smaller supply capacitors: they settle in a few periods instead of milliseconds."""
    return replace(
        circuit,
        parts=tuple(
            replace(part, value=_QUICK_F[part.role]) if part.role in _QUICK_F else part
            for part in circuit.parts
        ),
    )


def _sensed(circuit: Circuit, loop: ClosedLoop) -> tuple[Circuit, dict[str, float]]:
    """The same with the modulator fed through the bench's ammeters, and each ammeter's feed in V.

    A node's bleed stays with the output stage. The op-amp's own current, which its model has no pins for, is
    a source of the bench.
    """
    own = {part.designator: part for part in modulator_parts(loop.v).parts if part.role != "node bleed"}
    used = {net for part in own.values() for net in part.nets}
    volts = {"rail_positive": loop.v.rail_v, "rail_negative": -loop.v.rail_v, "control": loop.v.control_v}
    feeds = {net: f"fed_{net}" for net in volts if net in used}
    meters = {f"BENCH_FED_{net.upper()}": volts[net] or 0.0 for net in feeds}
    parts: list[Part] = []
    for part in circuit.parts:
        nets = part.nets
        if part.designator in own:
            nets = tuple(feeds.get(net, net) for net in nets)
        if part.role == "bootstrap resistor" and loop.m.split_rails:
            # what charges the bootstrap capacitor goes back to the rail through the lower switch
            name, fed = f"FED_{nets[1].upper()}", f"fed_{nets[1]}"
            parts.append(bench_part(name, "voltage source", (fed, nets[1]), _NOUGHT))
            meters[f"BENCH_{name}"] = loop.v.rail_v
            nets = (nets[0], fed)
        parts.append(replace(part, nets=nets))
    parts += [
        bench_part(f"FED_{net.upper()}", "voltage source", (net, fed), _NOUGHT) for net, fed in feeds.items()
    ]
    low = "op_negative" if loop.m.split_rails else GROUND
    parts.append(bench_part("OP_AMP", "current source", ("op_positive", low), Steady(value=OP_AMP_A)))
    return replace(circuit, parts=tuple(parts)), meters


# -- start, mute and bootstrap -------------------------------------------------------------------------------


def _start(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """Muted, freed, muted again, with next to no signal: enough to lead the integrator astray meanwhile."""
    m, period_s = loop.m, loop.period_s
    free_s, mute_s, stop_s = (k * period_s for k in _MUTE_PERIODS)
    edge_s = 0.1 * period_s
    freed = ((0.0, 0.0), (free_s, 0.0), (free_s + edge_s, m.mute_high_v))
    again = ((mute_s, m.mute_high_v), (mute_s + edge_s, 0.0), (stop_s, 0.0))
    astray = Steady(value=loop.input_v(_ASTRAY))
    circuit = _muted(loop.circuit(mute=Ramp(points=(*freed, *again)), wanted=astray), loop)
    gates = [f"gate_{side}_{name}" for side in ("upper", "lower") for name in "ab"[: m.legs]]
    probes: list[Probe] = [*map(Voltage, gates), *loop.both("node"), Voltage("stop")]
    traces = ask(circuit, loop.run(stop_s), probes, engine, timeout_s=timeout_s)
    rises = [t for t in loop.rises(traces) if free_s + _STARTED * period_s < t < mute_s]
    rate = (len(rises) - 1) / (rises[-1] - rises[0]) if len(rises) > 1 else 0.0
    before = traces.axis < free_s
    after = traces.axis > mute_s + _STARTED * period_s
    checks = [
        Check(
            quantity="switching frequency once it plays",
            closed=rate_hz(loop, 0.0),
            simulated=rate,
            unit="Hz",
            limit=RATE,
        ),
        *(
            Check(
                quantity=f"greatest gate voltage {words}",
                closed=0.0,
                simulated=max(float(np.max(_gate_v(traces, gate, loop)[when])) for gate in gates),
                unit="V",
                limit=0.5 * loop.v.threshold_v,
                absolute=True,
            )
            for words, when in (("before it is freed", before), ("muted again", after))
        ),
    ]
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={"switched node A, V": traces.voltage("node_a"), "stop, V": traces.voltage("stop")},
    )


def _gate_v(traces: Traces, gate: str, loop: ClosedLoop) -> Array:
    """Gate against its source, V."""
    if "lower" in gate:
        return traces.voltage(gate) - loop.low_v
    return traces.voltage(gate) - traces.voltage(f"node_{gate[-1]}")


def _muted(circuit: Circuit, loop: ClosedLoop) -> Circuit:
    """The same as it rests while muted: mute capacitor empty (and small), bootstrap charged without a pulse.

    A bridge's nodes are bled down, and its filter with them.
    """

    def at_rest(part: Part) -> Part:
        if part.role == "mute capacitor":
            return replace(part, value=_MUTE_F, initial_v=0.0)
        if part.role in _BOOST_CAPACITORS:
            return replace(part, initial_v=_waiting_v(loop))
        if loop.m.legs == 2 and part.role in _FILTER_CAPACITORS:
            return replace(part, initial_v=0.0)
        return part

    return replace(circuit, parts=tuple(map(at_rest, circuit.parts)))


def _still(circuit: Circuit, loop: ClosedLoop) -> Circuit:
    """The same with the clock's carrier held down, so that nothing switches."""
    if not loop.m.clocked:
        return circuit
    stop = bench_part("STILL", "resistor", ("carrier", GROUND), 1.0)
    return replace(circuit, parts=(*circuit.parts, stop))


def _slow(loop: ClosedLoop, stop_s: float) -> Transient:
    """A run in which nothing switches."""
    return replace(loop.run(stop_s), step_s=stop_s / _FEW, accuracy=_FINE, voltage_floor_v=1e-6)


def _held(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """An input beyond the rail for half a period of the lowest note."""
    v, m = loop.v, loop.m
    wanted = Steady(value=_OVERDRIVEN * loop.input_v(1.0))
    circuit = _still(loop.circuit(wanted=wanted, modulation=_ALMOST), loop)
    run = _slow(loop, m.hold_s)
    probes: list[Probe] = [Voltage(net) for net in ("boost_a", "node_a", "gate_upper_a")]
    traces = ask(circuit, run, probes, engine, timeout_s=timeout_s)
    boost = traces.voltage("boost_a") - traces.voltage("node_a")
    gate = traces.voltage("gate_upper_a") - traces.voltage("node_a")
    total_f = sum(map(v.farad, _BOOST_CAPACITORS))
    leak_a = m.bootstrap_v / v.ohm("gate pull-down")
    if v.has("bootstrap pre-charge"):
        leak_a += m.bootstrap_v / v.ohm("bootstrap pre-charge")
    charge = bootstrap_charge_coul(v.first_f * m.bootstrap_v, v.driver.upper_a, m.hold_s, 0.0, leak_a)
    checks = (
        Check(
            quantity="fall of the bootstrap capacitor over a held crest",
            closed=charge / total_f,
            simulated=m.bootstrap_v - float(boost[-1]),
            unit="V",
            limit=_HOLD,
        ),
        Check(
            quantity="upper gate at its end",
            closed=float(boost[-1]),
            simulated=float(gate[-1]),
            unit="V",
            limit=_HOLD,
        ),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={"bootstrap capacitor, V": boost, "upper gate, V": gate},
    )


def _waiting_v(loop: ClosedLoop) -> float:
    """Closed form of the bootstrap capacitor's voltage before the first pulse, V."""
    v, m = loop.v, loop.m
    # a bridge's nodes hang on their bleeds, and on the feedback's resistors; a half-bridge's on the load
    pull_s = 0.0
    if m.legs == 2:
        names = ("node bleed", "integrator feedback", "hysteresis feedback")
        pull_s = sum(1.0 / v.ohm(name) for name in names if v.has(name))
    node_ohm = 1.0 / pull_s if pull_s else 0.0
    drawn_a = v.driver.upper_a
    if v.has("bootstrap pre-charge"):
        most_v = v.rail_v - (v.ohm("bootstrap pre-charge") + node_ohm) * drawn_a
        return min(v.zeners["bootstrap zener"].zener_v, most_v)
    lifted_v = node_ohm * (drawn_a + (pull_s - 1.0 / v.ohm("node bleed")) * v.zero_v)
    return m.bootstrap_v - lifted_v


def _waiting(loop: ClosedLoop, engine: Engine, timeout_s: float) -> Outcome:
    """Muted from the moment of switching on: where the bootstrap capacitor comes to without any pulse."""
    v, m = loop.v, loop.m
    total_f = sum(map(v.farad, _BOOST_CAPACITORS))
    feed_ohm = v.ohm("bootstrap pre-charge" if v.has("bootstrap pre-charge") else "node bleed")
    if m.legs == 2:
        total_f += loop.stage.filter_f + loop.stage.damping_f
    circuit = _muted(_still(loop.circuit(mute=_NOUGHT), loop), loop)
    parts = tuple(replace(p, initial_v=0.0) if p.role in _BOOST_CAPACITORS else p for p in circuit.parts)
    stop_s = _WAITS * feed_ohm * total_f
    run = _slow(loop, stop_s)
    probes: list[Probe] = [*loop.both("boost"), *loop.both("node")]
    traces = ask(replace(circuit, parts=parts), run, probes, engine, timeout_s=timeout_s)
    checks = [
        Check(
            quantity=f"bootstrap capacitor {name.upper()} while muted",
            closed=_waiting_v(loop),
            simulated=float((traces.voltage(f"boost_{name}") - traces.voltage(f"node_{name}"))[-1]),
            unit="V",
            limit=_WAIT,
        )
        for name in "ab"[: m.legs]
    ]
    return Outcome(
        checks=(worst_of(checks),),
        engine=traces.engine,
        axis=traces.axis,
        traces={"bootstrap capacitor, V": traces.voltage("boost_a") - traces.voltage("node_a")},
    )


# -- what there is -------------------------------------------------------------------------------------------


EXPERIMENTS = (
    Experiment(
        name="modulator-supply",
        block="modulator",
        title="Supplies of modulator and drivers, and the power that they draw",
        about=(
            "At rest, with each gate's whole charge. Supply capacitors are small here, so that all settles "
            "in a few periods. The closed form is what the loss model counts for gates and control circuits, "
            "at the control supply that feeds them here. A follower's base-emitter voltage rises with its "
            "load, 3 %, 4 % behind the bootstrap's diode too; the power has both: 6 %."
        ),
        cases=cases_of({"": _supplies}),
    ),
    Experiment(
        name="modulator-start",
        block="modulator",
        title="Un-muting starts the loop without a signal, muting stops both gates",
        about=(
            "From rest, muted, the bootstrap capacitors charged as they are without a pulse: gates down. An "
            "input of a twentieth drives the integrator away meanwhile. Freed, it must switch at its own "
            "rate although the drivers wait for an edge; muted again all gates must fall. The mute's "
            "capacitor is small here: it takes periods instead of milliseconds."
        ),
        cases=cases_of({"": _start}),
    ),
    Experiment(
        name="modulator-bootstrap",
        block="modulator",
        title="Bootstrap capacitor over a held crest, and before the first pulse",
        about=(
            "An input beyond the rail holds the upper switch on for half a period of the lowest note. Muted "
            "from the start, the capacitor must charge without any pulse. The clock stands still in both."
        ),
        cases=cases_of({"held crest": _held, "muted": _waiting}),
    ),
)
