"""Base-emitter junctions of small silicon transistors."""

from __future__ import annotations

import math
from typing import Final

from subwright.physics.bounds import require

__all__ = [
    "JUNCTION_COLD_V",
    "JUNCTION_HOT_V",
    "base_emitter_a",
    "base_emitter_v",
    "diode_v",
    "saturated_v",
    "saturation_current_a",
]

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


def diode_v(current_a: float, forward_v: float, stated_a: float, emission: float) -> float:
    """Forward voltage of a small diode at room temperature.

    Parameters
    ----------
    current_a : A, > 0.
    forward_v, stated_a : forward voltage at a stated current, V and A, > 0.
    emission : emission coefficient, dimensionless, > 0.

    Returns
    -------
    ``Vf + n kT/q ln(I/If)``, V.

    Raises
    ------
    RangeError : a current or the emission coefficient isn't positive.

    Source
    ------
    Exponential law of the junction [sedra-smith].

    >>> print(f"{diode_v(10e-6, 0.6, 1e-3, 1.9):.3f}")
    0.374
    """
    require("diode current", current_a, "A", above=0.0)
    require("stated current", stated_a, "A", above=0.0)
    require("emission coefficient", emission, "", above=0.0)
    return forward_v + emission * _THERMAL_V * math.log(current_a / stated_a)


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


def saturated_v(
    collector_a: float, base_a: float, gain: float, *, reverse_gain: float = 1.0, times: float = 1.0
) -> tuple[float, float]:
    """Base and collector of a transistor that is driven into saturation, against its emitter.

    Parameters
    ----------
    collector_a, base_a : A, >= 0 and > 0.
    gain, reverse_gain : current gains forwards and backwards, dimensionless, > 0.
    times : how many small transistors' junction it has, dimensionless, > 0.

    Returns
    -------
    Base-emitter and collector-emitter voltage, V; magnitudes for a PNP.

    Raises
    ------
    RangeError : an argument is out of range, or the base drives less than the collector takes.

    Source
    ------
    Model of Ebers and Moll, in its transport form: ``Ic = If - Ir (1 + 1/Br)``, ``Ib = If/Bf + Ir/Br``
    [sedra-smith]; the reverse gain of 1 is the usual guess where no sheet tells [common-practice].

    >>> base_v, collector_v = saturated_v(10e-3, 1e-3, 100.0)
    >>> print(f"{base_v:.3f} {collector_v:.3f}")
    0.714 0.067
    """
    require("collector current", collector_a, "A", at_least=0.0)
    require("base current", base_a, "A", above=0.0)
    require("current gain", gain, "", above=0.0)
    require("reverse current gain", reverse_gain, "", above=0.0)
    require("junctions", times, "", above=0.0)
    require("collector current", collector_a, "A", below=gain * base_a)
    forward_a = (collector_a + (1.0 + reverse_gain) * base_a) / (1.0 + (1.0 + reverse_gain) / gain)
    backward_a = reverse_gain * (base_a - forward_a / gain)
    own_a = times * saturation_current_a()
    return _THERMAL_V * math.log(forward_a / own_a), _THERMAL_V * math.log(forward_a / backward_a)
