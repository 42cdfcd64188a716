"""Faults planted in a simulated unit, and whether its readings point at them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.build.bench_simulated import Block, Edit, blocks_of, read_block
from subwright.build.bringup_records import BringUp
from subwright.build.diagnosis import Suspect, diagnose_levels, level_of
from subwright.build.faults import ReadingLevel
from subwright.build.result import Design
from subwright.circuits.models import OpAmpModel
from subwright.circuits.netlist import Circuit, Part, Steady
from subwright.circuits.planted import changed, leaking, opened, reversed_part
from subwright.circuits.simulate import DEFAULT_TIMEOUT_S, Engine
from subwright.parts.library import Library
from subwright.stages.amplifier_modulator_records import Modulator

__all__ = ["Planted", "levels_of", "planted_faults", "suspects_of", "unit_readings", "until_wrong"]

_SHORT_OHM: Final = 1e-2
_LEAK_OHM: Final = 1e3
_MISREAD: Final = 10.0  # a band of the colour code: a decade


@dataclass(frozen=True, kw_only=True, slots=True)
class Planted:
    """One fault in the circuits of a unit.

    Attributes
    ----------
    fault : key in `subwright.build.faults`. what : what was done to the circuit.
    blocks : of the simulated bench that it touches. edit : puts it there.
    """

    fault: str
    what: str
    blocks: tuple[Block, ...]
    edit: Edit


def _at(role: str, change: Callable[[Circuit, str], Circuit], which: int = 0) -> Edit:
    """The change on a part found by its role; a circuit without that role stays as it is."""

    def edit(circuit: Circuit) -> Circuit:
        found = circuit.by_role(role)
        return change(circuit, found[which].designator) if len(found) > which else circuit

    return edit


def _each(role: str, change: Callable[[Circuit, str], Circuit]) -> Edit:
    """The change on every part of a role."""

    def edit(circuit: Circuit) -> Circuit:
        for part in circuit.by_role(role):
            circuit = change(circuit, part.designator)
        return circuit

    return edit


def _on(designators: Iterable[str], change: Callable[[Circuit, str], Circuit]) -> Edit:
    """The change on each of the designators that a circuit has."""
    names = tuple(designators)

    def edit(circuit: Circuit) -> Circuit:
        there = {part.designator for part in circuit.parts}
        for name in names:
            if name in there:
                circuit = change(circuit, name)
        return circuit

    return edit


def _factor(factor: float) -> Callable[[Circuit, str], Circuit]:
    return lambda circuit, name: changed(circuit, name, factor)


def _leak(ohm: float) -> Callable[[Circuit, str], Circuit]:
    return lambda circuit, name: leaking(circuit, name, ohm)


def _across_rail(rail: str, ohm: float) -> Edit:
    """A leak across one can of a rail."""

    def edit(circuit: Circuit) -> Circuit:
        cans = [part for part in circuit.by_role("rail capacitor") if f"rail_{rail}" in part.nets]
        return leaking(circuit, cans[0].designator, ohm) if cans else circuit

    return edit


def _leg(rail: str) -> Edit:
    """One diode of a rail turned round."""

    def edit(circuit: Circuit) -> Circuit:
        legs = [part for part in circuit.parts if part.kind == "diode" and f"rail_{rail}" in part.nets]
        return reversed_part(circuit, legs[0].designator) if legs else circuit

    return edit


def _swapped_input(circuit: Circuit) -> Circuit:
    generators = [part for part in circuit.parts if part.designator.startswith("BENCH_LINE_")]
    if len(generators) != 2:
        return circuit
    turned = replace(generators[1], value=Steady(value=0.0, ac=-1.0))
    return replace(circuit, parts=tuple(turned if part is generators[1] else part for part in circuit.parts))


def _joined(one: str, other: str) -> Edit:
    """A bridge of solder between two nets."""

    def edit(circuit: Circuit) -> Circuit:
        bridge = Part(
            designator="BENCH_SOLDER",
            kind="resistor",
            nets=(one, other),
            value=_SHORT_OHM,
            role="solder",
            standing="bench",
        )
        return replace(circuit, parts=(*circuit.parts, bridge))

    return edit


def _no_feedback(circuit: Circuit) -> Circuit:
    """A modulator whose nodes don't hold its integrator: the only one open, or the two crossed.

    One open of two would leave a loop through the other. The integrator's offset has led it to its end
    while it was muted.
    """
    nodes = {"node_a": "node_b", "node_b": "node_a"}
    crossed = "node_b" in circuit.nets
    (lowest_v,) = (m.swing_v[0] for m in circuit.models if isinstance(m, OpAmpModel) and m.swing_v)
    parts = []
    for part in circuit.parts:
        if crossed and part.role in ("integrator feedback", "hysteresis feedback"):
            part = replace(part, nets=tuple(nodes.get(net, net) for net in part.nets))
        elif part.role == "integrator capacitor" and "integrated" in part.nets:
            part = replace(part, initial_v=lowest_v)
        parts.append(part)
    circuit = replace(circuit, parts=tuple(parts))
    return circuit if crossed else _at("integrator feedback", opened)(circuit)


def _power_faults(design: Design) -> Iterator[Planted]:
    converter = design.converter
    assert converter is not None
    wound = ("transformer", "rails")
    yield Planted(
        fault="half-primary-reversed",
        what="P3 and P4 swapped",
        blocks=wound,
        edit=_on(("T101B",), reversed_part),
    )
    yield Planted(
        fault="half-primary-open",
        what="P4 not joined",
        blocks=wound,
        edit=_on(("T101B",), lambda circuit, name: opened(circuit, name, 1)),
    )
    yield Planted(
        fault="half-secondary-open",
        what="S4 not joined",
        blocks=wound,
        edit=_on(("T101D",), lambda circuit, name: opened(circuit, name, 1)),
    )
    yield Planted(
        fault="half-secondary-reversed",
        what="S3 and S4 swapped",
        blocks=wound,
        edit=_on(("T101D",), reversed_part),
    )
    transformer = design.transformer
    assert transformer is not None
    turns = transformer.secondary_turns
    yield Planted(
        fault="turn-too-many",
        what=f"{turns + 1} turns on each half-secondary",
        blocks=wound,
        edit=_on(("T101C", "T101D"), _factor(((turns + 1) / turns) ** 2)),
    )
    yield Planted(
        fault="rectifier-reversed",
        what="one diode of the positive rail turned round",
        blocks=("board", "rails"),
        edit=_leg("positive"),
    )
    yield Planted(
        fault="rail-capacitor-leaky",
        what=f"a capacitor of the negative rail leaks, {_LEAK_OHM:g} Ω",
        blocks=("board", "rails"),
        edit=_across_rail("negative", _LEAK_OHM),
    )
    timing = converter.plan.timing
    alone = timing.rd_ohm == 0.0
    yield Planted(
        fault="timing-part-wrong" if alone else "timing-resistor-wrong",
        what="the timing resistor of half its value",
        blocks=("timing",),
        edit=_on(("BENCH_RT",), _factor(0.5)),
    )
    if not alone:
        yield Planted(
            fault="timing-capacitor-wrong",
            what="the timing capacitor of twice its value",
            blocks=("timing",),
            edit=_on(("BENCH_CT", "BENCH_CT_FALL"), _factor(2.0)),
        )
    yield Planted(
        fault="gate-resistor-open",
        what="the gate resistor of side A missing",
        blocks=("gates",),
        edit=_on(("BENCH_GATE_OHM_A",), opened),
    )
    yield Planted(
        fault="gate-punctured",
        what="side B's gate shorted to its source, 1 Ω",
        blocks=("gates",),
        edit=_on(("BENCH_GATES_B",), _leak(1.0)),
    )


def _boost_faults() -> Iterator[Planted]:
    yield Planted(
        fault="boost-diode-reversed",
        what="the boost rectifier turned round",
        blocks=("boost",),
        edit=_each("boost rectifier", reversed_part),
    )
    yield Planted(
        fault="boost-switch-shorted",
        what="the boost switch shorted from drain to source",
        blocks=("boost",),
        edit=_at("boost switch", _leak(_SHORT_OHM)),
    )
    yield Planted(
        fault="choke-open",
        what="the choke's lead not soldered",
        blocks=("boost",),
        edit=_at("boost choke core", opened),
    )
    yield Planted(
        fault="choke-gap-wrong",
        what="the choke without its gap, four times its inductance",
        blocks=("boost",),
        edit=_at("boost choke core", _factor(4.0)),
    )
    yield Planted(
        fault="boost-capacitor-leaky",
        what=f"a capacitor of the raised rail leaks, {0.3 * _LEAK_OHM:g} Ω",
        blocks=("boost",),
        edit=_at("rail capacitor", _leak(0.3 * _LEAK_OHM)),
    )


def _other_faults(design: Design) -> Iterator[Planted]:
    yield Planted(
        fault="under-voltage-divider-wrong",
        what="lower divider resistor of the under-voltage 20 % too high",
        blocks=("guards",),
        edit=_at("under-voltage sense lower", _factor(1.2)),
    )
    yield Planted(
        fault="over-voltage-divider-wrong",
        what="lower divider resistor of the over-voltage 20 % too low",
        blocks=("guards",),
        edit=_at("over-voltage sense lower", _factor(0.8)),
    )
    yield Planted(
        fault="under-voltage-feedback-open",
        what="feedback of the under-voltage open",
        blocks=("guards",),
        edit=_at("under-voltage feedback", opened),
    )
    yield Planted(
        fault="over-voltage-feedback-open",
        what="feedback of the over-voltage open",
        blocks=("guards",),
        edit=_at("over-voltage feedback", opened),
    )
    yield Planted(
        fault="thermal-feedback-open",
        what="feedback of the thermal trip open",
        blocks=("guards",),
        edit=_at("thermal feedback", opened),
    )
    yield Planted(
        fault="inhibit-silent",
        what="combining diode of the under-voltage turned round",
        blocks=("guards",),
        edit=_at("under-voltage combining diode", reversed_part),
    )
    yield Planted(
        fault="thermal-level-wrong",
        what="lower resistor of the thermal level of half its value",
        blocks=("guards",),
        edit=_at("thermal level lower", _factor(0.5)),
    )
    yield Planted(
        fault="thermistor-open",
        what="a lead of the thermistor open",
        blocks=("thermistor",),
        edit=_at("heatsink thermistor", opened),
    )
    yield Planted(
        fault="thermistor-shorted",
        what="the thermistor's leads touch",
        blocks=("thermistor",),
        edit=_at("heatsink thermistor", _leak(_SHORT_OHM)),
    )
    sides = [
        role.removesuffix(" input")
        for block in design.filter.blocks
        if block.kind == "summer"
        for role in block.resistors_ohm
        if role.endswith(" input")
    ]
    summer = next((block for block in design.filter.blocks if block.kind == "summer"), None)
    if summer is not None and len(sides) == 2:
        yield Planted(
            fault="input-swapped",
            what="the second input's leads swapped",
            blocks=("signal",),
            edit=_swapped_input,
        )
        yield Planted(
            fault="input-silent",
            what="the first summing resistor open",
            blocks=("signal",),
            edit=_at(f"{summer.name} {sides[0]} input", opened),
        )
    low_pass = next((block for block in design.filter.blocks if block.kind == "low-pass"), None)
    if low_pass is not None:
        role = next(iter(low_pass.capacitors_f))
        yield Planted(
            fault="low-pass-part-wrong",
            what=f"{low_pass.name} {role} a decade too small",
            blocks=("signal",),
            edit=_at(f"{low_pass.name} {role}", _factor(1.0 / _MISREAD)),
        )


def _modulator_faults(modulator: Modulator) -> Iterator[Planted]:
    supplies, gates = "modulator-supplies", "modulator-gates"

    def planted(fault: str, what: str, edit: Edit, *blocks: Block) -> Planted:
        return Planted(fault=fault, what=what, blocks=blocks, edit=edit)

    yield planted(
        "modulator-gate-supply-wrong",
        "the resistor of the drivers' supply open",
        _at("driver supply resistor", opened),
        *(supplies, gates),
    )
    yield planted(
        "modulator-logic-supply-wrong",
        "the zener of the logic's supply turned round",
        _at("logic supply zener", reversed_part),
        supplies,  # the models of inverters and drivers work on any supply, real ones don't
    )
    yield planted(
        "modulator-op-supply-missing",
        "the resistor of op-amp and comparator's supply open",
        _at("op supply resistor", opened),
        *(supplies, gates),
    )
    yield planted("mute-stuck", "the mute's resistor open", _at("mute series", opened), gates)
    timing = "clock timing resistor" if modulator.clocked else "integrator capacitor"
    yield planted(
        "amplifier-timing-wrong",
        f"the {timing} a decade too large",
        _each(timing, _factor(_MISREAD)),
        supplies if modulator.clocked else gates,
    )
    yield planted(
        "dead-time-part-wrong",
        "one dead-time resistor a decade too large",
        _at("dead-time resistor high", _factor(_MISREAD)),
        gates,
    )
    yield planted("bootstrap-open", "a bootstrap diode open", _at("bootstrap diode", opened), gates)
    yield planted(
        "mute-silent",
        "a bridge of solder from the mute's inverter to the logic's supply",
        _joined("run", "logic_supply"),
        *(supplies, gates),
    )
    yield planted(
        "modulator-feedback-open",
        "nodes A and B crossed at the modulator"
        if modulator.legs == 2
        else "the feedback from the node open",
        _no_feedback,
        gates,
    )


def _voltage_stage_faults() -> Iterator[Planted]:
    for fault, what, role, change in (
        ("stage-reference-wrong", "a reference diode shorted", "reference diode", _leak(_SHORT_OHM)),
        ("stage-source-open", "the voltage amplifier's source open", "stage source resistor", opened),
        ("stage-loop-open", "the feedback resistor open", "voltage feedback", opened),
        ("bias-lowest", "the bias's upper resistor one E12 step too small", "bias upper", _factor(0.82)),
        ("bias-runaway", "the bias's upper resistor three times its value", "bias upper", _factor(3.0)),
    ):
        yield Planted(fault=fault, what=what, blocks=("voltage-stage", "bias"), edit=_each(role, change))


def planted_faults(design: Design) -> tuple[Planted, ...]:
    """The faults that a design's own circuits can be given."""
    power = _power_faults(design) if "rails" in blocks_of(design) else ()
    raised = _boost_faults() if design.boost is not None else ()
    modulator = design.amplifier.modulator
    modulated = () if modulator is None else _modulator_faults(modulator)
    linear = () if design.amplifier.voltage_stage is None else _voltage_stage_faults()
    return (*power, *raised, *modulated, *linear, *_other_faults(design))


