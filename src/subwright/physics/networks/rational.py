"""Rational transfer functions whose coefficients may be arrays: one build, or a whole Monte Carlo crowd.

A polynomial in s is a tuple of coefficients, lowest power first; each coefficient is a float or an array
with one element per build.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from subwright.base.errors import ConvergenceError

from ._checks import Array, ArrayLike, Complex, positive

__all__ = [
    "Polynomial",
    "Rational",
    "add",
    "gain_band",
    "level_crossing_hz",
    "multiply",
    "power_polynomial",
    "scale",
]

Polynomial: TypeAlias = tuple[ArrayLike, ...]


def add(*terms: Polynomial) -> Polynomial:
    """Sum of polynomials of any lengths.

    Parameters
    ----------
    terms : polynomials, lowest power first; coefficients in any one unit.

    Returns
    -------
    The sum, as long as the longest term.

    Source
    ------
    [derived].

    >>> add((1.0, 2.0), (3.0,))
    (4.0, 2.0)
    """
    length = max(len(t) for t in terms)
    result: list[ArrayLike] = [0.0] * length
    for term in terms:
        for power, coefficient in enumerate(term):
            result[power] = result[power] + coefficient
    return tuple(result)


def multiply(first: Polynomial, second: Polynomial) -> Polynomial:
    """Product of two polynomials.

    Parameters
    ----------
    first, second : polynomials, lowest power first.

    Returns
    -------
    The product.

    Source
    ------
    [derived].

    >>> multiply((1.0, 2.0), (1.0, 3.0))
    (1.0, 5.0, 6.0)
    """
    result: list[ArrayLike] = [0.0] * (len(first) + len(second) - 1)
    for i, a in enumerate(first):
        for j, b in enumerate(second):
            result[i + j] = result[i + j] + a * b
    return tuple(result)


def scale(polynomial: Polynomial, factor: ArrayLike) -> Polynomial:
    """Polynomial times a factor.

    Parameters
    ----------
    polynomial : lowest power first.
    factor : any unit, scalar or array.

    Returns
    -------
    The scaled polynomial.

    Source
    ------
    [derived].

    >>> scale((1.0, 2.0), 3.0)
    (3.0, 6.0)
    """
    return tuple(c * factor for c in polynomial)


def power_polynomial(polynomial: Polynomial) -> Polynomial:
    """|P(jω)|² as a polynomial in ω², lowest power first.

    Parameters
    ----------
    polynomial : P(s), lowest power first.

    Returns
    -------
    Coefficients of ω⁰, ω², ω⁴ …

    Source
    ------
    [derived]: P(jω) P(-jω) keeps the even powers only.

    >>> power_polynomial((1.0, 2.0))
    (1.0, 4.0)
    """
    even = tuple(c * (-1) ** k for k, c in enumerate(polynomial[0::2]))
    odd = tuple(c * (-1) ** k for k, c in enumerate(polynomial[1::2]))
    squares = multiply(even, even)
    return add(squares, (0.0, *multiply(odd, odd))) if odd else squares


def _evaluate(polynomial: Polynomial, s: Complex) -> Complex:
    value: Complex = np.zeros_like(s)
    for coefficient in reversed(polynomial):
        value = value * s + coefficient
    return value


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Rational:
    """A transfer function numerator/denominator in s, V/V.

    Attributes
    ----------
    numerator, denominator : polynomials in s (s, s² … so coefficients are in powers of seconds).
    """

    numerator: Polynomial
    denominator: Polynomial

    def at(self, frequency_hz: ArrayLike) -> Complex:
        """Complex gain at ``frequency_hz`` (Hz, scalar or array that broadcasts with the coefficients).

        >>> low_pass = Rational(numerator=(1.0,), denominator=(1.0, 1e-3))
        >>> round(abs(complex(low_pass.at(159.15494309))), 6)
        0.707107
        """
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
        return _evaluate(self.numerator, s) / _evaluate(self.denominator, s)

    def __mul__(self, other: Rational) -> Rational:
        """Cascade of two blocks that don't load each other."""
        return Rational(
            numerator=multiply(self.numerator, other.numerator),
            denominator=multiply(self.denominator, other.denominator),
        )


def _power_polynomials(blocks: Sequence[Rational], unit: ArrayLike) -> tuple[Polynomial, Polynomial]:
    """|numerator|² and |denominator|² of a cascade as polynomials in (ω/unit)²; ``unit`` in rad/s."""
    above: Polynomial = (1.0,)
    below: Polynomial = (1.0,)
    for block in blocks:
        above = multiply(above, power_polynomial(block.numerator))
        below = multiply(below, power_polynomial(block.denominator))
    square = np.square(unit)
    return (
        tuple(c * square**k for k, c in enumerate(above)),
        tuple(c * square**k for k, c in enumerate(below)),
    )


