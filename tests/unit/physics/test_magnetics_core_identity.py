"""Identifying an unmarked core, and the bench checks, against cores made up with known values."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.core_check import (
    core_loss_by_substitution,
    field_current,
    pulse_current,
    pulse_flux,
    sine_drive_voltage,
    turns_for_pulse_current,
)
from subwright.physics.core_identity import (
    CLASSES,
    classify,
    fit_inductance_factor,
    ring_factor_uncertainty,
)
from subwright.physics.cores import ring
from subwright.physics.magnetics import MU_0, inductance


@given(
    al=st.floats(50e-9, 20e-6),
    lead=st.floats(0.0, 0.3e-6),
    turns=st.lists(st.integers(3, 40), min_size=2, max_size=5, unique=True),
)
def test_exact_readings_give_back_the_factor(al: float, lead: float, turns: list[int]) -> None:
    readings = tuple(al * n * n + lead for n in turns)
    fit = fit_inductance_factor(tuple(turns), readings, 0.01)
    assert abs(fit.al_h - al) <= 2.0 * fit.al_uncertainty_h
    assert abs(fit.lead_h - lead) <= 2.0 * fit.lead_uncertainty_h
    assert fit.suspect is None


def test_the_uncertainty_is_that_of_many_trials() -> None:
    """A meter that is off by up to 2 %, a part of it for all readings: the spread is what is stated."""
    rng = np.random.default_rng(7)
    turns, al, accuracy = (5, 10, 20), 2.5e-6, 0.02
    found, stated = [], []
    for _ in range(4000):
        common = rng.uniform(-accuracy, accuracy)
        scatter = rng.uniform(-accuracy, accuracy, 3)
        lead = rng.normal(0.0, 0.3e-6)
        readings = tuple(
            (al * n * n + lead) * (1 + common) * (1 + e) for n, e in zip(turns, scatter, strict=True)
        )
        fit = fit_inductance_factor(turns, readings, accuracy)
        found.append(fit.al_h)
        stated.append(fit.al_uncertainty_h)
    assert np.std(found) == pytest.approx(float(np.mean(stated)), rel=0.05)
    assert np.mean(found) == pytest.approx(al, rel=1e-3)


def test_more_turn_counts_are_surer_and_the_meter_bounds_it() -> None:
    few = fit_inductance_factor((5,), (62.5e-6,), 0.02)
    many = fit_inductance_factor((5, 10, 20, 30), tuple(2.5e-6 * n * n for n in (5, 10, 20, 30)), 0.02)
    assert many.al_uncertainty_h < few.al_uncertainty_h
    assert many.al_uncertainty_h >= 0.02 / math.sqrt(3) * many.al_h


@pytest.mark.parametrize(("wrong", "right"), [(9, 10), (11, 10)])
def test_a_miscounted_turn_is_found(wrong: int, right: int) -> None:
    readings = tuple(2.5e-6 * n * n + 0.1e-6 for n in (5, right, 20))
    fit = fit_inductance_factor((5, wrong, 20), readings, 0.01)
    assert fit.suspect == (1, right)


def test_readings_that_do_not_rise_with_the_turns_are_refused() -> None:
    with pytest.raises(RangeError, match="square of the turns"):
        fit_inductance_factor((5, 10, 20), (100e-6, 50e-6, 1e-6), 0.001, lead_allowance_h=1e-3)


@pytest.mark.parametrize(
    ("turns", "readings", "accuracy"),
    [
        ((), (), 0.01),
        ((5,), (0.0,), 0.01),
        ((5,), (1e-6, 2e-6), 0.01),
        ((0,), (1e-6,), 0.01),
        ((5,), (1e-6,), 0.9),
        ((5,), (math.nan,), 0.01),
    ],
)
def test_impossible_readings(turns: tuple[int, ...], readings: tuple[float, ...], accuracy: float) -> None:
    with pytest.raises(RangeError):
        fit_inductance_factor(turns, readings, accuracy)


def test_dimensions_carry_over_as_trials_say() -> None:
    rng = np.random.default_rng(3)
    size, u = (36e-3, 23e-3, 15e-3), 0.1e-3
    trials = [ring(*(x + rng.normal(0, u) for x in size)) for _ in range(4000)]
    c1, c1_relative, area_relative = ring_factor_uncertainty(*size, u)
    assert np.std([t.c1_per_m for t in trials]) / c1 == pytest.approx(c1_relative, rel=0.05)
    assert np.std([t.a_e_m2 for t in trials]) / ring(*size).a_e_m2 == pytest.approx(area_relative, rel=0.05)


@pytest.mark.parametrize(
    ("mu", "family", "serves"),
    [
        (10, "iron powder", False),
        (75, "iron powder", False),
        (125, "alloy powder or nickel-zinc", False),
        (850, "alloy powder or nickel-zinc", False),
        (2000, "power ferrite", True),
        (2400, "power ferrite", True),
        (3000, "power ferrite", True),
        (4300, "high permeability", False),
        (10000, "high permeability", False),
    ],
)
def test_classes(mu: float, family: str, serves: bool) -> None:
    verdict = classify(mu, 0.02 * mu)
    assert verdict.family == family
    assert verdict.serves is serves
    assert verdict.why


def test_a_value_between_classes_names_both() -> None:
    assert set(classify(3450, 100).others) == {"power ferrite"} or classify(3450, 100).others == (
        "high permeability",
    )
    assert classify(1500, 60).others == ("alloy powder or nickel-zinc",)
    assert classify(2200, 60).others == ()


def test_classes_leave_no_gap() -> None:
    for lower, upper in itertools.pairwise(CLASSES):
        assert lower.mu_high >= upper.mu_low
    with pytest.raises(RangeError):
        classify(1.0, 0.1)


def test_pulse_numbers_agree_with_each_other() -> None:
    """Volt-seconds give the flux that the field current gives: B = V t/(N A) and i = V t/L are one thing."""
    core, mu, turns, volts = ring(36e-3, 23e-3, 15e-3), 2200.0, 10, 12.0
    coil = float(inductance(turns, MU_0 * mu / core.c1_per_m))
    for flux in (0.1, 0.3):
        time = flux * turns * core.a_e_m2 / volts
        assert pulse_current(volts, coil, 0.0, time) == pytest.approx(
            field_current(flux, core.l_e_m, mu, turns), rel=1e-6
        )
        assert pulse_flux(volts, 0.0, time, turns, core.a_e_m2)[0] == pytest.approx(flux, rel=1e-12)


def test_pulse_current_settles_at_ohms_law() -> None:
    assert pulse_current(12.0, 1e-3, 2.0, 1.0) == pytest.approx(6.0, rel=1e-9)
    tiny = pulse_current(12.0, 1e-3, 1e-9, 1e-6)
    assert tiny == pytest.approx(12e-3, rel=1e-9)


def test_fewest_turns_keep_the_current() -> None:
    for limit in (0.3, 1.0, 7.0):
        n = turns_for_pulse_current(0.3, 90e-3, 2200, limit)
        assert field_current(0.3, 90e-3, 2200, n) <= limit * (1 + 1e-9)
        assert n == 1 or field_current(0.3, 90e-3, 2200, n - 1) > limit


def test_sine_drive_is_the_handbook_constant() -> None:
    assert sine_drive_voltage(0.1, 1e3, 10, 1e-4) == pytest.approx(4.44 * 1e3 * 10 * 1e-4 * 0.1, rel=1e-3)


def test_substitution_refuses_copper_that_is_all() -> None:
    assert core_loss_by_substitution(1.0, 2.0, 0.5) == pytest.approx(1.5, rel=1e-12)
    with pytest.raises(RangeError):
        core_loss_by_substitution(1.0, 2.0, 2.0)