def unit_readings(
    design: Design,
    library: Library,
    procedure: BringUp,
    engine: Engine,
    planted: Planted | None = None,
    whole: Mapping[str, float] | None = None,
    *,
    timeout_s: float = DEFAULT_TIMEOUT_S,
) -> Mapping[str, float]:
    """What the bench reads on a simulated unit, by key, in the readings' SI units.

    Parameters
    ----------
    design, library, procedure : of the unit. engine : simulator. planted : its fault; None for a whole one.
    whole : readings of a whole unit, to which only the faulty blocks are read again; None reads all.
    timeout_s : patience for each simulation, s.

    Raises
    ------
    SubwrightError : the simulator gave no answer to trust.
    """
    found: dict[str, float] = dict(whole or {})
    for block in blocks_of(design):
        if planted is not None and block in planted.blocks:
            found |= read_block(block, design, library, procedure, engine, planted.edit, timeout_s=timeout_s)
        elif whole is None:
            found |= read_block(block, design, library, procedure, engine, timeout_s=timeout_s)
    return found


def levels_of(procedure: BringUp, readings: Mapping[str, float]) -> Mapping[str, ReadingLevel]:
    """Level of each reading in its window.

    Raises SubwrightError for a reading that the procedure does not have.
    """
    made: dict[str, ReadingLevel] = {}
    for key, value in readings.items():
        reading = procedure.reading(key)
        if reading is None:
            raise SubwrightError(message=f"the bring-up has no reading {key}")
        made[key] = level_of(reading, value)
    return made


def until_wrong(procedure: BringUp, readings: Mapping[str, float]) -> Mapping[str, float]:
    """What the bench has read when it stops: up to the end of the first step that went wrong.

    Parameters
    ----------
    procedure : the bring-up. readings : by key, in the readings' SI units.
    """
    found: dict[str, float] = {}
    for step in procedure.steps:
        found |= {r.key: readings[r.key] for r in step.readings if r.key in readings}
        if any(level != "in" for level in levels_of(procedure, found).values()):
            break
    return found


def suspects_of(procedure: BringUp, readings: Mapping[str, float]) -> tuple[Suspect, ...]:
    """What a simulated unit's readings point at, likeliest first."""
    return diagnose_levels(procedure, levels_of(procedure, readings))
