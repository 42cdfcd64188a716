"""Averages of the current pulses in an unregulated push-pull converter with peak-charged rails.

Each half cycle a switch connects the battery terminal to a half-primary for ``on_s``. The difference
between the terminal voltage and the reflected rail then drives a current through the loop's resistance
and leakage inductance: a first-order exponential that starts from zero, because the leakage current of
the half cycle before has died in the dead time. Everything here follows from that one waveform.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError

__all__ = [
    "AveragedPulse",
    "PulseShape",
    "averaged_pulse",
    "capacitor_ripple_factor",
    "conduction_share",
    "pulse_average",
    "pulse_final",
    "pulse_shape",
    "recovery_share",
    "split_loop_ohm",
    "turns_ratio_needed",
]

Array = NDArray[np.float64]
Floats = float | Array

_NO_CURRENT = 1e-30  # A², so that no load at all counts as one rail's


class PulseShape(NamedTuple):
    """Shape factors of an exponentially rising pulse, all dimensionless.

    average : mean current during the on-time over the final (resistive) value.
    mean_square : mean of the squared current during the on-time over the squared final value.
    end : current at turn-off over the final value.
    resistive_share : share of the energy dropped in the loop that heats its resistance; the rest is
        stored in the leakage inductance at turn-off and lost in the clamp or snubber.
    """

    average: float
    mean_square: float
    end: float
    resistive_share: float


def conduction_share(switching_hz: float, dead_time_s: float) -> float:
    """Share of the switching period in which either switch conducts.

    Parameters
    ----------
    switching_hz : frequency at which one full push-pull cycle repeats, Hz, > 0.
    dead_time_s : time with both switches off, per half cycle, s, >= 0.

    Returns
    -------
    share ``d = 1 - 2 f t_dead``, dimensionless, 0 < d <= 1.

    Raises
    ------
    RangeError : the two dead times fill the period.

    Source
    ------
    Definition (two half cycles, each shortened by the dead time). [derived]

    >>> round(conduction_share(50e3, 0.8e-6), 3)
    0.92
    """
    if switching_hz <= 0 or dead_time_s < 0:
        raise RangeError(
            message="The switching frequency must be positive and the dead time not negative.",
            quantity="switching frequency",
            value=f"{switching_hz:g} Hz",
            limit="> 0 Hz",
            remedy="Give a frequency between 20 kHz and 150 kHz and a dead time of 0.3 to 2 µs.",
        )
    share = 1.0 - 2.0 * switching_hz * dead_time_s
    if share <= 0:
        raise RangeError(
            message="The dead time leaves no time to conduct.",
            quantity="dead time",
            value=f"{dead_time_s * 1e6:g} µs",
            limit=f"{0.5e6 / switching_hz:g} µs",
            remedy="Shorten the dead time or lower the switching frequency.",
        )
    return share


def pulse_shape(on_s: float, leakage_h: float, loop_ohm: float) -> PulseShape:
    """Shape factors of the loop current ``i(t) = I(1 - exp(-t R / L))`` during one on-time.

    Parameters
    ----------
    on_s : on-time of one switch, s, > 0.
    leakage_h : leakage inductance of the loop, H, >= 0.
    loop_ohm : resistance of the loop, referred to the same winding, ohm, > 0.

    Returns
    -------
    PulseShape of dimensionless factors; without leakage (1, 1, 1, 1).

    Raises
    ------
    RangeError : an argument is out of its range.

    Source
    ------
    First-order step response of an R-L loop, integrated. [derived]

    >>> pulse_shape(9.2e-6, 50e-9, 0.01).average.__round__(3)
    0.543
    """
    if not (on_s > 0 and loop_ohm > 0 and leakage_h >= 0):
        raise RangeError(
            message="A conduction pulse needs a positive on-time and loop resistance.",
            quantity="loop resistance",
            value=f"{loop_ohm:g} Ω",
            limit="> 0 Ω",
            remedy="Check the switch and winding resistances.",
        )
    time_constants = on_s * loop_ohm / leakage_h if leakage_h > 0 else np.inf
    if time_constants > 1e9:
        return PulseShape(1.0, 1.0, 1.0, 1.0)
    x = float(time_constants)
    if x < 1e-3:  # series of the exponentials; the closed form loses its digits here
        average = x / 2.0 - x**2 / 6.0 + x**3 / 24.0
        mean_square = x**2 / 3.0 - x**3 / 4.0 + 7.0 * x**4 / 60.0
        return PulseShape(average, mean_square, x - x**2 / 2.0 + x**3 / 6.0, mean_square / average)
    fall = float(np.exp(-x))
    end = -float(np.expm1(-x))
    average = 1.0 - end / x
    mean_square = 1.0 - 2.0 * end / x + (1.0 - fall * fall) / (2.0 * x)
    return PulseShape(average, mean_square, end, mean_square / average)


def pulse_average(on_s: float, leakage_h: Array, loop_ohm: Array) -> Array:
    """Mean current during the on-time over its final value, as ``pulse_shape(...).average``, for arrays.

    Parameters
    ----------
    on_s : on-time of one switch, s, > 0.
    leakage_h, loop_ohm : leakage inductance, H, > 0, and loop resistance, ohm, > 0; broadcast shapes.

    Returns
    -------
    factor, dimensionless, broadcast shape.

    Source
    ------
    First-order step response of an R-L loop, integrated. [derived]

    >>> round(float(pulse_average(9.2e-6, np.array(50e-9), np.array(0.01))), 3)
    0.543
    """
    x = on_s * loop_ohm / leakage_h
    return np.asarray(np.where(x > 1e-3, 1.0 + np.expm1(-x) / x, x / 2.0))


class AveragedPulse(NamedTuple):
    """A pulse with its fall, over the mean primary current; dimensionless, floats or arrays.

    final : resistive final value over the mean. mean_square : over the square of the mean, whole period.
    end : current at turn-off over the mean. What ``final`` exceeds ``mean_square`` by is not spent in the
    loop's resistance, but leaves with the current that falls.
    """

    final: Floats
    mean_square: Floats
    end: Floats


def pulse_final(known: Floats, rise: Floats, stored: Floats, driven: Floats, reset: Floats) -> Floats:
    """Final value of a pulse whose rise and fall together make a known quantity.

    The current falls against what the loop, still driven, leaves of the reset voltage, and that hangs on
    where it starts: a quadratic.

    Parameters
    ----------
    known : what both make, in any unit, >= 0.
    rise : of it for each unit of the final value, > 0.
    stored : in the fall, over the square of the final value, in the unit of ``known`` times ``reset``.
    driven : what the loop still has of the reset voltage in the fall, for each unit of the final value.
    reset : that voltage, > 0. They broadcast, in any units that agree.

    Returns
    -------
    F, in the unit that these give it, the positive root of ``known = rise F + stored F²/(reset - driven F)``.

    Source
    ------
    Quadratic formula. [derived]

    >>> final = float(pulse_final(40.0, 0.5, 1e-3, 0.01, 40.0))
    >>> round(final, 4), round(0.5 * final + 1e-3 * final**2 / (40.0 - 0.01 * final), 6)
    (79.6761, 40.0)
    """
    mixed, straight = known * driven, rise * reset
    return (
        2.0
        * known
        * reset
        / (mixed + straight + np.sqrt((mixed - straight) ** 2 + 4.0 * known * reset * stored))
    )


def averaged_pulse(
    share: float,
    switching_hz: float,
    leakage_h: float,
    loop_ohm: Floats,
    primary_a: Floats,
    reset_v: Floats,
) -> AveragedPulse:
    """The pulse of ``pulse_shape`` and the straight fall after it, while the leakage current dies.

    The rectifier still conducts in the fall: its charge belongs to the load, so the rise may be smaller.

    Parameters
    ----------
    share : share of the period in which either switch conducts, 0 < d <= 1.
    switching_hz : full push-pull cycle, Hz.
    leakage_h : of the loop, H, >= 0.
    loop_ohm : resistance of the loop, ohm, > 0; at least a thousandth of ``L/t``.
    primary_a : mean primary current, both half cycles together, A, >= 0.
    reset_v : voltage against which the current falls, V, > 0; the last three broadcast.

    Returns
    -------
    AveragedPulse; without leakage (1/d, 1/d, 1/d).

    Source
    ------
    First-order step response of an R-L loop, integrated, and ``V dt = L di``. [derived]

    >>> pulse = averaged_pulse(0.92, 50e3, 50e-9, 0.01, 40.0, 40.0)
    >>> [round(float(value), 3) for value in pulse]
    [1.988, 1.283, 1.672]
    """
    if leakage_h <= 0.0:
        return AveragedPulse(1.0 / share, 1.0 / share, 1.0 / share)
    x = loop_ohm * (share / (2.0 * switching_hz * leakage_h))
    end = -np.expm1(-x)
    rise = 1.0 - end / x
    charge = share * rise
    square = end * end
    stored = (switching_hz * leakage_h) * square * primary_a / reset_v
    driven = loop_ohm * (1.0 - end * (2.0 / 3.0)) * primary_a / reset_v
    final = pulse_final(1.0, charge, stored, driven, 1.0)
    fallen = stored / (1.0 - driven * final)
    over = final * final
    mean_square = over * (share * (rise - square / (2.0 * x)) + (2.0 / 3.0) * end * final * fallen)
    return AveragedPulse(final, mean_square, end * final)


def split_loop_ohm(
    primary_ohm: float, secondary_ohm: float, ratio: float, positive_a: Floats, negative_a: Floats
) -> Floats:
    """Resistance that drives the shape of the pulse, seen from the half-primary.

    Parameters
    ----------
    primary_ohm, secondary_ohm : of one conducting path each, Ω.
    ratio : Ns/Np.
    positive_a, negative_a : current of each rail, A, >= 0; broadcast. Without any, as if one rail had it all.

    Returns
    -------
    ``R1 + R2/n² (a² + b²)``, Ω, with a and b the rails' shares of the current: one rail alone works through
    one half-secondary, both alike through two side by side.

    Source
    ------
    Power in the loop over the square of the primary current. [derived]

    >>> round(float(split_loop_ohm(0.01, 0.2, 4.0, 5.0, 5.0)), 5)
    0.01625
    """
    both = np.square(positive_a + negative_a) + _NO_CURRENT
    squares = np.square(positive_a) + np.square(negative_a) + _NO_CURRENT
    return np.asarray(primary_ohm + secondary_ohm / ratio**2 * (squares / both))


def capacitor_ripple_factor(share: float) -> float:
    """RMS current of a capacitor that turns pulses of share ``d`` into a steady current, over that current.

    Parameters
    ----------
    share : share of the time in which the rectangular pulses flow, 0 < d <= 1.

    Returns
    -------
    ``sqrt((1 - d)/d)``, dimensionless.

    Raises
    ------
    RangeError : the share is not in (0, 1].

    Source
    ------
    RMS of a rectangular pulse train less its mean. [derived]

    >>> round(capacitor_ripple_factor(0.9), 4)
    0.3333
    """
    if not 0 < share <= 1:
        raise RangeError(
            message="A pulse share lies between 0 and 1.",
            quantity="conduction share",
            value=f"{share:g}",
            limit="0 < d ≤ 1",
        )
    return float(np.sqrt((1.0 - share) / share))


def turns_ratio_needed(
    rail_v: float,
    terminal_v: float,
    rail_a: float,
    primary_ohm: float,
    secondary_ohm: float,
    diode_v: float,
) -> float:
    """Least ratio Ns/Np that still gives ``rail_v`` while the rail delivers ``rail_a``.

    Parameters
    ----------
    rail_v : rail voltage wanted, V, > 0.
    terminal_v : battery voltage behind its source resistance (open circuit), V.
    rail_a : current out of the rail, A, >= 0.
    primary_ohm : effective resistance on the primary side, source included, ohm.
    secondary_ohm : effective resistance on the secondary side, ohm.
    diode_v : forward drop at vanishing current, V.

    Returns
    -------
    turns ratio, dimensionless. It solves
    ``V = n (E - n I R1) - Vf - I R2`` for the smaller root of n.

    Raises
    ------
    RangeError : the primary resistance is too high for any ratio to deliver the power.

    Source
    ------
    Loop equation of the averaged converter. [derived]

    >>> round(turns_ratio_needed(40.0, 12.6, 8.0, 0.010, 0.20, 0.8), 3)
    3.44
    """
    needed = rail_v + diode_v + rail_a * secondary_ohm
    square = rail_a * primary_ohm
    discriminant = terminal_v**2 - 4.0 * square * needed
    if discriminant <= 0:
        raise RangeError(
            message="No turns ratio can deliver this power through the primary circuit's resistance.",
            quantity="power out of the rail",
            value=f"{rail_a * needed:.4g} W",
            limit=f"{terminal_v**2 / (4.0 * primary_ohm):.4g} W",
            source="maximum power theorem",
            remedy="Lower the target power, raise the battery voltage, or thicken cable and switches.",
        )
    if square == 0:
        return needed / terminal_v
    return 2.0 * needed / (terminal_v + float(np.sqrt(discriminant)))


def recovery_share(charge_per_a_s: float, switching_hz: float, share: float) -> float:
    """Current that the legs' recovery charge takes out of each rail, over the sum of both rails' currents.

    Parameters
    ----------
    charge_per_a_s : recovery charge over the forward current at which it is stated, s, >= 0.
    switching_hz : full push-pull cycle, Hz, > 0.
    share : share of the period in which the legs conduct, 0 < d <= 1.

    Returns
    -------
    ``2 f (Q_rr/I_F)/d``, dimensionless. Each of the four legs gives back its charge once a cycle, from one
    rail to the other: ``V Q_rr f`` with V both rails in series, in proportion to the current.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Loss ``V Q_rr f`` of ST STD50N03L, appendix A, table 7; charge in proportion to the forward current
    (charge control, Baliga 2008). [st-std50n03l] [baliga2008]

    >>> round(recovery_share(90e-9 / 8.0, 50e3, 0.92), 6)
    0.001223
    """
    if charge_per_a_s < 0 or switching_hz <= 0 or not 0 < share <= 1:
        raise RangeError(
            message="A recovery share needs a charge of at least 0 and a share between 0 and 1.",
            quantity="recovery charge per ampere",
            value=f"{charge_per_a_s:g} s",
            limit=">= 0 s",
        )
    return 2.0 * switching_hz * charge_per_a_s / share
