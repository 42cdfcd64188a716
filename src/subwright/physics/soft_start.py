"""Filling the rails while a soft start opens the duty: what the battery must give, and how long it takes."""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, sqrt

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require
from subwright.physics.push_pull import pulse_final

__all__ = ["ChargingPath", "Filling", "charging_a", "fill_rails"]

Array = NDArray[np.float64]

_STEPS = 60  # of the soft start
_FULL = 0.95  # of the rail's end: counted as filled


@dataclass(frozen=True, kw_only=True, slots=True)
class ChargingPath:
    """A push-pull or bridge converter with peak-charged rails, as an empty bank sees it.

    Attributes
    ----------
    emf_v, source_ohm : battery, V and Ω. ratio : Ns/Np. diode_v : of one leg, V.
    loop_ohm : primary and secondary path seen from the primary, both rails together, Ω.
    leakage_h : seen from the primary, H. switching_hz : full cycle, Hz.
    reset_v : least voltage against which the leakage current falls, V. returned : how often the charge of
        that fall comes off the battery's: 1 through a clamp that gives it back, 2 through a bridge's diodes,
        else 0. clamp_ohm : from the clamp to the battery, Ω, 0 without.
    """

    emf_v: float
    source_ohm: float
    ratio: float
    diode_v: float
    loop_ohm: float
    leakage_h: float
    switching_hz: float
    reset_v: float
    returned: float = 0.0
    clamp_ohm: float = 0.0

    @property
    def end_v(self) -> float:
        """Rail at the end, unloaded, V."""
        return self.ratio * self.emf_v - self.diode_v


def charging_a(path: ChargingPath, share: float, rail_v: float) -> tuple[float, float]:
    """Mean currents into rails at ``rail_v``.

    Parameters
    ----------
    path : the converter.
    share : conducting share of the period, 0 to 1.
    rail_v : both rails, magnitude, V.

    Returns
    -------
    (out of the battery; into one rail), A, at which battery, loop and rails agree: 0 once the rails are at
    their end. Early on the rails get more than turns and battery tell, for the leakage current that falls
    still feeds them while the battery gets its energy back.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    The pulse of ``push_pull.averaged_pulse``, between a battery with its resistance and a bank, by the same
    quadratic. [derived]

    >>> path = ChargingPath(emf_v=12.6, source_ohm=0.02, ratio=4.4, diode_v=0.8, loop_ohm=0.02,
    ...                     leakage_h=60e-9, switching_hz=50e3, reset_v=25.2, returned=1.0)
    >>> [round(charging_a(path, share, 20.0)[0], 2) for share in (0.05, 0.2)]
    [1.55, 20.18]
    """
    require("conducting share", share, "", at_least=0.0, at_most=1.0)
    require("rail", rail_v, "V", at_least=0.0)
    battery, primary, _ = _charging(path, share, rail_v)
    return battery, primary / (2.0 * path.ratio)


def _charging(path: ChargingPath, share: float, rail_v: float) -> tuple[float, float, float]:
    """Currents of battery and primary, A, and the primary's over the voltage that drives it, S."""
    open_v = path.emf_v - (rail_v + path.diode_v) / path.ratio
    if open_v <= 0.0 or share <= 0.0:
        return 0.0, 0.0, 0.0
    if path.leakage_h <= 0.0:
        battery = share * open_v / (path.loop_ohm + path.source_ohm * share)
        return battery, battery, battery / open_v
    x = path.loop_ohm * share / (2.0 * path.switching_hz * path.leakage_h)
    end = -expm1(-x)
    rise = share * (x / 2.0 if x < 1e-6 else 1.0 - end / x)
    stored = path.switching_hz * path.leakage_h * end**2
    driven = path.loop_ohm * (1.0 - end * 2.0 / 3.0)
    # What drives the pulse lacks what the battery's current takes from it: rise, and fall where that isn't
    # given back.
    source = path.source_ohm
    final = float(
        pulse_final(
            open_v,
            path.loop_ohm + source * rise,
            source * (1.0 - path.returned) * stored,
            driven,
            path.reset_v,
        )
    )
    energy, still = stored * final**2, driven * final
    fall = energy / max(path.reset_v - still, 0.25 * path.reset_v)
    if path.clamp_ohm > 0.0:  # the clamp rises until its resistor carries off what comes
        room = path.emf_v - still
        fall = min(fall, (sqrt(room**2 + 4.0 * path.clamp_ohm * energy) - room) / (2.0 * path.clamp_ohm))
    primary = rise * final + fall
    return rise * final + (1.0 - path.returned) * fall, primary, primary / open_v


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Filling:
    """A soft start in time.

    Attributes
    ----------
    time_s, share, rail_v, battery_a : courses, shape (n,). peak_a : highest of the battery, A.
    filled_s : from the start until the rails are at 95 % of their end; the whole time where they aren't.
    """

    time_s: Array
    share: Array
    rail_v: Array
    battery_a: Array
    peak_a: float
    filled_s: float


def fill_rails(path: ChargingPath, *, rail_f: float, share_most: float, start_s: float) -> Filling:
    """Rails filled from nought while the conducting share opens along a straight line.

    Parameters
    ----------
    path : the converter.
    rail_f : capacitance of one rail, F, > 0; there are two.
    share_most : conducting share at the end, 0 to 1.
    start_s : time of the soft start, s, > 0.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``n 2 C dV/dt = I``, by the trapezoidal rule; a hundredth of a per cent from steps a thirtieth as long.
    [derived]
    """
    require("rail capacitance", rail_f, "F", above=0.0)
    require("conducting share", share_most, "", above=0.0, at_most=1.0)
    require("soft start", start_s, "s", above=0.0)
    step, rail = start_s / _STEPS, 0.0
    time_s = np.linspace(0.0, start_s, _STEPS + 1)
    shares = [share_most * (k + 1.0) / _STEPS for k in range(_STEPS)]
    rails, currents = np.zeros(_STEPS + 1), np.zeros(_STEPS + 1)
    volts_per_amp = step / (2.0 * path.ratio * rail_f)
    for k, share in enumerate(shares, 1):
        # The current falls straight with the rail: the trapezoidal rule, without a round of its own.
        _, amps, siemens = _charging(path, share - 0.5 * shares[0], rail)
        rail += volts_per_amp * amps / (1.0 + 0.5 * volts_per_amp * siemens / path.ratio)
        rails[k] = rail
        currents[k], _, _ = _charging(path, share, rail)
    goal_v = _FULL * path.end_v
    full = np.flatnonzero(rails >= goal_v)
    return Filling(
        time_s=time_s,
        share=np.array([0.0, *shares]),
        rail_v=rails,
        battery_a=currents,
        peak_a=float(currents.max()),
        filled_s=_crossing(time_s, rails, int(full[0]), goal_v) if full.size else start_s,
    )


def _crossing(time_s: Array, rails: Array, at: int, goal_v: float) -> float:
    """Time at which the rails pass a voltage inside the step that ends at an index, s."""
    share = (goal_v - rails[at - 1]) / (rails[at] - rails[at - 1])
    return float(time_s[at - 1] + share * (time_s[at] - time_s[at - 1]))
