"""The bench in a simulator: what the first power-up reads on a unit, whole or with a fault in its circuits.

Each block gives some of the procedure's readings from a netlist: transformer off the board, bare board,
timing parts, gate networks, rails on a current-limited supply, protections ramped as the hand does, and the
signal path. A fault is an edit of those netlists; a unit is read whole, then its faulty blocks again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import exp, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.build.bringup_numbers import dummy_load_ohm, rail_line, thermistor_stand_in
from subwright.build.bringup_rails import idle_losses_w
from subwright.build.bringup_records import BringUp, Reading
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep, Current, Probe, Transient, Voltage
from subwright.circuits.bench_circuits import (
    GateValues,
    Windings,
    gate_circuit,
    limited_supply,
    timing_circuit,
    transformer_circuit,
)
from subwright.circuits.converter_point import quick
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import from_result
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.measure import crossings, last_periods, mean_of
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.simulate import DEFAULT_TIMEOUT_S, Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.protection_models import thermistor_of

__all__ = ["BLOCKS", "Block", "Edit", "blocks_of", "read_block"]

Array = NDArray[np.float64]
Edit = Callable[[Circuit], Circuit]
Readings = dict[str, float]

_LOW_HZ: Final = 10e3  # of the inductance meter
_LEAKAGE_HZ: Final = 100e3
_DIRECT_HZ: Final = 0.1  # slow enough for a four-wire resistance
_CYCLES: Final = 150
_RIPPLE: Final = 0.01
_LEAST_A: Final = 1.0  # of the input, by which its bank is sized
_KEPT: Final = 6
_STEPS: Final = 100
_METER_A: Final = 100e-6
_LEADS_OHM: Final = 5e-3
_RAMP_S: Final = 60.0
_RAMP_STEPS: Final = 1500
_BENCH_C: Final = 22.0
_READABLE: Final = 0.02  # of the signal


@dataclass(frozen=True, kw_only=True, slots=True)
class _Bench:
    """What the blocks need: design, parts, procedure, simulator and the fault's edit."""

    design: Design
    library: Library
    procedure: BringUp
    engine: Engine
    edit: Edit
    timeout_s: float

    def run(self, circuit: Circuit, analysis: Transient | AcSweep, probes: list[Probe]) -> Traces:
        return simulate(self.edit(circuit), analysis, probes, self.engine, timeout_s=self.timeout_s)

    def expected(self, key: str) -> float:
        reading = self.procedure.reading(key)
        if reading is None:
            raise SubwrightError(message=f"the bring-up has no reading {key}")
        return reading.expected


def _one_hertz(frequency_hz: float) -> AcSweep:
    return AcSweep(low_hz=frequency_hz, high_hz=1.5 * frequency_hz, per_decade=20)


# --- the transformer off the board


