"""The supply while the engine is started: first dip and plateau, and what a sense filter makes of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from subwright.physics.bounds import require
from subwright.physics.transients import CRANKING_V

__all__ = ["CRANKING", "CUT", "RIPPLE_HZ", "CrankingProfile", "least_filtered_v"]

RIPPLE_HZ: Final = 2.0
_RIPPLE_V: Final = 1.0  # peak; from memory, and on the safe side
_CUT_S: Final = 0.2


@dataclass(frozen=True, kw_only=True, slots=True)
class CrankingProfile:
    """A level of the starting profile.

    Attributes
    ----------
    level : "I" to "IV"; "cut" for a supply that is gone for a moment.
    dip_v, plateau_v : terminal voltage in the first dip and while the engine turns, V.
    fall_s, dip_s, rise_s, plateau_s, recover_s : into the dip, in it, up to the plateau, on it, and back, s.
    ripple_v, ripple_hz : peak and frequency of the sine that lies on the plateau, as the pistons take turns,
        V and Hz; 0 V for none.
    """

    level: str
    dip_v: float
    plateau_v: float
    fall_s: float
    dip_s: float
    rise_s: float
    plateau_s: float
    recover_s: float
    ripple_v: float = 0.0
    ripple_hz: float = RIPPLE_HZ

    def filtered_ripple_v(self, tau_s: float) -> float:
        """Peak of the plateau's ripple behind a first-order low-pass of a time constant in s, V.

        >>> round(CRANKING[12][0].filtered_ripple_v(0.1), 3)
        0.623
        """
        return self.ripple_v / math.hypot(1.0, 2.0 * math.pi * self.ripple_hz * tau_s)

    @property
    def length_s(self) -> float:
        """From the start of the fall until the supply is back, s."""
        return self.fall_s + self.dip_s + self.rise_s + self.plateau_s + self.recover_s

    def points(self, rest_v: float) -> tuple[tuple[float, float], ...]:
        """Corners of the profile from and back to ``rest_v`` (V): time in s and voltage in V.

        >>> CRANKING[12][0].points(12.0)[1:3]
        ((0.005, 8.0), (0.02, 8.0))
        """
        steps = (
            (self.fall_s, self.dip_v),
            (self.dip_s, self.dip_v),
            (self.rise_s, self.plateau_v),
            (self.plateau_s, self.plateau_v),
            (self.recover_s, rest_v),
        )
        time_s, found = 0.0, [(0.0, rest_v)]
        for step_s, volts in steps:
            time_s = round(time_s + step_s, 9)
            found.append((time_s, volts))
        return tuple(found)

    def rippled(self, rest_v: float, per_period: int = 40) -> tuple[tuple[float, float], ...]:
        """The corners with the ripple drawn on the plateau, whole periods from its start.

        Parameters
        ----------
        rest_v : before and after, V. per_period : points of the sine.
        """
        corners = self.points(rest_v)
        start, end = corners[3][0], corners[4][0]
        count = int((end - start) * self.ripple_hz) * per_period
        step = 1.0 / (self.ripple_hz * per_period)
        wave = tuple(
            (start + k * step, self.plateau_v - self.ripple_v * math.sin(2.0 * math.pi * k / per_period))
            for k in range(1, count)
        )
        return (*corners[:4], *wave, *corners[4:])


def _profiles(
    system_v: int, fall_s: float, dip_s: float, plateaus_s: Sequence[float], recoveries_s: Sequence[float]
) -> tuple[CrankingProfile, ...]:
    return tuple(
        CrankingProfile(
            level=level,
            dip_v=dip,
            plateau_v=plateau,
            fall_s=fall_s,
            dip_s=dip_s,
            rise_s=50e-3,
            plateau_s=plateau_s,
            recover_s=recover_s,
            ripple_v=_RIPPLE_V * system_v / 12,
        )
        for level, (dip, plateau), plateau_s, recover_s in zip(
            ("I", "II", "III", "IV"), CRANKING_V[system_v], plateaus_s, recoveries_s, strict=False
        )
    )


CRANKING: Final = MappingProxyType(
    {
        12: _profiles(12, 5e-3, 15e-3, (1.0, 10.0, 1.0, 10.0), (40e-3, 100e-3, 100e-3, 100e-3)),
        24: _profiles(24, 10e-3, 50e-3, (1.0, 10.0, 1.0), (40e-3, 100e-3, 40e-3)),
    }
)
"""Starting profiles of ISO 16750-2:2010 by nominal voltage; voltages, times and the plateau's ripple of 2 Hz
from memory."""
CUT: Final = CrankingProfile(
    level="cut",
    dip_v=0.0,
    plateau_v=0.0,
    fall_s=1e-3,
    dip_s=0.5 * _CUT_S,
    rise_s=1e-3,
    plateau_s=0.5 * _CUT_S - 1e-3,
    recover_s=1e-3,
)
"""A supply that is gone for 200 ms, as when a relay changes over to the starter; ISO 16750-2 has such
interruptions, the length is common practice."""


def least_filtered_v(points: Sequence[tuple[float, float]], tau_s: float) -> tuple[float, float]:
    """Lowest voltage behind a first-order low-pass that was settled on the first point.

    Parameters
    ----------
    points : corners of the voltage over time, s and V; times rising.
    tau_s : time constant, s, > 0.

    Returns
    -------
    That voltage, V, and when it is reached, s.

    Raises
    ------
    RangeError : the time constant isn't positive, or a time doesn't rise.

    Source
    ------
    Answer of ``tau y' + y = a + b t`` to each straight piece: ``y = a - b tau + b t + k exp(-t/tau)``; its
    turning point where ``exp(-t/tau) = b tau / k``. [derived]

    >>> least, when = least_filtered_v([(0.0, 12.0), (0.005, 8.0), (0.020, 8.0), (0.070, 9.5)], 0.020)
    >>> print(f"{least:.2f} V after {when:.3f} s")
    8.80 V after 0.047 s
    """
    require("time constant", tau_s, "s", above=0.0)
    (time_s, volts), *rest = points
    y = least = volts
    when = time_s
    for next_s, next_v in rest:
        span = next_s - time_s
        require("time between two corners", span, "s", above=0.0)
        slope = (next_v - volts) / span
        settled = volts - slope * tau_s
        k = y - settled

        def at(t: float, settled: float = settled, slope: float = slope, k: float = k) -> float:
            return settled + slope * t + k * math.exp(-t / tau_s)

        ends = [span]
        if k != 0.0 and 0.0 < slope * tau_s / k < 1.0:
            turn = -tau_s * math.log(slope * tau_s / k)
            if turn < span:
                ends.append(turn)
        for t in ends:
            if at(t) < least:
                least, when = at(t), time_s + t
        y, time_s, volts = at(span), next_s, next_v
    return least, when
