"""Reservoir and filter capacitors: ripple, ripple current, heating, life and hold-up."""

from __future__ import annotations

import math

from subwright.physics.bounds import require

__all__ = [
    "electrolytic_life_s",
    "full_wave_dc_v",
    "full_wave_ripple_rms_v",
    "hold_up_capacitance_f",
    "hold_up_time_s",
    "pulse_ripple_current_a",
    "pulse_ripple_v",
    "ripple_heat_w",
]

# Boylestad & Nashelsky: 2.4 and 4.17 with mA and µF, that is SI 2.4e-3 s and 4.17e-3 s at 60 Hz full wave.
_RIPPLE_S = 2.4e-3
_DC_S = 4.17e-3


def electrolytic_life_s(rated_life_s: float, rated_c: float, core_c: float) -> float:
    """Life of an aluminium electrolytic by the ten-kelvin rule.

    Parameters
    ----------
    rated_life_s : rated life at ``rated_c``, s, > 0.
    rated_c : rated temperature, °C.
    core_c : working temperature, °C, 40 to ``rated_c`` + 10; below 40 °C the rule promises too much.

    Returns
    -------
    ``L0 2^((T0 - T)/10)``, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ten-kelvin rule as printed by capacitor makers. [electrolytic-rule]

    >>> [round(electrolytic_life_s(2000 * 3600.0, 105.0, t) / 3600) for t in (95.0, 85.0, 65.0)]
    [4000, 8000, 32000]
    """
    require("rated life", rated_life_s, "s", above=0.0)
    require(
        "capacitor temperature",
        core_c,
        "°C",
        at_least=40.0,
        at_most=rated_c + 10.0,
        source="electrolytic-rule",
        remedy="Use 40 °C for cooler parts; move a hotter one, or choose a higher rated temperature.",
    )
    return float(rated_life_s * 2.0 ** ((rated_c - core_c) / 10.0))


def full_wave_ripple_rms_v(load_a: float, capacitance_f: float) -> float:
    """RMS ripple of a full-wave rectifier on 60 Hz mains with a light load.

    Parameters
    ----------
    load_a : direct current, A, >= 0.
    capacitance_f : F, > 0.

    Returns
    -------
    ``2.4 I[mA]/C[µF]``, V rms.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power supplies, eq. and ex. 15.3. [boylestad]

    >>> round(full_wave_ripple_rms_v(50e-3, 100e-6), 3)
    1.2
    """
    require("load current", load_a, "A", at_least=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    return _RIPPLE_S * load_a / capacitance_f


def full_wave_dc_v(peak_v: float, load_a: float, capacitance_f: float) -> float:
    """Mean voltage under the ripple of a full-wave rectifier on 60 Hz mains.

    Parameters
    ----------
    peak_v : peak of the rectified voltage, V, > 0.
    load_a : direct current, A, >= 0.
    capacitance_f : F, > 0.

    Returns
    -------
    ``V_m - 4.17 I[mA]/C[µF]``, V.

    Raises
    ------
    RangeError : an argument is out of range, or the capacitor runs empty between the peaks.

    Source
    ------
    Boylestad & Nashelsky, power supplies, eq. and ex. 15.4. [boylestad]

    >>> round(full_wave_dc_v(30.0, 50e-3, 100e-6), 1)
    27.9
    """
    require("peak voltage", peak_v, "V", above=0.0)
    require("load current", load_a, "A", at_least=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    sag = _DC_S * load_a / capacitance_f
    require("mean ripple sag", sag, "V", below=peak_v / 2.0, source="boylestad")
    return peak_v - sag


def pulse_ripple_v(
    load_a: float, share: float, switching_hz: float, capacitance_f: float, esr_ohm: float = 0.0
) -> float:
    """Peak-to-peak ripple of a rail charged by two rectangular pulses per cycle.

    Parameters
    ----------
    load_a : steady load, A, >= 0.
    share : share of the time in which current pulses flow, 0 < d <= 1.
    switching_hz : full cycles per second (two pulses each), Hz, > 0.
    capacitance_f : F, > 0.
    esr_ohm : equivalent series resistance, ohm, >= 0.

    Returns
    -------
    ``I (1 - d)/(2 f C) + (I/d) ESR``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge balance. [derived]

    >>> round(pulse_ripple_v(10.0, 0.9, 50e3, 1000e-6) * 1e3, 2)
    10.0
    """
    require("load current", load_a, "A", at_least=0.0)
    require("pulse share", share, "", above=0.0, at_most=1.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("ESR", esr_ohm, "Ω", at_least=0.0)
    return load_a * (1.0 - share) / (2.0 * switching_hz * capacitance_f) + load_a / share * esr_ohm


def pulse_ripple_current_a(load_a: float, share: float) -> float:
    """RMS current of a capacitor that turns rectangular pulses into a steady load current.

    Parameters
    ----------
    load_a : steady load, A, >= 0.
    share : share of the time in which current pulses flow, 0 < d <= 1.

    Returns
    -------
    ``I sqrt((1 - d)/d)``, A.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    RMS of the pulses less their mean. [derived]

    >>> round(pulse_ripple_current_a(10.0, 0.8), 2), round(pulse_ripple_current_a(10.0, 0.9), 2)
    (5.0, 3.33)
    """
    require("load current", load_a, "A", at_least=0.0)
    require("pulse share", share, "", above=0.0, at_most=1.0)
    return load_a * math.sqrt((1.0 - share) / share)


def ripple_heat_w(ripple_rms_a: float, esr_ohm: float) -> float:
    """Heat that ripple current makes in a capacitor.

    Parameters
    ----------
    ripple_rms_a : A, >= 0.
    esr_ohm : ohm, >= 0.

    Returns
    -------
    ``I² ESR``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    BHC aluminium electrolytic capacitor notes. [bhc-notes]

    >>> ripple_heat_w(5.0, 20e-3)
    0.5
    """
    require("ripple current", ripple_rms_a, "A", at_least=0.0)
    require("ESR", esr_ohm, "Ω", at_least=0.0)
    return ripple_rms_a**2 * esr_ohm


def hold_up_capacitance_f(power_w: float, time_s: float, start_v: float, end_v: float) -> float:
    """Capacitance that feeds a constant power for a time while its voltage falls.

    Parameters
    ----------
    power_w : W, > 0.
    time_s : s, > 0.
    start_v, end_v : V, 0 <= end < start.

    Returns
    -------
    ``C = 2 P t / (V1² - V2²)``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Energy balance. [derived]

    >>> round(hold_up_capacitance_f(500.0, 10e-3, 50.0, 40.0) * 1e3, 1)
    11.1
    """
    require("power", power_w, "W", above=0.0)
    require("hold-up time", time_s, "s", above=0.0)
    require("end voltage", end_v, "V", at_least=0.0, below=start_v)
    return 2.0 * power_w * time_s / (start_v**2 - end_v**2)


def hold_up_time_s(power_w: float, capacitance_f: float, start_v: float, end_v: float) -> float:
    """Time for which a capacitor feeds a constant power; the inverse of ``hold_up_capacitance_f``.

    Parameters
    ----------
    power_w : W, > 0.
    capacitance_f : F, > 0.
    start_v, end_v : V, 0 <= end < start.

    Returns
    -------
    time, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Energy balance. [derived]

    >>> round(hold_up_time_s(500.0, 11.111e-3, 50.0, 40.0) * 1e3, 2)
    10.0
    """
    require("power", power_w, "W", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("end voltage", end_v, "V", at_least=0.0, below=start_v)
    return capacitance_f * (start_v**2 - end_v**2) / (2.0 * power_w)
