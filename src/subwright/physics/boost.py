"""The boost converter in steady state: duty with its resistances, conduction, stress and inrush.

While the choke carries current the switch or the diode conducts. Let ``g`` be the share of the period in
which it does (1 in continuous conduction) and ``x`` the share of that time in which the diode conducts. Then
the mean output current is ``x`` times the mean input current, and the voltage across the choke is zero on
average: these two laws hold in both modes, and every formula here follows from them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require

__all__ = [
    "BEFORE_THE_TOP",
    "Conduction",
    "boost_conduction",
    "diode_share",
    "duty_for_efficiency",
    "greatest_rail_v",
    "inrush_peak_a",
    "lost_duty_rail_v",
    "mean_square",
    "output_capacitor_rms_a",
    "precharge_time_s",
    "right_half_plane_zero_hz",
]

Array = NDArray[np.float64]
Floats = float | NDArray[np.float64]

BEFORE_THE_TOP = 1.15
"""Least diode share over the one of the greatest rail, ``sqrt(R_L/R)``, that a converter is run at: beyond
that top more duty gives less rail, and the current limit has to act before it; common practice."""


def duty_for_efficiency(input_v: Floats, output_v: Floats, efficiency: Floats) -> Floats:
    """Duty of a boost converter when only its efficiency is known.

    Parameters
    ----------
    input_v, output_v : V, > 0; broadcast.
    efficiency : 0 to 1.

    Returns
    -------
    ``1 - V_in η/V_out``, dimensionless, broadcast shape.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    TI application report SLVA372, Basic calculation of a boost converter's power stage, eq. 1. [ti-slva372]

    >>> round(float(duty_for_efficiency(12.0, 30.0, 0.9)), 4)
    0.64
    """
    require("input voltage", input_v, "V", above=0.0)
    require("output voltage", output_v, "V", above=0.0)
    require("efficiency", efficiency, "", above=0.0, at_most=1.0)
    duty: Floats = 1.0 - np.asarray(input_v) * efficiency / np.asarray(output_v)
    return duty


def diode_share(
    terminal_v: Floats,
    rail_v: Floats,
    diode_a: Floats,
    always_ohm: Floats,
    switch_ohm: Floats,
    diode_v: Floats,
    diode_ohm: Floats,
) -> Array:
    """Share of the conducting time in which the diode conducts, resistances counted.

    Parameters
    ----------
    terminal_v : input, V, > 0; all arguments broadcast.
    rail_v : output, V, > 0.
    diode_a : mean diode current over the conducting time, A, >= 0.
    always_ohm : in series with the choke all the time, Ω.
    switch_ohm : in the switch's path, Ω.
    diode_v, diode_ohm : threshold, V, and slope of the diode's path, Ω.

    Returns
    -------
    the greater root of ``x² (V + V_f) - x (V_t + (R_s - R_d) i) + (R_L + R_s) i = 0``, broadcast shape; 0
    where no root exists (the rail is beyond the converter's reach). May be above 1: then the input lies above
    the rail and runs through the diode.

    Raises
    ------
    RangeError : a voltage is not positive.

    Source
    ------
    Volt-second balance of the choke with resistances; Erickson & Maksimović, ch. 3. [erickson2001]

    >>> round(float(diode_share(12.0, 30.0, 4.0, 5e-3, 4e-3, 0.55, 7e-3)), 4)
    0.3894
    """
    require("input voltage", terminal_v, "V", above=0.0)
    require("output voltage", rail_v, "V", above=0.0)
    current = np.asarray(diode_a, dtype=np.float64)
    square = np.asarray(rail_v) + diode_v
    linear = np.asarray(terminal_v) + (np.asarray(switch_ohm) - diode_ohm) * current
    constant = (np.asarray(always_ohm) + switch_ohm) * current
    root = linear**2 - 4.0 * square * constant
    return np.asarray(np.where(root >= 0.0, 0.5 * (linear + np.sqrt(np.maximum(root, 0.0))) / square, 0.0))


def greatest_rail_v(terminal_v: float, load_ohm: float, series_ohm: float) -> float:
    """Highest rail that a boost converter with a resistance in series with its choke can give at all.

    Parameters
    ----------
    terminal_v : input, V, > 0.
    load_ohm : Ω, > 0.
    series_ohm : choke, switch and source together, Ω, > 0.

    Returns
    -------
    ``V_t/2 sqrt(R/R_L)``, V, reached at a diode share of ``sqrt(R_L/R)``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Maximum of ``(1/x)/(1 + R_L/(x² R))``; Erickson & Maksimović, ch. 3. [erickson2001]

    >>> greatest_rail_v(12.0, 4.0, 0.04)
    60.0
    """
    require("input voltage", terminal_v, "V", above=0.0)
    require("load", load_ohm, "Ω", above=0.0)
    require("series resistance", series_ohm, "Ω", above=0.0)
    return float(0.5 * terminal_v * np.sqrt(load_ohm / series_ohm))


class Conduction(NamedTuple):
    """How the choke conducts: share of the period, mean over it, and peak-to-peak ripple, A."""

    share: Array
    mean_a: Array
    ripple_a: Array


def boost_conduction(choke_a: Floats, full_ripple_a: Floats) -> Conduction:
    """Conducting share, current and ripple of the choke for its mean current.

    Parameters
    ----------
    choke_a : mean choke current over the period, A, > 0; broadcast.
    full_ripple_a : ripple that it has in continuous conduction, A, > 0.

    Returns
    -------
    Conduction. With less than half the ripple the current has gaps: the peak falls with the square root of
    the mean.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Triangle of height ``2 I_L/g``; Erickson & Maksimović, ch. 5. [erickson2001]

    >>> [round(float(v), 3) for v in boost_conduction(1.0, 8.0)]
    [0.5, 2.0, 4.0]
    """
    require("choke current", choke_a, "A", above=0.0)
    require("ripple", full_ripple_a, "A", above=0.0)
    mean = np.asarray(choke_a, dtype=np.float64)
    full = np.asarray(full_ripple_a, dtype=np.float64)
    share = np.minimum(1.0, np.sqrt(2.0 * mean / full))
    conducting = mean / share
    return Conduction(share=share, mean_a=conducting, ripple_a=np.minimum(full, 2.0 * conducting))


def mean_square(at: Conduction) -> Array:
    """Mean square of the choke's current while it conducts, A².

    Parameters
    ----------
    at : how it conducts.

    Returns
    -------
    ``I² + ΔI²/12``; times the share of the period of switch or diode it is their mean square.

    Source
    ------
    Mean square of a ramp about its mean; Erickson & Maksimović, appendix A. [erickson2001]

    >>> round(float(mean_square(boost_conduction(10.0, 6.0))), 3)
    103.0
    """
    return np.asarray(at.mean_a**2 + at.ripple_a**2 / 12.0)


def output_capacitor_rms_a(rail_a: Floats, duty: Floats, ripple_a: Floats = 0.0) -> Floats:
    """Rms current of the output capacitor in continuous conduction.

    Parameters
    ----------
    rail_a : output current, A, >= 0; broadcast.
    duty : of the switch, 0 to below 1.
    ripple_a : peak-to-peak ripple of the choke, A, >= 0.

    Returns
    -------
    ``sqrt(I² D/(1-D) + (1-D) ΔI²/12)``, A.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Erickson & Maksimović, appendix A: pulsating waveform with ripple; less the mean. [erickson2001]

    >>> round(float(output_capacitor_rms_a(2.0, 0.5)), 3)
    2.0
    """
    require("output current", rail_a, "A", at_least=0.0)
    require("duty", duty, "", at_least=0.0, below=1.0)
    require("ripple", ripple_a, "A", at_least=0.0)
    d = np.asarray(duty)
    rms: Floats = np.sqrt(
        np.asarray(rail_a) ** 2 * d / (1.0 - d) + (1.0 - d) * np.asarray(ripple_a) ** 2 / 12
    )
    return rms


def right_half_plane_zero_hz(load_ohm: Floats, duty: Floats, inductance_h: float) -> Floats:
    """Frequency of the boost converter's right-half-plane zero.

    Parameters
    ----------
    load_ohm : rail voltage over rail current, Ω, > 0; broadcast.
    duty : 0 to below 1.
    inductance_h : H, > 0.

    Returns
    -------
    ``R (1-D)²/(2π L)``, Hz. Above it more duty first lowers the rail: no loop may cross over near it.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Erickson & Maksimović, ch. 8, table of canonical models. [erickson2001]

    >>> round(float(right_half_plane_zero_hz(2.0, 0.6, 10e-6)))
    5093
    """
    require("load", load_ohm, "Ω", above=0.0)
    require("duty", duty, "", at_least=0.0, below=1.0)
    require("inductance", inductance_h, "H", above=0.0)
    zero: Floats = np.asarray(load_ohm) * (1.0 - np.asarray(duty)) ** 2 / (2.0 * np.pi * inductance_h)
    return zero


def inrush_peak_a(
    battery_v: float, inductance_h: float, capacitance_f: float, resistance_ohm: float
) -> float:
    """Peak current when a battery is put across choke, diode and empty output capacitor.

    Parameters
    ----------
    battery_v : V, > 0.
    inductance_h : choke, H, > 0.
    capacitance_f : output bank, F, > 0.
    resistance_ohm : of the whole loop, Ω, > 0.

    Returns
    -------
    First maximum of the series circuit's current, A, the choke taken as unsaturated and the diode's drop as
    nothing: both make the real one differ, saturation upwards. The controller can do nothing about it.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Step response of a series RLC circuit. [derived]

    Almost no resistance gives ``V sqrt(C/L)``, much of it ``V/R``:

    >>> round(inrush_peak_a(12.0, 10e-6, 4e-3, 1e-6), 1), round(inrush_peak_a(12.0, 10e-9, 4e-3, 0.1), 1)
    (240.0, 119.8)
    """
    require("battery voltage", battery_v, "V", above=0.0)
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("resistance", resistance_ohm, "Ω", above=0.0)
    decay = resistance_ohm / (2.0 * inductance_h)
    natural = 1.0 / np.sqrt(inductance_h * capacitance_f)
    if np.isclose(decay, natural, rtol=1e-9):
        return float(battery_v / (np.e * inductance_h * decay))
    if decay < natural:
        ring = np.sqrt(natural**2 - decay**2)
        when = np.arctan2(ring, decay) / ring
        return float(battery_v / (inductance_h * ring) * np.exp(-decay * when) * np.sin(ring * when))
    spread = np.sqrt(decay**2 - natural**2)
    slow, fast = natural**2 / (decay + spread), decay + spread
    when = np.log(fast / slow) / (fast - slow)
    return float(battery_v / (inductance_h * (fast - slow)) * (np.exp(-slow * when) - np.exp(-fast * when)))


def precharge_time_s(resistor_ohm: float, capacitance_f: float, left: float) -> float:
    """Time until a pre-charge resistor has filled a bank but for a share.

    Parameters
    ----------
    resistor_ohm : Ω, > 0.
    capacitance_f : F, > 0.
    left : share of the voltage still missing, dimensionless, 0 to 1.

    Returns
    -------
    ``R C ln(1/left)``, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charging curve of an RC circuit. [derived]

    >>> round(precharge_time_s(10.0, 10e-3, 0.05), 3)
    0.3
    """
    require("resistance", resistor_ohm, "Ω", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("share left", left, "", above=0.0, below=1.0)
    return float(resistor_ohm * capacitance_f * np.log(1.0 / left))


def lost_duty_rail_v(terminal_v: float, duty_most: float, diode_v: float) -> float:
    """Rail towards which an unloaded boost converter runs at its greatest duty when its loop is open.

    Parameters
    ----------
    terminal_v : input, V, > 0.
    duty_most : greatest duty, dimensionless, 0 to below 1.
    diode_v : V, >= 0.

    Returns
    -------
    ``V/(1-D) - V_f``, V, in continuous conduction; in gaps it goes on rising: only a second way of stopping
    helps.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Volt-second balance. [derived]

    >>> round(lost_duty_rail_v(14.4, 0.85, 0.6), 1)
    95.4
    """
    require("input voltage", terminal_v, "V", above=0.0)
    require("greatest duty", duty_most, "", at_least=0.0, below=1.0)
    require("diode drop", diode_v, "V", at_least=0.0)
    return terminal_v / (1.0 - duty_most) - diode_v
