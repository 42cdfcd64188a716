"""Preferred numbers against a second implementation and against their own definition."""

from __future__ import annotations

import math

import iec60063
import numpy as np
import pytest

from subwright.base.errors import RangeError
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


@pytest.mark.parametrize("series", SERIES)
def test_series_agrees_with_an_independent_package(series: str) -> None:
    theirs = [float(item) for item in iec60063.get_series(series)]
    if series == "E192":
        # The package lists 2.97 where the progression gives 10^(91/192) = 2.978; the only member of E48 to
        # E192 that departs from the progression is 9.20 (member 185).
        assert theirs[91] == 2.97
        theirs[91] = 2.98
    assert values(series).tolist() == theirs


@pytest.mark.parametrize("series", SERIES)
def test_number_of_members(series: str) -> None:
    assert len(values(series)) == int(series[1:])
    assert np.all(np.diff(values(series)) > 0.0)


@pytest.mark.parametrize(
    ("coarse", "fine"), [("E3", "E6"), ("E6", "E12"), ("E12", "E24"), ("E48", "E96"), ("E96", "E192")]
)
def test_each_series_is_every_second_member_of_the_next(coarse: str, fine: str) -> None:
    assert values(coarse).tolist() == values(fine)[::2].tolist()


def test_members_in_any_decade_are_the_nearest_floats() -> None:
    assert nearest(4.6e3, "E12") == 4700.0
    assert nearest(2.1e-6, "E12") == 2.2e-6
    assert nearest(99e-9, "E12") == 100e-9
    assert nearest(4.71e-9, "E24") == 4.7e-9


def test_nearest_is_by_ratio_and_not_by_difference() -> None:
    """Between 1.0 and 1.5 the geometric mean is 1.2247, the arithmetic one 1.25."""
    assert nearest(1.23, "E6") == 1.5
    assert nearest(1.22, "E6") == 1.0


def test_nearest_across_the_decade() -> None:
    assert nearest(9.9, "E24") == 10.0
    assert nearest(0.96, "E24") == 1.0


def test_arrays_keep_their_shape() -> None:
    ideal = np.array([[1234.9, 3183.1], [1865.8, 4415.0]])
    assert nearest(ideal, "E96").tolist() == [[1240.0, 3160.0], [1870.0, 4420.0]]
    assert at_least(ideal, "E24").tolist() == [[1300.0, 3300.0], [2000.0, 4700.0]]
    assert at_most(ideal, "E24").tolist() == [[1200.0, 3000.0], [1800.0, 4300.0]]
    assert nearest(np.array([]), "E24").shape == (0,)


def test_a_scalar_gives_a_plain_float() -> None:
    assert type(nearest(4711.0, "E24")) is float
    assert type(at_least(4711.0, "E24")) is float


def test_bounds_keep_a_member_that_lost_one_bit() -> None:
    off = 4700.0 * (1.0 + 2e-16)
    assert at_least(off, "E12") == 4700.0
    assert at_most(4700.0 * (1.0 - 2e-16), "E12") == 4700.0
    assert at_least(4701.0, "E12") == 5600.0
    assert at_most(4699.0, "E12") == 3900.0


def test_between_takes_both_ends() -> None:
    assert between(1e3, 1e4, "E3").tolist() == [1e3, 2.2e3, 4.7e3, 1e4]
    assert between(2.3e3, 4.6e3, "E3").size == 0


def test_between_gives_a_copy() -> None:
    first = between(1.0, 10.0, "E3")
    first[0] = 99.0
    assert between(1.0, 10.0, "E3")[0] == 1.0


def test_neighbours_are_the_nearest_by_ratio() -> None:
    found = neighbours(1234.0, "E24", 5)
    assert found.tolist() == [1000.0, 1100.0, 1200.0, 1300.0, 1500.0]
    every = between(1.0, 1e6, "E24")
    order = sorted(every.tolist(), key=lambda member: abs(math.log(member / 1234.0)))
    assert sorted(order[:5]) == found.tolist()


def test_is_member() -> None:
    assert is_member(4.7e-9, "E12")
    assert not is_member(4.8e-9, "E24")


@pytest.mark.parametrize("bad", [0.0, -4.7, math.nan, math.inf, 1e-30, 1e30])
def test_values_outside_the_table_are_refused(bad: float) -> None:
    for search in (nearest, at_least, at_most):
        with pytest.raises(RangeError):
            search(bad, "E24")
    with pytest.raises(RangeError):
        nearest(np.array([4.7, bad]), "E24")
    with pytest.raises(RangeError):
        between(bad, 10.0, "E24")


def test_an_unknown_series_is_refused() -> None:
    with pytest.raises(RangeError, match="E13"):
        values("E13")
    with pytest.raises(RangeError, match="E13"):
        nearest(1.0, "E13")


def test_wrong_bounds_and_counts_are_refused() -> None:
    with pytest.raises(RangeError, match="above the upper"):
        between(10.0, 1.0, "E24")
    with pytest.raises(RangeError, match="count"):
        neighbours(1.0, "E24", 0)
