"""What a class-D output filter leaves of its carrier."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from subwright.physics.bounds import require
from subwright.physics.class_d import filter_response

__all__ = ["carrier_ripple_v"]

_HARMONICS: Final = 15  # odd ones; the filter leaves a ten-thousandth of the last
_ANGLES: Final = 720


def carrier_ripple_v(
    bus_v: float,
    switching_hz: float,
    inductance_h: float,
    capacitance_f: float,
    damping_ohm: float,
    damping_f: float,
    series_ohm: float,
) -> float:
    """Ripple at the output of one leg at rest, peak to peak.

    Parameters
    ----------
    bus_v : voltage across the leg, V, >= 0.
    switching_hz : Hz, > 0.
    inductance_h, capacitance_f : of the leg, H and F, > 0.
    damping_ohm, damping_f : in series across the capacitor, ohm and F, > 0.
    series_ohm : of inductor and switch, ohm, >= 0.

    Returns
    -------
    Ripple of a square wave of half the time behind the filter, nothing on the output, V. Equivalent series
    resistance of the film capacitors is left out.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Fourier series of the square wave through the divider of the filter [erickson2001].

    Without damping it is near the ripple current over ``8 f C``:

    >>> round(carrier_ripple_v(100.0, 200e3, 47e-6, 0.68e-6, 1e9, 1e-12, 0.0), 2)
    2.5
    >>> round(100.0 / (4 * 200e3 * 47e-6) / (8 * 200e3 * 0.68e-6), 2)
    2.44
    """
    require("bus voltage", bus_v, "V", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    order = np.arange(1, 2 * _HARMONICS, 2, dtype=np.float64)
    gain = filter_response(
        np.asarray(order * switching_hz, dtype=np.float64),
        inductance_h,
        capacitance_f,
        damping_ohm,
        damping_f,
        series_ohm,
        math.inf,
        1,
    )
    phases = np.outer(np.linspace(0.0, 2.0 * math.pi, _ANGLES, endpoint=False), order)
    course = np.imag(np.exp(1j * phases) @ (gain * 2.0 * bus_v / (math.pi * order)))
    return float(np.ptp(course))