def _transformer(bench: _Bench) -> Readings:
    converter, transformer = bench.design.converter, bench.design.transformer
    if converter is None or transformer is None:
        return {}
    primary_h = bench.expected("primary-inductance")
    made = Windings(
        primary_h=primary_h,
        secondary_h=primary_h * (transformer.secondary_turns / transformer.primary_turns) ** 2,
        leakage_h=bench.expected("leakage"),
        primary_ohm=bench.expected("primary-resistance"),
        secondary_ohm=bench.expected("secondary-resistance"),
        halves=transformer.secondary.halves,
    )
    source = Current("BENCH_GENERATOR")

    def impedance(drive: tuple[str, str], hertz: float, *, joined: bool, shorted: bool = False) -> complex:
        circuit = transformer_circuit(made, drive, joined=joined, shorted=shorted)
        traces = bench.run(circuit, _one_hertz(hertz), [source])
        return complex(-1.0 / traces.phasor(source)[0])

    def henry(drive: tuple[str, str], hertz: float, **how: bool) -> float:
        """As an inductance meter shows it, from the admittance; a loose end reads beyond every range."""
        seen = 1.0 / impedance(drive, hertz, joined=how["joined"], shorted=how.get("shorted", False))
        return float(1.0 / (2.0 * pi * hertz * max(-seen.imag, 1e-15)))

    half = henry(("p1", "p2"), _LOW_HZ, joined=False)
    found = {
        "primary-inductance": half,
        "primary-halves": henry(("p3", "p4"), _LOW_HZ, joined=False) / half,
        "primary-phase": henry(("p1", "p4"), _LOW_HZ, joined=True) / half,
        "leakage": henry(("p1", "p2"), _LEAKAGE_HZ, joined=True, shorted=True),
        "primary-resistance": impedance(("p1", "p2"), _DIRECT_HZ, joined=False).real,
        "secondary-resistance": impedance(("s1", "s2"), _DIRECT_HZ, joined=False).real,
    }
    circuit = transformer_circuit(made, ("p1", "p2"), joined=True)
    nets = ["p1", "p2", "p4", "s1", "s2", *(["s3", "s4"] if made.halves == 2 else [])]
    hertz = converter.plan.timing.switching_hz
    traces = bench.run(circuit, _one_hertz(hertz), [Voltage(net) for net in nets])
    at = {net: complex(traces.phasor(Voltage(net))[0]) for net in nets}
    drive = abs(at["p1"] - at["p2"])
    found["primary-phase-voltage"] = abs(at["p1"] - at["p4"]) / drive
    found["turns-ratio"] = abs(at["s1"] - at["s2"]) / drive
    if made.halves == 2:
        found["turns-ratio-second"] = abs(at["s3"] - at["s4"]) / drive
        found["secondary-phase"] = abs(at["s1"] - at["s4"]) / abs(at["s1"] - at["s2"])
    return found


# --- the power stage: bare board, rails


def _power(bench: _Bench, load_ohm: float) -> tuple[Circuit, float]:
    """Power stage on the bench supply with a resistor on each rail, and its period in s."""
    design = bench.design
    converter = design.converter
    assert converter is not None
    volts = bench.procedure.bench_v
    line = rail_line(design)
    amps = line.rail_v(volts, 0.0) / dummy_load_ohm(design, line.rail_v(volts, 0.0))
    real = from_result(converter, emf_v=volts, source_ohm=_LEADS_OHM, positive_a=amps, negative_a=amps)
    small = quick(real)
    rail_v = line.rail_v(volts, 0.0)
    load_a = rail_v / load_ohm
    half_s = 0.5 * small.period_s
    values = replace(  # banks so small that they settle in some dozen cycles, with one per cent of ripple
        small,
        positive_a=load_a,
        negative_a=load_a,
        reservoir_f=load_a * half_s / (_RIPPLE * rail_v),
        input_f=max(2.0 * small.ratio * load_a, _LEAST_A) * half_s / (_RIPPLE * volts),
    )
    key = "rails" if load_ohm > 0.9 * converter.bleeder_ohm else "loaded-rails"
    step = next(step for step in bench.procedure.steps if step.key == key)
    assert step.supply is not None
    circuit = power_circuit(values)
    parts = tuple(
        _load(part, load_ohm)
        if part.designator.startswith("BENCH_LOAD_")
        else replace(part, initial_v=0.0)  # a fault must show from a cold start
        if part.role == "rail capacitor"
        else part
        for part in circuit.parts
    )
    circuit = replace(circuit, parts=parts)
    losses_w = max(idle_losses_w(design) - _held_w(bench), 0.1)
    return limited_supply(circuit, values, step.supply.limit_a, losses_w), values.period_s


def _held_w(bench: _Bench) -> float:
    """Loss without load that the netlist holds by itself: the bleeders, W."""
    converter = bench.design.converter
    assert converter is not None
    return 2.0 * rail_line(bench.design).rail_v(bench.procedure.bench_v, 0.0) ** 2 / converter.bleeder_ohm


def _load(part: Part, ohm: float) -> Part:
    return replace(part, kind="resistor", value=ohm)


