"""How a class-D modulator runs: its frequency over the modulation, or what its comparator sees."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.physics.modulators import self_oscillating_hz
from subwright.stages.amplifier_modulator_records import Modulator

__all__ = ["ClockedCourse", "clocked_course", "frequency_over_modulation"]

Array = NDArray[np.float64]

_POINTS: Final = 81
_FALLS_TO_V: Final = 0.3  # the comparator's output when low, from memory
_PERIODS: Final = 2
_HALVINGS: Final = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockedCourse:
    """Carrier and integrator at the comparator, V against s, at a steady modulation.

    Attributes
    ----------
    modulation : of the output, share of the bus. time_s, carrier_v, integrator_v : equally long, s and V.
    """

    modulation: float
    time_s: Array
    carrier_v: Array
    integrator_v: Array


def frequency_over_modulation(m: Modulator) -> tuple[Array, Array]:
    """Switching frequency of a self-oscillating loop over its modulation, without a load's current.

    Parameters
    ----------
    m : the design.

    Returns
    -------
    Modulation from -reach to reach, and Hz.
    """
    integrator_s = m.resistors_ohm["integrator feedback"] * m.capacitors_f["integrator capacitor"]
    share = np.linspace(-m.modulation_reach, m.modulation_reach, _POINTS)
    hertz = [self_oscillating_hz(m.hysteresis, integrator_s, m.delay_s, float(x)) for x in share]
    return share, np.array(hertz)


def clocked_course(m: Modulator, modulation: float) -> ClockedCourse:
    """Two periods of a clocked loop at the nominal rail, its delays left out.

    The carrier climbs and falls as a capacitor's charge does, between its turning points; the integrator's
    share runs straight. Where they cross, the node changes over; the crossings are found so that the node is
    high for the modulation's share of the period.

    Parameters
    ----------
    m : a clocked design. modulation : steady, above -1 and below 1.

    Returns
    -------
    The course from one lower turning point of the carrier.

    Raises
    ------
    SubwrightError : the modulator has no clock, or the ripple is too steep for the carrier.

    Source
    ------
    [derived]
    """
    if not m.clocked:
        raise SubwrightError(message="A self-oscillating modulator has no carrier.")
    period = 1.0 / m.switching_hz
    low, high = m.clock_low_v, m.clock_high_v
    up = log((m.clock_supply_v - low) / (m.clock_supply_v - high))
    down = log((high - _FALLS_TO_V) / (low - _FALLS_TO_V))
    tau = period / (up + down)

    def carrier(time_s: Array) -> Array:
        at = np.mod(time_s, period)
        rising = m.clock_supply_v - (m.clock_supply_v - low) * np.exp(-at / tau)
        falling = _FALLS_TO_V + (high - _FALLS_TO_V) * np.exp(-(at - up * tau) / tau)
        return np.where(at < up * tau, rising, falling)

    slope = m.feedback_slope_v_per_s * m.rail_nominal_v / m.rail_high_v
    off = 0.5 * (1.0 - modulation) * period
    swing = slope * (1.0 + modulation) * off  # what the integrator gains while the node is low

    def short(start: float) -> float:
        before, after = carrier(np.array([start, start + off]))
        return float(after - before) - swing

    first, last = max(0.0, up * tau - off), min(up * tau, period - off)
    if short(first) * short(last) > 0.0:
        raise SubwrightError(
            message="The integrator's ripple leaves no place to cross the carrier at this modulation.",
            quantity="modulation",
            value=f"{modulation:g}",
        )
    for _ in range(_HALVINGS):
        middle = 0.5 * (first + last)
        first, last = (middle, last) if short(first) * short(middle) > 0.0 else (first, middle)
    start = 0.5 * (first + last)
    bottom = float(carrier(np.array([start]))[0])
    corners = start + period * np.arange(-1, _PERIODS + 1)
    knots = np.sort(np.concatenate([corners, corners + off]))
    levels = np.where(np.arange(len(knots)) % 2 == 0, bottom, bottom + swing)
    time_s = np.unique(np.concatenate([np.linspace(0.0, _PERIODS * period, 401), knots]))
    time_s = time_s[(time_s >= 0.0) & (time_s <= _PERIODS * period)]
    return ClockedCourse(
        modulation=modulation,
        time_s=time_s,
        carrier_v=carrier(time_s),
        integrator_v=np.interp(time_s, knots, levels),
    )
