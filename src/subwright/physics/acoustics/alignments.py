"""Published alignments of the vented box, exact for any leakage Q, and the families they belong to."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._roots import bracketed_root
from subwright.physics.acoustics.vented_box import coefficients, cutoff_ratio

__all__ = [
    "Alignment",
    "Tuning",
    "b4",
    "c4_from_k",
    "c4_ripple_db",
    "flat_alignment",
    "flattest_tuning",
    "qb3_from_a2",
    "sbb4",
    "super_c4",
]

_B4_A2 = 2.0 + math.sqrt(2.0)
_QB3_A2_MAX = 60.0  # Qts about 0.09 lossless
_C4_K_MIN = 0.25  # ripple 2.2 dB
_SC4_K_MAX = 3.0
_QL_MIN = 2.0
_NEWTON_STEPS = 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Alignment:
    """A vented-box alignment: what the driver must have and what box it asks for."""

    family: str  # "QB3", "B4", "C4", "SC4", "SBB4"
    qts: float
    alpha: float  # Vas/Vb
    h: float  # fb/fs
    f3_ratio: float  # f3/fs
    ql: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Tuning:
    """A tuning chosen for a given box volume."""

    h: float  # fb/fs
    f3_ratio: float  # f3/fs
    peak_db: float  # height of the response peak over the passband


@dataclass(frozen=True, slots=True)
class _Polynomial:
    """Denominator s⁴ + a1·s³ + a2·s² + a3·s + 1 of a wanted response."""

    a1: float
    a2: float
    a3: float

    def root_h(self, ql: float) -> float:
        """√h from x⁴ − a1·QL·x³ + a3·QL·x − 1 = 0, the conditions for a1 and a3 with Qts eliminated."""
        lossless = math.sqrt(self.a3 / self.a1)
        if math.isinf(ql):
            return lossless
        # Divided by QL so that a large QL stays well scaled.
        x = lossless
        for _ in range(_NEWTON_STEPS):
            value = (x**4 - 1.0) / ql - self.a1 * x**3 + self.a3 * x
            slope = 4.0 * x**3 / ql - 3.0 * self.a1 * x**2 + self.a3
            step = value / slope
            x -= step
            if abs(step) < 1e-14 * x:
                break
        return x

    def qts(self, ql: float) -> float:
        x = self.root_h(ql)
        return 1.0 / (x * (self.a1 - x / ql))

    def alignment(self, family: str, ql: float) -> Alignment:
        qts = self.qts(ql)
        h = self.root_h(ql) ** 2
        alpha = h * (self.a2 - 1.0 / (ql * qts)) - 1.0 - h * h
        f3_ratio = cutoff_ratio(qts, alpha, h, ql)
        return Alignment(family=family, qts=qts, alpha=alpha, h=h, f3_ratio=f3_ratio, ql=ql)


def _b4_polynomial() -> _Polynomial:
    a1 = math.sqrt(4.0 + 2.0 * math.sqrt(2.0))
    return _Polynomial(a1, _B4_A2, a1)


def _qb3_polynomial(a2: float) -> _Polynomial:
    a1 = math.sqrt(2.0 * a2)
    return _Polynomial(a1, a2, (a2 * a2 + 2.0) / (2.0 * a1))


def _c4_polynomial(k: float) -> _Polynomial:
    d = (k**4 + 6.0 * k**2 + 1.0) / 8.0
    a3 = k * math.sqrt(4.0 + 2.0 * math.sqrt(2.0)) / d**0.25
    a2 = (1.0 + k**2 * (1.0 + math.sqrt(2.0))) / math.sqrt(d)
    return _Polynomial(a3 / math.sqrt(d) * (1.0 - (1.0 - k**2) / (2.0 * math.sqrt(2.0))), a2, a3)


def _checked(ql: float) -> float:
    if not ql >= _QL_MIN:
        raise RangeError(
            message="The box leaks too much for a vented alignment.",
            quantity="QL",
            value=f"{ql:.3g}",
            limit=f"at least {_QL_MIN:g}",
            source="small-1973-vented",
            remedy="Seal the joints and the driver's gasket; QL is usually 5 to 10.",
        )
    return ql


def _outside(qts: float, low: float, high: float, ql: float) -> RangeError:
    return RangeError(
        message=f"No alignment of this family suits the driver at QL = {ql:.3g}.",
        quantity="Qts with source resistance",
        value=f"{qts:.3g}",
        limit=f"{low:.3g} … {high:.3g}",
        source="small-1973-vented",
        remedy="Give volume and tuning, or use a sealed box (high Qts) or another driver.",
    )


def b4(ql: float = math.inf) -> Alignment:
    """Fourth-order Butterworth: maximally flat.

    Parameters
    ----------
    ql : leakage Q at fb, above 2; infinity for a lossless box.

    Source
    ------
    [thiele-1971], alignment 5 (Qts 0.383, h 1.000, α 1.414); [small-1973-vented].

    >>> a = b4()
    >>> round(a.qts, 4), round(a.h, 3), round(a.alpha, 3)
    (0.3827, 1.0, 1.414)
    """
    return _b4_polynomial().alignment("B4", _checked(ql))


def qb3_from_a2(a2: float, ql: float = math.inf) -> Alignment:
    """Quasi-third-order Butterworth with the family parameter a2: a1 = √(2·a2), a3 = (a2² + 2)/(2·a1).

    Parameters
    ----------
    a2 : dimensionless, 2 + √2 (which is B4) and above; higher for drivers of lower Qts.
    ql : leakage Q at fb, above 2; infinity for a lossless box.

    Source
    ------
    [small-1973-vented], eqs 65-66.
    """
    return _qb3_polynomial(a2).alignment("QB3", _checked(ql))


def c4_from_k(k: float, ql: float = math.inf) -> Alignment:
    """Fourth-order Chebyshev with the family parameter k; k = 1 is B4, k > 1 the sub-Chebyshev SC4.

    Parameters
    ----------
    k : dimensionless, 0.25 … 3, lower for drivers of higher Qts and more ripple.
    ql : leakage Q at fb, above 2; infinity for a lossless box.

    Source
    ------
    [small-1973-vented], Part I (pole positions of the Chebyshev filter).
    """
    return _c4_polynomial(k).alignment("C4" if k <= 1.0 else "SC4", _checked(ql))


def c4_ripple_db(k: float) -> float:
    """Passband ripple of the Chebyshev alignment, 10·lg[1 + 1/sinh²(4·artanh k)] dB; 0 for k ≥ 1.

    Parameters
    ----------
    k : family parameter as for ``c4_from_k``, dimensionless.

    Source
    ------
    [derived] from Chebyshev filter theory. k 0.597 gives 0.07 dB.
    """
    if k >= 1.0:
        return 0.0
    return 10.0 * math.log10(1.0 + 1.0 / math.sinh(4.0 * math.atanh(k)) ** 2)


def sbb4(qts: float) -> Alignment:
    """Super fourth-order boom box: box tuned to fs, two equal pairs of poles; lossless.

    Parameters
    ----------
    qts : driver's total Q with source resistance included, up to 0.5.

    Raises
    ------
    RangeError : Qts above 0.5, where the poles are no longer well damped.

    Source
    ------
    [common-practice], hobby literature of the 1980s, from memory: h = 1, α = 1/(4·Qts²).
    """
    if not 0.0 < qts <= 0.5:
        raise RangeError(
            message="The SBB4 alignment asks for a driver with a strong motor.",
            quantity="Qts",
            value=f"{qts:.3g}",
            limit="0.5",
            remedy="Use a C4 alignment or a sealed box.",
        )
    alpha = 1.0 / (4.0 * qts**2)
    return Alignment(
        family="SBB4", qts=qts, alpha=alpha, h=1.0, f3_ratio=cutoff_ratio(qts, alpha, 1.0), ql=math.inf
    )


def super_c4(qts: float, ql: float = math.inf) -> Alignment:
    """Sub-Chebyshev SC4 for a driver below the B4 value of Qts.

    Parameters
    ----------
    qts : driver's total Q with source resistance included, below that of B4.
    ql : leakage Q at fb.

    Raises
    ------
    RangeError : when no SC4 alignment suits the driver.

    Source
    ------
    [small-1973-vented] (k > 1); [derived].
    """
    flat, edge = b4(ql).qts, _c4_polynomial(_SC4_K_MAX).qts(ql)
    if not edge <= qts <= flat:
        raise _outside(qts, edge, flat, ql)
    return c4_from_k(bracketed_root(lambda k: _c4_polynomial(k).qts(ql) - qts, 1.0, _SC4_K_MAX), ql)


def flat_alignment(qts: float, ql: float = math.inf) -> Alignment:
    """The alignment without peaks that suits a driver: QB3 below the B4 value of Qts, C4 above it.

    Parameters
    ----------
    qts : driver's total Q with source resistance included.
    ql : leakage Q at fb, above 2.

    Raises
    ------
    RangeError : when the driver's Q is too low or too high for either family.

    Source
    ------
    [small-1973-vented], Part I. Qts 0.25 at QL 7: α 4.582, h 1.563, f3/fs 1.967.

    >>> a = flat_alignment(0.25, 7.0)
    >>> a.family, round(a.alpha, 3), round(a.h, 3), round(a.f3_ratio, 3)
    ('QB3', 4.582, 1.563, 1.967)
    """
    flat = _b4_polynomial().qts(_checked(ql))
    low, high = _qb3_polynomial(_QB3_A2_MAX).qts(ql), _c4_polynomial(_C4_K_MIN).qts(ql)
    if not low <= qts <= high:
        raise _outside(qts, low, high, ql)
    if abs(qts / flat - 1.0) < 1e-9:
        return b4(ql)
    if qts > flat:
        return c4_from_k(bracketed_root(lambda k: _c4_polynomial(k).qts(ql) - qts, _C4_K_MIN, 1.0), ql)

    def qb3_a2(h: float) -> tuple[float, float]:
        a = coefficients(qts, 0.0, h, ql)
        a1, a3 = float(a.a1), float(a.a3)
        return 0.5 * a1**2, 2.0 * a1 * a3 - 0.25 * a1**4 - 2.0

    # a1 and a3 don't depend on alpha, so the two QB3 conditions leave one equation in h; h is near 0.35/Qts.
    h = bracketed_root(lambda h: qb3_a2(h)[1], 0.99, 0.6 / qts)
    return qb3_from_a2(qb3_a2(h)[0], ql)


def flattest_tuning(qts: float, alpha: float, ql: float, *, ripple_db: float = 0.5) -> Tuning:
    """Tuning that reaches lowest in a box of given size without peaking by more than a limit.

    Parameters
    ----------
    qts : driver's total Q with source resistance included.
    alpha : Vas/Vb, dimensionless.
    ql : leakage Q.
    ripple_db : allowed peak over the passband, dB. Where no tuning keeps it, the least peaked one is taken.

    Source
    ------
    [derived] from [small-1973-vented]; tunings from 0.6 fs to 2.2 fs are tried.
    """
    h = np.geomspace(0.6, 2.2, 85)[:, None]
    ratio = np.geomspace(0.15, 8.0, 240)[None, :]
    a = coefficients(qts, alpha, h, ql)
    y = ratio**2 / h
    # |D|² as a polynomial in the squared frequency: no complex numbers in the large array.
    denominator = (((y + (a.a1**2 - 2.0 * a.a2)) * y + (a.a2**2 + 2.0 - 2.0 * a.a1 * a.a3)) * y) + (
        a.a3**2 - 2.0 * a.a2
    )
    gain = y**4 / (denominator * y + 1.0)
    peaks = gain.max(axis=1)
    # The lowest frequency from which on the level stays above −3 dB, interpolated on the log grid.
    first = np.minimum(ratio.size - np.argmax(gain[:, ::-1] < 0.5, axis=1), ratio.size - 1)[:, None]
    above, below = np.log(np.take_along_axis(gain, first, 1)), np.log(np.take_along_axis(gain, first - 1, 1))
    step = math.log(ratio[0, 1] / ratio[0, 0])
    reach = (ratio[0, first] * np.exp(-step * (above - math.log(0.5)) / (above - below)))[:, 0]
    allowed = peaks <= 10.0 ** (ripple_db / 10.0)
    if allowed.any():
        index = int(np.flatnonzero(allowed)[np.argmin(reach[allowed])])
    else:
        index = int(np.argmin(peaks))
    best = float(h[index, 0])
    return Tuning(
        h=best,
        f3_ratio=cutoff_ratio(qts, alpha, best, ql),
        peak_db=max(10.0 * math.log10(float(peaks[index])), 0.0),
    )
