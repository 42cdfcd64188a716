"""What loud sound does to ears: frequency weighting and the time that a level may last."""

from __future__ import annotations

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import Real

__all__ = ["a_weighting_db", "allowed_time_s", "c_weighting_db"]

# Pole frequencies of the weightings, IEC 61672-1, annex E, rounded as it prints them, Hz.
_F1, _F2, _F3, _F4 = 20.60, 107.7, 737.9, 12194.0
_REFERENCE_HZ = 1000.0
_LIMIT_DB = 85.0
_LIMIT_S = 8 * 3600.0
_EXCHANGE_DB = 3.0


def _c_gain(frequency_hz: Real) -> Real:
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return _F4**2 * square / ((square + _F1**2) * (square + _F4**2))


def _a_gain(frequency_hz: Real) -> Real:
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return _c_gain(frequency_hz) * square / np.sqrt((square + _F2**2) * (square + _F3**2))


def _checked(frequency_hz: Real) -> None:
    if np.any(np.asarray(frequency_hz) <= 0.0):
        raise RangeError(
            message="A frequency weighting needs a frequency above zero.",
            quantity="frequency",
            value=f"{float(np.min(frequency_hz)):g} Hz",
            limit="> 0 Hz",
            source="iec-61672-1",
        )


def a_weighting_db(frequency_hz: Real) -> Real:
    """Frequency weighting A: what a meter set to dB(A) adds to the level of a tone.

    Parameters
    ----------
    frequency_hz : any shape, Hz, > 0.

    Returns
    -------
    dB, same shape; 0 at 1 kHz.

    Raises
    ------
    RangeError : a frequency isn't above zero.

    Source
    ------
    [iec-61672-1], annex E, eq. E.6; its table prints -39.4 dB at 31.5 Hz and -26.2 dB at 63 Hz.

    >>> [round(float(a_weighting_db(f)), 1) for f in (31.623, 63.096, 100.0, 1000.0)]
    [-39.4, -26.2, -19.1, 0.0]
    """
    _checked(frequency_hz)
    return 20.0 * np.log10(_a_gain(frequency_hz) / _a_gain(_REFERENCE_HZ))


def c_weighting_db(frequency_hz: Real) -> Real:
    """Frequency weighting C: what a meter set to dB(C) adds to the level of a tone.

    Parameters
    ----------
    frequency_hz : any shape, Hz, > 0.

    Returns
    -------
    dB, same shape; 0 at 1 kHz.

    Raises
    ------
    RangeError : a frequency isn't above zero.

    Source
    ------
    [iec-61672-1], annex E, eq. E.1; its table prints -3.0 dB at 31.5 Hz and -0.8 dB at 63 Hz.

    >>> [round(float(c_weighting_db(f)), 1) for f in (31.623, 63.096, 1000.0)]
    [-3.0, -0.8, 0.0]
    """
    _checked(frequency_hz)
    return 20.0 * np.log10(_c_gain(frequency_hz) / _c_gain(_REFERENCE_HZ))


def allowed_time_s(level_db: Real) -> Real:
    """Time a day that a steady A-weighted level may last by the recommended exposure limit.

    Parameters
    ----------
    level_db : dB(A), any shape.

    Returns
    -------
    ``8 h / 2^((L - 85)/3)``, s, same shape.

    Source
    ------
    [niosh-98-126], section 1.1.1: 85 dB(A) for 8 hours, 3 dB exchange rate; its table allows 1 h at 94 dB(A)
    and 15 min at 100 dB(A).

    >>> float(allowed_time_s(94.0)) / 3600, float(allowed_time_s(100.0)) / 60
    (1.0, 15.0)
    """
    return _LIMIT_S / 2.0 ** ((np.asarray(level_db, dtype=np.float64) - _LIMIT_DB) / _EXCHANGE_DB)
