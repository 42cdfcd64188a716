"""The refit finds what was planted: random units inside their tolerances, read with imperfect meters."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import RangeError, SubwrightError
from subwright.build.bench import Entry, check_value, compare, units_apart
from subwright.build.bench_advice import with_resistor
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
    off = int(rng.choice([-1, 1])) if model.primary_turns and rng.random() < 0.1 else 0
    turns = (model.primary_turns, model.secondary_turns + off)
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


def deviations(path: Path) -> dict[str, np.ndarray]:
    """For each quantity and each trip: error of each fitted unit over its printed uncertainty (k = 2)."""
    design, procedure, library = made(path)
    model = bench_model(design, procedure, library)
    rows = fitted_units(path)
    found = {
        quantity.unknown.name: np.array(
            [
                (fit.quantities[n].value - float(truth[quantity.unknown.name][0]))
                / fit.quantities[n].uncertainty
                for truth, _, fit in rows
            ]
        )
        for n, quantity in enumerate(rows[0][2].quantities)
        if quantity.unknown.prior > 0.0
    }
    for n, name in enumerate(model.thresholds):
        found[name] = np.array(
            [
                (fit.trips[n].value - float(model.thresholds[name](truth)[0])) / fit.trips[n].uncertainty
                for truth, _, fit in rows
            ]
        )
    return found


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_planted_deviations_are_found_within_their_uncertainty_in_95_of_100_units(path: Path) -> None:
    """The printed uncertainty is k = 2, for which a normal error stays inside in 95.45 of 100 units.

    So does the average over all quantities and units. A single quantity's count over 100 units is binomial:
    a right programme drops below 95 for every third of them, and below 88 for one in ten thousand.
    """
    apart = deviations(path)
    inside = {name: int((np.abs(ratios) <= 1.0).sum()) for name, ratios in apart.items()}
    assert len(inside) >= 30
    assert np.mean(list(inside.values())) >= 95.0
    for name, count in inside.items():
        assert count >= 88, (name, count)


def test_the_stated_uncertainty_is_neither_too_small_nor_too_large() -> None:
    """Errors in standard deviations, over all examples: spread 1, mean 0, within what chance allows."""
    pooled = 2.0 * np.concatenate([ratios for path in EXAMPLES for ratios in deviations(path).values()])
    assert pooled.size > 10_000
    assert np.std(pooled) == pytest.approx(1.0, abs=0.03)
    assert abs(np.mean(pooled)) < 0.03


def test_a_smaller_uncertainty_would_be_found_out() -> None:
    pooled = np.concatenate([ratios for path in EXAMPLES for ratios in deviations(path).values()])
    assert np.mean(np.abs(pooled) <= 0.8) < 0.95


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_what_the_readings_tell_is_known_sharper_than_before(path: Path) -> None:
    fit = fitted_units(path)[0][2]
    known = {quantity.unknown.name for quantity in fit.quantities if quantity.known}
    assert {"reference voltage", "low-pass corner"} <= known
    if made(path)[0].transformer is not None:
        assert {"inductance factor AL", "primary copper"} <= known
    thresholds = made(path)[0].protection.thresholds
    for trip in fit.trips:
        if "voltage" in trip.name:
            assert trip.uncertainty < 0.5 * thresholds[trip.name].window.half


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_after_the_advised_change_the_planted_unit_trips_inside_the_new_window(path: Path) -> None:
    """The change is made on the planted unit, whose parts the fit never saw; the resistor has its error."""
    design, procedure, library = made(path)
    model = bench_model(design, procedure, library)
    tolerance = design.spec.protection.resistor_tolerance
    rng = np.random.default_rng(20310507)
    tried: dict[str, list[bool]] = {}
    nearer = []
    for truth, _, fit in fitted_units(path):
        for advice in fit.advice:
            name = f"{advice.protection} trip"
            before = after = float(model.thresholds[name](truth)[0])
            if advice.how in ("parallel", "series"):
                assert advice.add_ohm is not None
                real = advice.add_ohm * (1.0 + tolerance * rng.uniform(-1.0, 1.0))
                changed = with_resistor(truth, advice.role, advice.how, real)
                after = float(model.thresholds[name](changed)[0])
                nearer.append(abs(after - advice.target) < abs(before - advice.target))
            tried.setdefault(f"{name} {advice.how != 'leave'}", []).append(advice.low <= after <= advice.high)
    assert sum(map(len, tried.values())) >= 200
    for name, inside in tried.items():
        count, units = sum(inside), len(inside)
        chance = 0.9545 * units - 3.7 * np.sqrt(0.9545 * 0.0455 * units)
        assert count >= chance, (name, count, units)
    everything = [ok for inside in tried.values() for ok in inside]
    assert np.mean(everything) >= 0.95
    assert nearer
    assert np.mean(nearer) > 0.95


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_miscounted_turns_are_found(path: Path) -> None:
    rows = fitted_units(path)
    assert sum((fit.primary_turns, fit.secondary_turns) == turns for _, turns, fit in rows) >= 95
    transformer = made(path)[0].transformer
    assert transformer is None or any(turns[1] != transformer.secondary_turns for _, turns, _ in rows)


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
