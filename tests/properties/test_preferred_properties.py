"""Laws of the preferred numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.preferred import (
    SERIES,
    at_least,
    at_most,
    between,
    is_member,
    nearest,
    neighbours,
    values,
)
from subwright.base.units import code, parse

NAMES = st.sampled_from(SERIES)
SIZES = st.floats(min_value=1e-12, max_value=1e12)
several = settings(max_examples=300, deadline=None)


@given(SIZES, NAMES)
@several
def test_nearest_is_nearest(value: float, series: str) -> None:
    best = nearest(value, series)
    distance = abs(math.log(best / value))
    around = between(value / 30.0, value * 30.0, series)
    assert distance <= np.min(np.abs(np.log(around / value))) * (1.0 + 1e-9) + 1e-12


@given(SIZES, NAMES)
@several
def test_bounds_enclose_and_nearest_is_one_of_them(value: float, series: str) -> None:
    low, high = at_most(value, series), at_least(value, series)
    assert low <= value * (1.0 + 1e-9)
    assert high >= value * (1.0 - 1e-9)
    assert nearest(value, series) in (low, high)
    assert between(low, high, series).size <= 2


@given(SIZES, NAMES)
@several
def test_a_member_is_its_own_nearest(value: float, series: str) -> None:
    member = nearest(value, series)
    assert nearest(member, series) == at_least(member, series) == at_most(member, series) == member
    assert is_member(member, series)


@given(st.floats(min_value=1.0, max_value=10.0, exclude_max=True), st.integers(-12, 10), NAMES)
@several
def test_decades_repeat(value: float, decade: int, series: str) -> None:
    """A series is the same in each decade, away from the point where the nearest member changes."""
    here = nearest(value, series)
    there = nearest(value * 10.0**decade, series)
    table = np.append(values(series), 10.0)
    edges = np.sqrt(table[:-1] * table[1:])
    if np.min(np.abs(edges / value - 1.0)) > 1e-9:
        assert there == pytest.approx(here * 10.0**decade, rel=1e-12)


@given(st.floats(min_value=1e-9, max_value=1e9), NAMES, st.integers(1, 40))
@several
def test_neighbours_are_sorted_members_and_the_right_number(value: float, series: str, count: int) -> None:
    found = neighbours(value, series, count)
    assert found.size == count
    assert np.all(np.diff(found) > 0.0)
    assert nearest(value, series) in found
    furthest = np.max(np.abs(np.log(found / value)))
    inside = between(value * math.exp(-furthest * 0.999), value * math.exp(furthest * 0.999), series)
    assert set(inside.tolist()) <= set(found.tolist())


@given(st.lists(SIZES, min_size=1, max_size=20), NAMES)
@several
def test_arrays_agree_with_scalars(many: list[float], series: str) -> None:
    array = np.array(many)
    assert nearest(array, series).tolist() == [nearest(item, series) for item in many]
    assert at_least(array, series).tolist() == [at_least(item, series) for item in many]
    assert at_most(array, series).tolist() == [at_most(item, series) for item in many]


@given(st.floats(min_value=0.1, max_value=9e6), NAMES)
@several
def test_every_member_has_a_code_that_reads_back(value: float, series: str) -> None:
    member = nearest(value, series)
    assert parse(code(member, "resistance"), "resistance") == member


@given(SIZES, st.sampled_from([("E12", 0.1112), ("E24", 0.0715), ("E96", 0.0149)]))
@several
def test_the_worst_rounding_error_is_bounded(value: float, case: tuple[str, float]) -> None:
    """At the arithmetic middle of a gap the error is (b − a)/(a + b); by ratio it is smaller."""
    series, worst = case
    assert abs(nearest(value, series) / value - 1.0) <= worst * 1.06
