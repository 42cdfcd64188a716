"""Battery side: a reversed battery, pulses and load dump."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.test_points import BATTERIES
from subwright.build.test_points.battery_guard import battery_guard_readings, gate_v, reversed_diode
from subwright.circuits.analysis import Current, Transient, Voltage
from subwright.circuits.battery_guard_circuit import (
    BEHIND,
    Surroundings,
    battery_guard_circuit,
    has_circuit,
)
from subwright.circuits.netlist import Ramp
from subwright.circuits.simulate import Array, Engine, simulate
from subwright.parts.library import Library
from subwright.physics.transients import PULSES, Pulse, clamp_pulse, lowest_bank_v
from subwright.stages.battery_guard_records import BatteryGuardResult, ReverseSwitch, SurgeClamp
from subwright.stages.common import Corner, Level
from subwright.stages.converter_parts import CapacitorBank

__all__ = ["EXPERIMENTS"]

_DROP: Final = 0.02
_GATE: Final = 0.01  # of the supply: a zener diode's knee is soft
_EACH_S: Final = 0.1
_PULSE: Final = 0.05  # the shortest lasts 150 ns, its edges some of that
_DIODE: Final = 0.10  # a rectifier far beyond its rated current
_BANK: Final = 0.05
_ABOVE_DIODES_V: Final = 0.5
_POINTS: Final = 240
_LIGHT_OHM: Final = 1e5  # next to no load: the pulse alone


# reversed battery


def _reversed(
    design: Design, guard: BatteryGuardResult, library: Library, engine: Engine, timeout_s: float
) -> Outcome:
    volts = design.supply.corners[Corner.NOMINAL]
    full = design.point(Corner.NOMINAL, Level.FULL)
    source_ohm = design.supply.source_resistance_ohm
    around = Surroundings(source_ohm=source_ohm, load_ohm=volts / full.battery_a)
    circuit = battery_guard_circuit(
        guard,
        library,
        source=Ramp(points=((0.0, 0.0), (0.05, -volts), (0.1, -volts))),
        around=around,
    )
    traces = simulate(
        circuit,
        Transient(stop_s=0.1, step_s=1e-4, accuracy=1e-4),
        [Voltage(BEHIND), Current("BENCH_BATTERY")],
        engine,
        timeout_s=timeout_s,
    )
    behind, current = traces.voltage(BEHIND), traces.current("BENCH_BATTERY")
    if guard.diode is not None:
        expected, _ = reversed_diode(guard, library, volts, source_ohm)
        told = battery_guard_readings(design, library)[BEHIND][-1]
        checks = (
            Check(
                quantity="current of the reversed battery, diode across the input",
                closed=expected,
                simulated=abs(float(current[-1])),
                unit="A",
                limit=_BANK,
            ),
            Check(
                quantity="supply behind the diode, reversed",
                closed=told.dc_v,
                simulated=float(behind[-1]),
                unit="V",
                limit=_DIODE,
            ),
        )
    else:
        checks = (
            Check(
                quantity="supply behind the switch, reversed",
                closed=0.0,
                simulated=float(behind[-1]),
                unit="V",
                limit=0.1,
                absolute=True,
            ),
            Check(
                quantity="current of the reversed battery",
                closed=0.0,
                simulated=float(current[-1]),
                unit="A",
                limit=1e-3,
                absolute=True,
            ),
        )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={"behind the guard, V": behind, "battery, A": current},
    )


def _forward(
    design: Design,
    guard: BatteryGuardResult,
    switch: ReverseSwitch,
    library: Library,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """Full current the right way round: the drop of the switch; its gate on each battery."""
    batteries = [design.supply.corners[corner] for corner in BATTERIES.values()]
    volts = design.supply.corners[Corner.NOMINAL]
    source_ohm = design.supply.source_resistance_ohm
    load_ohm = (volts - source_ohm * switch.rms_a) / switch.rms_a
    steps = [
        point
        for number, battery in enumerate(batteries)
        for point in ((number * _EACH_S + 0.02, battery), ((number + 1) * _EACH_S, battery))
    ]
    circuit = battery_guard_circuit(
        guard,
        library,
        source=Ramp(points=((0.0, 0.0), *steps)),
        around=Surroundings(source_ohm=source_ohm, load_ohm=load_ohm),
    )
    traces = simulate(
        circuit,
        Transient(stop_s=len(batteries) * _EACH_S, step_s=1e-4, accuracy=1e-5),
        [Voltage(BEHIND), Voltage("guard_gate"), Current("BENCH_BATTERY")],
        engine,
        timeout_s=timeout_s,
    )

    def at(course: Array, battery: float) -> float:
        return float(np.interp((batteries.index(battery) + 0.99) * _EACH_S, traces.axis, course))

    amperes = abs(at(traces.current("BENCH_BATTERY"), volts))
    drop = volts - amperes * source_ohm - at(traces.voltage(BEHIND), volts)
    checks = [
        Check(
            quantity="drop of the reverse-polarity switch, full current",
            closed=switch.resistance_ohm * amperes,
            simulated=drop,
            unit="V",
            limit=_DROP,
        )
    ]
    for name, battery in zip(BATTERIES, batteries, strict=True):
        behind_v = battery * load_ohm / (load_ohm + source_ohm + switch.resistance_ohm)
        checks.append(
            Check(
                quantity=f"gate of the reverse-polarity switch, {name}",
                closed=gate_v(switch, library, behind_v),
                simulated=at(traces.voltage("guard_gate"), battery),
                unit="V",
                limit=_GATE * behind_v,
                absolute=True,
            )
        )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={"behind the guard, V": traces.voltage(BEHIND)},
    )


def _reverse_cases(design: Design, library: Library) -> tuple[Case, ...]:
    guard = design.battery_guard
    if guard is None or (guard.reverse is None and guard.diode is None):
        return ()
    cases = [
        Case(
            name="reversed battery",
            run=lambda engine, timeout_s: _reversed(design, guard, library, engine, timeout_s),
        )
    ]
    if (switch := guard.reverse) is not None:
        cases.append(
            Case(
                name="right way round, full current",
                run=lambda engine, timeout_s: _forward(design, guard, switch, library, engine, timeout_s),
            )
        )
    return tuple(cases)


# pulses on the supply


def _pulse_shape(base_v: float, pulse: Pulse, delay_s: float, cut: bool) -> Ramp:
    """The pulse on its supply, or from zero where the supply is cut; points dense where it is steep."""
    times = pulse.decay_s * np.concatenate(
        [np.linspace(0.0, 1.0, _POINTS // 2), np.geomspace(1.01, 10.0, _POINTS // 2)]
    )
    base = 0.0 if cut else base_v
    edge = pulse.decay_s * 1e-3
    shape = [
        (delay_s + edge + float(t), base + pulse.peak_v * float(np.exp(-t / pulse.decay_s))) for t in times
    ]
    return Ramp(points=((0.0, base_v), (delay_s, base_v), *shape))


def _clamped(
    design: Design,
    guard: BatteryGuardResult,
    clamp: SurgeClamp,
    library: Library,
    pulse: Pulse,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """A positive pulse at the suppressor alone: the input capacitors would only help."""
    part = library.suppressor(clamp.suppressor)
    base = design.supply.corners[Corner.CHARGING]
    hit = clamp_pulse(
        base, pulse.peak_v, pulse.decay_s, pulse.source_ohm, part.break_max_v, part.slope_ohm / clamp.count
    )
    delay = 0.2 * pulse.decay_s
    circuit = battery_guard_circuit(
        guard,
        library,
        source=_pulse_shape(base, pulse, delay, cut=False),
        around=Surroundings(source_ohm=pulse.source_ohm, load_ohm=_LIGHT_OHM),
    )
    traces = simulate(
        circuit,
        Transient(stop_s=delay + 6.0 * pulse.decay_s, step_s=pulse.decay_s / 400.0, accuracy=1e-5),
        [Voltage(BEHIND), Current("BENCH_BATTERY")],
        engine,
        timeout_s=timeout_s,
    )
    behind, current = traces.voltage(BEHIND), -traces.current("BENCH_BATTERY")
    # what flows on past the light load goes into the suppressor
    power = behind * np.maximum(current - behind / _LIGHT_OHM, 0.0)
    energy = float(np.trapezoid(power, traces.axis))
    checks = [
        Check(
            quantity=f"{pulse.name}, highest at the suppressor alone",
            closed=hit.peak_v,
            simulated=float(behind.max()),
            unit="V",
            limit=_PULSE,
        )
    ]
    if hit.peak_a > 0.0:
        checks += [
            Check(
                quantity=f"{pulse.name}, peak current of the suppressor",
                closed=hit.peak_a,
                simulated=float((current - behind / _LIGHT_OHM).max()),
                unit="A",
                limit=_PULSE,
            ),
            Check(
                quantity=f"{pulse.name}, energy of the suppressor",
                closed=hit.energy_j,
                simulated=energy,
                unit="J",
                limit=_BANK,
            ),
        ]
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={"behind the guard, V": behind, "pulse, A": current},
    )


def _negative(
    guard: BatteryGuardResult,
    bank: CapacitorBank,
    base: float,
    closed: float,
    library: Library,
    pulse: Pulse,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    """A negative pulse on the charged input capacitors."""
    delay = 0.2 * pulse.decay_s
    around = Surroundings(
        source_ohm=pulse.source_ohm,
        load_ohm=_LIGHT_OHM,
        capacitance_f=bank.capacitance_f,
        esr_ohm=bank.esr_ohm,
        charged_v=base,
    )
    circuit = battery_guard_circuit(
        guard, library, source=_pulse_shape(base, pulse, delay, cut=True), around=around
    )
    traces = simulate(
        circuit,
        Transient(stop_s=delay + 8.0 * pulse.decay_s, step_s=pulse.decay_s / 400.0, accuracy=1e-5),
        [Voltage(BEHIND)],
        engine,
        timeout_s=timeout_s,
    )
    behind = traces.voltage(BEHIND)
    check = Check(
        quantity=f"{pulse.name}, lowest at the input capacitors",
        closed=closed,
        simulated=float(behind.min()),
        unit="V",
        limit=max(_BANK * abs(closed), 0.2),
        absolute=True,
    )
    return Outcome(
        checks=(check,), engine=traces.engine, axis=traces.axis, traces={"behind the guard, V": behind}
    )


def _pulse_cases(design: Design, library: Library) -> tuple[Case, ...]:
    guard = design.battery_guard
    if guard is None or not has_circuit(guard):
        return ()
    return tuple(_each_pulse(design, guard, library))


def _each_pulse(design: Design, guard: BatteryGuardResult, library: Library) -> Iterator[Case]:
    spec = design.spec.battery_guard
    for pulse in PULSES.get(design.spec.supply.system_v, ()):
        dump = pulse.name.startswith("load dump")
        if dump and spec.alternator == "clamped":
            continue
        if dump:
            pulse = Pulse(
                name=pulse.name,
                peak_v=pulse.peak_v,
                source_ohm=spec.dump_resistance_ohm or pulse.source_ohm,
                width_s=spec.dump_width_s or pulse.width_s,
                source=pulse.source,
            )

        if pulse.peak_v > 0.0 and guard.clamp is not None:
            run = partial(_clamped, design, guard, guard.clamp, library, pulse)
            yield Case(name=pulse.name, run=run)
        elif pulse.peak_v < 0.0 and guard.reverse is None and design.converter is not None:
            bank, base = design.converter.input_bank, design.supply.corners[Corner.CHARGING]
            least = lowest_bank_v(
                base, pulse.peak_v, pulse.decay_s, pulse.source_ohm, bank.capacitance_f, bank.esr_ohm
            )
            if least > _ABOVE_DIODES_V:  # else a diode has a say, and no closed form
                yield Case(name=pulse.name, run=partial(_negative, guard, bank, base, least, library, pulse))


EXPERIMENTS: Final = (
    Experiment(
        name="reverse-polarity",
        block="supply",
        title="A reversed battery",
        about="The battery turned round at the guard: what reaches the circuit and what flows; then the "
        "right way round with full current, the drop of the switch and its gate on each battery. Limits 2 % "
        "of the drop, 5 % of a diode's current, 0.1 V behind a switch, 1 % of the supply at the gate.",
        cases=_reverse_cases,
    ),
    Experiment(
        name="load-dump",
        block="supply",
        title="Pulses and load dump at the clamp",
        about="Each pulse of the supply line's standards behind its own source resistance at the suppressor "
        "alone, and the negative one on the input capacitors alone: each without the other's help, "
        "so worse than at the parts in the unit, which the battery guard's sheet tells. Limits 5 %.",
        cases=_pulse_cases,
    ),
)
