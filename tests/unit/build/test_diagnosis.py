"""Wrong readings and what they point at: the table is sound, and each fault is told from the others."""

from __future__ import annotations

from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.bench import Entry, over_range
from subwright.build.bench_progress import next_step, step_states
from subwright.build.bringup import bring_up
from subwright.build.bringup_records import BringUp
from subwright.build.diagnosis import diagnose, diagnose_levels, level_of
from subwright.build.faults import FAULTS, ReadingLevel, Signature
from subwright.build.faults_voltage_stage import VOLTAGE_STAGE_FAULTS
from subwright.parts.library import load_library

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))
VAN = next(path for path in EXAMPLES if "van" in path.name)
# readings that none of the examples asks for: a vented box, a bridged amplifier, an over-current trip
ELSEWHERE = {"box-tuning", "over-current-level", "output-rest"}
# and those of a linear amplifier, with one leg or two
LINEAR = {"stage-offset", "half-supply", "amp-reference"} | {
    f"{key}{end}"
    for key in ("stage-current", "tail-current", "bias", "bias-spread", "leg-drive", "leg-rest")
    for end in ("", "-a", "-b")
}


@cache
def procedure(path: Path) -> BringUp:
    made = service.solve(path)
    spec, library = made.design.spec, load_library()
    if spec.drawer is not None:
        library = library.with_drawer(service.open_drawer(path.parent / spec.drawer))
    return bring_up(made.design, library)


def entry(key: str, value: float, unit: str = "1") -> Entry:
    return Entry(unit=unit, at="2031-05-06T10:00:00", key=key, value=value, accuracy=0.001, code="X")


def in_order(steps: BringUp) -> dict[str, float]:
    return {reading.key: reading.expected for reading in steps.readings}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_cause_that_names_a_fault_is_in_the_table(path: Path) -> None:
    for step in procedure(path).steps:
        for cause in step.causes:
            assert not cause.fault or cause.fault in FAULTS, (step.key, cause.fault)


def test_every_fault_of_the_table_is_named_by_a_step_and_every_reading_exists() -> None:
    named = {c.fault for path in EXAMPLES for s in procedure(path).steps for c in s.causes}
    optional = {"port-off", "over-current-level-wrong", "timing-part-wrong"}
    optional |= {row[0] for row in VOLTAGE_STAGE_FAULTS}  # no example has a linear amplifier
    assert set(FAULTS) - named <= optional
    keys = {reading.key for path in EXAMPLES for reading in procedure(path).readings} | ELSEWHERE | LINEAR
    for fault in FAULTS.values():
        for signature in fault.signatures:
            assert set(signature) <= keys, fault.key
            assert any("in" not in levels for levels in signature.values()), fault.key


def apart(one: Signature, other: Signature) -> bool:
    """Whether some reading must differ, whatever levels the two faults show."""
    inside: tuple[ReadingLevel, ...] = ("in",)
    return any(not set(one.get(key, inside)) & set(other.get(key, inside)) for key in {*one, *other})


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_no_two_faults_of_a_procedure_look_alike(path: Path) -> None:
    named = {cause.fault for step in procedure(path).steps for cause in step.causes if cause.fault}
    assert len(named) >= 10
    alike = [
        (one, other)
        for one, other in combinations(sorted(named), 2)
        for first in FAULTS[one].signatures
        for second in FAULTS[other].signatures
        if not apart(first, second)
    ]
    assert alike == []


def test_every_fault_as_told_is_ranked_first() -> None:
    steps = procedure(VAN)
    named = {cause.fault for step in steps.steps for cause in step.causes if cause.fault}
    keys = {reading.key for reading in steps.readings}
    for key in sorted(named):
        for signature in FAULTS[key].signatures:
            levels: dict[str, ReadingLevel] = dict.fromkeys(keys, "in")
            levels |= {k: told[0] for k, told in signature.items() if k in keys}
            if all(level == "in" for level in levels.values()):
                continue
            suspects = diagnose_levels(steps, levels)
            assert suspects[0].fault.key == key, (key, [s.fault.key for s in suspects])
            assert suspects[0].share > 0.5, key


