"""Preferred number series E3 to E192, and the searches that designs need: nearest, at least, at most, around.

Source
------
[iec-60063], tables 1 to 4.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import overload

import numpy as np
import numpy.typing as npt

from subwright.base.errors import RangeError

__all__ = [
    "SERIES",
    "Array",
    "at_least",
    "at_most",
    "between",
    "is_member",
    "nearest",
    "neighbours",
    "values",
]

Array = npt.NDArray[np.float64]

# The 24-series is not the rounded geometric one: eight of its members depart from it.
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


def _e192() -> tuple[int, ...]:
    geometric = [round(100.0 * 10.0 ** (i / 192)) for i in range(192)]
    geometric[185] = 920  # the standard prints 920 where the progression gives 919
    return tuple(geometric)


_MANTISSAS: dict[str, tuple[int, ...]] = {
    "E3": _E24[::8],
    "E6": _E24[::4],
    "E12": _E24[::2],
    "E24": _E24,
    "E48": _e192()[::4],
    "E96": _e192()[::2],
    "E192": _e192(),
}

SERIES: tuple[str, ...] = tuple(_MANTISSAS)
"""Names of the series, coarsest first."""

_DECADES = range(-18, 19)
_EDGE = 1e-9  # relative: a value this close to a member is that member


def _known(series: str) -> str:
    if series not in _MANTISSAS:
        raise RangeError(
            message=f"there is no preferred number series {series!r}",
            quantity="series",
            value=repr(series),
            limit=", ".join(SERIES),
            source="iec-60063",
            remedy="use one of the series named",
        )
    return series


def values(series: str) -> Array:
    """One decade of a series.

    Parameters
    ----------
    series : "E3", "E6", "E12", "E24", "E48", "E96" or "E192".

    Returns
    -------
    Members from 1 to below 10, ascending, dimensionless, shape (n,).

    Raises
    ------
    RangeError : no such series.

    Source
    ------
    [iec-60063], tables 1 to 4.

    Examples
    --------
    >>> values("E6").tolist()
    [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    """
    mantissas = np.array(_MANTISSAS[_known(series)], dtype=np.float64)
    return np.asarray(mantissas / mantissas[0])


@lru_cache(maxsize=len(_MANTISSAS))
def _all(series: str) -> Array:
    """Every member from 1e-18 to below 1e19, each the float nearest to its decimal value."""
    mantissas = _MANTISSAS[_known(series)]
    shift = len(str(mantissas[0])) - 1
    table = np.array([float(f"{m}e{decade - shift}") for decade in _DECADES for m in mantissas])
    table.flags.writeable = False
    return table


@lru_cache(maxsize=len(_MANTISSAS))
def _midpoints(series: str) -> Array:
    """Geometric means of neighbouring members: where the nearest member by ratio changes."""
    table = _all(series)
    return np.asarray(np.sqrt(table[:-1] * table[1:]))


def _checked(value: float | npt.ArrayLike, series: str) -> Array:
    array = np.asarray(value, dtype=np.float64)
    table = _all(series)
    if array.size and not table[0] <= array.min() <= array.max() <= table[-1]:
        raise RangeError(
            message="a preferred value exists for positive finite numbers only",
            quantity="value",
            value=repr(value),
            limit=f"{table[0]:.3g} to {table[-1]:.3g}",
            source="iec-60063",
        )
    return array


@overload
def nearest(value: float, series: str) -> float: ...
@overload
def nearest(value: Array, series: str) -> Array: ...
def nearest(value: float | Array, series: str) -> float | Array:
    """Member nearest to ``value`` by ratio: the one with the least |ln(member/value)|.

    Parameters
    ----------
    value : positive value in any unit, scalar or array of any shape.
    series : series name.

    Returns
    -------
    The member, in the unit and shape of ``value``; at an exact tie the smaller one.

    Raises
    ------
    RangeError : no such series, or a value that is not within 1e-18 to 9e18.

    Source
    ------
    [iec-60063] for the members; the ratio metric follows from tolerances being relative (derived).

    Examples
    --------
    >>> nearest(1234.9, "E96"), nearest(1234.9, "E24")
    (1240.0, 1200.0)
    """
    array = _checked(value, series)
    member = _all(series)[np.searchsorted(_midpoints(series), array)]
    return member if isinstance(value, np.ndarray) else float(member)


@overload
def at_least(value: float, series: str) -> float: ...
@overload
def at_least(value: Array, series: str) -> Array: ...
def at_least(value: float | Array, series: str) -> float | Array:
    """Smallest member that is not below ``value``; one part in 10⁹ below still counts as equal.

    Parameters
    ----------
    value : positive value in any unit, scalar or array of any shape.
    series : series name.

    Returns
    -------
    The member, in the unit and shape of ``value``.

    Raises
    ------
    RangeError : no such series, or a value that is not within 1e-18 to 9e18.

    Source
    ------
    [iec-60063] for the members.
    """
    array = _checked(value, series)
    table = _all(series)
    member = table[np.searchsorted(table, array * (1.0 - _EDGE))]
    return member if isinstance(value, np.ndarray) else float(member)


@overload
def at_most(value: float, series: str) -> float: ...
@overload
def at_most(value: Array, series: str) -> Array: ...
def at_most(value: float | Array, series: str) -> float | Array:
    """Largest member that is not above ``value``; one part in 10⁹ above still counts as equal.

    Parameters
    ----------
    value : positive value in any unit, scalar or array of any shape.
    series : series name.

    Returns
    -------
    The member, in the unit and shape of ``value``.

    Raises
    ------
    RangeError : no such series, or a value that is not within 1e-18 to 9e18.

    Source
    ------
    [iec-60063] for the members.
    """
    array = _checked(value, series)
    table = _all(series)
    member = table[np.searchsorted(table, array * (1.0 + _EDGE), side="right") - 1]
    return member if isinstance(value, np.ndarray) else float(member)


def between(lo: float, hi: float, series: str) -> Array:
    """Every member from ``lo`` to ``hi``, both ends included.

    Parameters
    ----------
    lo, hi : positive bounds in one unit.
    series : series name.

    Returns
    -------
    Members, ascending, in the unit of the bounds, shape (n,); empty where none lies between.

    Raises
    ------
    RangeError : no such series, a bound that is not within 1e-18 to 9e18, or ``lo`` above ``hi``.

    Source
    ------
    [iec-60063] for the members.
    """
    _checked(lo, series)
    _checked(hi, series)
    if lo > hi:
        raise RangeError(
            message="the lower bound lies above the upper one",
            quantity="lower bound",
            value=repr(lo),
            limit=repr(hi),
        )
    table = _all(series)
    first = int(np.searchsorted(table, lo * (1.0 - _EDGE)))
    last = int(np.searchsorted(table, hi * (1.0 + _EDGE), side="right"))
    return table[first:last].copy()


def neighbours(value: float, series: str, count: int) -> Array:
    """The ``count`` members nearest to ``value`` by ratio.

    Parameters
    ----------
    value : positive value in any unit.
    series : series name.
    count : how many members, 1 to 200, dimensionless.

    Returns
    -------
    Members, ascending, in the unit of ``value``, shape (count,).

    Raises
    ------
    RangeError : no such series, a value that is not within 1e-18 to 9e18, or a count out of range.

    Source
    ------
    [iec-60063] for the members.
    """
    if not 1 <= count <= 200:
        raise RangeError(
            message="count must be 1 to 200", quantity="count", value=str(count), limit="1 to 200"
        )
    _checked(value, series)
    table = _all(series)
    centre = int(np.searchsorted(table, value))
    window = table[max(0, centre - count) : centre + count]
    order = np.argsort(np.abs(np.log(window / value)), kind="stable")[:count]
    return np.sort(window[order])


def is_member(value: float, series: str) -> bool:
    """Whether ``value`` is a member of the series to within one part in 10⁹.

    Parameters
    ----------
    value : positive value in any unit.
    series : series name.

    Returns
    -------
    True or False.

    Raises
    ------
    RangeError : no such series, or a value that is not within 1e-18 to 9e18.
    """
    return math.isclose(nearest(float(value), series), value, rel_tol=_EDGE)
