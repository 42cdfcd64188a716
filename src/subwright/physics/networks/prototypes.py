"""Low-pass prototypes as cascades of first- and second-order sections, with the normalisation always stated.

A section is 1/(1 + s/w0) or 1/(1 + s/(Q w0) + s²/w0²), with w0 relative to the corner of the whole filter.
A high-pass of the same alignment has the sections with w0 replaced by 1/w0.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from ._checks import ArrayLike, Complex, between, positive

__all__ = [
    "HALF_POWER_DB",
    "Section",
    "bessel",
    "butterworth",
    "butterworth_attenuation_db",
    "cascade",
    "chebyshev",
    "chebyshev_half_power_ratio",
    "coefficients",
    "from_coefficients",
    "linkwitz_riley",
]

HALF_POWER_DB = 10.0 * math.log10(2.0)
_HIGHEST_ORDER = 10  # Bessel roots lose digits beyond this, and no crossover needs more


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """One section of a prototype.

    Attributes
    ----------
    ratio : pole frequency over the corner frequency of the whole filter, dimensionless.
    q : quality factor, dimensionless; None for a first-order section.
    """

    ratio: float
    q: float | None

    @property
    def order(self) -> int:
        """1 or 2."""
        return 1 if self.q is None else 2


def _order(order: int, low: int = 1) -> None:
    between("filter order", float(order), float(low), float(_HIGHEST_ORDER), "", "filter prototypes")


def butterworth(order: int) -> tuple[Section, ...]:
    """Butterworth prototype, half power (-3.01 dB) at the corner; sections in rising Q.

    Parameters
    ----------
    order : 1 to 10, dimensionless.

    Returns
    -------
    Sections; every pole frequency equals the corner, ``Q_k = 1/(2 sin((2k - 1) π / 2n))``.

    Raises
    ------
    RangeError : the order is out of range.

    Source
    ------
    [opamps-for-everyone], table 16.7 (Q to two decimals).

    >>> [round(s.q, 4) for s in butterworth(4)]
    [0.5412, 1.3066]
    """
    _order(order)
    pairs = [0.5 / math.sin((2 * k - 1) * math.pi / (2 * order)) for k in range(1, order // 2 + 1)]
    first = (Section(ratio=1.0, q=None),) if order % 2 else ()
    return first + tuple(Section(ratio=1.0, q=q) for q in sorted(pairs))


def linkwitz_riley(order: int) -> tuple[Section, ...]:
    """Linkwitz–Riley prototype: the square of a Butterworth one, -6.02 dB at the corner.

    Parameters
    ----------
    order : 2, 4, 6, 8 or 10, dimensionless.

    Returns
    -------
    Sections in rising Q; a pair of real poles is one section with Q 0.5.

    Raises
    ------
    RangeError : the order is odd or out of range.

    Source
    ------
    [linkwitz1976]: low-pass and high-pass add to an all-pass (order 2 with one output inverted).

    >>> [round(s.q, 4) for s in linkwitz_riley(4)]
    [0.7071, 0.7071]
    """
    _order(order, 2)
    if order % 2:
        between("Linkwitz–Riley order modulo 2", float(order % 2), 0.0, 0.0, "", "linkwitz1976")
    half = butterworth(order // 2)
    pairs = [s for s in half if s.q is not None for _ in range(2)]
    real = (Section(ratio=1.0, q=0.5),) if (order // 2) % 2 else ()
    return real + tuple(sorted(pairs, key=lambda s: s.q or 0.0))


@lru_cache(maxsize=32)
def bessel(order: int, norm: Literal["half power", "delay"] = "half power") -> tuple[Section, ...]:
    """Bessel (Thomson) prototype, flattest group delay.

    Parameters
    ----------
    order : 1 to 10, dimensionless.
    norm : "half power" puts -3.01 dB at the corner; "delay" makes the group delay at zero frequency 1/ω_c.

    Returns
    -------
    Sections, first-order section first, then in rising Q.

    Raises
    ------
    RangeError : the order is out of range.

    Source
    ------
    Roots of the reverse Bessel polynomials, [thomson1949]; values as [opamps-for-everyone], table 16.6.

    >>> [(round(s.ratio, 4), round(s.q, 4)) for s in bessel(4)]
    [(1.4302, 0.5219), (1.6034, 0.8055)]
    """
    _order(order)
    n = order
    poly = [
        math.factorial(2 * n - k) / (2 ** (n - k) * math.factorial(k) * math.factorial(n - k))
        for k in range(n, -1, -1)
    ]
    poles = np.roots(poly)
    scale = 1.0 if norm == "delay" else _half_power_radius(np.asarray(poly), n)
    return _sections_from_poles(poles / scale)


def _half_power_radius(poly: np.ndarray, order: int) -> float:
    """Frequency at which |theta(0)/theta(jw)|² is a half, by bisection (the magnitude falls throughout)."""
    low, high = 0.1, 2.0 * order + 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if abs(np.polyval(poly, 1j * middle)) ** 2 < 2.0 * poly[-1] ** 2:
            low = middle
        else:
            high = middle
        if high - low < 1e-15 * high:
            break
    return 0.5 * (low + high)


def _sections_from_poles(poles: Sequence[complex] | np.ndarray) -> tuple[Section, ...]:
    real = [Section(ratio=float(-p.real), q=None) for p in poles if abs(p.imag) < 1e-9 * abs(p)]
    pairs = [
        Section(ratio=float(abs(p)), q=float(-abs(p) / (2.0 * p.real)))
        for p in poles
        if p.imag > 1e-9 * abs(p)
    ]
    return tuple(real) + tuple(sorted(pairs, key=lambda s: s.q or 0.0))


def chebyshev(
    order: int, ripple_db: float, norm: Literal["ripple edge", "half power"] = "ripple edge"
) -> tuple[Section, ...]:
    """Chebyshev prototype with equal ripple in the passband.

    Parameters
    ----------
    order : 1 to 10, dimensionless.
    ripple_db : peak-to-valley ripple, dB, 0.01 to 3.0103.
    norm : "ripple edge" puts the end of the ripple band at the corner; "half power" the frequency at which
        the response is 3.01 dB below the ripple's peak. For even orders neither is 3 dB below the DC gain.

    Returns
    -------
    Sections, first-order section first, then in rising Q.

    Raises
    ------
    RangeError : order or ripple out of range.

    Source
    ------
    Closed form of the Chebyshev poles, [zverev1967]; the second norm by :func:`chebyshev_half_power_ratio`.

    >>> [(round(s.ratio, 4), round(s.q, 4)) for s in chebyshev(4, 0.5)]
    [(0.597, 0.7051), (1.0313, 2.9406)]
    """
    _order(order)
    between("ripple", ripple_db, 0.01, HALF_POWER_DB + 1e-9, "dB", "zverev1967")
    epsilon = math.sqrt(10.0 ** (ripple_db / 10.0) - 1.0)
    a = math.asinh(1.0 / epsilon) / order
    angles = [(2 * k - 1) * math.pi / (2 * order) for k in range(1, order + 1)]
    poles = [
        complex(-math.sinh(a) * math.sin(t), math.cosh(a) * math.cos(t) if 2 * k - 1 != order else 0.0)
        for k, t in enumerate(angles, start=1)
    ]
    scale = 1.0 if norm == "ripple edge" else chebyshev_half_power_ratio(order, ripple_db)
    return _sections_from_poles([p / scale for p in poles])


def chebyshev_half_power_ratio(order: int, ripple_db: float) -> float:
    """Frequency 3.01 dB below the ripple's peak over the ripple edge of a Chebyshev low-pass.

    Parameters
    ----------
    order : 1 to 10, dimensionless.
    ripple_db : ripple, dB, 0.01 to 3.0103.

    Returns
    -------
    ``cosh(acosh(1/ε)/n)``, dimensionless.

    Raises
    ------
    RangeError : order or ripple out of range.

    Source
    ------
    [zverev1967], Chebyshev polynomial set to ``ε² C_n² = 1``.

    >>> round(chebyshev_half_power_ratio(2, 0.5), 4)
    1.3897
    """
    _order(order)
    between("ripple", ripple_db, 0.01, HALF_POWER_DB + 1e-9, "dB", "zverev1967")
    epsilon = math.sqrt(10.0 ** (ripple_db / 10.0) - 1.0)
    return math.cosh(math.acosh(max(1.0, 1.0 / epsilon)) / order)


def coefficients(section: Section) -> tuple[float, float]:
    """Coefficients (a, b) of a section written as ``1 + a s + b s²``, s relative to the filter's corner.

    Parameters
    ----------
    section : prototype section.

    Returns
    -------
    a and b, dimensionless; b is 0 for a first-order section.

    Source
    ------
    [opamps-for-everyone], section 16.2: ``f0/fc = 1/sqrt(b)``, ``Q = sqrt(b)/a``.

    >>> [round(x, 3) for x in coefficients(Section(ratio=1.4476, q=0.6911))]
    [1.0, 0.477]
    """
    if section.q is None:
        return 1.0 / section.ratio, 0.0
    return 1.0 / (section.ratio * section.q), 1.0 / section.ratio**2


def from_coefficients(a: float, b: float) -> Section:
    """Section from its coefficients in ``1 + a s + b s²``; inverse of :func:`coefficients`.

    Parameters
    ----------
    a, b : dimensionless; a > 0; b = 0 makes a first-order section.

    Returns
    -------
    The section.

    Raises
    ------
    RangeError : a isn't above zero, or b is negative.

    Source
    ------
    [opamps-for-everyone], section 16.2.

    >>> s = from_coefficients(0.9996, 0.4772)
    >>> round(s.ratio, 4), round(s.q, 4)
    (1.4476, 0.6911)
    """
    positive("coefficient a", a, "")
    if b == 0.0:
        return Section(ratio=1.0 / a, q=None)
    positive("coefficient b", b, "")
    return Section(ratio=1.0 / math.sqrt(b), q=math.sqrt(b) / a)


def cascade(
    sections: Sequence[Section],
    ratio: ArrayLike,
    kind: Literal["low-pass", "high-pass"] = "low-pass",
) -> Complex:
    """Complex response of a prototype.

    Parameters
    ----------
    sections : the prototype.
    ratio : frequency over the corner frequency, dimensionless, > 0, scalar or array.
    kind : low-pass, or the high-pass of the same alignment.

    Returns
    -------
    Gain, complex, dimensionless, shape of ``ratio``; 1 in the passband.

    Raises
    ------
    RangeError : a frequency isn't above zero.

    Source
    ------
    [derived]: product of the sections, with s replaced by 1/s for a high-pass.

    >>> round(float(20 * np.log10(abs(cascade(linkwitz_riley(4), 1.0)))), 2)
    -6.02
    """
    positive("frequency ratio", ratio, "")
    s = 1j * np.asarray(ratio, dtype=float)
    if kind == "high-pass":
        s = 1.0 / s
    gain: Complex = np.ones_like(s)
    for section in sections:
        a, b = coefficients(section)
        gain = gain / (1.0 + a * s + b * s * s)
    return gain


def butterworth_attenuation_db(order: int, ratio: ArrayLike) -> ArrayLike:
    """Attenuation of a Butterworth low-pass.

    Parameters
    ----------
    order : 1 to 10, dimensionless.
    ratio : frequency over the corner frequency, dimensionless, > 0, scalar or array.

    Returns
    -------
    ``10 log10(1 + ratio^(2n))``, dB, positive for a loss.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [opamps-for-everyone], chapter 16, definition of the alignment.

    >>> round(float(butterworth_attenuation_db(2, 2.0)), 2)
    12.3
    """
    _order(order)
    positive("frequency ratio", ratio, "")
    return 10.0 * np.log10(1.0 + np.asarray(ratio, dtype=float) ** (2 * order))