def _rails(bench: _Bench) -> Readings:
    converter = bench.design.converter
    if converter is None:
        return {}
    found: Readings = {}
    open_v = rail_line(bench.design).rail_v(bench.procedure.bench_v, 0.0)
    dummy = dummy_load_ohm(bench.design, open_v)
    loaded = 1.0 / (1.0 / dummy + 1.0 / converter.bleeder_ohm)
    for ohm, rail, current in (
        (converter.bleeder_ohm, "rail-{}", "idle-current-converter"),
        (loaded, "loaded-rail-{}", "loaded-current"),
    ):
        circuit, period_s = _power(bench, ohm)
        limit = circuit.part("BENCH_LIMIT").value
        assert isinstance(limit, Steady)
        run = Transient(
            stop_s=_CYCLES * period_s,
            step_s=period_s / _STEPS,
            keep_from_s=(_CYCLES - _KEPT - 1) * period_s,
            from_initial=True,
            accuracy=3e-3,
            current_floor_a=1e-3,
            voltage_floor_v=1e-2,
        )
        probes: list[Probe] = [Voltage("rail_positive"), Voltage("rail_negative"), Current("BENCH_SET")]
        traces = bench.run(circuit, run, probes)

        def mean(course: Array, axis: Array = traces.axis, period: float = period_s) -> float:
            return mean_of(*last_periods(axis, course, period, _KEPT))

        found[rail.format("positive")] = mean(traces.voltage("rail_positive"))
        found[rail.format("negative")] = -mean(traces.voltage("rail_negative"))
        found[current] = limit.value - mean(traces.current("BENCH_SET"))
    return found


def _board(bench: _Bench) -> Readings:
    """An ohmmeter on each rail, transformer out: rail capacitors, bleeders and rectifier stand alone."""
    converter = bench.design.converter
    if converter is None:
        return {}
    real = from_result(converter, emf_v=12.0, source_ohm=_LEADS_OHM, positive_a=0.01, negative_a=0.01)
    whole = power_circuit(replace(real, rectifier_snubber=None))
    nets = {"rail_positive", "rail_negative", "second_a", "second_b", GROUND}
    parts = [
        part
        for part in whole.parts
        if set(part.nets) <= nets and part.kind in ("capacitor", "resistor", "diode")
    ]
    parts += [
        Part(
            designator=f"BENCH_OHMMETER_{name}",
            kind="current source",
            nets=ends,
            value=Steady(value=_METER_A),
            role="ohmmeter",
            standing="bench",
        )
        for name, ends in (("POSITIVE", (GROUND, "rail_positive")), ("NEGATIVE", ("rail_negative", GROUND)))
    ]
    parts += [
        Part(
            designator=f"BENCH_AIR_{net.upper()}",
            kind="resistor",
            nets=(net, GROUND),
            value=1e9,
            role="nothing fitted",
            standing="bench",
        )
        for net in ("second_a", "second_b")
    ]
    used = {part.model for part in parts}
    circuit = Circuit(
        name="bare board",
        parts=tuple(replace(part, initial_v=None) for part in parts),
        models=tuple(model for model in whole.models if model.name in used),
    )
    run = Transient(stop_s=1e-3, step_s=1e-4)
    traces = bench.run(circuit, run, [Voltage("rail_positive"), Voltage("rail_negative")])
    return {
        "bleeder-positive": float(traces.voltage("rail_positive")[-1]) / _METER_A,
        "bleeder-negative": -float(traces.voltage("rail_negative")[-1]) / _METER_A,
    }


# --- controller and gates


