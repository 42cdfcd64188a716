"""Reading numbers from a simulated course: means and rms over whole periods, and where a level is crossed."""

from __future__ import annotations

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.simulate import Array

__all__ = ["crossings", "last_periods", "mean_of", "rms_of"]


def last_periods(time_s: Array, values: Array, period_s: float, count: int) -> tuple[Array, Array]:
    """The last ``count`` whole periods of a course, cut exactly by interpolation.

    Parameters
    ----------
    time_s : ascending, s. values : of the same shape. period_s : s. count : of periods, at least 1.

    Raises
    ------
    SubwrightError : the course is shorter than that.
    """
    start = float(time_s[-1]) - count * period_s
    if start < time_s[0] - 1e-9 * period_s:
        raise SubwrightError(
            message="The simulated course is shorter than the periods to average.",
            quantity="simulated time",
            value=f"{time_s[-1] - time_s[0]:g} s",
            limit=f"at least {count * period_s:g} s",
        )
    later = time_s > start
    first = float(np.interp(start, time_s, values))
    return np.concatenate(([start], time_s[later])), np.concatenate(([first], values[later]))


def mean_of(time_s: Array, values: Array) -> float:
    """Mean of straight lines through the points.

    >>> mean_of(np.array([0.0, 1.0, 3.0]), np.array([0.0, 2.0, 2.0])).__round__(6)
    1.666667
    """
    return float(np.trapezoid(values, time_s) / (time_s[-1] - time_s[0]))


def rms_of(time_s: Array, values: Array) -> float:
    """Root mean square of straight lines through the points, exact for them.

    >>> rms_of(np.array([0.0, 1.0]), np.array([0.0, 3.0**0.5])).__round__(6)
    1.0
    """
    a, b = values[:-1], values[1:]
    square = np.sum(np.diff(time_s) * (a * a + a * b + b * b)) / 3.0
    return float(np.sqrt(square / (time_s[-1] - time_s[0])))


def crossings(time_s: Array, values: Array, level: float) -> list[tuple[float, bool]]:
    """Times in s at which a course crosses a level, by interpolation, and whether it rises there.

    >>> crossings(np.array([0.0, 1.0, 2.0]), np.array([0.0, 2.0, 0.0]), 1.0)
    [(0.5, True), (1.5, False)]
    """
    above = values > level
    where = np.flatnonzero(above[1:] != above[:-1])
    share = (level - values[where]) / (values[where + 1] - values[where])
    times = time_s[where] + share * np.diff(time_s)[where]
    return [(float(t), bool(rising)) for t, rising in zip(times, above[where + 1], strict=True)]
