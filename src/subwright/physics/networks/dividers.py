"""Resistive dividers, their tolerance in closed form, and single RC sections.

R1 is the upper resistor, R2 the lower one; ``tolerance`` is a fraction (0.01 for 1 %).
"""

from __future__ import annotations

import math

import numpy as np

from ._checks import Array, ArrayLike, between, not_negative, positive

__all__ = [
    "divider_ratio",
    "divider_rss",
    "divider_uniform_sigma",
    "divider_worst_case",
    "parallel",
    "rc_charge_time_s",
    "rc_corner_hz",
    "rc_corner_spread",
    "rc_gain",
    "temperature_shift",
]


def parallel(*resistance_ohm: ArrayLike) -> ArrayLike:
    """Resistance of parallel resistors in Ω; arguments in Ω, broadcast together.

    Parameters
    ----------
    resistance_ohm : resistors, ohm, > 0, scalars or arrays.

    Returns
    -------
    Resistance in Ω.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from Ohm's law.

    >>> round(parallel(10e3, 15e3, 6e3), 3)
    3000.0
    """
    conductance: ArrayLike = 0.0
    for value in resistance_ohm:
        positive("resistance", value, "Ω")
        conductance = conductance + 1.0 / value
    return 1.0 / conductance


def divider_ratio(r1_ohm: ArrayLike, r2_ohm: ArrayLike, load_ohm: ArrayLike = np.inf) -> ArrayLike:
    """Output over input of a divider, dimensionless; R1 upper, R2 lower, optional load across R2, all Ω.

    Parameters
    ----------
    r1_ohm : upper resistor, ohm, > 0, scalar or array.
    r2_ohm : lower resistor, ohm, > 0, scalar or array.
    load_ohm : load across the lower resistor, ohm; infinite for none.

    Returns
    -------
    Output over input, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(divider_ratio(10e3, 10e3), 6)
    0.5
    """
    positive("upper resistor", r1_ohm, "Ω")
    positive("lower resistor", r2_ohm, "Ω")
    lower = 1.0 / (1.0 / r2_ohm + 1.0 / load_ohm)
    return lower / (r1_ohm + lower)


def divider_worst_case(r1_ohm: ArrayLike, r2_ohm: ArrayLike, tolerance: float) -> tuple[ArrayLike, ArrayLike]:
    """Relative shift (low, high) of the divider ratio with both resistors at opposite limits.

    Exact form of ±2 t (1 - k), k = R2/(R1 + R2).

    Parameters
    ----------
    r1_ohm : upper resistor, ohm, > 0, scalar or array.
    r2_ohm : lower resistor, ohm, > 0, scalar or array.
    tolerance : resistor tolerance, fraction, 0 to 0.5.

    Returns
    -------
    Lowest and highest relative shift, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [lacoste-accuracy] (the 1/100 divider, close to twice the tolerance).

    >>> [round(100 * x, 4) for x in divider_worst_case(9.9e3, 100.0, 0.01)]
    [-1.9608, 1.9996]
    """
    between("tolerance", tolerance, 0.0, 0.5, "")
    k = divider_ratio(r1_ohm, r2_ohm)
    low = divider_ratio(r1_ohm * (1 + tolerance), r2_ohm * (1 - tolerance)) / k - 1.0
    high = divider_ratio(r1_ohm * (1 - tolerance), r2_ohm * (1 + tolerance)) / k - 1.0
    return low, high


def divider_rss(r1_ohm: ArrayLike, r2_ohm: ArrayLike, tolerance: float) -> ArrayLike:
    """Root-sum-square relative shift of the ratio, sqrt(2) t (1 - k), dimensionless (first order).

    Parameters
    ----------
    r1_ohm : upper resistor, ohm, > 0, scalar or array.
    r2_ohm : lower resistor, ohm, > 0, scalar or array.
    tolerance : resistor tolerance, fraction, 0 to 0.5.

    Returns
    -------
    ``sqrt(2) t (1 - k)`` with ``k = R2/(R1 + R2)``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], propagation of independent errors, JCGM 100:2008 eq. 10.

    >>> round(100 * divider_rss(10e3, 10e3, 0.01), 3)
    0.707
    """
    between("tolerance", tolerance, 0.0, 0.5, "")
    return math.sqrt(2.0) * tolerance * (1.0 - divider_ratio(r1_ohm, r2_ohm))


def divider_uniform_sigma(r1_ohm: ArrayLike, r2_ohm: ArrayLike, tolerance: float) -> ArrayLike:
    """Standard deviation of the ratio, relative, when both resistors are uniform within their tolerance.

    A rectangular distribution of half-width t has a standard deviation t/sqrt(3).

    Parameters
    ----------
    r1_ohm : upper resistor, ohm, > 0, scalar or array.
    r2_ohm : lower resistor, ohm, > 0, scalar or array.
    tolerance : resistor tolerance, fraction, 0 to 0.5.

    Returns
    -------
    ``sqrt(2) t (1 - k)/sqrt(3)``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], JCGM 100:2008, 4.3.7.

    >>> round(100 * divider_uniform_sigma(10e3, 10e3, 0.01), 3)
    0.408
    """
    return divider_rss(r1_ohm, r2_ohm, tolerance) / math.sqrt(3.0)


