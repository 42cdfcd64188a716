"""The bench in a simulator: what the first power-up reads on a unit, whole or with a fault in its circuits.

Each block gives some of the procedure's readings from a netlist: transformer off the board, bare board,
timing parts, gate networks, rails on a current-limited supply, protections ramped as the hand does, and the
signal path. A fault is an edit of those netlists; a unit is read whole, then its faulty blocks again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.build.bench_simulated_modulator import MODULATOR_BLOCKS
from subwright.build.bench_simulated_power import POWER_BLOCKS
from subwright.build.bench_simulated_unit import Bench, Edit, Readings
from subwright.build.bench_simulated_voltage_stage import VOLTAGE_STAGE_BLOCKS
from subwright.build.bringup_numbers import thermistor_stand_in
from subwright.build.bringup_records import BringUp, Reading
from subwright.build.bringup_tone import bring_up_tone
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep, Probe, Transient, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.simulate import DEFAULT_TIMEOUT_S, Engine, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.protection_models import thermistor_of

__all__ = ["BLOCKS", "Block", "Edit", "blocks_of", "read_block"]

Array = NDArray[np.float64]

_RAMP_S: Final = 60.0
_RAMP_STEPS: Final = 1500
_BENCH_C: Final = 22.0
_READABLE: Final = 0.02  # of the signal


# --- protections


def _guards(bench: Bench) -> Readings:
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


def _thermistor(bench: Bench) -> Readings:
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


def _room_ohm(bench: Bench) -> float:
    ntc = bench.library.ntc(bench.design.protection.ntc)
    return float(thermistor_of(ntc).resistance_ohm(_BENCH_C))


def _on(ramp: Ramp, time_s: float) -> float:
    times, values = np.array(ramp.points).T
    return float(np.interp(time_s, times, values))


# --- the signal


def _signal(bench: Bench) -> Readings:
    design = bench.design
    result = design.filter
    battery = result.op_amp_supply.kind == "battery" or design.converter is None
    supply_v = design.supply.corners[Corner.NOMINAL] if battery else _rail_unloaded_v(design)
    circuit = filter_circuit(result, bench.library, supply_v=supply_v)
    sweep = AcSweep(low_hz=1.0, high_hz=5000.0, per_decade=120)
    playing = bring_up_tone(design)
    tone = playing.hertz

    def response(made: Circuit) -> tuple[Array, Array]:
        traces = simulate(made, sweep, [Voltage(FILTER_OUTPUT)], bench.engine, timeout_s=bench.timeout_s)
        return traces.axis, np.abs(traces.phasor(Voltage(FILTER_OUTPUT)))

    axis, whole = response(circuit)
    gain = playing.input_v * design.input.gain * design.amplifier.voltage_gain
    edited = bench.edit(circuit)
    axis, both = response(edited)
    level = float(np.interp(tone, axis, both))
    found = {"output-level": gain * level}
    generators = [part.designator for part in circuit.parts if part.designator.startswith("BENCH_LINE_")]
    if len(generators) == 2:
        for name, silent in zip("ab", reversed(generators), strict=True):
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


BLOCKS: Final[Mapping[str, Callable[[Bench], Readings]]] = {
    **POWER_BLOCKS,
    **MODULATOR_BLOCKS,
    **VOLTAGE_STAGE_BLOCKS,
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
    raised = ("boost",) if design.boost is not None else ()
    modulated = tuple(MODULATOR_BLOCKS) if design.amplifier.modulator is not None else ()
    linear = tuple(VOLTAGE_STAGE_BLOCKS) if design.amplifier.voltage_stage is not None else ()
    return (*(power if fits else ()), *raised, "guards", "thermistor", *modulated, *linear, "signal")


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
    bench = Bench(
        design=design,
        library=library,
        procedure=procedure,
        engine=engine,
        edit=edit,
        timeout_s=timeout_s,
    )
    asked: Mapping[str, Reading] = {reading.key: reading for reading in procedure.readings}
    return {key: value for key, value in BLOCKS[block](bench).items() if key in asked}
