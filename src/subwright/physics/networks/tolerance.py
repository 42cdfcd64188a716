"""Tolerance of any network: worst case, root-sum-square, Monte Carlo and ranked contributors.

A network is a function of one array: rows are parts, columns are builds; it returns rows of results for the
same columns. That one shape serves vertices, gradients and random draws alike, without a Python loop.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.base.errors import RangeError

from ._checks import Array

__all__ = [
    "Influence",
    "Parameter",
    "Window",
    "draws",
    "influences",
    "monte_carlo",
    "rss",
    "sensitivities",
    "windows",
    "worst_case",
    "worst_case_by_vertices",
]

Model: TypeAlias = Callable[[Array], Array]
Distribution: TypeAlias = Literal["uniform", "normal"]
_MOST_VERTEX_PARTS = 16
_MOST_FLIPS = 12


@dataclass(frozen=True, kw_only=True, slots=True)
class Parameter:
    """One uncertain quantity: nominal value and limits, all in the same unit."""

    name: str
    nominal: float
    low: float
    high: float
    distribution: Distribution = "uniform"  # normal: limits at three standard deviations

    def __post_init__(self) -> None:
        if not (np.isfinite([self.low, self.high]).all() and self.low <= self.nominal <= self.high):
            raise RangeError(
                message=f"The limits of '{self.name}' must be finite and enclose its nominal value.",
                quantity=self.name,
                value=f"{self.nominal:.6g}",
                limit=f"{self.low:.6g} to {self.high:.6g}",
                remedy="Check the part's tolerance.",
            )

    @classmethod
    def relative(
        cls,
        name: str,
        nominal: float,
        tolerance: float,
        distribution: Literal["uniform", "normal"] = "uniform",
    ) -> Parameter:
        """A part of ``nominal`` value (any unit) with a symmetric ``tolerance`` (fraction).

        >>> Parameter.relative("R1", 10e3, 0.01).high
        10100.0
        """
        reach = abs(nominal) * tolerance
        return cls(
            name=name, nominal=nominal, low=nominal - reach, high=nominal + reach, distribution=distribution
        )

    @property
    def reach(self) -> float:
        """Half the distance between the limits, in the parameter's unit."""
        return 0.5 * (self.high - self.low)


@dataclass(frozen=True, kw_only=True, slots=True)
class Influence:
    """How one parameter moves one result."""

    parameter: str
    tolerance: float  # half-width of the limits over the nominal value; 0 nominal: over the result's shift
    sensitivity: float  # d(ln result)/d(ln parameter), dimensionless
    shift: float  # change of the result, in its own unit, for half the limits' width


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """Where one result can fall, all in the result's unit."""

    nominal: float
    worst_low: float
    worst_high: float
    rss_low: float
    rss_high: float
    p1: float  # 1st percentile of the Monte Carlo draws
    p99: float


def _columns(parameters: Sequence[Parameter]) -> tuple[Array, Array, Array]:
    table = np.array([[p.nominal, p.low, p.high] for p in parameters], dtype=float)
    return table[:, 0], table[:, 1], table[:, 2]


def _central(model: Model, parameters: Sequence[Parameter]) -> tuple[Array, Array, Array]:
    """Nominal results, half-differences at the limits and one-sided extremes, from 2n + 1 builds."""
    nominal, low, high = _columns(parameters)
    n = nominal.size
    builds = np.repeat(nominal[:, None], 2 * n + 1, axis=1)
    builds[np.arange(n), 1 + np.arange(n)] = high
    builds[np.arange(n), 1 + n + np.arange(n)] = low
    results = np.atleast_2d(model(builds))
    half = 0.5 * (results[:, 1 : n + 1] - results[:, n + 1 :])
    return results[:, 0], half, nominal


def sensitivities(model: Model, parameters: Sequence[Parameter]) -> Array:
    """Shift of each result for half the width of each parameter's limits; shape (results, parameters).

    Central difference over the whole tolerance, in each result's unit.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.

    Returns
    -------
    Shifts in each result's unit, shape (results, parameters).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], JCGM 100:2008 5.1.3 note 2.

    >>> pair = [Parameter.relative("R1", 10e3, 0.01), Parameter.relative("R2", 10e3, 0.01)]
    >>> np.round(sensitivities(lambda r: r[1:2] / (r[0] + r[1]), pair), 5)
    array([[-0.0025,  0.0025]])
    """
    return _central(model, parameters)[1]


def worst_case(model: Model, parameters: Sequence[Parameter]) -> tuple[Array, Array]:
    """Lowest and highest value of each result, by the sign of each sensitivity and then by single flips.

    Exact when each result is monotonic in each parameter alone, as every divider, comparator threshold and
    corner frequency here is, unless two flips at once were needed; ``worst_case_by_vertices`` proves it.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.

    Returns
    -------
    Lowest and highest values, each of shape (results,), in the results' units.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], method of extreme values (monotonic measurement function).

    >>> pair = [Parameter.relative("R1", 10e3, 0.05), Parameter.relative("R2", 10e3, 0.05)]
    >>> low, high = worst_case(lambda r: r[1:2] / (r[0] + r[1]), pair)
    >>> print(f"{low[0]:.3f} {high[0]:.3f}")
    0.475 0.525
    """
    _, half, _ = _central(model, parameters)
    return _extremes(model, parameters, half)


