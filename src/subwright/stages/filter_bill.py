"""Bill of materials of the line-level filter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final, Protocol

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import OpAmp
from subwright.stages.common import PartUse, Rating, resistor_use
from subwright.stages.filter_records import (
    FilterBlock,
    GainControl,
    OpAmpSupply,
    PhaseControl,
    SweepControl,
)
from subwright.stages.filter_spec import FilterSpec

__all__ = ["REGULATOR_INPUT_F", "REGULATOR_OUTPUT_F", "FilterCircuit", "amplifier_count", "filter_parts"]

REGULATOR_INPUT_F: Final = 100e-9
"""At each adjustable regulator's input, its reservoir being some way off [lm317]."""
REGULATOR_OUTPUT_F: Final = 10e-6
"""At its output: the negative one oscillates without 10 µF electrolytic, or 1 µF tantalum [lm317]."""
_FILM_MOST_F: Final = 4.7e-6
_FILM_CHEAP_F: Final = 1e-6  # above, a coupling of loose tolerance takes an electrolytic
_ELECTROLYTIC_TOLERANCE: Final = 0.20
_LEVEL_OHM: Final = 10e3
_TRANSFORM_PAIRS: Final = frozenset({"input R", "feedback R", "bridge R", "bridge C"})


@dataclass(frozen=True, kw_only=True, slots=True)
class FilterCircuit:
    """The designed filter, gathered for the bill."""

    spec: FilterSpec
    blocks: Sequence[FilterBlock]
    op_amp: OpAmp
    supply: OpAmpSupply
    swing_v: float
    receivers: int = 0  # amplifiers of the inputs in the same cases
    gain_control: GainControl | None = None
    sweep: SweepControl | None = None
    phase: PhaseControl | None = None


class _HasOpAmps(Protocol):
    @property
    def op_amps(self) -> int: ...


def amplifier_count(blocks: Iterable[_HasOpAmps], kind: str) -> int:
    """Amplifiers needed: those of the blocks, and one that holds the midpoint of a single supply."""
    return sum(block.op_amps for block in blocks) + (kind == "battery")


def filter_parts(circuit: FilterCircuit, library: Library) -> tuple[PartUse, ...]:
    """Every part of the filter, with ratings.

    Parameters
    ----------
    circuit : the design. library : parts with the drawer merged.

    Returns
    -------
    One record for each role.
    """
    return (*_op_amps(circuit, library), *_block_parts(circuit, library), *_supply_parts(circuit, library))


def _op_amps(circuit: FilterCircuit, library: Library) -> Iterator[PartUse]:
    op_amp, supply = circuit.op_amp, circuit.supply
    count = ceil((circuit.receivers + amplifier_count(circuit.blocks, supply.kind)) / op_amp.channels)
    yield PartUse(
        role="filter op-amp",
        letter="U",
        part_id=op_amp.id,
        description=op_amp.description,
        quantity=count,
        ratings=(
            Rating(
                quantity="supply voltage",
                unit="V",
                applied=supply.high_v,
                limit=op_amp.supply_max_v,
                source=op_amp.provenance.document,
                at="highest supply",
            ),
        ),
        in_drawer=library.in_drawer(op_amp.id) >= count,
        provenance=op_amp.provenance.kind,
    )
    rails = 1 if supply.kind == "battery" else 2
    yield _capacitor("op-amp decoupling", 100e-9, 0.10, supply.high_v / rails, library, rails * count)


def _block_parts(circuit: FilterCircuit, library: Library) -> Iterator[PartUse]:
    spec = circuit.spec
    for block in circuit.blocks:
        pairs = _TRANSFORM_PAIRS if block.kind == "transform" else frozenset()
        for role, value in block.resistors_ohm.items():
            if role == "gain control" or role.endswith("gang"):
                continue
            count = 2 if role in pairs else 1
            yield _resistor(f"{block.name} {role}", value, spec.resistor_tolerance, 0.0, library, count)
        for role, value in block.capacitors_f.items():
            coupling = role.endswith("coupling") or block.kind == "coupling"
            tolerance = 0.20 if coupling else spec.capacitor_tolerance
            count = 2 if role in pairs else 1
            yield _capacitor(f"{block.name} {role}", value, tolerance, circuit.swing_v, library, count)
    yield from _pots(circuit)
    if spec.phase_switch:
        yield PartUse(
            role="phase switch",
            letter="S",
            part_id="switch SPDT",
            description="change-over switch, signal",
            quantity=1,
            provenance="common practice",
        )
    if spec.level_control:
        yield PartUse(
            role="level control",
            letter="R",
            part_id=f"potentiometer {code(_LEVEL_OHM, 'resistance')} log",
            description="logarithmic potentiometer",
            quantity=1,
            value=show(_LEVEL_OHM, "resistance"),
            tolerance=0.20,
            provenance="common practice",
        )


def _pots(circuit: FilterCircuit) -> Iterator[PartUse]:
    gain, sweep, phase = circuit.gain_control, circuit.sweep, circuit.phase
    if gain is not None:
        yield _pot("gain control", gain.pot_ohm, 1, gain.taper)
    if sweep is not None:
        yield _pot("corner control", sweep.pot_ohm, sweep.gangs, "linear")
    if phase is not None:
        yield _pot("phase control", phase.pot_ohm, 1, "linear")


def _pot(role: str, track_ohm: float, gangs: int, law: str) -> PartUse:
    ganged = {1: "", 2: ", two tracks on one shaft", 4: ", four tracks on one shaft"}[gangs]
    return PartUse(
        role=role,
        letter="R",
        part_id=f"potentiometer {code(track_ohm, 'resistance')} {law[:3]}{f' x{gangs}' if gangs > 1 else ''}",
        description=f"{law} potentiometer{ganged}",
        quantity=1,
        value=show(track_ohm, "resistance"),
        tolerance=0.20,
        provenance="common practice",
    )


