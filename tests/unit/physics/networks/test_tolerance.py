"""Worst case, root-sum-square and Monte Carlo agree where they must, and refuse where they can't answer."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.networks.comparators import sensing_thresholds_v
from subwright.physics.networks.dividers import divider_rss, divider_uniform_sigma, divider_worst_case
from subwright.physics.networks.tolerance import (
    Parameter,
    draws,
    influences,
    monte_carlo,
    rss,
    windows,
    worst_case,
    worst_case_by_vertices,
)

PAIR = (Parameter.relative("R1", 30e3, 0.05), Parameter.relative("R2", 10e3, 0.05))
NAMES = ("top", "bottom", "feedback", "pull-up", "reference", "low", "offset", "bias")
SENSING = (
    Parameter.relative("top", 36e3, 0.05),
    Parameter.relative("bottom", 33e3, 0.05),
    Parameter.relative("feedback", 120e3, 0.05),
    Parameter.relative("pull-up", 10e3, 0.05),
    Parameter.relative("reference", 5.0, 0.02),
    Parameter(name="low", nominal=0.2, low=0.1, high=0.4),
    Parameter(name="offset", nominal=0.0, low=-9e-3, high=9e-3),
    Parameter(name="bias", nominal=25e-9, low=0.0, high=400e-9),
)


def divider(r: np.ndarray) -> np.ndarray:
    return r[1:2] / (r[0] + r[1])


def sensing(r: np.ndarray) -> np.ndarray:
    top, bottom, feedback, pullup, reference, low, offset, bias = r
    falling, rising = sensing_thresholds_v(
        top_ohm=top,
        bottom_ohm=bottom,
        feedback_ohm=feedback,
        reference_v=reference,
        pullup_v=reference,
        pullup_ohm=pullup,
        low_v=low,
        offset_v=offset,
        bias_a=bias,
    )
    return np.stack([falling, rising, rising - falling])


def test_divider_agrees_with_its_closed_forms() -> None:
    low, high = worst_case(divider, PAIR)
    closed = divider_worst_case(30e3, 10e3, 0.05)
    assert (low[0] / 0.25 - 1, high[0] / 0.25 - 1) == pytest.approx(closed, rel=1e-12)
    spread = rss(divider, PAIR)[1][0] / 0.25 - 1
    assert spread == pytest.approx(divider_rss(30e3, 10e3, 0.05), rel=3e-3)


def test_monte_carlo_sigma_of_a_divider() -> None:
    """Uniform parts: the standard deviation is the closed form's, within its own scatter."""
    sample = divider(draws(PAIR, 100_000, 7))[0] / 0.25 - 1
    assert np.std(sample) == pytest.approx(divider_uniform_sigma(30e3, 10e3, 0.05), rel=0.01)


def test_signs_find_the_same_corners_as_all_vertices() -> None:
    assert np.array(worst_case(sensing, SENSING)) == pytest.approx(
        np.array(worst_case_by_vertices(sensing, SENSING)), rel=1e-12
    )


def test_order_of_the_windows() -> None:
    found, _ = windows(sensing, SENSING, count=5_000)
    for w in found:
        assert w.worst_low < w.rss_low < w.nominal < w.rss_high < w.worst_high
        assert w.worst_low < w.p1 < w.p99 < w.worst_high
    seen = sensing(draws(SENSING, 20_000, 3))
    for w, row in zip(found, seen, strict=True):
        assert w.worst_low <= row.min()
        assert row.max() <= w.worst_high


def test_same_seed_same_answer_and_percentiles_settle() -> None:
    first = monte_carlo(sensing, SENSING, count=20_000, seed=5)
    assert np.array_equal(first, monte_carlo(sensing, SENSING, count=20_000, seed=5))
    other = monte_carlo(sensing, SENSING, count=20_000, seed=6)
    assert not np.array_equal(first, other)
    assert first == pytest.approx(other, rel=5e-3)


def test_percentiles_by_numpy() -> None:
    sample = sensing(draws(SENSING, 10_001, 2))
    expected = np.percentile(sample, [1, 50, 99], axis=1).T
    assert monte_carlo(sensing, SENSING, count=10_001, seed=2, percent=(1, 50, 99)) == pytest.approx(expected)


def test_influences_add_up_to_the_worst_case_and_are_ranked() -> None:
    rows = influences(sensing, SENSING, result=1)
    assert [abs(r.shift) for r in rows] == sorted((abs(r.shift) for r in rows), reverse=True)
    low, high = worst_case(sensing, SENSING)
    assert 2 * sum(abs(r.shift) for r in rows) == pytest.approx(high[1] - low[1], rel=0.01)
    by_name = {r.parameter: r for r in rows}
    assert by_name["reference"].sensitivity == pytest.approx(1.0, abs=0.02)


def test_normal_distribution_stays_within_its_limits() -> None:
    part = Parameter.relative("R", 10e3, 0.01, "normal")
    sample = draws([part], 50_000, 1)[0]
    assert sample.min() >= part.low
    assert sample.max() <= part.high
    assert np.std(sample) == pytest.approx(100.0 / 3, rel=0.03)


def test_bad_input_is_refused() -> None:
    with pytest.raises(RangeError, match="enclose"):
        Parameter(name="R", nominal=1.0, low=2.0, high=3.0)
    with pytest.raises(RangeError, match="100 draws"):
        draws(PAIR, 99, 1)
    many = [Parameter.relative(f"R{k}", 1.0, 0.01) for k in range(17)]
    with pytest.raises(RangeError, match="Too many parts"):
        worst_case_by_vertices(lambda r: r[:1], many)