def _extremes(model: Model, parameters: Sequence[Parameter], half: Array) -> tuple[Array, Array]:
    """Corners by sign, then improved by flipping one part at a time until no flip helps.

    The flips matter where a part's sign depends on another part: with the pull-up on the reference, feedback
    and pull-up act through the comparator's offset only.
    """
    _, low, high = _columns(parameters)
    count, n = half.shape
    up = np.concatenate([half < 0.0, half >= 0.0])  # corners for the lowest, then for the highest results
    wanted = np.tile(np.arange(count), 2)
    sign = np.repeat([-1.0, 1.0], count)

    def results(corners: npt.NDArray[np.bool_]) -> Array:
        return np.atleast_2d(model(np.where(corners, high, low).T))

    best = np.zeros(2 * count)
    for _ in range(_MOST_FLIPS):
        flipped = up[:, None, :] ^ np.eye(n, dtype=bool)[None, :, :]
        tried = results(np.concatenate([up, flipped.reshape(-1, n)]))  # one call for corners and flips
        best = sign * tried[:, : 2 * count][wanted, np.arange(2 * count)]
        by_flip = tried[:, 2 * count :].reshape(count, 2 * count, n)
        values = sign[:, None] * by_flip[wanted, np.arange(2 * count)]
        choice = np.argmax(values, axis=1)
        gain = values[np.arange(2 * count), choice]
        better = gain > best + 1e-12 * np.abs(best)
        if not better.any():
            break
        up = np.where(better[:, None], flipped[np.arange(2 * count), choice], up)
        best = np.where(better, gain, best)
    return -best[:count], best[count:]


def worst_case_by_vertices(model: Model, parameters: Sequence[Parameter]) -> tuple[Array, Array]:
    """Lowest and highest value of each result over every combination of limits (2^n builds).

    At most 16 parameters.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.

    Returns
    -------
    Lowest and highest values, each of shape (results,), in the results' units.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] vertex enumeration; exact for multi-monotonic functions.
    """
    if len(parameters) > _MOST_VERTEX_PARTS:
        raise RangeError(
            message="Too many parts to try every combination of limits.",
            quantity="parts",
            value=str(len(parameters)),
            limit=str(_MOST_VERTEX_PARTS),
            remedy="Use worst_case, which follows the sign of each sensitivity.",
        )
    _, low, high = _columns(parameters)
    bits = (np.arange(2 ** len(parameters))[None, :] >> np.arange(len(parameters))[:, None]) & 1
    results = np.atleast_2d(model(np.where(bits == 1, high[:, None], low[:, None])))
    return results.min(axis=1), results.max(axis=1)


def rss(model: Model, parameters: Sequence[Parameter]) -> tuple[Array, Array]:
    """Root-sum-square limits (low, high) of each result around nominal, two arrays (results,).

    Limits of the parts are combined as independent: sqrt(Σ shift²).

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.

    Returns
    -------
    Lower and upper limits, each of shape (results,), in the results' units.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], JCGM 100:2008 eq. 10.

    >>> pair = [Parameter.relative("R1", 10e3, 0.01), Parameter.relative("R2", 10e3, 0.01)]
    >>> low, high = rss(lambda r: r[1:2] / (r[0] + r[1]), pair)
    >>> print(f"{100 * (high[0] / 0.5 - 1):.3f} %")
    0.707 %
    """
    nominal, half, _ = _central(model, parameters)
    reach = np.sqrt(np.sum(half**2, axis=1))
    return nominal - reach, nominal + reach


def draws(parameters: Sequence[Parameter], count: int, seed: int) -> Array:
    """Random builds, shape (parameters, count): each part independent within its own limits.

    "normal" takes the limits as three standard deviations and clips there. PCG64 seeded with ``seed``:
    the same seed gives the same builds.

    Parameters
    ----------
    parameters : the uncertain parts, in the order of the model's rows.
    count : random builds, 100 or more.
    seed : seed of the generator, any integer.

    Returns
    -------
    Builds, shape (parameters, count), in the parameters' units.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum101], JCGM 101:2008 6.4.

    >>> draws([Parameter.relative("R1", 10e3, 0.01)], 1000, seed=1).shape
    (1, 1000)
    """
    if count < 100:
        raise RangeError(
            message="Percentiles need at least 100 draws.",
            quantity="draws",
            value=str(count),
            limit="100",
            remedy="Ask for 100 draws or more.",
        )
    nominal, low, high = _columns(parameters)
    generator = np.random.default_rng(seed)
    builds = generator.random((len(parameters), count))
    builds *= (high - low)[:, None]
    builds += low[:, None]
    for row, parameter in enumerate(parameters):
        if parameter.distribution == "normal":
            spread = generator.standard_normal(count) * (parameter.reach / 3.0)
            builds[row] = np.clip(nominal[row] + spread, low[row], high[row])
    return builds