def _timing(bench: _Bench) -> Readings:
    converter = bench.design.converter
    if converter is None:
        return {}
    timing, controller = converter.plan.timing, converter.plan.controller
    charge_v, top_v = 3.0, 3.0
    discharge = timing.rd_ohm or 1.0
    circuit = timing_circuit(timing.rt_ohm, timing.ct_f, charge_v, discharge)
    stop = 12.0 * timing.rt_ohm * timing.ct_f
    run = Transient(stop_s=stop, step_s=stop / 6000.0, from_initial=True, accuracy=1e-4)
    traces = bench.run(circuit, run, [Voltage("ramp"), Voltage("fall")])
    time = traces.axis
    ramp_s = _first(crossings(time, traces.voltage("ramp"), top_v), stop)
    # RT CT / k is the ramp, of which the record's k makes a share; the pause lies beside it
    share = exp(-controller.rd_weight / controller.osc_k)
    fall_s = _first(crossings(time, traces.voltage("fall"), share), stop) if timing.rd_ohm > 0.0 else 0.0
    period_s = ramp_s / controller.osc_k + fall_s
    pause_s = controller.dead_min_s + fall_s
    if timing.rd_ohm == 0.0:  # a share of the cycle, or the controller's own
        pause_s = max(controller.dead_min_s, timing.dead_time_s * timing.oscillator_hz * period_s)
    return {"switching-frequency": 0.5 / period_s, "dead-time": pause_s}


def _first(events: list[tuple[float, bool]], otherwise: float) -> float:
    return events[0][0] if events else otherwise


def _gates(bench: _Bench) -> Readings:
    converter = bench.design.converter
    if converter is None:
        return {}
    timing, plan = converter.plan.timing, converter.plan
    mosfet, per_side = plan.switch.mosfet, plan.switch.per_side
    values = GateValues(
        high_v=bench.expected("gate-A"),
        gate_ohm=converter.drive.gate_ohm / per_side,
        pull_down_ohm=bench.expected("gate-pull-down-A"),
        driver_ohm=5.0,
        gate_f=per_side * mosfet.qg_coul / 10.0,
        period_s=1.0 / timing.switching_hz,
        on_s=timing.duty_each / timing.switching_hz,
    )
    circuit = gate_circuit(values)
    run = Transient(stop_s=3.0 * values.period_s, step_s=values.period_s / 1000.0, from_initial=True)
    traces = bench.run(circuit, run, [Voltage("gate_a"), Voltage("gate_b")])
    found: Readings = {}
    duty = []
    for side in "ab":
        time, gate = last_periods(traces.axis, traces.voltage(f"gate_{side}"), values.period_s, 2)
        found[f"gate-{side.upper()}"] = float(gate.max())
        duty.append(mean_of(time, (gate > 0.5 * values.high_v).astype(float)))
    found["duty"] = max(duty)
    # the ohmmeter, controller out of its socket
    parts = [
        part for part in circuit.parts if not part.designator.startswith(("BENCH_OUTPUT", "BENCH_DRIVER"))
    ]
    parts = [part for part in parts if part.role != "gate resistor"]
    meters = [
        Part(
            designator=f"BENCH_OHMMETER_{side.upper()}",
            kind="current source",
            nets=(GROUND, f"gate_{side}"),
            value=Steady(value=_METER_A),
            role="ohmmeter",
            standing="bench",
        )
        for side in "ab"
    ]
    alone = replace(circuit, parts=(*parts, *meters))
    edited = _if_there(bench.edit)
    traces = simulate(
        edited(alone),
        Transient(stop_s=1e-3, step_s=1e-4),
        [Voltage("gate_a"), Voltage("gate_b")],
        bench.engine,
        timeout_s=bench.timeout_s,
    )
    for side in "ab":
        found[f"gate-pull-down-{side.upper()}"] = float(traces.voltage(f"gate_{side}")[-1]) / _METER_A
    return found


def _if_there(edit: Edit) -> Edit:
    """The edit where its part is in the circuit; the ohmmeter's circuit lacks some."""

    def tried(circuit: Circuit) -> Circuit:
        try:
            return edit(circuit)
        except SubwrightError:
            return circuit

    return tried


# --- protections


