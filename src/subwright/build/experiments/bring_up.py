"""The first power-up on simulated units: what a whole one reads, and whether a faulty one's readings tell."""

from __future__ import annotations

from typing import Final

from subwright.build.bench_faults import Planted, planted_faults, suspects_of, unit_readings, until_wrong
from subwright.build.bench_simulated import Block, blocks_of, read_block
from subwright.build.bringup import bring_up
from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.simulate import Engine
from subwright.parts.library import Library

__all__ = ["EXPERIMENTS"]

_RANK: Final = 0.5  # places
_UNITS: Final = {
    "voltage": "V",
    "current": "A",
    "resistance": "Ω",
    "inductance": "H",
    "frequency": "Hz",
    "time": "s",
    "ratio": "",
}


def _whole(block: Block, design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    procedure = bring_up(design, library)
    readings = read_block(block, design, library, procedure, engine, timeout_s=timeout_s)
    checks = []
    for key, value in readings.items():
        reading = procedure.reading(key)
        if reading is None or reading.high is None:
            continue
        below, above = reading.expected - reading.low, reading.high - reading.expected
        checks.append(
            Check(
                quantity=reading.name,
                closed=reading.expected,
                simulated=value,
                unit=_UNITS[reading.dimension],
                limit=below if value < reading.expected else above,
                absolute=True,
            )
        )
    return Outcome(checks=tuple(checks), engine=engine.name)


def _whole_cases(design: Design, library: Library) -> tuple[Case, ...]:
    def case(block: Block) -> Case:
        return Case(
            name=block, run=lambda engine, timeout_s: _whole(block, design, library, engine, timeout_s)
        )

    return tuple(case(block) for block in blocks_of(design))


def _faulty(planted: Planted, design: Design, library: Library, engine: Engine, timeout_s: float) -> Outcome:
    procedure = bring_up(design, library)
    sound = {reading.key: reading.expected for reading in procedure.readings}
    readings = unit_readings(design, library, procedure, engine, planted, sound, timeout_s=timeout_s)
    suspects = suspects_of(procedure, until_wrong(procedure, readings))
    names = [suspect.fault.key for suspect in suspects]
    place = names.index(planted.fault) + 1 if planted.fault in names else len(names) + 1
    check = Check(
        quantity="place of the planted fault among the suspects",
        closed=1.0,
        simulated=float(place),
        unit="",
        limit=_RANK,
        absolute=True,
    )
    return Outcome(checks=(check,), engine=engine.name)


def _faulty_cases(design: Design, library: Library) -> tuple[Case, ...]:
    def case(planted: Planted) -> Case:
        return Case(
            name=planted.what,
            run=lambda engine, timeout_s: _faulty(planted, design, library, engine, timeout_s),
        )

    return tuple(case(planted) for planted in planted_faults(design))


EXPERIMENTS = (
    Experiment(
        name="bring-up-readings",
        block="bring-up",
        title="What the first power-up reads on a whole unit",
        about=(
            "Each reading that has a netlist, taken as the hand takes it: the transformer off the board with "
            "an inductance meter, rails on a supply with its current limit, protections ramped slowly. It is "
            "compared with the expected value; the limit is the reading's own window."
        ),
        cases=_whole_cases,
        embedded=False,
    ),
    Experiment(
        name="bring-up-faults",
        block="bring-up",
        title="Planted faults are told by their readings",
        about=(
            "One fault is put into the circuits, the readings are taken again up to the first step that goes "
            "wrong, and the diagnosis ranks what they point at. The planted fault must come first."
        ),
        cases=_faulty_cases,
        embedded=False,
    ),
)
