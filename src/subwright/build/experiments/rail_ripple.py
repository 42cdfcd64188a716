"""What a class-D stage does to the capacitors at its rails: at its switching frequency, and with the note."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.amplifier_class_d import class_d_circuit
from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.amplifier_parts import NEGATIVE, POSITIVE
from subwright.circuits.amplifier_values import ClassDValues, class_d_values
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.models import DiodeModel
from subwright.circuits.netlist import GROUND, Circuit, Part, PartKind, Steady, Value
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel
from subwright.physics.class_d import PUMPING_WORST_MODULATION, bus_ripple_v, rail_pumping_v

__all__ = ["EXPERIMENTS"]

_SWITCHED, _PUMPED = 0.005, 0.02
_HALF: Final = 0.5  # modulation
_PERIODS, _KEPT, _STEPS = 6, 1, 200
_RATE: Final = 120  # switching over the note while the rails are pumped: no filter is there to mind
_NOTES: Final = 1
_FEED: Final = DiodeModel(name="FEED", forward_v=0.5, resistance_ohm=1e-3, rated_a=10.0)


def _bench(
    name: str,
    kind: PartKind,
    nets: tuple[str, ...],
    value: Value = None,
    *,
    model: str = "",
    initial_v: float | None = None,
) -> Part:
    return Part(
        designator=f"BENCH_{name}",
        kind=kind,
        nets=nets,
        value=value,
        model=model,
        role="bench",
        standing="bench",
        initial_v=initial_v,
    )


def _bank(design: Design, library: Library) -> tuple[float, float]:
    """Capacitance of one rail, F, and its series resistance, Ω."""
    result = design.amplifier
    if result.rail_capacitance_f is not None:
        return result.rail_capacitance_f, 0.0
    part = library.capacitors[result.input_capacitor_id]
    return result.input_capacitor_count * part.capacitance_f, part.esr_ohm / result.input_capacitor_count


def _has_bank(design: Design) -> bool:
    result = design.amplifier
    if not isinstance(result.model, ClassDModel):
        return False
    return result.rail_capacitance_f is not None or bool(result.input_capacitor_id)


def _switches_on(
    parts: list[Part], values: ClassDValues, modulation: float, periods: int, note_hz: float = 0.0
) -> Circuit:
    """The stage's switches with other parts in place of filter, load and stiff rails."""
    circuit = class_d_circuit(values, load_ohm=1.0, modulation=modulation, periods=periods, note_hz=note_hz)
    kept = tuple(
        part
        for part in circuit.parts
        if part.role == "output switch" or part.designator.startswith("BENCH_GATE_")
    )
    used = {part.model for part in parts}
    models = (*circuit.models, *(model for model in (_FEED,) if model.name in used))
    return replace(circuit, parts=(*kept, *parts), models=models, test_points=())


