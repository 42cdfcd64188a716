"""Base-emitter junctions of small silicon transistors."""

from __future__ import annotations

import math
from typing import Final

from subwright.physics.bounds import require

__all__ = ["JUNCTION_COLD_V", "JUNCTION_HOT_V", "base_emitter_a", "base_emitter_v", "saturation_current_a"]

_AT_ONE_MA_V: Final = 0.65
_THERMAL_V: Final = 1.380649e-23 * 300.15 / 1.602176634e-19  # kT/q at 27 °C
JUNCTION_HOT_V: Final = -0.13
"""At 85 °C against 25 °C, at −2.2 mV/K; common practice."""
JUNCTION_COLD_V: Final = 0.10
"""At −20 °C against 25 °C."""


def base_emitter_v(collector_a: float) -> float:
    """Base-emitter voltage of a small silicon transistor at room temperature.

    Parameters
    ----------
    collector_a : collector current, A, > 0.

    Returns
    -------
    ``0.65 V + kT/q ln(I/1 mA)``, V.

    Raises
    ------
    RangeError : the current isn't positive.

    Source
    ------
    Exponential law of the junction; 0.65 V at 1 mA is a family value [common-practice].

    >>> print(f"{base_emitter_v(1e-3):.3f} {base_emitter_v(10e-6):.3f}")
    0.650 0.531
    """
    require("collector current", collector_a, "A", above=0.0)
    return _AT_ONE_MA_V + _THERMAL_V * math.log(collector_a / 1e-3)


def base_emitter_a(junction_v: float) -> float:
    """Collector current at a base-emitter voltage, A; the inverse of :func:`base_emitter_v`.

    Parameters
    ----------
    junction_v : V.

    Returns
    -------
    ``1 mA exp((V - 0.65 V)/(kT/q))``, A.

    Raises
    ------
    Nothing.

    Source
    ------
    As :func:`base_emitter_v` [common-practice].

    >>> round(base_emitter_a(0.65) * 1e3, 6)
    1.0
    """
    return 1e-3 * math.exp((junction_v - _AT_ONE_MA_V) / _THERMAL_V)


def saturation_current_a() -> float:
    """Saturation current that goes with :func:`base_emitter_v`.

    Returns
    -------
    Current at no voltage, A.

    Source
    ------
    Exponential law of the junction [common-practice].

    >>> print(f"{saturation_current_a():.2e}")
    1.22e-14
    """
    return base_emitter_a(0.0)