def test_levels_follow_the_window() -> None:
    reading = procedure(VAN).reading("rail-positive")
    assert reading is not None
    assert reading.high is not None
    for value, level in (
        (reading.expected, "in"),
        (0.97 * reading.low, "low"),
        (0.1 * reading.expected, "gone"),
        (1.02 * reading.high, "high"),
        (3.0 * reading.expected, "many"),
    ):
        assert level_of(reading, value) == level
    assert level_of(reading, reading.low - 0.1, uncertain=0.2) == "in"
    offset = procedure(VAN).reading("output-offset")
    assert offset is not None
    assert offset.high is not None  # the modulator's own parts give more than a coil would like
    past = 2.0 * offset.high
    found = [level_of(offset, v) for v in (-50.0 * past, -past, 0.0, past, 50.0 * past)]
    assert found == ["low", "low", "in", "high", "many"]
    insulation = procedure(VAN).reading("insulation")
    assert insulation is not None
    assert [level_of(insulation, v) for v in (0.0, 0.9e6, 1e9)] == ["gone", "low", "in"]


def test_nothing_wrong_names_nobody() -> None:
    steps = procedure(VAN)
    found = diagnose(steps, [entry(key, value) for key, value in in_order(steps).items()], "1")
    assert found.wrong == ()
    assert found.suspects == ()
    assert found.next_reading is None


def test_an_open_half_primary_may_be_entered_as_over_range() -> None:
    steps = procedure(VAN)
    reading = steps.reading("primary-halves")
    assert reading is not None
    found = diagnose(steps, [entry("primary-halves", over_range(reading))], "1")
    assert found.wrong[0].level == "many"
    assert found.suspects[0].fault.key == "half-primary-open"


def test_the_reading_that_parts_the_first_two_is_named_and_does_part_them() -> None:
    steps = procedure(VAN)
    fine = in_order(steps)["gate-B"]
    found = diagnose(steps, [entry("gate-A", 0.0), entry("gate-B", fine)], "1")
    assert {s.fault.key for s in found.suspects[:2]} == {"gate-resistor-open", "gate-punctured"}
    assert found.next_reading is not None
    assert found.next_reading.key == "gate-pull-down-A"
    for value, winner in ((found.next_reading.expected, "gate-resistor-open"), (40.0, "gate-punctured")):
        log = [entry("gate-A", 0.0), entry("gate-B", fine), entry("gate-pull-down-A", value)]
        again = diagnose(steps, log, "1")
        assert again.suspects[0].fault.key == winner


def test_units_are_kept_apart_and_the_latest_reading_counts() -> None:
    steps = procedure(VAN)
    log = [entry("gate-A", 0.0), entry("gate-B", 0.0, "2"), entry("gate-A", in_order(steps)["gate-A"])]
    assert diagnose(steps, log, "1").wrong == ()
    assert [w.reading.key for w in diagnose(steps, log, "2").wrong] == ["gate-B"]


def test_the_next_step_is_the_one_that_failed_then_the_first_that_lacks_readings() -> None:
    steps = procedure(VAN)
    first = next_step(step_states(steps, [], "1"))
    assert first is not None
    assert first.step.number == 1
    assert first.standing == "not begun"
    everything = [entry(key, value) for key, value in in_order(steps).items()]
    assert next_step(step_states(steps, everything, "1")) is None
    spoiled = next_step(step_states(steps, [*everything, entry("gate-A", 0.0)], "1"))
    assert spoiled is not None
    assert (spoiled.step.key, spoiled.standing) == ("gates", "failed")
    assert spoiled.missing == ()


def test_a_signature_with_an_unknown_level_is_refused() -> None:
    from subwright.build.faults import _signature

    with pytest.raises(SubwrightError, match="no reading with its levels"):
        _signature("gate-A=odd")