def _on_grid(polynomial: Polynomial, powers: Array) -> Array:
    """A polynomial on a grid of powers, shape (grid, builds or 1), through one matrix product."""
    table = np.empty((len(polynomial), max(np.size(c) for c in polynomial)))
    for row, coefficient in zip(table, polynomial, strict=True):
        row[:] = coefficient
    return np.asarray(powers[:, : len(polynomial)] @ table)


def gain_band(
    blocks: Sequence[Rational], frequency_hz: Array, percent: tuple[float, ...] = (1.0, 50.0, 99.0)
) -> Array:
    """Percentiles of a cascade's gain over its builds.

    Parameters
    ----------
    blocks : transfer functions whose coefficients are arrays, one element per build.
    frequency_hz : Hz, > 0, shape (n,).
    percent : percentiles, 0 to 100.

    Returns
    -------
    Magnitudes, V/V, shape (percentiles, n); nearest-rank percentiles.

    Raises
    ------
    RangeError : a frequency isn't above zero.

    Source
    ------
    [gum101], propagation of distributions; power polynomials avoid complex arithmetic.

    >>> crowd = Rational(numerator=(1.0,), denominator=(1.0, np.linspace(0.9e-3, 1.1e-3, 101)))
    >>> bool(np.all(np.diff(gain_band([crowd], np.array([159.0]))[:, 0]) > 0))
    True
    """
    positive("frequency", frequency_hz, "Hz")
    grid = np.asarray(frequency_hz, dtype=float)
    unit = float(np.exp(np.mean(np.log(grid))))  # keeps the high powers of a long cascade in range
    above, below = _power_polynomials(blocks, 2.0 * np.pi * unit)
    powers = ((grid / unit) ** 2)[:, None] ** np.arange(max(len(above), len(below)))
    power = _on_grid(above, powers) / _on_grid(below, powers)
    count = power.shape[1]
    ranks = [round(p / 100.0 * (count - 1)) for p in percent]
    return np.asarray(np.sqrt(np.partition(power, sorted(set(ranks)), axis=1)[:, ranks].T))


def _value_and_slope(polynomial: Polynomial, x: Array) -> tuple[Array, Array]:
    """P(x) and P'(x) by Horner's rule."""
    value, slope = np.zeros_like(x), np.zeros_like(x)
    for coefficient in reversed(polynomial):
        slope = slope * x + value
        value = value * x + coefficient
    return value, slope


def level_crossing_hz(
    blocks: Sequence[Rational], level_ratio: ArrayLike, start_hz: ArrayLike, rounds: int = 40
) -> ArrayLike:
    """Frequency near ``start_hz`` at which a cascade's magnitude passes a level.

    Parameters
    ----------
    blocks : transfer functions; coefficients may be arrays, one element per build.
    level_ratio : magnitude looked for, V/V, > 0, scalar or array.
    start_hz : first guess on the same slope, Hz, > 0, scalar or array.
    rounds : most Newton steps in ln |H| against ln f, count.

    Returns
    -------
    Frequency, Hz.

    Raises
    ------
    RangeError : level or guess isn't above zero.
    ConvergenceError : the slope vanished or the steps didn't settle within 1e-9.

    Source
    ------
    [derived]: Newton's method on the power polynomials.

    >>> low_pass = Rational(numerator=(1.0,), denominator=(1.0, 1e-3))
    >>> round(level_crossing_hz([low_pass], 0.5**0.5, 100.0), 4)
    159.1549
    """
    positive("level", level_ratio, "")
    positive("first guess", start_hz, "Hz")
    start = 2 * np.pi * np.asarray(start_hz, dtype=float)
    unit = np.square(start)
    above, below = _power_polynomials(blocks, start)
    wanted = 2.0 * np.log(np.asarray(level_ratio, dtype=float))
    log_x: Array = np.zeros(unit.shape)  # of ω² over its first guess
    for _ in range(rounds):
        x = np.exp(log_x)
        top, top_slope = _value_and_slope(above, x)
        bottom, bottom_slope = _value_and_slope(below, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = x * (top_slope / top - bottom_slope / bottom)
            step = np.clip((np.log(top / bottom) - wanted) / slope, -0.7, 0.7)
        if not np.all(np.isfinite(step)):
            break
        log_x = log_x - step
        if np.max(np.abs(step)) < 1e-11:
            crossing = np.asarray(np.sqrt(unit * np.exp(log_x)) / (2 * np.pi))
            return crossing if crossing.ndim else float(crossing)
    raise ConvergenceError(
        message="The filter's response doesn't pass the level looked for near its corner.",
        quantity="corner frequency",
        value=f"near {float(np.ravel(start_hz)[0]):.4g} Hz",
        remedy="Check the filter's part values.",
    )