def _guards(bench: _Bench) -> Readings:
    protection, library = bench.design.protection, bench.library
    names = protection.thresholds
    bottom, top = 0.6 * names["under-voltage trip"].nominal, 1.35 * names["over-voltage trip"].nominal
    room = _room_ohm(bench)
    ramp = Ramp(points=((0.0, bottom), (_RAMP_S, top), (2.0 * _RAMP_S, bottom)))
    circuit = protection_circuit(protection, library, battery=ramp, thermistor=room)
    found: Readings = {}
    outputs: list[Probe] = [Voltage(PROTECTION_NETS[name]) for name in ("under-voltage", "over-voltage")]
    slowly = Transient(stop_s=2.0 * _RAMP_S, step_s=_RAMP_S / _RAMP_STEPS, accuracy=1e-5)
    traces = bench.run(circuit, slowly, outputs)
    half = 0.5 * protection.reference.nominal_v
    low_one = "under-voltage"
    for name, never in ((low_one, bottom), ("over-voltage", top)):
        events = crossings(traces.axis, traces.voltage(PROTECTION_NETS[name]), half)
        # the voltage goes up first: there the under-voltage releases and the over-voltage trips
        for end, rising, first in (("trip", False, name != low_one), ("release", True, name == low_one)):
            at = [time for time, up in events if up is rising]
            found[f"{name}-{end}"] = _on(ramp, at[0 if first else -1]) if at else never
        found[f"{name}-hysteresis"] = abs(found[f"{name}-trip"] - found[f"{name}-release"])
    stand_in = thermistor_stand_in(bench.design, library)
    low, high = 0.35 * stand_in.trip_low_ohm, 2.5 * stand_in.release_high_ohm
    ohms = Ramp(points=((0.0, high), (_RAMP_S, low), (2.0 * _RAMP_S, high)))
    middle = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    circuit = protection_circuit(protection, library, battery=Steady(value=middle), thermistor=ohms)
    traces = bench.run(circuit, slowly, [Voltage(PROTECTION_NETS["thermal"])])
    events = crossings(traces.axis, traces.voltage(PROTECTION_NETS["thermal"]), half)
    for end, rising, never in (("trip", False, low), ("release", True, high)):
        at = [time for time, up in events if up is rising]
        found[f"thermal-{end}-resistance"] = _on(ohms, at[0]) if at else never
    low_v = names["under-voltage trip"].window.worst_low - 0.5
    circuit = protection_circuit(protection, library, battery=Steady(value=low_v), thermistor=room)
    run = Transient(stop_s=1.0, step_s=0.01, accuracy=1e-5)
    traces = bench.run(circuit, run, [Voltage("inhibit")])
    found["inhibit-line"] = float(traces.voltage("inhibit")[-1])
    return found


def _thermistor(bench: _Bench) -> Readings:
    """The reference, and the node with the thermistor plugged in, at room temperature."""
    volts = bench.procedure.bench_v
    circuit = protection_circuit(
        bench.design.protection, bench.library, battery=Steady(value=volts), thermistor=_room_ohm(bench)
    )
    run = Transient(stop_s=0.5, step_s=0.01, accuracy=1e-5)
    traces = bench.run(circuit, run, [Voltage("thermal_sense"), Voltage("reference")])
    return {
        "thermistor-node": float(traces.voltage("thermal_sense")[-1]),
        "reference-voltage": float(traces.voltage("reference")[-1]),
    }


def _room_ohm(bench: _Bench) -> float:
    ntc = bench.library.ntc(bench.design.protection.ntc)
    return float(thermistor_of(ntc).resistance_ohm(_BENCH_C))


def _on(ramp: Ramp, time_s: float) -> float:
    times, values = np.array(ramp.points).T
    return float(np.interp(time_s, times, values))


# --- the signal