def rc_corner_hz(resistance_ohm: ArrayLike, capacitance_f: ArrayLike) -> ArrayLike:
    """Corner frequency 1/(2π R C) in Hz of one RC section.

    Parameters
    ----------
    resistance_ohm : ohm, > 0, scalar or array.
    capacitance_f : F, > 0, scalar or array.

    Returns
    -------
    ``1/(2π R C)``, Hz.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the RC time constant.

    >>> round(rc_corner_hz(10e3, 100e-9), 2)
    159.15
    """
    positive("resistance", resistance_ohm, "Ω")
    positive("capacitance", capacitance_f, "F")
    return 1.0 / (2 * np.pi * resistance_ohm * capacitance_f)


def rc_corner_spread(r_tolerance: float, c_tolerance: float) -> tuple[float, float, float]:
    """Relative shift of an RC corner: worst low, worst high, root-sum-square; all dimensionless.

    Parameters
    ----------
    r_tolerance : resistor tolerance, fraction, 0 to 0.5.
    c_tolerance : capacitor tolerance, fraction, 0 to 0.5.

    Returns
    -------
    Worst low, worst high and root-sum-square shift, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [gum2008], closed form; root-sum-square after JCGM 100:2008 eq. 10.

    >>> [round(100 * x, 2) for x in rc_corner_spread(0.01, 0.05)]
    [-5.7, 6.33, 5.1]
    """
    between("resistor tolerance", r_tolerance, 0.0, 0.5, "")
    between("capacitor tolerance", c_tolerance, 0.0, 0.5, "")
    low = 1.0 / ((1 + r_tolerance) * (1 + c_tolerance)) - 1.0
    high = 1.0 / ((1 - r_tolerance) * (1 - c_tolerance)) - 1.0
    return low, high, float(np.hypot(r_tolerance, c_tolerance))


def rc_gain(frequency_hz: ArrayLike, resistance_ohm: ArrayLike, capacitance_f: ArrayLike) -> ArrayLike:
    """Magnitude of an RC low-pass at ``frequency_hz``, dimensionless.

    Parameters
    ----------
    frequency_hz : Hz, >= 0, scalar or array.
    resistance_ohm : ohm, > 0, scalar or array.
    capacitance_f : F, > 0, scalar or array.

    Returns
    -------
    ``1/sqrt(1 + (2π f R C)²)``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the RC time constant.

    >>> round(40 * rc_gain(20.0, 100e3, 10e-6), 3)
    0.318
    """
    not_negative("frequency", frequency_hz, "Hz")
    ratio = np.asarray(frequency_hz) / rc_corner_hz(resistance_ohm, capacitance_f)
    gain: Array = 1.0 / np.sqrt(1.0 + ratio**2)
    return gain if gain.ndim else float(gain)


def rc_charge_time_s(
    resistance_ohm: float, capacitance_f: float, threshold_v: float, supply_v: float
) -> float:
    """Time in s for an RC section to charge from 0 V to ``threshold_v`` out of ``supply_v``.

    t = -R C ln(1 - Vth/Vs).

    Parameters
    ----------
    resistance_ohm : ohm, > 0, scalar or array.
    capacitance_f : F, > 0, scalar or array.
    threshold_v : V, >= 0, below the supply.
    supply_v : V, > 0.

    Returns
    -------
    ``-R C ln(1 - Vth/Vs)``, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the RC time constant.

    >>> round(rc_charge_time_s(47e3, 100e-6, 2.5, 5.0), 3)
    3.258
    """
    positive("resistance", resistance_ohm, "Ω")
    positive("capacitance", capacitance_f, "F")
    positive("supply voltage", supply_v, "V")
    between("threshold over supply", threshold_v / supply_v, 0.0, 1.0 - 1e-9, "", "RC charge curve")
    return float(-resistance_ohm * capacitance_f * np.log1p(-threshold_v / supply_v))


def temperature_shift(coefficient_per_k: ArrayLike, change_k: ArrayLike) -> ArrayLike:
    """Relative shift of a resistor, coefficient (1/K, 100 ppm/K = 1e-4) times temperature change (K).

    Parameters
    ----------
    coefficient_per_k : temperature coefficient, 1/K (100 ppm/K is 1e-4).
    change_k : temperature change, K.

    Returns
    -------
    Relative shift, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [tcr-note], resistor maker's note on temperature coefficients.

    >>> round(temperature_shift(100e-6, 60.0), 6)
    0.006
    """
    return coefficient_per_k * change_k
