"""Means, rms and crossings against integrals that are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import SubwrightError
from subwright.circuits.measure import crossings, last_periods, mean_of, rms_of


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_triangle_on_any_grid_has_its_mean_and_rms(seed: int) -> None:
    """A triangle from 0 to 1: mean 1/2, rms 1/√3, however unevenly it was sampled, corners included."""
    rng = np.random.default_rng(seed)
    time = np.unique(np.concatenate(([0.0, 1.0, 2.0, 3.0, 4.0], rng.uniform(0, 4, 40))))
    wave = 1.0 - np.abs((time % 2.0) - 1.0)
    assert mean_of(time, wave) == pytest.approx(0.5, rel=1e-12)
    assert rms_of(time, wave) == pytest.approx(3.0**-0.5, rel=1e-12)


def test_whole_periods_are_cut_between_samples() -> None:
    time = np.linspace(0.0, 10.0, 37)
    cut_time, cut = last_periods(time, time, 1.5, 2)
    assert cut_time[0] == pytest.approx(7.0)
    assert cut[0] == pytest.approx(7.0)
    assert mean_of(cut_time, cut) == pytest.approx(8.5)


def test_too_short_a_course_is_refused() -> None:
    with pytest.raises(SubwrightError, match="shorter than the periods"):
        last_periods(np.linspace(0.0, 1.0, 5), np.zeros(5), 0.6, 2)


def test_crossings_come_in_order_with_their_direction() -> None:
    time = np.linspace(0.0, 2.0, 2001)
    found = crossings(time, np.sin(2 * np.pi * time), 0.5)
    assert [rising for _, rising in found] == [True, False, True, False]
    np.testing.assert_allclose([t for t, _ in found], [1 / 12, 5 / 12, 13 / 12, 17 / 12], rtol=1e-5)
    assert crossings(time, np.zeros_like(time), 0.5) == []
