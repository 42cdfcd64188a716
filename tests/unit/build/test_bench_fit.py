"""The refit finds what was planted: random units inside their tolerances, read with imperfect meters."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import RangeError, SubwrightError
from subwright.build.bench import Entry, check_value, compare, units_apart
from subwright.build.bench_fit import Fit, fit_unit
from subwright.build.bench_model import BenchModel, bench_model
from subwright.build.bringup import bring_up
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.parts.library import Library, load_library

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))
VAN = EXAMPLES[-1]
ACCURACY = 0.005
UNITS = 100


@cache
def made(path: Path) -> tuple[Design, BringUp, Library]:
    design = service.solve(path).design
    library = load_library()
    if design.spec.drawer is not None:
        library = library.with_drawer(service.open_drawer(path.parent / design.spec.drawer))
    return design, bring_up(design, library), library


def plant(
    model: BenchModel, rng: np.random.Generator, unit: str = "1"
) -> tuple[dict[str, np.ndarray], tuple[int, int], list[Entry]]:
    """A random unit: parts uniform inside their limits, one winding in ten off by a turn, uniform meters."""
    root = np.sqrt(3.0)
    truth = {u.name: np.array([u.designed + u.prior * rng.uniform(-root, root)]) for u in model.unknowns}
    turns = (
        model.primary_turns,
        model.secondary_turns + (int(rng.choice([-1, 1])) if rng.random() < 0.1 else 0),
    )
    entries = []
    for key, function in model.readings.items():
        exact = float(function(truth, *turns)[0])
        own = 1.0 + model.own_error.get(key, 0.0) * rng.uniform(-1.0, 1.0)
        value = exact * own / (1.0 + ACCURACY * rng.uniform(-1.0, 1.0))
        entries.append(
            Entry(unit=unit, at="2031-05-06T10:00:00", key=key, value=value, accuracy=ACCURACY, code="X")
        )
    return truth, turns, entries


@cache
def fitted_units(path: Path) -> tuple[tuple[dict[str, np.ndarray], tuple[int, int], Fit], ...]:
    design, procedure, library = made(path)
    model = bench_model(design, procedure, library)
    rng = np.random.default_rng(20310506)
    rows = []
    for _ in range(UNITS):
        truth, turns, entries = plant(model, rng)
        rows.append((truth, turns, fit_unit(design, procedure, library, entries, "1")))
    return tuple(rows)


def test_planted_deviations_are_found_within_their_uncertainty_in_95_of_100_units() -> None:
    rows = fitted_units(VAN)
    names = [quantity.unknown.name for quantity in rows[0][2].quantities if quantity.known]
    assert {"inductance factor AL", "primary copper", "reference voltage", "low-pass corner"} <= set(names)
    for number, name in enumerate(q.unknown.name for q in rows[0][2].quantities):
        inside = sum(
            abs(float(truth[name][0]) - fit.quantities[number].value) <= fit.quantities[number].uncertainty
            for truth, _, fit in rows
        )
        assert inside >= 95, (name, inside)


def test_trips_are_found_within_their_uncertainty_and_sharper_than_before() -> None:
    design, procedure, library = made(VAN)
    model = bench_model(design, procedure, library)
    for number, name in enumerate(model.thresholds):
        rows = fitted_units(VAN)
        inside = sum(
            abs(float(model.thresholds[name](truth)[0]) - fit.trips[number].value)
            <= fit.trips[number].uncertainty
            for truth, _, fit in rows
        )
        assert inside >= 95, (name, inside)
        if "voltage" in name:
            window = design.protection.thresholds[name].window
            assert rows[0][2].trips[number].uncertainty < 0.5 * window.half


def test_miscounted_turns_are_found() -> None:
    rows = fitted_units(VAN)
    assert sum((fit.primary_turns, fit.secondary_turns) == turns for _, turns, fit in rows) >= 95
    assert any(turns[1] != made(VAN)[0].transformer.secondary_turns for _, turns, _ in rows)  # type: ignore[union-attr]


def test_without_readings_nothing_is_known_and_nothing_moves() -> None:
    design, procedure, library = made(VAN)
    with pytest.raises(SubwrightError, match="no reading"):
        fit_unit(design, procedure, library, [], "1")
    entry = Entry(
        unit="1", at="t", key="low-pass-corner", value=82.0, accuracy=0.001, code="X", note="only one"
    )
    fit = fit_unit(design, procedure, library, [entry], "1")
    moved = [q for q in fit.quantities if abs(q.value - q.unknown.designed) > 1e-9 * abs(q.unknown.designed)]
    assert [q.unknown.name for q in moved if q.unknown.designed] == ["low-pass corner"]
    assert moved[0].value == pytest.approx(82.0, rel=1e-3)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_example_can_be_refitted_and_the_expected_readings_move_nothing(path: Path) -> None:
    design, procedure, library = made(path)
    model = bench_model(design, procedure, library)
    entries = [
        Entry(unit="7", at="t", key=r.key, value=r.expected, accuracy=0.003, code="X")
        for r in procedure.readings
        if r.key in model.readings
    ]
    fit = fit_unit(design, procedure, library, entries, "7")
    assert fit.misfit < 0.8, fit.worst
    for trip in fit.trips:
        assert trip.value == pytest.approx(design.protection.thresholds[trip.name].nominal, rel=0.003)
    for advice in fit.advice:
        assert advice.low < advice.after < advice.high


def test_the_advice_brings_a_trip_back_that_was_far_off() -> None:
    design, procedure, library = made(VAN)
    threshold = design.protection.thresholds["under-voltage trip"]
    wrong = threshold.nominal + 0.6 * (threshold.window.worst_high - threshold.nominal)
    entries = [
        Entry(unit="1", at="t", key="under-voltage-trip", value=wrong, accuracy=0.002, code="X"),
        Entry(unit="1", at="t", key="reference-voltage", value=5.1, accuracy=0.001, code="X"),
    ]
    fit = fit_unit(design, procedure, library, entries, "1")
    advice = next(row for row in fit.advice if row.protection == "under-voltage")
    assert advice.before == pytest.approx(wrong, abs=0.03)
    assert advice.how in ("parallel", "series", "trimmer")
    assert advice.add_ohm is not None
    assert abs(advice.after - advice.target) < 0.2 * abs(advice.before - advice.target)


def test_the_worst_fitting_reading_is_named() -> None:
    design, procedure, library = made(VAN)
    model = bench_model(design, procedure, library)
    entries = plant(model, np.random.default_rng(3))[2]
    spoiled = [
        Entry(
            unit="1",
            at="t",
            key=e.key,
            value=e.value * (1.3 if e.key == "loaded-rail-negative" else 1.0),
            accuracy=ACCURACY,
            code="X",
        )
        for e in entries
    ]
    fit = fit_unit(design, procedure, library, spoiled, "1")
    assert fit.misfit > 2.0
    assert "rail" in fit.worst[0]


def test_readings_are_judged_with_the_meters_error() -> None:
    _, procedure, _ = made(VAN)
    reading = procedure.reading("under-voltage-trip")
    assert reading is not None
    assert reading.high is not None
    verdicts = {}
    for name, value in (
        ("in", reading.expected),
        ("edge", reading.high * 1.001),
        ("out", reading.high * 1.1),
    ):
        entry = Entry(unit=name, at="t", key=reading.key, value=value, accuracy=0.005, code="X")
        verdicts[name] = compare(procedure, [entry], name)[0].verdict
    assert verdicts == {"in": "passes", "edge": "on the edge", "out": "fails"}


def test_two_units_are_compared_in_meters_errors() -> None:
    _, procedure, _ = made(VAN)
    entries = [
        Entry(unit="1", at="t", key="rail-positive", value=64.0, accuracy=0.005, code="X"),
        Entry(unit="2", at="t", key="rail-positive", value=64.1, accuracy=0.005, code="X"),
        Entry(unit="2", at="t", key="rail-negative", value=64.1, accuracy=0.005, code="X"),
    ]
    rows = units_apart(procedure, entries, "1", "2")
    assert [row.reading.key for row in rows] == ["rail-positive"]
    assert 0.1 < rows[0].apart < 0.5


def test_a_slipped_prefix_is_refused() -> None:
    _, procedure, _ = made(VAN)
    reading = procedure.reading("leakage")
    assert reading is not None
    with pytest.raises(RangeError, match="prefix"):
        check_value(reading, 50e-3, 0.01)
    with pytest.raises(RangeError, match="accuracy"):
        check_value(reading, 50e-9, 0.0)
    with pytest.raises(RangeError, match="finite"):
        check_value(reading, float("nan"), 0.01)
