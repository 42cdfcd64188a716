"""Filter stages in preferred values: capacitors first (few values exist), then the resistors that fit them.

Every capacitor pair of the list is tried with the resistors around its exact solution. Choices are ranked by
the larger relative miss of pole frequency and Q, in steps, then by the number of distinct values, then by
total capacitance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import NoSolutionError

from ._checks import Array, Indices, between, positive
from .sallen_key import sallen_key_highpass_f0_q, sallen_key_lowpass_f0_q

__all__ = [
    "EqualComponentChoice",
    "StageChoice",
    "near_pairs",
    "nearest",
    "ratios",
    "search_equal_component",
    "search_sallen_key_highpass",
    "search_sallen_key_lowpass",
]

_ERROR_STEP = 0.0025  # misses closer together than this share a rank


@dataclass(frozen=True, kw_only=True, slots=True)
class StageChoice:
    """A unity-gain Sallen–Key stage in preferred values; Ω, F, Hz.

    Low-pass: resistors R1, R2 and capacitors C_f (to the output), C_g (to ground).
    High-pass: resistors R_f (to the output), R_g (to ground) and capacitors C1, C2.
    """

    resistors_ohm: tuple[float, float]
    capacitors_f: tuple[float, float]
    f0_hz: float
    q: float
    error: float  # larger relative miss of f0 and Q
    distinct: int


@dataclass(frozen=True, kw_only=True, slots=True)
class EqualComponentChoice:
    """A Sallen–Key stage of equal capacitors and (nearly) equal resistors in preferred values; Ω, F, Hz."""

    resistor_ohm: float  # from the input
    second_ohm: float  # to the + input: the same, or a near value where that hits the pole better
    capacitor_f: float
    gain_upper_ohm: float
    gain_lower_ohm: float
    gain: float
    f0_hz: float
    q: float
    error: float


def _around(values: Array, wanted: Array) -> Array:
    """The values just below and just above each wanted one; shape (..., 2)."""
    place = np.searchsorted(values, wanted)
    return np.asarray(values[np.clip(place[..., None] + np.array([-1, 0]), 0, values.size - 1)])


def _choices(
    r_a: Array,
    r_b: Array,
    c_a: Array,
    c_b: Array,
    f0: Array,
    q: Array,
    f0_hz: float,
    q_wanted: float,
    error_limit: float,
    error_step: float,
    keep: int,
) -> tuple[StageChoice, ...]:
    error = np.maximum(np.abs(f0 / f0_hz - 1.0), np.abs(q / q_wanted - 1.0))
    allowed = np.flatnonzero(error <= error_limit)
    if allowed.size == 0:
        raise NoSolutionError(
            message="No set of these capacitors and resistors gives the wanted filter stage.",
            quantity="pole frequency and Q error",
            value=f"{100 * float(error.min()):.2f} %" if error.size else "no pair of capacitors fits",
            limit=f"{100 * error_limit:.2f} %",
            remedy="Allow a finer series, more capacitor values, or a wider range of resistors.",
        )
    r_a, r_b, c_a, c_b, f0, q, error = (x[allowed] for x in (r_a, r_b, c_a, c_b, f0, q, error))
    distinct = 2 + (np.abs(r_a - r_b) > 1e-9 * r_a).astype(int) + (np.abs(c_a - c_b) > 1e-9 * c_a).astype(int)
    order = np.lexsort((error, c_a + c_b, distinct, np.floor(error / error_step + 1e-9)))[:keep]
    return tuple(
        StageChoice(
            resistors_ohm=(float(r_a[n]), float(r_b[n])),
            capacitors_f=(float(c_a[n]), float(c_b[n])),
            f0_hz=float(f0[n]),
            q=float(q[n]),
            error=float(error[n]),
            distinct=int(distinct[n]),
        )
        for n in order
    )


def search_sallen_key_lowpass(
    f0_hz: float,
    q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    error_limit: float = 0.06,
    error_step: float = _ERROR_STEP,
    keep: int = 10,
) -> tuple[StageChoice, ...]:
    """Unity-gain Sallen–Key low-pass stages for a wanted pole frequency and Q.

    Parameters
    ----------
    f0_hz, q : wanted pole frequency, Hz, > 0, and Q, 0.3 to 5.
    capacitors_f, resistors_ohm : F and ohm, ascending, 1-D: the values to choose from.
    error_limit : largest relative miss of f0 and Q, dimensionless.
    error_step : misses closer together than this share a rank, dimensionless.
    keep : how many choices to return.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : frequency or Q out of range.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [opamps-for-everyone], chapter 16, for the exact resistors; search [derived].

    >>> c = np.array([33e-9, 47e-9, 68e-9, 100e-9, 150e-9, 220e-9])
    >>> r = np.array([10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51]) * 1e3
    >>> search_sallen_key_lowpass(80.0, 0.5**0.5, capacitors_f=c, resistors_ohm=r)[0].error < 0.02
    True
    """
    positive("pole frequency", f0_hz, "Hz")
    between("Q", q, 0.3, 5.0, "", "unity-gain Sallen–Key low-pass")
    values = np.asarray(resistors_ohm, dtype=float)
    caps = np.asarray(capacitors_f, dtype=float)
    cf, cg = (x.ravel() for x in np.meshgrid(caps, caps, indexing="ij"))
    # A pair that misses the Q by no more than the error allowed serves as well, with equal resistors.
    reach = 0.5 * np.sqrt(cf / cg)
    fits = reach >= q * (1.0 - error_limit)
    cf, cg, reach = cf[fits], cg[fits], reach[fits]
    total = 1.0 / (2 * np.pi * f0_hz * np.minimum(q, reach) * cg)
    difference = total * np.sqrt(np.maximum(1.0 - 4.0 * q * q * cg / cf, 0.0))
    pairs = _pairs(values, 0.5 * (total - difference), 0.5 * (total + difference))
    r1, r2, index = pairs
    # either resistor may come first: the pole frequency is the same, Q isn't once rounded
    r1, r2 = np.concatenate([r1, r2]), np.concatenate([r2, r1])
    cf, cg = np.tile(cf[index], 2), np.tile(cg[index], 2)
    f0, quality = (np.asarray(v) for v in sallen_key_lowpass_f0_q(r1, r2, cf, cg)) if r1.size else (r1, r1)
    return _choices(r1, r2, cf, cg, f0, quality, f0_hz, q, error_limit, error_step, keep)


def search_sallen_key_highpass(
    f0_hz: float,
    q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    error_limit: float = 0.06,
    error_step: float = _ERROR_STEP,
    keep: int = 10,
) -> tuple[StageChoice, ...]:
    """Unity-gain Sallen–Key high-pass stages for a wanted pole frequency and Q.

    Parameters
    ----------
    f0_hz, q : wanted pole frequency, Hz, > 0, and Q, 0.3 to 5.
    capacitors_f, resistors_ohm : F and ohm, ascending, 1-D: the values to choose from.
    error_limit : largest relative miss of f0 and Q, dimensionless.
    error_step : misses closer together than this share a rank, dimensionless.
    keep : how many choices to return.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : frequency or Q out of range.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [opamps-for-everyone], chapter 16, for the exact resistors; search [derived].

    >>> c = np.array([100e-9, 150e-9, 220e-9, 330e-9])
    >>> r = np.array([10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82, 100, 120]) * 1e3
    >>> search_sallen_key_highpass(20.0, 0.5**0.5, capacitors_f=c, resistors_ohm=r)[0].error < 0.05
    True
    """
    positive("pole frequency", f0_hz, "Hz")
    between("Q", q, 0.3, 5.0, "", "unity-gain Sallen–Key high-pass")
    values = np.asarray(resistors_ohm, dtype=float)
    caps = np.asarray(capacitors_f, dtype=float)
    c1, c2 = (x.ravel() for x in np.meshgrid(caps, caps, indexing="ij"))
    w0 = 2 * np.pi * f0_hz
    rf, rg, index = _pairs(values, 1.0 / (w0 * q * (c1 + c2)), q * (c1 + c2) / (w0 * c1 * c2))
    c1, c2 = c1[index], c2[index]
    f0, quality = (np.asarray(v) for v in sallen_key_highpass_f0_q(c1, c2, rf, rg)) if rf.size else (rf, rf)
    return _choices(rf, rg, c1, c2, f0, quality, f0_hz, q, error_limit, error_step, keep)


def near_pairs(values: Array, capacitors_f: Array, f0_hz: float) -> tuple[Array, Array, Array]:
    """Pairs of the four values around 1/(2π f0 C) for each capacitor.

    Parameters
    ----------
    values : resistors to choose from, rising, Ω, 1-D.
    capacitors_f : F, 1-D.
    f0_hz : of the pole, Hz, > 0.

    Returns
    -------
    R1 and R2 in ohm, C in F, each 1-D.

    Source
    ------
    ``R = 1/(2π f0 C)`` of equal resistors and capacitors, [derived].
    """
    exact = 1.0 / (2 * np.pi * f0_hz * capacitors_f)
    place = np.searchsorted(values, exact)[:, None] + np.array([-2, -1, 0, 1])
    r = values[np.clip(place, 0, values.size - 1)]
    r1, r2, c = np.broadcast_arrays(r[:, :, None], r[:, None, :], capacitors_f[:, None, None])
    return r1.ravel(), r2.ravel(), c.ravel()


def ratios(made: Array, upper: Array, lower: Array) -> tuple[Array, Array, Array]:
    """Ratios that two resistors make, each once with the lowest resistance.

    Parameters
    ----------
    made : the ratios, dimensionless, 1-D.
    upper, lower : the resistors that make them, Ω, 1-D.

    Returns
    -------
    Ratios, rising, dimensionless, and their upper and lower resistor, ohm; each 1-D.

    Source
    ------
    Sorting, [derived].
    """
    order = np.lexsort((lower, np.round(made, 9)))
    first = np.diff(np.round(made[order], 9), prepend=-np.inf) > 0.0
    order = order[first]
    return made[order], upper[order], lower[order]


def nearest(rising: Array, wanted: Array) -> Indices:
    """Index of the nearest of rising values to each wanted one.

    Parameters
    ----------
    rising : values, dimensionless or in any unit, 1-D, two or more.
    wanted : in the same unit, 1-D.

    Returns
    -------
    Indices into ``rising``, dimensionless, 1-D.

    Source
    ------
    Bisection, [derived].
    """
    place = np.clip(np.searchsorted(rising, wanted), 1, rising.size - 1)
    return np.asarray(place - (wanted - rising[place - 1] < rising[place] - wanted))


def _pairs(values: Array, first: Array, second: Array) -> tuple[Array, Array, Array]:
    """Four roundings of each exact pair that lies inside the list, with the index of the exact pair."""
    low, high = values[0] * (1 - 1e-9), values[-1] * (1 + 1e-9)
    inside = np.flatnonzero((first >= low) & (first <= high) & (second >= low) & (second <= high))
    a = _around(values, first[inside])
    b = _around(values, second[inside])
    return a[:, [0, 0, 1, 1]].ravel(), b[:, [0, 1, 0, 1]].ravel(), np.repeat(inside, 4)


def search_equal_component(
    f0_hz: float,
    q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    gain_resistors_ohm: Array,
    error_limit: float = 0.06,
    error_step: float = _ERROR_STEP,
    keep: int = 10,
) -> tuple[EqualComponentChoice, ...]:
    """Sallen–Key stages of equal capacitors and (nearly) equal resistors in preferred values.

    Equal resistors come first; where they miss the pole by a step or more, R2 may be one of the next two
    values and the gain is 2 + R2/R1 - √(R2/R1)/Q, which is 3 - 1/Q for equal ones.

    Parameters
    ----------
    f0_hz, q : wanted pole frequency, Hz, > 0, and Q, 0.51 to 5.
    capacitors_f, resistors_ohm : values to choose from, F and ohm, ascending, 1-D.
    gain_resistors_ohm : values for the op-amp's divider, ohm, ascending, 1-D.
    error_limit : largest relative miss of f0 and Q, dimensionless.
    error_step : misses closer together than this share a rank, dimensionless.
    keep : how many choices to return.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : frequency or Q out of range.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [opamps-for-everyone], chapter 16 (general case of the stage).

    >>> e24 = np.array([10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51]) * 1e3
    >>> best = search_equal_component(79.6, 0.5**0.5, capacitors_f=np.array([100e-9]), resistors_ohm=e24,
    ...     gain_resistors_ohm=e24)[0]
    >>> best.resistor_ohm, round(best.f0_hz, 2)
    (20000.0, 79.58)
    """
    positive("pole frequency", f0_hz, "Hz")
    between("Q", q, 0.51, 5.0, "", "equal-component Sallen–Key")
    values = np.asarray(resistors_ohm, dtype=float)
    caps = np.asarray(capacitors_f, dtype=float)
    gains = np.asarray(gain_resistors_ohm, dtype=float)
    r1, r2, c = near_pairs(values, caps, f0_hz)
    upper, lower = (x.ravel() for x in np.meshgrid(gains, gains, indexing="ij"))
    gain, upper, lower = ratios(1.0 + upper / lower, upper, lower)
    ratio = r2 / r1
    n = nearest(gain, 2.0 + ratio - np.sqrt(ratio) / q)
    damping = 2.0 - gain[n] + ratio  # of R1: Q = √(R2/R1)/damping
    quality = np.where(damping > 0.01, np.sqrt(ratio) / np.maximum(damping, 0.01), np.inf)
    f0 = 1.0 / (2 * np.pi * np.sqrt(r1 * r2) * c)
    error = np.maximum(np.abs(f0 / f0_hz - 1.0), np.abs(quality / q - 1.0))
    order = np.lexsort((error, c, r1 != r2, np.floor(error / error_step + 1e-9)))
    order = order[error[order] <= error_limit][:keep]
    if order.size == 0:
        raise NoSolutionError(
            message="No set of these capacitors and resistors gives the wanted filter stage.",
            quantity="pole frequency and Q error",
            value=f"{100 * float(error.min()):.2f} %",
            limit=f"{100 * error_limit:.2f} %",
            remedy="Allow a finer series, more capacitor values, or a wider range of resistors.",
        )
    return tuple(
        EqualComponentChoice(
            resistor_ohm=float(r1[m]),
            second_ohm=float(r2[m]),
            capacitor_f=float(c[m]),
            gain_upper_ohm=float(upper[n[m]]),
            gain_lower_ohm=float(lower[n[m]]),
            gain=float(gain[n[m]]),
            f0_hz=float(f0[m]),
            q=float(quality[m]),
            error=float(error[m]),
        )
        for m in order
    )
