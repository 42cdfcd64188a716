"""A closed cabin: pressure-zone gain below the first mode, and the modes themselves."""

from __future__ import annotations

import math

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import FloatArray, Real
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = [
    "axial_mode_hz",
    "corner_from_length_hz",
    "corner_from_volume_hz",
    "first_modes_hz",
    "gain_db",
    "sharp_gain_db",
]


def axial_mode_hz(length_m: Real, order: int = 1, *, air: Air = AIR_20C) -> Real:
    """Axial mode n·c/(2·L) in Hz.

    Parameters
    ----------
    length_m : inner length, m, any shape.
    order : 1, 2, 3 …
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 10. 2.5 m: 68.6 Hz.
    """
    return order * air.speed_m_per_s / (2.0 * np.asarray(length_m))


def first_modes_hz(
    sides_m: tuple[float, ...], *, count: int = 5, air: Air = AIR_20C
) -> tuple[tuple[float, tuple[int, ...]], ...]:
    """Lowest modes of a rectangular cabin with rigid walls.

    f = (c/2)·√Σ(n/L)².

    Parameters
    ----------
    sides_m : inner sides that are known, one to three, m.
    count : how many modes.
    air : state of the air.

    Returns
    -------
    tuple of (frequency in Hz, mode numbers), ascending.

    Source
    ------
    [beranek-mellow-2012], ch. 10.
    """
    top = count + 1
    grids = np.meshgrid(*(np.arange(top) for _ in sides_m), indexing="ij")
    orders = np.stack([grid.ravel() for grid in grids], axis=1)[1:]
    frequencies: FloatArray = (
        0.5 * air.speed_m_per_s * np.sqrt(((orders / np.array(sides_m)) ** 2).sum(axis=1))
    )
    lowest = np.argsort(frequencies, kind="stable")[:count]
    return tuple((float(frequencies[i]), tuple(int(n) for n in orders[i])) for i in lowest)


def corner_from_length_hz(length_m: float, *, air: Air = AIR_20C) -> float:
    """Cabin corner taken as the first axial mode of its longest side, c/(2·L), in Hz.

    Source
    ------
    [common-practice].
    """
    return float(axial_mode_hz(length_m, air=air))


def corner_from_volume_hz(volume_m3: float, *, distance_m: float = 1.0, air: Air = AIR_20C) -> float:
    """Frequency in Hz at which pressure-zone and half-space level are equal, c/(2π)·√(2π·r/V).

    Below the first mode a displacement dV gives ρ·c²·dV/V everywhere; in half space it gives ρ·ω²·dV/(2π·r).

    Parameters
    ----------
    volume_m3 : cabin volume, m³.
    distance_m : distance at which the half-space level is stated, m.
    air : state of the air.

    Source
    ------
    [derived] from the low-frequency source and the adiabatic gas law ([beranek-mellow-2012], ch. 4).
    """
    return air.speed_m_per_s / (2.0 * math.pi) * math.sqrt(2.0 * math.pi * distance_m / volume_m3)


def gain_db(frequency_hz: Real, corner_hz: float, leakage_hz: float = 0.0) -> Real:
    """Smoothed cabin gain 10·lg[1 + fc⁴/(f⁴ + fl⁴)] in dB.

    Twelve decibels per octave below the corner. Below the leakage corner, where air flows through openings
    and panels give way, the gain no longer rises.

    Parameters
    ----------
    frequency_hz : any shape, Hz.
    corner_hz : pressure-zone corner, Hz.
    leakage_hz : leakage corner, Hz; 0 for a perfectly tight and rigid cabin.

    Raises
    ------
    RangeError : when the leakage corner isn't below the corner.

    Source
    ------
    [common-practice] (one-parameter cabin model), smoothed; leakage corner [derived]. 65 Hz: 20.5, 13.6, 9.0,
    3.8 dB at 20, 30, 40, 60 Hz.

    >>> [round(float(gain_db(f, 65.0)), 1) for f in (20.0, 30.0, 40.0, 60.0)]
    [20.5, 13.6, 9.0, 3.8]
    """
    if not 0.0 <= leakage_hz < corner_hz:
        raise RangeError(
            message="The cabin's leakage corner must lie below its pressure-zone corner.",
            quantity="leakage corner",
            value=f"{leakage_hz:.3g} Hz",
            limit=f"below {corner_hz:.3g} Hz",
            remedy="Give a lower leakage corner, or state that there is no cabin.",
        )
    f4 = np.asarray(frequency_hz, dtype=np.float64) ** 4
    return np.asarray(10.0 * np.log10(1.0 + corner_hz**4 / (f4 + leakage_hz**4)), dtype=np.float64)


def sharp_gain_db(frequency_hz: Real, corner_hz: float) -> Real:
    """Unsmoothed cabin gain 40·lg(fc/f) below the corner, 0 above, in dB.

    Parameters
    ----------
    frequency_hz : any shape, Hz.
    corner_hz : Hz.

    Source
    ------
    [common-practice]. 65 Hz: 20.5 dB at 20 Hz.
    """
    return np.asarray(
        np.maximum(40.0 * np.log10(corner_hz / np.asarray(frequency_hz)), 0.0), dtype=np.float64
    )
