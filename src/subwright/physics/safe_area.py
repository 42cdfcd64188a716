"""Safe operating area of a power transistor, and where a loudspeaker's load line runs in it.

A bipolar transistor at high voltage draws its current into one spot of the die and dies of it well below its
power rating: second breakdown. Field-effect transistors of the lateral kind spread it and don't.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, radians

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.physics.bounds import require

__all__ = [
    "LoadLine",
    "SafeArea",
    "hardest_point",
    "load_line",
    "reactive_modulus_ohm",
    "whole_devices",
]

Array = NDArray[np.float64]

_DRIVES = np.linspace(0.3, 1.0, 15)
_STEP_DEG = 1.0
_ANGLES = np.radians(np.arange(2.0, 180.0, 2.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class SafeArea:
    """What one transistor may carry steadily, by voltage and case temperature.

    Attributes
    ----------
    current_a : largest collector or drain current, A. voltage_v : largest voltage, V.
    rth_jc_k_per_w, tj_max_c : junction to case, K/W, and its limit, °C; they make the power line.
    breakdown : points (V, A) of the second-breakdown limit at 25 °C case, straight lines on logarithmic
        axes between and beyond them; () for a device that has none.
    breakdown_left : share of that limit left with the case at ``tj_max_c``; it falls along a straight line.
    """

    current_a: float
    voltage_v: float
    rth_jc_k_per_w: float
    tj_max_c: float
    breakdown: tuple[tuple[float, float], ...] = ()
    breakdown_left: float = 1.0

    def allowed_a(self, voltage_v: Array | float, case_c: float) -> Array:
        """Steady current allowed at a voltage.

        Parameters
        ----------
        voltage_v : across the device, V, > 0, any shape.
        case_c : °C.

        Returns
        -------
        Current, A, shape of the voltage: least of current, power and second-breakdown limit; 0 above the
        voltage rating and with the case at or above ``tj_max_c``.

        Raises
        ------
        RangeError : a voltage is not above 0.

        Source
        ------
        Power line ``(T_j max - T_case)/(R_thJC V)``; second breakdown as data sheets draw it, and that it
        derates less than the power: onsemi TIP35/D, figure 6 and its text. [onsemi-tip35]

        >>> area = SafeArea(current_a=25.0, voltage_v=100.0, rth_jc_k_per_w=1.0, tj_max_c=150.0)
        >>> [round(float(area.allowed_a(v, 25.0)), 2) for v in (2.0, 25.0, 50.0, 120.0)]
        [25.0, 5.0, 2.5, 0.0]
        >>> round(float(area.allowed_a(25.0, 100.0)), 2)
        2.0
        """
        volts = np.asarray(voltage_v, dtype=np.float64)
        require("voltage", float(np.min(volts, initial=np.inf)), "V", above=0.0)
        room_k = max(self.tj_max_c - case_c, 0.0)
        allowed = np.minimum(self.current_a, room_k / (self.rth_jc_k_per_w * volts))
        if self.breakdown:
            share = (min(max(case_c, 25.0), self.tj_max_c) - 25.0) / (self.tj_max_c - 25.0)
            left = 1.0 - share * (1.0 - self.breakdown_left)
            allowed = np.minimum(allowed, left * self._breakdown_a(volts))
        if room_k == 0.0:
            allowed = np.zeros_like(volts)
        result: Array = np.where(volts > self.voltage_v, 0.0, allowed)
        return result

    def _breakdown_a(self, volts: Array) -> Array:
        """Second-breakdown current at 25 °C case, A; no limit below its first point."""
        at, amps = np.log(np.array(self.breakdown)).T
        x = np.log(volts)
        inside = np.interp(x, at, amps)
        slope = (amps[-1] - amps[-2]) / (at[-1] - at[-2]) if at.size > 1 else -2.0
        beyond = amps[-1] + slope * (x - at[-1])
        return np.where(x < at[0], np.inf, np.exp(np.where(x > at[-1], beyond, inside)))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LoadLine:
    """One transistor's voltage and current over its half cycle.

    Attributes
    ----------
    phase_deg, modulus_ohm : of the load. drive : output peak over the greatest. across_v, current_a : shape
        (n,), V and A.
    """

    phase_deg: float
    modulus_ohm: float
    drive: float
    across_v: Array
    current_a: Array


def reactive_modulus_ohm(resistance_ohm: float, phase_deg: float) -> float:
    """Least modulus of a loudspeaker's impedance at a phase.

    Parameters
    ----------
    resistance_ohm : least real part, ohm, > 0: that of the voice coil, which is in series with all else.
    phase_deg : degrees, -89 to 89.

    Returns
    -------
    ``R/cos(phase)``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    The real part of a passive load behind a series resistance is at least that resistance. [derived]

    >>> round(reactive_modulus_ohm(3.2, 60.0), 2)
    6.4
    """
    require("resistance", resistance_ohm, "Ω", above=0.0)
    require("phase", phase_deg, "°", at_least=-89.0, at_most=89.0)
    return resistance_ohm / cos(radians(phase_deg))


def load_line(rail_v: float, peak_v: float, modulus_ohm: float, phase_deg: float) -> LoadLine:
    """Voltage across and current through one device of a class-B stage over the half cycle it conducts.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    peak_v : output peak, V, 0 to ``rail_v``.
    modulus_ohm : of the load, ohm, > 0.
    phase_deg : of the load, degrees, -90 to 90; its sign only mirrors the line.

    Returns
    -------
    LoadLine at whole degrees.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``V - Vp sin x`` and ``Vp/|Z| sin(x - phase)``. [derived]

    >>> line = load_line(40.0, 40.0, 4.0, 45.0)
    >>> round(float(np.max(line.across_v * line.current_a)), 1)
    282.8
    """
    require("rail voltage", rail_v, "V", above=0.0)
    require("output peak", peak_v, "V", at_least=0.0, at_most=rail_v)
    require("modulus of the load", modulus_ohm, "Ω", above=0.0)
    require("phase", phase_deg, "°", at_least=-90.0, at_most=90.0)
    phase = radians(abs(phase_deg))
    x = phase + np.radians(np.arange(0.0, 180.0 + _STEP_DEG, _STEP_DEG))
    return LoadLine(
        phase_deg=phase_deg,
        modulus_ohm=modulus_ohm,
        drive=peak_v / rail_v,
        across_v=rail_v - peak_v * np.sin(x),
        current_a=np.maximum(peak_v / modulus_ohm * np.sin(x - phase), 0.0),
    )


def hardest_point(
    area: SafeArea,
    case_c: float,
    rail_v: float,
    reach_v: float,
    loads: Sequence[tuple[float, float]],
) -> tuple[float, float, float, LoadLine]:
    """Where the load lines of some loads, at any drive, come nearest to one device's limit.

    Parameters
    ----------
    area : of one device.
    case_c : °C.
    rail_v : one rail, V.
    reach_v : greatest output peak, V.
    loads : (modulus in ohm, phase in degrees) of each, at least one.

    Returns
    -------
    (devices needed side by side as a real number, voltage in V, current in A of all together, its load line);
    infinite where the limit is zero.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Load line in the safe operating area, as in Self, Audio Power Amplifier Design. [self-apad]

    >>> area = SafeArea(current_a=25.0, voltage_v=100.0, rth_jc_k_per_w=1.0, tj_max_c=150.0)
    >>> needed, volts, amps, _ = hardest_point(area, 25.0, 40.0, 40.0, [(4.0, 45.0)])
    >>> round(needed, 2), round(volts, 1), round(amps, 2)
    (2.26, 39.3, 7.19)
    """
    modulus, phase = np.abs(np.array(loads, dtype=np.float64).reshape(-1, 2)).T[:, :, None, None]
    if not modulus.size or float(modulus.min()) <= 0.0:
        raise RangeError(
            message="A load line needs a load.",
            quantity="modulus of the load",
            value=show(0.0, "resistance"),
            limit="> 0 Ω",
        )
    require("rail voltage", rail_v, "V", above=0.0)
    peak = min(reach_v, rail_v) * _DRIVES[None, :, None]
    late = np.radians(phase)
    x = late + _ANGLES[None, None, :]
    across = np.maximum(rail_v - peak * np.sin(x), 1e-3)
    amps = peak / modulus * np.sin(_ANGLES)[None, None, :]
    limit = area.allowed_a(across, case_c)
    with np.errstate(divide="ignore"):
        needed = amps / limit
    load, drive, angle = np.unravel_index(int(np.argmax(needed)), needed.shape)
    at = (load, drive, angle)
    line = load_line(rail_v, float(peak[0, drive, 0]), float(modulus[load, 0, 0]), float(phase[load, 0, 0]))
    return float(needed[at]), float(across[at]), float(amps[at]), line


def whole_devices(needed: float) -> int:
    """Whole devices that carry ``needed`` times one's limit, at least one.

    Parameters
    ----------
    needed : devices as a real number, dimensionless.

    Returns
    -------
    Whole number.

    Source
    ------
    Rounding up. [derived]

    >>> whole_devices(2.0), whole_devices(2.1)
    (2, 3)
    """
    return max(1, ceil(needed - 1e-9))
