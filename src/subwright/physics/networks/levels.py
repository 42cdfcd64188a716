"""Line levels, pads, summing and common-mode rejection."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from ._checks import ArrayLike, between, positive

__all__ = [
    "DBU_REFERENCE_V",
    "cmrr_worst_db",
    "db",
    "dbu",
    "dbv",
    "from_dbu",
    "from_dbv",
    "inverting_sum_v",
    "pad_lower_ohm",
    "sine_rms_v",
    "slew_rate_v_per_s",
    "track_share",
]

DBU_REFERENCE_V = math.sqrt(0.6)  # 1 mW in 600 Ω


def db(ratio: ArrayLike) -> ArrayLike:
    """Level of an amplitude ratio.

    Parameters
    ----------
    ratio : amplitude ratio, dimensionless, > 0, scalar or array.

    Returns
    -------
    ``20 log10(ratio)``, dB.

    Raises
    ------
    RangeError : the ratio isn't above zero.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(db(0.1), 6)
    -20.0
    """
    positive("amplitude ratio", ratio, "")
    level = 20.0 * np.log10(np.asarray(ratio, dtype=float))
    return level if level.ndim else float(level)


def dbv(voltage_v: ArrayLike) -> ArrayLike:
    """Level in dBV (reference 1 V rms).

    Parameters
    ----------
    voltage_v : rms voltage, V, > 0, scalar or array.

    Returns
    -------
    Level, dBV.

    Raises
    ------
    RangeError : the voltage isn't above zero.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(dbv(2.0), 2)
    6.02
    """
    return db(voltage_v)


def dbu(voltage_v: ArrayLike) -> ArrayLike:
    """Level in dBu (reference sqrt(0.6) V rms, 1 mW in 600 Ω).

    Parameters
    ----------
    voltage_v : rms voltage, V, > 0, scalar or array.

    Returns
    -------
    Level, dBu.

    Raises
    ------
    RangeError : the voltage isn't above zero.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(dbu(2.0), 2)
    8.24
    """
    return db(voltage_v / DBU_REFERENCE_V)


def from_dbv(level_db: ArrayLike) -> ArrayLike:
    """Rms voltage of a level in dBV.

    Parameters
    ----------
    level_db : level, dBV, scalar or array.

    Returns
    -------
    Rms voltage, V.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(from_dbv(-10.0), 4)
    0.3162
    """
    return 10.0 ** (level_db / 20.0)


def from_dbu(level_db: ArrayLike) -> ArrayLike:
    """Rms voltage of a level in dBu.

    Parameters
    ----------
    level_db : level, dBu, scalar or array.

    Returns
    -------
    Rms voltage, V.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(from_dbu(4.0), 4)
    1.2277
    """
    return DBU_REFERENCE_V * from_dbv(level_db)


def sine_rms_v(peak_to_peak_v: ArrayLike) -> ArrayLike:
    """Rms value of a sine from its peak-to-peak value.

    Parameters
    ----------
    peak_to_peak_v : V, scalar or array.

    Returns
    -------
    ``V_pp / (2 sqrt 2)``, V.

    Source
    ------
    [derived] from the definition of the rms value.

    >>> round(sine_rms_v(5.6), 2)
    1.98
    """
    return peak_to_peak_v / math.sqrt(8.0)


def slew_rate_v_per_s(frequency_hz: ArrayLike, peak_to_peak_v: ArrayLike) -> ArrayLike:
    """Slew rate that a sine needs.

    Parameters
    ----------
    frequency_hz : Hz, > 0, scalar or array.
    peak_to_peak_v : V, > 0, scalar or array.

    Returns
    -------
    ``π f V_pp``, V/s.

    Raises
    ------
    RangeError : an argument isn't above zero.

    Source
    ------
    [terrell-opamps], p. 234.

    >>> round(1e-6 * slew_rate_v_per_s(8.4e3, 26.0), 3)
    0.686
    """
    positive("frequency", frequency_hz, "Hz")
    positive("peak-to-peak voltage", peak_to_peak_v, "V")
    return np.pi * frequency_hz * peak_to_peak_v


def pad_lower_ohm(ratio: ArrayLike, upper_ohm: ArrayLike) -> ArrayLike:
    """Lower resistor of a pad that brings a level down to ``ratio`` of itself, unloaded.

    Parameters
    ----------
    ratio : output over input, dimensionless, above 0 and below 1, scalar or array.
    upper_ohm : series resistor, ohm, > 0, scalar or array.

    Returns
    -------
    ``R1 k/(1 - k)``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(pad_lower_ohm(0.1, 10e3))
    1111
    """
    between("pad ratio", ratio, 1e-6, 1.0 - 1e-6, "")
    positive("series resistor", upper_ohm, "Ω")
    return upper_ohm * ratio / (1.0 - ratio)


def inverting_sum_v(
    voltages_v: tuple[ArrayLike, ...], inputs_ohm: tuple[ArrayLike, ...], feedback_ohm: ArrayLike
) -> ArrayLike:
    """Output of an ideal inverting summing amplifier.

    Parameters
    ----------
    voltages_v : input voltages, V, scalars or arrays.
    inputs_ohm : one input resistor per voltage, ohm, > 0.
    feedback_ohm : ohm, > 0, scalar or array.

    Returns
    -------
    ``-Rf Σ V_i/R_i``, V.

    Raises
    ------
    RangeError : a resistance isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter on the summing amplifier.

    >>> round(inverting_sum_v((0.5, 0.5, 1.0), (10e3, 10e3, 47e3), 22e3), 3)
    -2.668
    """
    positive("feedback resistor", feedback_ohm, "Ω")
    total: ArrayLike = 0.0
    for voltage, resistance in zip(voltages_v, inputs_ohm, strict=True):
        positive("input resistor", resistance, "Ω")
        total = total + voltage / resistance
    return -feedback_ohm * total


def cmrr_worst_db(gain: ArrayLike, tolerance: ArrayLike) -> ArrayLike:
    """Worst common-mode rejection of a four-resistor difference amplifier with an ideal op-amp.

    Parameters
    ----------
    gain : differential gain, dimensionless, > 0, scalar or array.
    tolerance : resistor tolerance, fraction, above 0 to 0.2.

    Returns
    -------
    ``20 log10((1 + G)/(4 t))``, dB (first order in the tolerance).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [sedra-smith], problem on difference amplifiers.

    >>> round(cmrr_worst_db(1.0, 0.01), 2)
    33.98
    """
    positive("gain", gain, "")
    between("tolerance", tolerance, 1e-9, 0.2, "", "first-order formula")
    return db((1.0 + gain) / (4.0 * tolerance))


def track_share(
    rotation: ArrayLike, law: Literal["linear", "logarithmic"], middle: float = 0.15
) -> ArrayLike:
    """Share of a potentiometer's track below the wiper.

    Parameters
    ----------
    rotation : share of the turn, 0 to 1, scalar or array.
    law : "linear", or "logarithmic" as sold: two straight pieces that meet at half the turn.
    middle : share at half the turn of a logarithmic track, dimensionless.

    Returns
    -------
    Share of the resistance, 0 to 1.

    Raises
    ------
    RangeError : the rotation is out of range.

    Source
    ------
    [self-ssad], volume controls: a logarithmic carbon track has 10 to 20 % at half the turn (from memory).

    >>> [round(float(track_share(x, "logarithmic")), 3) for x in (0.0, 0.25, 0.5, 0.75, 1.0)]
    [0.0, 0.075, 0.15, 0.575, 1.0]
    """
    between("rotation", rotation, 0.0, 1.0, "")
    turn = np.asarray(rotation, dtype=float)
    if law == "linear":
        return turn
    return np.asarray(np.interp(turn, [0.0, 0.5, 1.0], [0.0, middle, 1.0]))