def monte_carlo(
    model: Model,
    parameters: Sequence[Parameter],
    *,
    count: int = 100_000,
    seed: int = 1,
    percent: tuple[float, ...] = (1.0, 99.0),
) -> Array:
    """Percentiles of each result over random builds; shape (results, percentiles).

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.
    count : random builds, 100 or more.
    seed : seed of the generator, any integer.
    percent : percentiles, 0 to 100.

    Returns
    -------
    Percentiles, shape (results, percentiles), in the results' units.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum101], JCGM 101:2008 (propagation of distributions).

    >>> pair = [Parameter.relative("R1", 10e3, 0.01), Parameter.relative("R2", 10e3, 0.01)]
    >>> p = monte_carlo(lambda r: r[1:2] / (r[0] + r[1]), pair, count=20_000)
    >>> bool(0.495 < p[0, 0] < 0.5 < p[0, 1] < 0.505)
    True
    """
    results = np.atleast_2d(model(draws(parameters, count, seed)))
    return np.stack([_percentiles(row, percent) for row in results])


def _percentiles(values: Array, percent: tuple[float, ...]) -> Array:
    """Nearest-rank percentiles by partial sort: no interpolation needed at these counts."""
    ranks = [min(values.size - 1, max(0, round(p / 100.0 * (values.size - 1)))) for p in percent]
    return np.asarray(np.partition(values, sorted(set(ranks)))[ranks], dtype=float)


def influences(model: Model, parameters: Sequence[Parameter], result: int = 0) -> tuple[Influence, ...]:
    """Each parameter's pull on one result, strongest first.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.
    result : index of the result.

    Returns
    -------
    One :class:`Influence` per parameter, strongest first.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] central differences;.

    >>> pair = [Parameter.relative("R1", 30e3, 0.01), Parameter.relative("R2", 10e3, 0.05)]
    >>> first = influences(lambda r: r[1:2] / (r[0] + r[1]), pair)[0]
    >>> print(first.parameter, round(first.sensitivity, 2))
    R2 0.75
    """
    nominal, half, _ = _central(model, parameters)
    return _ranked(nominal[result], half[result], parameters)


def _ranked(value: float, half: Array, parameters: Sequence[Parameter]) -> tuple[Influence, ...]:
    rows = []
    for shift, parameter in zip(half, parameters, strict=True):
        effect = float(shift) / value
        tolerance = parameter.reach / abs(parameter.nominal) if parameter.nominal else abs(effect)
        sensitivity = effect / tolerance if tolerance else 0.0
        rows.append(
            Influence(
                parameter=parameter.name, tolerance=tolerance, sensitivity=sensitivity, shift=float(shift)
            )
        )
    return tuple(sorted(rows, key=lambda r: -abs(r.shift)))


def windows(
    model: Model, parameters: Sequence[Parameter], *, count: int = 2_000, seed: int = 1
) -> tuple[tuple[Window, ...], tuple[tuple[Influence, ...], ...]]:
    """Worst case, root-sum-square and Monte Carlo windows of every result, with ranked influences.

    ``count`` random builds from ``seed``. One row per result in both tuples; units are the model's own.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    parameters : the uncertain parts, in the order of the model's rows.
    count : random builds, 100 or more.
    seed : seed of the generator, any integer.

    Returns
    -------
    Windows and ranked influences, one entry per result in both.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], [gum101], JCGM 100:2008 and JCGM 101:2008.

    >>> pair = [Parameter.relative("R1", 10e3, 0.05), Parameter.relative("R2", 10e3, 0.05)]
    >>> (window,), _ = windows(lambda r: r[1:2] / (r[0] + r[1]), pair)
    >>> bool(window.worst_low < window.p1 < window.nominal < window.p99 < window.worst_high)
    True
    """
    nominal, half, _ = _central(model, parameters)
    low, high = _extremes(model, parameters, half)
    reach = np.sqrt(np.sum(half**2, axis=1))
    percent = monte_carlo(model, parameters, count=count, seed=seed)
    found = tuple(
        Window(
            nominal=float(nominal[i]),
            worst_low=float(low[i]),
            worst_high=float(high[i]),
            rss_low=float(nominal[i] - reach[i]),
            rss_high=float(nominal[i] + reach[i]),
            p1=float(percent[i, 0]),
            p99=float(percent[i, 1]),
        )
        for i in range(nominal.size)
    )
    return found, tuple(_ranked(float(nominal[i]), half[i], parameters) for i in range(nominal.size))