def _switched(design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    """A steady current through the legs, at half modulation, fed by as much as they take on average."""
    values = replace(class_d_values(design.amplifier), dead_time_s=0.0, snubber_ohm=None)
    farad, esr_ohm = _bank(design, library)
    bridge = values.legs == 2
    reach_v = 0.5 * values.legs * values.bus_v
    current_a = _HALF * reach_v / design.amplifier.load_ohm
    duty = 0.5 * (1.0 + _HALF)
    mean_a = current_a * (_HALF if bridge else duty)
    low = NEGATIVE if values.split_rails else GROUND
    inner = "bank" if esr_ohm > 0.0 else POSITIVE
    parts = [
        _bench("LOAD", "current source", ("node_a", "node_b" if bridge else GROUND), Steady(value=current_a)),
        _bench("FEED", "current source", (GROUND, POSITIVE), Steady(value=mean_a)),
        _bench("BANK", "capacitor", (inner, GROUND), farad, initial_v=values.rail_v),
    ]
    if esr_ohm > 0.0:
        parts.append(_bench("BANK_ESR", "resistor", (POSITIVE, inner), esr_ohm))
    if values.split_rails:
        parts.append(_bench("RAIL", "voltage source", (GROUND, low), Steady(value=values.rail_v)))
    circuit = _switches_on(parts, values, _HALF, _PERIODS + 1)
    run = Transient(
        stop_s=_PERIODS * values.period_s,
        step_s=values.period_s / _STEPS,
        keep_from_s=(_PERIODS - _KEPT) * values.period_s,
        from_initial=True,
        accuracy=1e-4,
    )
    traces = simulate(circuit, run, [Voltage(POSITIVE)], engine, timeout_s=timeout_s)
    course = traces.voltage(POSITIVE)
    check = Check(
        quantity="ripple of the rail at the switching frequency, peak to peak",
        closed=bus_ripple_v(current_a, _HALF, values.switching_hz, farad, esr_ohm, legs=values.legs),
        simulated=float(np.ptp(course)),
        unit="V",
        limit=_SWITCHED,
    )
    return Outcome(
        checks=(check,), engine=traces.engine, axis=traces.axis, traces={"positive rail, V": course}
    )


def _pumped(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    """A half-bridge's rails behind diodes, at the lowest note and the modulation that pumps them most."""
    result = design.amplifier
    assert result.rail_capacitance_f is not None
    note_hz = design.spec.goal.lowest_note_hz
    stated = class_d_values(result)
    values = replace(stated, dead_time_s=0.0, snubber_ohm=None, switching_hz=_RATE * note_hz)
    modulation = PUMPING_WORST_MODULATION
    rail_v, load = values.rail_v, result.load_ohm
    current = sine_ramp(modulation * rail_v / load, note_hz, cycles=_NOTES)
    feed_v = rail_v + _FEED.forward_v
    parts = [
        _bench("LOAD", "current source", ("node_a", GROUND), current),
        _bench("SOURCE_POSITIVE", "voltage source", ("fed_positive", GROUND), Steady(value=feed_v)),
        _bench("SOURCE_NEGATIVE", "voltage source", (GROUND, "fed_negative"), Steady(value=feed_v)),
        _bench("DIODE_POSITIVE", "diode", ("fed_positive", POSITIVE), model=_FEED.name),
        _bench("DIODE_NEGATIVE", "diode", (NEGATIVE, "fed_negative"), model=_FEED.name),
        _bench("BANK_POSITIVE", "capacitor", (POSITIVE, GROUND), result.rail_capacitance_f, initial_v=rail_v),
        _bench("BANK_NEGATIVE", "capacitor", (GROUND, NEGATIVE), result.rail_capacitance_f, initial_v=rail_v),
    ]
    circuit = _switches_on(parts, values, modulation, _RATE * _NOTES + 1, note_hz)
    run = Transient(stop_s=_NOTES / note_hz, step_s=values.period_s / 40.0, from_initial=True, accuracy=1e-3)
    traces = simulate(circuit, run, [Voltage(POSITIVE), Voltage(NEGATIVE)], engine, timeout_s=timeout_s)
    negative = -traces.voltage(NEGATIVE)
    check = Check(
        quantity="rise of the rail that a note pumps",
        closed=rail_pumping_v(rail_v, modulation, note_hz, load, result.rail_capacitance_f),
        simulated=float(np.max(negative)) - rail_v,
        unit="V",
        limit=_PUMPED,
    )
    return Outcome(
        checks=(check,),
        engine=traces.engine,
        axis=traces.axis,
        traces={"positive rail, V": traces.voltage(POSITIVE), "negative rail, size, V": negative},
    )


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    if not _has_bank(design):
        return ()
    cases = [
        Case(
            name="switching frequency",
            run=lambda engine, timeout_s: _switched(design, library, engine, timeout_s),
        )
    ]
    if design.amplifier.rail_capacitance_f is not None:
        cases.append(Case(name="bass note", run=lambda engine, timeout_s: _pumped(design, engine, timeout_s)))
    return tuple(cases)


EXPERIMENTS = (
    Experiment(
        name="rail-ripple",
        block="amplifier",
        title="Ripple of the rails, at the switching frequency and with the note",
        about=(
            "The switches alone, with a current in place of filter and loudspeaker. At the switching "
            "frequency the rail's capacitors, a bank's resistance in series, see the pulses of half "
            "modulation while a steady current feeds them: the charge of a rectangle, 0.5 %. The output "
            "inductor's ripple is left out. With the lowest note, half-bridges only: each rail hangs on a "
            "diode that takes nothing back, and the half cycle of the other polarity lifts it. Pulses and "
            "current are those of steady rails, as in the closed form: 2 %, the pulses of a hundred and "
            "twenty to the note. Dead times are out."
        ),
        cases=_cases,
    ),
)