def _signal(bench: _Bench) -> Readings:
    design = bench.design
    result = design.filter
    battery = result.op_amp_supply.kind == "battery" or design.converter is None
    supply_v = design.supply.corners[Corner.NOMINAL] if battery else _rail_unloaded_v(design)
    circuit = filter_circuit(result, bench.library, supply_v=supply_v)
    sweep = AcSweep(low_hz=1.0, high_hz=5000.0, per_decade=120)
    low = result.passband_low_hz or min(20.0, result.passband_high_hz or result.corner_hz)
    tone = float(round(sqrt(low * (result.passband_high_hz or result.corner_hz))))
    tone = min(max(tone, float(result.frequency_hz[0])), float(result.frequency_hz[-1]))

    def response(made: Circuit) -> tuple[Array, Array]:
        traces = simulate(made, sweep, [Voltage(FILTER_OUTPUT)], bench.engine, timeout_s=bench.timeout_s)
        return traces.axis, np.abs(traces.phasor(Voltage(FILTER_OUTPUT)))

    axis, whole = response(circuit)
    gain = bench.expected("output-level") / float(np.interp(tone, axis, whole))
    edited = bench.edit(circuit)
    axis, both = response(edited)
    level = float(np.interp(tone, axis, both))
    found = {"output-level": gain * level}
    sources = [part.designator for part in circuit.parts if part.designator.startswith("BENCH_LINE_")]
    if len(sources) == 2:
        for name, silent in zip("ab", reversed(sources), strict=True):
            alone = _silenced(edited, silent)
            found[f"output-level-{name}"] = gain * float(np.interp(tone, axis, response(alone)[1]))
    if level < _READABLE * float(np.interp(tone, axis, whole)):
        return found  # nothing to see a corner of
    drop = 10.0 ** (-result.low_pass.drop_db / 20.0)
    above = axis >= tone
    found["low-pass-corner"] = _falls(axis[above], both[above], level * drop)
    if result.infrasonic is not None:
        drop = 10.0 ** (-result.infrasonic.drop_db / 20.0)
        below = axis <= tone
        found["infrasonic-corner"] = _falls(axis[below][::-1], both[below][::-1], level * drop)
    return found


def _rail_unloaded_v(design: Design) -> float:
    assert design.converter is not None
    return design.converter.rail_unloaded_v


def _silenced(circuit: Circuit, designator: str) -> Circuit:
    parts = tuple(
        replace(part, value=Steady(value=0.0, ac=0.0)) if part.designator == designator else part
        for part in circuit.parts
    )
    return replace(circuit, parts=parts)


def _falls(axis: Array, size: Array, level: float) -> float:
    """Where a response first falls to a level, going along the axis; its end where it never does."""
    under = np.flatnonzero(size < level)
    if not under.size or under[0] == 0:
        return float(axis[-1])
    k = int(under[0])
    share = (size[k - 1] - level) / (size[k - 1] - size[k])
    return float(axis[k - 1] + share * (axis[k] - axis[k - 1]))


BLOCKS: Final[Mapping[str, Callable[[_Bench], Readings]]] = {
    "transformer": _transformer,
    "board": _board,
    "timing": _timing,
    "gates": _gates,
    "rails": _rails,
    "guards": _guards,
    "thermistor": _thermistor,
    "signal": _signal,
}
"""Blocks of the bench by name."""
Block = str


def blocks_of(design: Design) -> tuple[Block, ...]:
    """Blocks that a design has a netlist for."""
    converter = design.converter
    power = ("transformer", "board", "timing", "gates", "rails")
    fits = converter is not None and design.transformer is not None and converter.choke is None
    return (*(power if fits else ()), "guards", "thermistor", "signal")


def _same(circuit: Circuit) -> Circuit:
    return circuit


def read_block(
    block: Block,
    design: Design,
    library: Library,
    procedure: BringUp,
    engine: Engine,
    edit: Edit = _same,
    *,
    timeout_s: float = DEFAULT_TIMEOUT_S,
) -> Mapping[str, float]:
    """Readings of one block by key, in the readings' SI units.

    Parameters
    ----------
    block : of `blocks_of`. design, library, procedure : of the unit. engine : simulator.
    edit : puts a fault into the block's netlist. timeout_s : patience for each simulation, s.

    Raises
    ------
    SubwrightError : the simulator gave no answer to trust.
    """
    bench = _Bench(
        design=design,
        library=library,
        procedure=procedure,
        engine=engine,
        edit=edit,
        timeout_s=timeout_s,
    )
    asked: Mapping[str, Reading] = {reading.key: reading for reading in procedure.readings}
    return {key: value for key, value in BLOCKS[block](bench).items() if key in asked}
