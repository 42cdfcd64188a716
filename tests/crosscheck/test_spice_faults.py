"""Faults planted in the circuits and simulated: the bring-up's readings tell each of them from all others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from subwright import service
from subwright.build.bench_faults import (
    Planted,
    levels_of,
    planted_faults,
    suspects_of,
    unit_readings,
    until_wrong,
)
from subwright.build.bringup import bring_up
from subwright.build.bringup_records import BringUp
from subwright.build.diagnosis import level_of
from subwright.build.faults import FAULTS, ReadingLevel
from subwright.build.result import Design
from subwright.circuits.simulate import Engine
from subwright.parts.library import Library, load_library

pytestmark = pytest.mark.spice

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.build.toml"))
NAMES = [path.name.split(".")[0] for path in EXAMPLES]
WHOLE_RAILS = "storyteller-van"  # with wrong windings the rails run on this one only


@cache
def made(path: Path) -> tuple[Design, Library, BringUp]:
    design = service.solve(path).design
    library = load_library()
    if design.spec.drawer is not None:
        library = library.with_drawer(service.open_drawer(path.parent / design.spec.drawer))
    return design, library, bring_up(design, library)


@cache
def whole(path: Path, engine: Engine) -> Mapping[str, float]:
    return unit_readings(*made(path), engine)


@cache
def faulty(path: Path, engine: Engine) -> tuple[tuple[Planted, Mapping[str, float]], ...]:
    rows = []
    for planted in planted_faults(made(path)[0]):
        if WHOLE_RAILS not in path.name and "transformer" in planted.blocks:
            blocks = tuple(block for block in planted.blocks if block != "rails")
            planted = replace(planted, blocks=blocks)
        elif WHOLE_RAILS not in path.name and "modulator-supplies" in planted.blocks:
            planted = replace(planted, blocks=("modulator-supplies",))  # the gates are the next step
        rows.append((planted, unit_readings(*made(path), engine, planted, whole(path, engine))))
    return tuple(rows)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_a_whole_unit_reads_inside_every_window(path: Path, reference_engine: Engine) -> None:
    _, _, procedure = made(path)
    readings = whole(path, reference_engine)
    assert len(readings) >= 10
    for key, value in readings.items():
        reading = procedure.reading(key)
        assert reading is not None
        assert level_of(reading, value) == "in", (key, value, reading.low, reading.high)


def test_with_every_step_read_the_planted_fault_is_ranked_first(reference_engine: Engine) -> None:
    path = next(path for path in EXAMPLES if WHOLE_RAILS in path.name)
    _, _, procedure = made(path)
    for planted, readings in faulty(path, reference_engine):
        suspects = suspects_of(procedure, readings)
        assert suspects[0].fault.key == planted.fault, (planted.what, [s.fault.key for s in suspects])
        assert suspects[0].share > 0.5, planted.what


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_at_the_step_where_it_shows_the_planted_fault_is_ranked_first(
    path: Path, reference_engine: Engine
) -> None:
    _, _, procedure = made(path)
    for planted, readings in faulty(path, reference_engine):
        suspects = suspects_of(procedure, until_wrong(procedure, readings))
        assert suspects, planted.what
        assert suspects[0].fault.key == planted.fault, (planted.what, [s.fault.key for s in suspects])
        assert suspects[0].share > 0.5, planted.what


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_the_first_step_that_goes_wrong_names_the_planted_fault(path: Path, reference_engine: Engine) -> None:
    _, _, procedure = made(path)
    for planted, readings in faulty(path, reference_engine):
        levels = levels_of(procedure, readings)
        step = next(
            step for step in procedure.steps if any(levels.get(r.key, "in") != "in" for r in step.readings)
        )
        assert planted.fault in {cause.fault for cause in step.causes}, (planted.what, step.key)


@pytest.mark.parametrize("path", EXAMPLES, ids=NAMES)
def test_no_two_planted_faults_read_alike(path: Path, reference_engine: Engine) -> None:
    _, _, procedure = made(path)
    vectors: dict[str, Mapping[str, ReadingLevel]] = {
        planted.fault: levels_of(procedure, readings) for planted, readings in faulty(path, reference_engine)
    }
    assert len(vectors) >= 10
    for one, other in combinations(vectors, 2):
        assert vectors[one] != vectors[other], (one, other)


def test_the_simulated_levels_are_those_that_the_table_foretells(reference_engine: Engine) -> None:
    """Reading by reading: what the fault names, and what it leaves alone."""
    path = next(path for path in EXAMPLES if WHOLE_RAILS in path.name)
    _, _, procedure = made(path)
    inside: tuple[ReadingLevel, ...] = ("in",)
    for planted, readings in faulty(path, reference_engine):
        levels = levels_of(procedure, readings)
        misses = [
            {k: level for k, level in levels.items() if level not in signature.get(k, inside)}
            for signature in FAULTS[planted.fault].signatures
        ]
        assert {} in misses, (planted.what, min(misses, key=len))


def test_a_modulator_without_a_clock_tells_its_faults_apart(reference_engine: Engine) -> None:
    """What nothing starts, and what stands at a rail, by the readings of the step where it shows."""
    path = next(path for path in EXAMPLES if WHOLE_RAILS in path.name)
    spec = service.open_build(path).spec
    amplifier = spec.amplifier.model_copy(update={"modulator": "self-oscillating"})
    design = service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=path.parent).design
    library = load_library()
    procedure = bring_up(design, library)
    sound = {reading.key: reading.expected for reading in procedure.readings}
    seen = []
    for planted in planted_faults(design):
        if planted.fault not in ("mute-stuck", "modulator-feedback-open", "bootstrap-open"):
            continue
        planted = replace(planted, blocks=("modulator-gates",))
        readings = unit_readings(design, library, procedure, reference_engine, planted, sound)
        suspects = suspects_of(procedure, until_wrong(procedure, readings))
        assert suspects[0].fault.key == planted.fault, (planted.what, [s.fault.key for s in suspects])
        assert suspects[0].share > 0.5, planted.what
        seen.append(planted.fault)
    assert len(seen) == 3


def test_the_ranking_can_fail(reference_engine: Engine) -> None:
    """A fault given another's readings is not ranked first."""
    path = next(path for path in EXAMPLES if WHOLE_RAILS in path.name)
    _, _, procedure = made(path)
    rows = {planted.fault: readings for planted, readings in faulty(path, reference_engine)}
    assert suspects_of(procedure, rows["thermistor-open"])[0].fault.key != "thermistor-shorted"
    assert suspects_of(procedure, whole(path, reference_engine)) == ()
