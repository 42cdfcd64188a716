"""The power side of the simulated bench: transformer or choke alone, bare board, rails, controller, gates."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import exp, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.build.bench_simulated_unit import METER_A, Bench, Edit, Readings, one_hertz
from subwright.build.bringup_numbers import dummy_load_ohm, rail_line
from subwright.build.bringup_rails import idle_losses_w
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.bench_circuits import (
    GateValues,
    Windings,
    gate_circuit,
    limited_supply,
    timing_circuit,
    transformer_circuit,
)
from subwright.circuits.boost_power import boost_circuit
from subwright.circuits.boost_values import from_plan
from subwright.circuits.converter_point import quick
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import from_result
from subwright.circuits.measure import crossings, last_periods, mean_of
from subwright.circuits.netlist import GROUND, Circuit, Part, Steady
from subwright.circuits.simulate import simulate
from subwright.stages.converter_boost import boost_values

__all__ = ["POWER_BLOCKS"]

Array = NDArray[np.float64]

_LOW_HZ: Final = 10e3  # of the inductance meter
_LEAKAGE_HZ: Final = 100e3
_DIRECT_HZ: Final = 0.1  # slow enough for a four-wire resistance
_CYCLES: Final = 150
_RIPPLE: Final = 0.01
_LEAST_A: Final = 1.0  # of the input, by which its bank is sized
_KEPT: Final = 6
_STEPS: Final = 100
_LEADS_OHM: Final = 5e-3
_WARM_C: Final = 40.0


# --- the transformer off the board


def _transformer(bench: Bench) -> Readings:
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
        traces = bench.run(circuit, one_hertz(hertz), [source])
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
    traces = bench.run(circuit, one_hertz(hertz), [Voltage(net) for net in nets])
    at = {net: complex(traces.phasor(Voltage(net))[0]) for net in nets}
    drive = abs(at["p1"] - at["p2"])
    found["primary-phase-voltage"] = abs(at["p1"] - at["p4"]) / drive
    found["turns-ratio"] = abs(at["s1"] - at["s2"]) / drive
    if made.halves == 2:
        found["turns-ratio-second"] = abs(at["s3"] - at["s4"]) / drive
        found["secondary-phase"] = abs(at["s1"] - at["s4"]) / abs(at["s1"] - at["s2"])
    return found


# --- the power stage: bare board, rails


def _power(bench: Bench, load_ohm: float) -> tuple[Circuit, float]:
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
    return limited_supply(circuit, volts, step.supply.limit_a, losses_w), values.period_s


def _held_w(bench: Bench) -> float:
    """Loss without load that the netlist holds by itself: the bleeders, W."""
    converter = bench.design.converter
    assert converter is not None
    return 2.0 * rail_line(bench.design).rail_v(bench.procedure.bench_v, 0.0) ** 2 / converter.bleeder_ohm


def _load(part: Part, ohm: float) -> Part:
    return replace(part, kind="resistor", value=ohm)


def _rails(bench: Bench) -> Readings:
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


def _board(bench: Bench) -> Readings:
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
            value=Steady(value=METER_A),
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
        "bleeder-positive": float(traces.voltage("rail_positive")[-1]) / METER_A,
        "bleeder-negative": -float(traces.voltage("rail_negative")[-1]) / METER_A,
    }


# --- the boost converter


def _boost_circuit(bench: Bench) -> Circuit:
    boost = bench.design.boost
    assert boost is not None
    values = boost_values(bench.design.spec.converter, boost.plan, _WARM_C, _WARM_C)
    amps = boost.set_v / boost.plan.bleeder_ohm
    made = from_plan(
        values, boost.plan, emf_v=bench.procedure.bench_v, source_ohm=_LEADS_OHM, rail_a=max(amps, 0.1)
    )
    return boost_circuit(made)


def _boost(bench: Bench) -> Readings:
    """Choke on its own; then the rail through choke and rectifier, the switch's gate at rest."""
    if bench.design.boost is None:
        return {}
    whole = _boost_circuit(bench)
    choke = next(part for part in whole.parts if part.role == "boost choke core")
    henry, ohm = bench.expected("choke-inductance"), bench.expected("choke-resistance")
    alone = Circuit(
        name="boost choke on the bench",
        parts=(
            replace(choke, nets=("choke", GROUND), value=henry, series_ohm=ohm, initial_a=None),
            Part(
                designator="BENCH_GENERATOR",
                kind="voltage source",
                nets=("choke", GROUND),
                value=Steady(value=0.0, ac=1.0),
                role="generator",
                standing="bench",
            ),
        ),
    )
    source = Current("BENCH_GENERATOR")
    seen = {
        hertz: complex(-bench.run(alone, one_hertz(hertz), [source]).phasor(source)[0])
        for hertz in (_LOW_HZ, _DIRECT_HZ)
    }
    found = {
        "choke-inductance": 1.0 / (2.0 * pi * _LOW_HZ * max(-seen[_LOW_HZ].imag, 1e-15)),
        "choke-resistance": float((1.0 / seen[_DIRECT_HZ]).real),
    }
    step = next(step for step in bench.procedure.steps if step.key == "boost-passive")
    assert step.supply is not None
    parts = tuple(
        replace(part, value=Steady(value=0.0)) if part.designator == "BENCH_GATE" else part
        for part in whole.parts
        if part.designator != "BENCH_LOAD"
    )
    still = limited_supply(replace(whole, parts=parts), bench.procedure.bench_v, step.supply.limit_a)
    run = Transient(stop_s=0.1, step_s=1e-4, accuracy=1e-5)
    traces = bench.run(still, run, [Voltage("rail"), Current("BENCH_SET")])
    found["rail-passive"] = float(traces.voltage("rail")[-1])
    found["passive-current"] = step.supply.limit_a - float(traces.current("BENCH_SET")[-1])
    return found


# --- controller and gates


def _timing(bench: Bench) -> Readings:
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
    if controller.dead_ohm > 0.0:  # the timing capacitor alone makes it, whatever is fitted there
        fall_s = controller.dead_ohm * ramp_s / timing.rt_ohm
    period_s = ramp_s / controller.osc_k + fall_s
    pause_s = controller.dead_min_s + fall_s
    if timing.rd_ohm == 0.0 and controller.dead_ohm == 0.0:  # a share of the cycle, or the controller's own
        pause_s = max(controller.dead_min_s, timing.dead_time_s * timing.oscillator_hz * period_s)
    return {"switching-frequency": 0.5 / period_s, "dead-time": pause_s}


def _first(events: list[tuple[float, bool]], otherwise: float) -> float:
    return events[0][0] if events else otherwise


def _gates(bench: Bench) -> Readings:
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
            value=Steady(value=METER_A),
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
        found[f"gate-pull-down-{side.upper()}"] = float(traces.voltage(f"gate_{side}")[-1]) / METER_A
    return found


def _if_there(edit: Edit) -> Edit:
    """The edit where its part is in the circuit; the ohmmeter's circuit lacks some."""

    def tried(circuit: Circuit) -> Circuit:
        try:
            return edit(circuit)
        except SubwrightError:
            return circuit

    return tried


POWER_BLOCKS: Final[Mapping[str, Callable[[Bench], Readings]]] = {
    "transformer": _transformer,
    "board": _board,
    "timing": _timing,
    "gates": _gates,
    "rails": _rails,
    "boost": _boost,
}
"""Blocks on the battery's side of the amplifier, by name."""