def _supply_parts(circuit: FilterCircuit, library: Library) -> Iterator[PartUse]:
    supply = circuit.supply
    if supply.series_ohm is not None:
        yield _resistor("op-amp supply resistor", supply.series_ohm, 0.05, supply.resistor_w, library, 2)
    if supply.zener_id is not None:
        zener = library.zener(supply.zener_id)
        count = 1 if supply.kind == "battery" else 2
        yield PartUse(
            role="op-amp supply zener",
            letter="VR",
            part_id=zener.id,
            description=zener.description,
            quantity=count,
            ratings=(
                Rating(
                    quantity="power",
                    unit="W",
                    applied=supply.zener_w,
                    limit=zener.power_w,
                    source=zener.provenance.document,
                    at="highest battery, no load" if supply.kind == "battery" else "highest rail, no load",
                ),
            ),
            in_drawer=library.in_drawer(zener.id) >= count,
            provenance=zener.provenance.kind,
        )
    if supply.transistor:
        sink = f", on {supply.sink_k_per_w:g} K/W each" if supply.sink_k_per_w is not None else ""
        yield PartUse(
            role="op-amp supply follower",
            letter="Q",
            part_id=supply.transistor,
            description=f"complementary power transistors, one of each, TO-220{sink}",
            quantity=1,
            ratings=(
                Rating(
                    quantity="junction temperature",
                    unit="°C",
                    applied=supply.transistor_c,
                    limit=supply.transistor_limit_c,
                    at="highest rail",
                ),
                Rating(
                    quantity="collector-emitter voltage",
                    unit="V",
                    applied=supply.transistor_v,
                    limit=supply.transistor_limit_v,
                    at="highest rail",
                ),
            ),
            provenance="memory",
        )
        yield _electrolytic("op-amp supply base capacitor", 10e-6, supply.high_v / 2, 2)
    if supply.r1_ohm is not None and supply.r2_ohm is not None:
        for role, part, text in (
            ("positive regulator", "LM317", "adjustable regulator, positive"),
            ("negative regulator", "LM337", "adjustable regulator, negative"),
        ):
            yield PartUse(
                role=role,
                letter="U",
                part_id=part,
                description=f"{text}, TO-220",
                quantity=1,
                ratings=(
                    Rating(
                        quantity="junction temperature",
                        unit="°C",
                        applied=supply.regulator_c,
                        limit=125.0,
                        source="lm317",
                        at="highest rail, no heatsink",
                    ),
                ),
                provenance="memory",
            )
        yield _resistor("regulator output to adjust", supply.r1_ohm, 0.01, 0.0, library, 2)
        yield _resistor("regulator adjust to ground", supply.r2_ohm, 0.01, 0.0, library, 2)
        yield _capacitor("regulator input capacitor", REGULATOR_INPUT_F, 0.10, supply.regulator_v, library, 2)
        yield _electrolytic("regulator output capacitor", REGULATOR_OUTPUT_F, supply.high_v / 2, 2)
    if supply.midpoint_ohm is not None and supply.midpoint_f is not None:
        yield _resistor("midpoint divider", supply.midpoint_ohm, 0.05, 0.0, library, 2)
        yield _electrolytic("midpoint capacitor", supply.midpoint_f, 0.5 * supply.high_v)
    if supply.filter_ohm is not None and supply.filter_f is not None:
        yield _resistor("op-amp supply filter", supply.filter_ohm, 0.05, supply.resistor_w, library)
        yield _electrolytic("op-amp supply filter capacitor", supply.filter_f, supply.high_v)


def _resistor(
    role: str, value_ohm: float, tolerance: float, watts: float, library: Library, quantity: int = 1
) -> PartUse:
    return resistor_use(
        role,
        value_ohm,
        watts,
        tolerance=tolerance,
        quantity=quantity,
        at="highest supply",
        at_hand=library.has_resistor(value_ohm, tolerance),
    )


def _capacitor(
    role: str, value_f: float, tolerance: float, applied_v: float, library: Library, quantity: int = 1
) -> PartUse:
    # electrolytics come no closer than 20 %; beyond 4.7 µF film is too large for a board
    film = value_f <= _FILM_MOST_F if tolerance < _ELECTROLYTIC_TOLERANCE else value_f <= _FILM_CHEAP_F
    rated = 63.0 if film else 35.0
    return PartUse(
        role=role,
        letter="C",
        part_id=code(value_f, "capacitance"),
        description="film 63 V" if film else "bipolar electrolytic 35 V",
        quantity=quantity,
        value=show(value_f, "capacitance"),
        tolerance=tolerance,
        ratings=(Rating(quantity="voltage", unit="V", applied=applied_v, limit=rated),),
        in_drawer=library.has_capacitor(value_f, tolerance),
        provenance="IEC 60063 preferred value",
    )


def _electrolytic(role: str, value_f: float, applied_v: float, quantity: int = 1) -> PartUse:
    rated = next((v for v in (16.0, 25.0, 35.0, 50.0, 63.0, 100.0) if applied_v <= 0.8 * v), 100.0)
    return PartUse(
        role=role,
        letter="C",
        part_id=code(value_f, "capacitance"),
        description=f"electrolytic {rated:g} V",
        quantity=quantity,
        value=show(value_f, "capacitance"),
        tolerance=0.20,
        ratings=(Rating(quantity="voltage", unit="V", applied=applied_v, limit=rated, at="highest battery"),),
        provenance="IEC 60063 preferred value",
    )
