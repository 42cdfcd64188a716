"""Comparator networks in preferred values: trip and release hit at once, by exhaustive search.

Two unknowns fix two thresholds and the third only sets the impedance level, so among all triples many come
close. ``exhaustive=True`` tries every triple; the default solves one resistor for the best compromise and
looks at its preferred neighbours, which gives the same best error (the error is convex in that resistor) in a
fraction of the time. Choices are ranked by error, then by spread (what equal tolerances do to the
thresholds), then by the number of distinct values; the first two in steps, so that a difference no builder
could measure doesn't cost a fourth value in the drawer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import NoSolutionError

from ._checks import Array, Indices, between, positive
from .comparators import inverting_levels_v

__all__ = [
    "InvertingChoice",
    "RatioChoice",
    "SensingChoice",
    "search_inverting",
    "search_ratio",
    "search_sensing",
]

_ERROR_STEP = 0.001  # thresholds closer together than this share a rank
_SPREAD_STEP = 0.02
_SHORTLIST = 400


@dataclass(frozen=True, kw_only=True, slots=True)
class SensingChoice:
    """A sensing network in preferred values: resistors in Ω, thresholds in V, the rest dimensionless."""

    top_ohm: float
    bottom_ohm: float
    feedback_ohm: float
    falling_v: float
    rising_v: float
    error: float  # the larger relative miss of the two thresholds
    spread: float  # worst relative shift of a threshold per unit of resistor tolerance
    distinct: int


@dataclass(frozen=True, kw_only=True, slots=True)
class InvertingChoice:
    """An inverting network in preferred values: resistors in Ω, levels in V, the rest dimensionless."""

    r1_ohm: float
    r2_ohm: float  # infinite: left out
    r3_ohm: float
    high_v: float
    low_v: float
    error: float
    spread: float
    distinct: int


@dataclass(frozen=True, kw_only=True, slots=True)
class RatioChoice:
    """Two preferred resistors (Ω) with a wanted ratio upper/lower."""

    upper_ohm: float
    lower_ohm: float
    ratio: float
    error: float  # relative


def _ranked(error: Array, spread: Array, distinct: Indices, keep: int) -> Indices:
    """Indices of the best choices."""
    order = np.lexsort(
        (error, distinct, np.floor(spread / _SPREAD_STEP + 1e-9), np.floor(error / _ERROR_STEP + 1e-9))
    )
    return order[:keep]


def _shortlist(error: Array, limit: float = np.inf) -> Indices:
    """Indices of the smallest errors, none above ``limit``."""
    near = np.flatnonzero(error <= limit)
    if near.size <= _SHORTLIST:
        return near
    return np.asarray(near[np.argpartition(error[near], _SHORTLIST)[:_SHORTLIST]])


def _distinct(*columns: Array) -> Indices:
    """How many different values each triple has."""
    table = np.sort(np.stack(columns), axis=0)
    return np.asarray(1 + np.sum(np.diff(table, axis=0) > 1e-9 * table[:-1], axis=0))


def _neighbour_indices(values: Array, wanted: Array, each_side: int) -> Indices:
    """Indices of the values around each wanted one, last axis 2 · each_side."""
    place = np.searchsorted(values, wanted)
    return np.asarray(np.clip(place[..., None] + np.arange(-each_side, each_side), 0, values.size - 1))


def _refuse(what: str, error: float, limit: float) -> NoSolutionError:
    return NoSolutionError(
        message=f"No set of these resistor values comes close enough to the {what}.",
        quantity=f"{what} error",
        value=f"{100 * error:.2f} %",
        limit=f"{100 * limit:.2f} %",
        remedy="Allow a finer resistor series or more stock values, or move the wanted thresholds.",
    )


def search_sensing(
    falling_v: float,
    rising_v: float,
    *,
    top_ohm: Array,
    bottom_ohm: Array,
    feedback_ohm: Array,
    reference_v: float,
    pullup_v: float,
    pullup_ohm: float = 0.0,
    low_v: float = 0.0,
    bias_a: float = 0.0,
    error_limit: float = 0.05,
    keep: int = 20,
    exhaustive: bool = False,
) -> tuple[SensingChoice, ...]:
    """Sensing networks (see :func:`~.comparators.sensing_thresholds_v`) for two wanted thresholds.

    Parameters
    ----------
    falling_v, rising_v : wanted thresholds at the watched voltage, V; rising above falling.
    top_ohm, bottom_ohm, feedback_ohm : values to choose from, ohm, ascending, 1-D: a series or the stock.
    reference_v, pullup_v, low_v : reference, pull-up supply and V_OL, V.
    pullup_ohm : ohm, >= 0.
    bias_a : current out of the + input, A.
    error_limit : largest relative miss allowed, dimensionless.
    keep : how many choices to return.
    exhaustive : try every triple instead of solving for the lower resistor.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : thresholds in the wrong order or not above the reference.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [derived] from the node equation of the network.

    >>> e24 = 1e3 * np.array([10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62,
    ...     68, 75, 82, 91])
    >>> best = search_sensing(10.5, 12.0, top_ohm=e24, bottom_ohm=e24, feedback_ohm=np.r_[e24, 10 * e24],
    ...     reference_v=5.0, pullup_v=5.0, pullup_ohm=10e3, low_v=0.2)[0]
    >>> best.error < 0.002
    True
    """
    positive("hysteresis", rising_v - falling_v, "V")
    positive("threshold above the reference", falling_v - reference_v, "V")
    top, bottom, feedback = (np.asarray(v, dtype=float) for v in (top_ohm, bottom_ohm, feedback_ohm))
    # falling = Vref + R_top (Vref/R_bottom + f), rising = Vref + R_top (Vref/R_bottom + r)
    f = (reference_v - pullup_v) / (feedback + pullup_ohm) - bias_a
    r = (reference_v - low_v) / feedback - bias_a
    i: Indices
    if exhaustive:
        i, j, k = _all_triples(top, bottom, reference_v, f, r, falling_v, rising_v)
    else:
        t = top[:, None]
        # equal and opposite relative misses: the least possible for this pair
        sum_of_ratios = 2.0 - reference_v * (1.0 / falling_v + 1.0 / rising_v)
        drop = sum_of_ratios - t * (f / falling_v + r / rising_v)
        inverse = drop / (t * reference_v * (1.0 / falling_v + 1.0 / rising_v))
        wanted = 1.0 / np.maximum(inverse, 1e-12)
        near = _neighbour_indices(bottom, wanted, 1)
        i, j, k = np.arange(top.size)[:, None, None], near, np.arange(feedback.size)[None, :, None]
    shift = reference_v / bottom[j]
    falling = reference_v + top[i] * (shift + f[k])
    rising = reference_v + top[i] * (shift + r[k])
    error = np.maximum(np.abs(falling / falling_v - 1.0), np.abs(rising / rising_v - 1.0))
    if error.min() > error_limit:
        raise _refuse("trip and release voltages", float(error.min()), error_limit)
    i, j, k = np.broadcast_arrays(i, j, k)
    best = np.unravel_index(_shortlist(error.ravel(), error_limit), error.shape)
    i, j, k = i[best], j[best], k[best]
    falling, rising, error = falling[best], rising[best], error[best]
    by_bottom = top[i] * reference_v / bottom[j]
    by_feedback_f = np.abs(top[i] * (reference_v - pullup_v) * feedback[k]) / (feedback[k] + pullup_ohm) ** 2
    by_feedback_r = np.abs(top[i] * (reference_v - low_v) / feedback[k])
    spread = np.maximum(
        (falling - reference_v + by_bottom + by_feedback_f) / falling,
        (rising - reference_v + by_bottom + by_feedback_r) / rising,
    )
    distinct = _distinct(top[i], bottom[j], feedback[k])
    return tuple(
        SensingChoice(
            top_ohm=float(top[i[n]]),
            bottom_ohm=float(bottom[j[n]]),
            feedback_ohm=float(feedback[k[n]]),
            falling_v=float(falling[n]),
            rising_v=float(rising[n]),
            error=float(error[n]),
            spread=float(spread[n]),
            distinct=int(distinct[n]),
        )
        for n in _ranked(error, spread, distinct, keep)
    )


def _all_triples(
    top: Array, bottom: Array, reference_v: float, f: Array, r: Array, falling_v: float, rising_v: float
) -> tuple[Indices, Indices, Indices]:
    """Index triples of the smallest errors over the whole grid, one slab per upper resistor."""
    base_f = (reference_v / bottom)[:, None] + f[None, :]
    base_r = (reference_v / bottom)[:, None] + r[None, :]
    found: list[Indices] = []
    errors: list[Array] = []
    slab = np.empty_like(base_f)
    other = np.empty_like(base_r)
    for number, t in enumerate(top):
        np.multiply(base_f, t / falling_v, out=slab)
        np.multiply(base_r, t / rising_v, out=other)
        slab += reference_v / falling_v - 1.0
        other += reference_v / rising_v - 1.0
        np.abs(slab, out=slab)
        np.abs(other, out=other)
        np.maximum(slab, other, out=slab)
        flat = slab.ravel()
        best = _shortlist(flat)
        found.append(best + number * flat.size)
        errors.append(flat[best])
    places = np.concatenate(found)[_shortlist(np.concatenate(errors))]
    i, rest = np.divmod(places, base_f.size)
    j, k = np.divmod(rest, base_f.shape[1])
    return i, j, k


def search_inverting(
    high_v: float,
    low_level_v: float,
    *,
    r1_ohm: Array,
    r2_ohm: Array,
    r3_ohm: Array,
    supply_v: float,
    pullup_v: float,
    pullup_ohm: float = 0.0,
    low_v: float = 0.0,
    error_limit: float = 0.05,
    keep: int = 20,
    exhaustive: bool = False,
) -> tuple[InvertingChoice, ...]:
    """Inverting networks (see :func:`~.comparators.inverting_levels_v`) for two wanted levels.

    Parameters
    ----------
    high_v, low_level_v : wanted + input voltage with the output high, and low, V.
    r1_ohm, r2_ohm, r3_ohm : values to choose from, ohm, ascending, 1-D; ``r2_ohm`` of one infinite value
        leaves R2 out.
    supply_v, pullup_v, low_v : supply of R1, pull-up supply and V_OL, V.
    pullup_ohm : ohm, >= 0.
    error_limit : largest relative miss allowed, dimensionless.
    keep : how many choices to return.
    exhaustive : try every triple instead of solving for R2.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : levels in the wrong order or outside the supply.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [ti-an74] for the network; search [derived].

    >>> e12 = np.array([10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]) * 1e3
    >>> best = search_inverting(10.0, 5.0, r1_ohm=e12, r2_ohm=e12, r3_ohm=e12, supply_v=15.0,
    ...     pullup_v=15.0)[0]
    >>> best.distinct, best.error < 1e-9
    (1, True)
    """
    positive("hysteresis", high_v - low_level_v, "V")
    positive("lower level above the saturated output", low_level_v - low_v, "V")
    between("upper level", high_v, 0.0, max(supply_v, pullup_v), "V", "the network's supplies")
    r1, r2, r3 = (np.asarray(v, dtype=float) for v in (r1_ohm, r2_ohm, r3_ohm))
    i: Indices
    j: Indices
    k: Indices
    if exhaustive or not np.all(np.isfinite(r2)) or r2.size <= 4:
        i, k, j = np.ix_(np.arange(r1.size), np.arange(r3.size), np.arange(r2.size))
    else:
        g1, g3h, g3l = 1.0 / r1[:, None], 1.0 / (r3 + pullup_ohm)[None, :], 1.0 / r3[None, :]
        a, c = (supply_v * g1 + pullup_v * g3h) / high_v, g1 + g3h
        b, d = (supply_v * g1 + low_v * g3l) / low_level_v, g1 + g3l
        # a/(c + y) + b/(d + y) = 2: equal and opposite misses; y = 1/R2
        p = 0.5 * (c + d) - 0.25 * (a + b)
        inverse = -p + np.sqrt(np.maximum(0.0, p * p - c * d + 0.5 * (a * d + b * c)))
        near = _neighbour_indices(r2, 1.0 / np.maximum(inverse, 1e-12), 2)
        i, j, k = np.arange(r1.size)[:, None, None], near, np.arange(r3.size)[None, :, None]
    high, low = (
        np.asarray(v)
        for v in inverting_levels_v(
            r1_ohm=r1[i],
            r2_ohm=r2[j],
            r3_ohm=r3[k],
            supply_v=supply_v,
            pullup_v=pullup_v,
            pullup_ohm=pullup_ohm,
            low_v=low_v,
        )
    )
    error = np.maximum(np.abs(high / high_v - 1.0), np.abs(low / low_level_v - 1.0))
    if error.min() > error_limit:
        raise _refuse("trip and release levels", float(error.min()), error_limit)
    i, j, k = np.broadcast_arrays(i, j, k)
    best = np.unravel_index(_shortlist(error.ravel(), error_limit), error.shape)
    i, j, k, high, low, error = i[best], j[best], k[best], high[best], low[best], error[best]
    spread = np.maximum(
        _level_spread(high, 1.0 / r1[i], 1.0 / r2[j], 1.0 / (r3[k] + pullup_ohm), supply_v, pullup_v),
        _level_spread(low, 1.0 / r1[i], 1.0 / r2[j], 1.0 / r3[k], supply_v, low_v),
    )
    distinct = _distinct(r1[i], np.where(np.isfinite(r2[j]), r2[j], r1[i]), r3[k])
    return tuple(
        InvertingChoice(
            r1_ohm=float(r1[i[n]]),
            r2_ohm=float(r2[j[n]]),
            r3_ohm=float(r3[k[n]]),
            high_v=float(high[n]),
            low_v=float(low[n]),
            error=float(error[n]),
            spread=float(spread[n]),
            distinct=int(distinct[n]),
        )
        for n in _ranked(error, spread, distinct, keep)
    )


def _level_spread(level: Array, g1: Array, g2: Array, g3: Array, supply_v: float, output_v: float) -> Array:
    """Sum of |d ln level / d ln R| over the three resistors."""
    total = g1 + g2 + g3
    pull = np.abs(supply_v - level) * g1 + level * g2 + np.abs(output_v - level) * g3
    return np.asarray(pull / (total * level))


def search_ratio(
    ratio: float, *, upper_ohm: Array, lower_ohm: Array, error_limit: float = 0.12, keep: int = 20
) -> tuple[RatioChoice, ...]:
    """Pairs of preferred resistors with a wanted ratio, nearest first.

    Parameters
    ----------
    ratio : wanted upper/lower, dimensionless, > 0.
    upper_ohm, lower_ohm : values to choose from, ohm, ascending, 1-D.
    error_limit : largest relative miss allowed, dimensionless.
    keep : how many pairs to return.

    Returns
    -------
    Pairs, best first; among equals the one with the lower resistance first.

    Raises
    ------
    RangeError : the ratio isn't above zero.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [derived].

    >>> e12 = np.array([10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]) * 1e3
    >>> pair = search_ratio(2.2, upper_ohm=e12, lower_ohm=e12)[0]
    >>> pair.upper_ohm, pair.lower_ohm
    (22000.0, 10000.0)
    """
    positive("resistor ratio", ratio, "")
    upper, lower = np.asarray(upper_ohm, dtype=float), np.asarray(lower_ohm, dtype=float)
    near = _neighbour_indices(upper, lower * ratio, 1)
    found = upper[near] / lower[:, None]
    error = np.abs(found / ratio - 1.0).ravel()
    if error.min() > error_limit:
        raise _refuse("resistor ratio", float(error.min()), error_limit)
    order = np.lexsort((near.ravel(), np.round(error, 9)))
    order = order[error[order] <= error_limit][:keep]
    return tuple(
        RatioChoice(
            upper_ohm=float(upper[near.ravel()[n]]),
            lower_ohm=float(lower[n // near.shape[1]]),
            ratio=float(found.ravel()[n]),
            error=float(error[n]),
        )
        for n in order
    )
