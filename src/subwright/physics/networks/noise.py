"""Noise of resistors and op-amps in the audio band."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ._checks import Array, ArrayLike, not_negative, positive
from .nodal import BOLTZMANN_J_PER_K

__all__ = ["integrated_noise_v", "shot_noise_a_per_rthz", "signal_to_noise_db", "thermal_noise_v_per_rthz"]

_ELECTRON_COUL = 1.602176634e-19  # exact since the 2019 SI


def thermal_noise_v_per_rthz(resistance_ohm: ArrayLike, temperature_k: ArrayLike = 300.0) -> ArrayLike:
    """Thermal noise of a resistor.

    Parameters
    ----------
    resistance_ohm : ohm, >= 0, scalar or array.
    temperature_k : K, > 0, scalar or array.

    Returns
    -------
    ``sqrt(4 k T R)``, V/√Hz.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [nyquist1928].

    >>> print(f"{1e9 * thermal_noise_v_per_rthz(1e3):.2f} nV/rtHz")
    4.07 nV/rtHz
    """
    not_negative("resistance", resistance_ohm, "Ω")
    positive("temperature", temperature_k, "K")
    density = np.asarray(np.sqrt(4 * BOLTZMANN_J_PER_K * temperature_k * resistance_ohm))
    return density if density.ndim else float(density)


def shot_noise_a_per_rthz(current_a: ArrayLike) -> ArrayLike:
    """Shot noise of a current: the least input noise current of a bipolar op-amp with this bias.

    Parameters
    ----------
    current_a : A, >= 0, scalar or array.

    Returns
    -------
    ``sqrt(2 q I)`` in A per √Hz.

    Raises
    ------
    RangeError : the current is negative.

    Source
    ------
    [horowitz-hill], chapter on noise.

    >>> print(f"{1e12 * shot_noise_a_per_rthz(200e-9):.3f} pA/rtHz")
    0.253 pA/rtHz
    """
    not_negative("current", current_a, "A")
    density = np.asarray(np.sqrt(2 * _ELECTRON_COUL * np.asarray(current_a, dtype=float)))
    return density if density.ndim else float(density)


def integrated_noise_v(density_v2_per_hz: Mapping[str, Array] | Array, frequency_hz: Array) -> float:
    """Rms noise over a band.

    Parameters
    ----------
    density_v2_per_hz : noise density on the grid, V²/Hz, shape (n,); or several by name, which add.
    frequency_hz : grid, Hz, > 0, rising, shape (n,), n >= 2; logarithmic grids are integrated as such.

    Returns
    -------
    Rms voltage from the first to the last frequency, V.

    Raises
    ------
    RangeError : the grid doesn't rise from above zero.

    Source
    ------
    [derived]: trapezium rule in ln f, exact for a density that falls as 1/f.

    >>> f = np.geomspace(10.0, 20e3, 200)
    >>> round(integrated_noise_v(np.full(200, 1e-16), f) * 1e6, 2)
    1.41
    """
    positive("frequency", frequency_hz, "Hz")
    positive("frequency step", np.diff(frequency_hz), "Hz")
    total = (
        np.sum(list(density_v2_per_hz.values()), axis=0)
        if isinstance(density_v2_per_hz, Mapping)
        else np.asarray(density_v2_per_hz)
    )
    return float(np.sqrt(np.trapezoid(total * frequency_hz, np.log(frequency_hz))))


def signal_to_noise_db(signal_v: float, noise_v: float) -> float:
    """Signal-to-noise ratio.

    Parameters
    ----------
    signal_v, noise_v : rms, V, > 0.

    Returns
    -------
    ``20 log10(signal/noise)``, dB.

    Raises
    ------
    RangeError : a voltage isn't above zero.

    Source
    ------
    [self-ssad], chapter 1.

    >>> round(signal_to_noise_db(1.0, 10e-6))
    100
    """
    positive("signal", signal_v, "V")
    positive("noise", noise_v, "V")
    return float(20.0 * np.log10(signal_v / noise_v))
