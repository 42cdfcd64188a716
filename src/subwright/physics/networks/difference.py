"""Balanced inputs: a pad before a difference amplifier, its gain and common-mode rejection."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from ._checks import Array, ArrayLike, between, positive, positive_or_open

__all__ = [
    "balanced_pad_ratio",
    "balanced_pad_shunt_ohm",
    "common_mode_at_input",
    "difference_gains",
    "difference_rejection_db",
    "worst_difference_rejection_db",
]

Parts: TypeAlias = tuple[ArrayLike, ArrayLike, ArrayLike, ArrayLike, ArrayLike, ArrayLike]


def difference_gains(parts: Parts, shunt_ohm: ArrayLike = np.inf) -> tuple[ArrayLike, ArrayLike]:
    """Differential and common-mode gain of a balanced pad followed by a difference amplifier.

    Parameters
    ----------
    parts : ohm, > 0, scalars or arrays: series resistor of the hot and of the cold leg (with the source's own
        resistance); then input and feedback resistor of the cold leg, at the - input; then input resistor
        and resistor to ground of the hot leg, at the + input.
    shunt_ohm : between the legs after the series resistors, ohm; infinite for none.

    Returns
    -------
    (output over hot less cold, output over the voltage common to both), V/V.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations with an ideal op-amp, [derived]; [sedra-smith], difference amplifiers.

    >>> differential, common = difference_gains((1e3, 1e3, 21e3, 22e3, 21e3, 22e3))
    >>> round(float(differential), 6), round(float(common), 9)
    (1.0, 0.0)
    """
    names = ("hot series", "cold series", "R1", "R2", "R3", "R4")
    for name, value in zip(names, parts, strict=True):
        positive(name, value, "Ω")
    positive_or_open("shunt", shunt_ohm, "Ω")
    hot, cold, r1, r2, r3, r4 = (np.asarray(p, dtype=float) for p in parts)
    shunt = 1.0 / np.asarray(shunt_ohm, dtype=float)
    share = r4 / (r3 + r4)
    a11, a12 = 1.0 / cold + shunt + 1.0 / r1, -(shunt + share / r1)
    a21, a22 = -shunt, 1.0 / hot + shunt + 1.0 / (r3 + r4)
    determinant = a11 * a22 - a12 * a21

    def output(hot_v: float, cold_v: float) -> ArrayLike:
        into_cold, into_hot = cold_v / cold, hot_v / hot
        cold_node = (a22 * into_cold - a12 * into_hot) / determinant
        hot_node = (a11 * into_hot - a21 * into_cold) / determinant
        return np.asarray(share * hot_node * (1.0 + r2 / r1) - cold_node * r2 / r1)

    return output(0.5, -0.5), output(1.0, 1.0)


def difference_rejection_db(parts: Parts, shunt_ohm: ArrayLike = np.inf) -> ArrayLike:
    """Common-mode rejection of :func:`difference_gains`.

    Parameters
    ----------
    parts, shunt_ohm : as there; arrays make one value per build.

    Returns
    -------
    ``20 log10 |A_d/A_cm|``, dB; at most 160 (no balance is perfect).

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [sedra-smith], difference amplifiers.

    >>> t = 0.01
    >>> high, low = 1e4 * (1 + t), 1e4 * (1 - t)
    >>> worst = difference_rejection_db((1.0, 1.0, high, low, low, high))
    >>> round(float(worst), 1)
    34.0
    """
    differential, common = difference_gains(parts, shunt_ohm)
    ratio = np.abs(differential) / np.maximum(np.abs(common), 1e-8 * np.abs(differential))
    return np.asarray(20.0 * np.log10(ratio))


def worst_difference_rejection_db(
    parts: tuple[float, ...], tolerance: float, source_ohm: float = 0.0, shunt_ohm: float = np.inf
) -> float:
    """Least rejection with every resistor at one of its limits.

    Parameters
    ----------
    parts : six nominal values in Ω, > 0, in the order of ``difference_gains``.
    tolerance : of every resistor, dimensionless, above 0 to 0.2.
    source_ohm : resistance of the source, in the hot leg only, ohm, >= 0.
    shunt_ohm : ohm; infinite for none.

    Returns
    -------
    Least over all 64 combinations, dB.

    Raises
    ------
    RangeError : a part isn't above zero, or the tolerance is out of range.

    Source
    ------
    [derived]: the rejection is monotonic in each resistor.

    >>> round(worst_difference_rejection_db((1.0, 1.0, 1e4, 1e4, 1e4, 1e4), 0.01), 1)
    34.0
    """
    between("tolerance", tolerance, 1e-9, 0.2, "")
    signs = 1.0 - 2.0 * ((np.arange(64)[:, None] >> np.arange(6)) & 1)
    values: Array = np.asarray(parts, dtype=float) * (1.0 + tolerance * signs)
    hot, cold, r1, r2, r3, r4 = values.T
    return float(np.min(difference_rejection_db((hot + source_ohm, cold, r1, r2, r3, r4), shunt_ohm)))


def balanced_pad_ratio(series_ohm: ArrayLike, shunt_ohm: ArrayLike, load_ohm: ArrayLike) -> ArrayLike:
    """Loss of a balanced pad: a resistor in each leg and one across them.

    Parameters
    ----------
    series_ohm : in each leg, ohm, > 0.
    shunt_ohm : across, ohm, > 0; infinite for none.
    load_ohm : differential input resistance of what follows, ohm, > 0.

    Returns
    -------
    Differential output over input, dimensionless.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(float(balanced_pad_ratio(1e3, 250.0, np.inf)), 4)
    0.1111
    """
    positive("series resistor", series_ohm, "Ω")
    positive_or_open("shunt", shunt_ohm, "Ω")
    positive_or_open("load", load_ohm, "Ω")
    across = 1.0 / (1.0 / np.asarray(shunt_ohm, dtype=float) + 1.0 / np.asarray(load_ohm, dtype=float))
    return np.asarray(across / (2.0 * series_ohm + across))


def balanced_pad_shunt_ohm(ratio: ArrayLike, series_ohm: ArrayLike, load_ohm: ArrayLike) -> ArrayLike:
    """Shunt of a balanced pad for a wanted loss; the inverse of :func:`balanced_pad_ratio`.

    Parameters
    ----------
    ratio : output over input, dimensionless, above 0 and below the loss without a shunt.
    series_ohm, load_ohm : as there, ohm.

    Returns
    -------
    Ohm.

    Raises
    ------
    RangeError : the load alone already loses more.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(float(balanced_pad_shunt_ohm(0.1111, 1e3, 1e12)))
    250
    """
    between("pad ratio", ratio, 1e-6, 1.0 - 1e-6, "")
    across = 2.0 * np.asarray(series_ohm, dtype=float) * ratio / (1.0 - ratio)
    positive("shunt conductance of the pad", 1.0 / across - 1.0 / load_ohm, "S")
    return np.asarray(1.0 / (1.0 / across - 1.0 / load_ohm))


def common_mode_at_input(
    common_v: ArrayLike, series_ohm: ArrayLike, r3_ohm: ArrayLike, r4_ohm: ArrayLike
) -> ArrayLike:
    """Voltage at both inputs of the op-amp for a voltage common to both legs.

    Parameters
    ----------
    common_v : V.
    series_ohm, r3_ohm, r4_ohm : of the + side, ohm, > 0.

    Returns
    -------
    ``V R4/(Rs + R3 + R4)``, V.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> float(common_mode_at_input(7.2, 1e3, 22e3, 23e3))
    3.6
    """
    for name, value in (("series resistor", series_ohm), ("R3", r3_ohm), ("R4", r4_ohm)):
        positive(name, value, "Ω")
    return np.asarray(common_v * r4_ohm / (series_ohm + r3_ohm + r4_ohm))
