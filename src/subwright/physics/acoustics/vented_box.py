"""Closed forms of the vented box: the fourth-order response and readings of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import ComplexArray, Real
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = [
    "Coefficients",
    "Fit",
    "coefficients",
    "compliance_ratio_from_peaks",
    "cutoff_ratio",
    "displacement_limited_power_w",
    "displacement_ratio",
    "efficiency_volume_constant",
    "fs_from_peaks_hz",
    "keele_fit",
    "margolis_small_fit",
    "programme_power_rating_w",
    "response",
    "tuning_from_peaks_hz",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Coefficients:
    """Denominator s⁴ + a1·s³ + a2·s² + a3·s + 1 with s in units of ω0 = 2π·√(fs·fb); scalars or arrays."""

    a1: Real
    a2: Real
    a3: Real


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """Box from a published closed-form fit, relative to the driver."""

    volume_ratio: float  # Vb/Vas
    tuning_ratio: float  # fb/fs
    f3_ratio: float  # f3/fs


def coefficients(qts: Real, alpha: Real, h: Real, ql: Real = math.inf) -> Coefficients:
    """Coefficients of the vented box's fourth-order response.

    Parameters
    ----------
    qts : driver's total Q with source resistance included.
    alpha : Vas/Vb, dimensionless.
    h : fb/fs, dimensionless.
    ql : leakage Q at fb; infinity for a lossless box. All arguments broadcast.

    Source
    ------
    [small-1973-vented], Part I, system function.
    """
    root = np.sqrt(h)
    inverse_ql = 1.0 / np.asarray(ql, dtype=np.float64)
    return Coefficients(
        a1=1.0 / (root * qts) + root * inverse_ql,
        a2=(np.asarray(alpha) + 1.0 + np.asarray(h) ** 2) / h + inverse_ql / qts,
        a3=root / qts + inverse_ql / root,
    )


def response(frequency_ratio: Real, qts: Real, alpha: Real, h: Real, ql: Real = math.inf) -> ComplexArray:
    """Normalised response s⁴/(s⁴ + a1·s³ + a2·s² + a3·s + 1) at f/fs.

    Parameters
    ----------
    frequency_ratio : f/fs. All arguments broadcast.
    qts : driver's total Q with source resistance included.
    alpha : Vas/Vb, dimensionless.
    h : fb/fs, dimensionless.
    ql : leakage Q at fb.

    Returns
    -------
    Complex gain over the passband, dimensionless.

    Source
    ------
    [small-1973-vented], Part I.
    """
    a = coefficients(qts, alpha, h, ql)
    s = 1j * np.asarray(frequency_ratio, dtype=np.float64) / np.sqrt(h)
    return np.asarray(s**4 / (((s + a.a1) * s + a.a2) * s**2 + a.a3 * s + 1.0), dtype=np.complex128)


def displacement_ratio(
    frequency_ratio: Real, qts: Real, alpha: Real, h: Real, ql: Real = math.inf
) -> ComplexArray:
    """Cone displacement over its static value at f/fs.

    X = (b1·s² + b2·s + 1)/(s⁴ + a1·s³ + a2·s² + a3·s + 1) with b1 = fs/fb and b2 = 1/(QL·√h).

    Parameters
    ----------
    frequency_ratio : f/fs. All arguments broadcast.
    qts : driver's total Q with source resistance included.
    alpha : Vas/Vb, dimensionless.
    h : fb/fs, dimensionless.
    ql : leakage Q at fb.

    Returns
    -------
    Complex ratio, dimensionless.

    Source
    ------
    [small-1973-vented], Part I.
    """
    a = coefficients(qts, alpha, h, ql)
    s = 1j * np.asarray(frequency_ratio, dtype=np.float64) / np.sqrt(h)
    numerator = s**2 / h + s / (np.asarray(ql, dtype=np.float64) * np.sqrt(h)) + 1.0
    return np.asarray(numerator / (((s + a.a1) * s + a.a2) * s**2 + a.a3 * s + 1.0), dtype=np.complex128)


def cutoff_ratio(
    qts: float, alpha: float, h: float, ql: float = math.inf, level_db: float = -3.0103
) -> float:
    """Frequency over fs above which the response stays above ``level_db``; dimensionless.

    Parameters
    ----------
    qts, ql : as for ``coefficients``.
    alpha, h : Vas/Vb and fb/fs, dimensionless.
    level_db : below 0 dB.

    Raises
    ------
    RangeError : when the response never reaches the level.

    Source
    ------
    [derived] from [small-1973-vented]: |D|² = x⁸·10^(−level/10) is a quartic in x².
    """
    a = coefficients(qts, alpha, h, ql)
    a1, a2, a3 = float(a.a1), float(a.a2), float(a.a3)
    quartic = [
        1.0 - 10.0 ** (-level_db / 10.0),
        a1**2 - 2.0 * a2,
        a2**2 + 2.0 - 2.0 * a1 * a3,
        a3**2 - 2.0 * a2,
        1.0,
    ]
    roots = np.roots(quartic)
    real = roots[(np.abs(roots.imag) < 1e-9 * np.abs(roots)) & (roots.real > 0.0)].real
    if real.size == 0:
        raise RangeError(
            message="The response never reaches the wanted level.",
            quantity="level",
            value=f"{level_db:.3g} dB",
            limit="a level that the response passes",
            source="small-1973-vented",
            remedy="Ask for a lower level.",
        )
    return math.sqrt(float(real.max()) * h)


def tuning_from_peaks_hz(f_low_hz: float, f_high_hz: float, closed_hz: float) -> float:
    """Box tuning in Hz from the impedance peaks and the blocked-vent resonance, √(fL² + fH² − fC²).

    Parameters
    ----------
    f_low_hz, f_high_hz : lower and upper impedance peak, Hz.
    closed_hz : resonance with the vent blocked, Hz.

    Raises
    ------
    RangeError : when the readings don't belong to one vented box.

    Source
    ------
    [small-1973-vented], Part II. 17.065, 52.741, 46.613 Hz: 30.00 Hz.
    """
    square = f_low_hz**2 + f_high_hz**2 - closed_hz**2
    if not (square > 0.0 and f_low_hz < closed_hz < f_high_hz):
        raise RangeError(
            message="The blocked-vent resonance must lie between the two impedance peaks.",
            quantity="resonance with the vent blocked",
            value=f"{closed_hz:.4g} Hz",
            limit=f"{f_low_hz:.4g} Hz … {f_high_hz:.4g} Hz",
            source="small-1973-vented",
            remedy="Measure the three frequencies again at a low level, the third with the vent sealed.",
        )
    return math.sqrt(square)


def compliance_ratio_from_peaks(f_low_hz: float, f_high_hz: float, tuning_hz: float) -> float:
    """Compliance ratio from impedance peaks, α = (fH² − fb²)(fb² − fL²)/(fH·fL)².

    Parameters
    ----------
    f_low_hz, f_high_hz : impedance peaks, Hz.
    tuning_hz : box tuning, Hz.

    Returns
    -------
    Vas/Vb, dimensionless.

    Source
    ------
    [thiele-1971]; [small-1973-vented]. 17.065, 52.741, 30.00 Hz: 1.414.
    """
    return (f_high_hz**2 - tuning_hz**2) * (tuning_hz**2 - f_low_hz**2) / (f_high_hz * f_low_hz) ** 2


def fs_from_peaks_hz(f_low_hz: float, f_high_hz: float, tuning_hz: float) -> float:
    """Driver resonance on the box, fH·fL/fb, in Hz.

    Source
    ------
    [thiele-1971]; [small-1973-vented]. 17.065, 52.741, 30.00 Hz: 30.0 Hz.
    """
    return f_high_hz * f_low_hz / tuning_hz


def efficiency_volume_constant(qts: float, alpha: float, f3_ratio: float, *, air: Air = AIR_20C) -> float:
    """k in η0 = k·f3³·Vb for a driver with Qes = Qts: (4π²/c³)·α/(Qts·(f3/fs)³).

    Parameters
    ----------
    qts : driver's total Q.
    alpha : Vas/Vb, dimensionless.
    f3_ratio : f3/fs.
    air : state of the air.

    Returns
    -------
    The constant, unit s³/m³.

    Source
    ------
    [small-1973-vented], Part I; 3.56e-6 for lossless B4.
    """
    return 4.0 * math.pi**2 / air.speed_m_per_s**3 * alpha / (qts * f3_ratio**3)


def displacement_limited_power_w(
    fs_hz: float, displaced_volume_m3: float, peak_ratio: float, *, air: Air = AIR_20C
) -> float:
    """Sine power that the cone's volume allows, (4π³ρ/c)·fs⁴·Vd²/X², in W.

    Parameters
    ----------
    fs_hz : resonance, Hz.
    displaced_volume_m3 : Sd·xmax, one-way peak, m³.
    peak_ratio : greatest displacement over static in the band used.
    air : state of the air.

    Source
    ------
    [small-1973-vented], Part II, eq. 36 (constant 0.424).
    """
    constant = 4.0 * math.pi**3 * air.density_kg_per_m3 / air.speed_m_per_s
    return constant * fs_hz**4 * displaced_volume_m3**2 / peak_ratio**2


def programme_power_rating_w(f3_hz: float, displaced_volume_m3: float) -> float:
    """Programme acoustic power rating 3.0·f3⁴·Vd² in W.

    A convention for programme, not the sine limit, which is 7.2 times f3⁴·Vd² for lossless B4 above fb.

    Source
    ------
    [small-1973-vented], Part II.
    """
    return 3.0 * f3_hz**4 * displaced_volume_m3**2


def keele_fit(qts: float) -> Fit:
    """Maximally flat box by closed-form fit: Vb = 15·Vas·Q^2.87, fb = 0.42·fs·Q^−0.9, f3 = 0.26·fs·Q^−1.4.

    Parameters
    ----------
    qts : 0.2 … 0.6.

    Raises
    ------
    RangeError : outside that range.

    Source
    ------
    [keele-1975]. Within 25 % in volume of the exact alignments.
    """
    _check_fit(qts, "keele-1975")
    return Fit(volume_ratio=15.0 * qts**2.87, tuning_ratio=0.42 * qts**-0.9, f3_ratio=0.26 * qts**-1.4)


def margolis_small_fit(qts: float) -> Fit:
    """Box for QL = 7 by closed-form fit: Vb = 20·Vas·Q^3.3, fb = fs·(Vas/Vb)^0.31, f3 = fs·(Vas/Vb)^0.44.

    Parameters
    ----------
    qts : 0.2 … 0.6.

    Raises
    ------
    RangeError : outside that range.

    Source
    ------
    [margolis-small-1981]. Within 25 % in volume of the exact alignments.
    """
    _check_fit(qts, "margolis-small-1981")
    ratio = 20.0 * qts**3.3
    return Fit(volume_ratio=ratio, tuning_ratio=ratio**-0.31, f3_ratio=ratio**-0.44)


def _check_fit(qts: float, source: str) -> None:
    if not 0.2 <= qts <= 0.6:
        raise RangeError(
            message="The closed-form vented-box fit doesn't cover this driver.",
            quantity="Qts",
            value=f"{qts:.3g}",
            limit="0.2 … 0.6",
            source=source,
            remedy="Give volume and tuning, or use a sealed box.",
        )
