"""Flux, turns and inductance of a transformer on an ungapped core.

Flux density ``B`` is the peak value, half of the swing ``ΔB``. All functions broadcast over arrays.
"""

from __future__ import annotations

import math

import numpy as np

from subwright.physics.bounds import Floats, require_that

__all__ = [
    "HOTTEST_CORE_C",
    "MU_0",
    "area_product_power",
    "flat_top_current",
    "flux_after_lost_pulse",
    "flux_peak_square_wave",
    "flux_swing",
    "half_winding_rms",
    "handbook_apparent_power",
    "inductance",
    "magnetising_peak_current",
    "on_time",
    "saturation_flux",
    "secondary_over_primary",
    "turns_for_flux",
    "turns_square_wave",
]

MU_0 = 4e-7 * math.pi  # magnetic constant, H/m
HOTTEST_CORE_C = 140.0  # up to which the line between two data-sheet points is a fair picture of saturation


def on_time(switching_hz: Floats, share: Floats) -> Floats:
    """Longest time for which one switch of a push-pull pair conducts.

    Parameters
    ----------
    switching_hz : frequency of the full push-pull cycle, Hz, > 0.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.

    Returns
    -------
    ``d / (2 f)``, s.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Definition. [derived]

    >>> round(float(on_time(50e3, 0.9)) * 1e6, 3)
    9.0
    """
    require_that(np.asarray(switching_hz) > 0, "switching frequency, Hz", switching_hz, "> 0 Hz")
    d = np.asarray(share)
    require_that((d > 0) & (d <= 1), "conduction share", share, "0 < d <= 1")
    return share / (2.0 * switching_hz)


def flux_swing(volts_v: Floats, on_s: Floats, turns: Floats, area_m2: Floats) -> Floats:
    """Flux swing of one rectangular voltage pulse, the volt-second law.

    Parameters
    ----------
    volts_v : voltage across the winding during the pulse, V, >= 0.
    on_s : length of the pulse, s, >= 0.
    turns : turns of that winding, > 0.
    area_m2 : core cross-section, m², > 0.

    Returns
    -------
    ``ΔB = V t_on / (N A_e)``, T; the peak of a symmetrical push-pull flux is half of it.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Faraday's law. [derived]

    12 V on 3 turns of an ETD39 (125 mm²) at 50 kHz full square wave: 0.160 T peak.

    >>> round(float(flux_swing(12.0, 10e-6, 3, 125e-6)) / 2, 4)
    0.16
    """
    require_that(np.asarray(volts_v) >= 0, "winding voltage, V", volts_v, ">= 0 V")
    require_that(np.asarray(on_s) >= 0, "on-time, s", on_s, ">= 0 s")
    require_that(np.asarray(turns) > 0, "number of turns", turns, "> 0")
    require_that(np.asarray(area_m2) > 0, "core area, m²", area_m2, "> 0 m²")
    return volts_v * on_s / (turns * area_m2)


def turns_for_flux(volts_v: Floats, on_s: Floats, swing_t: Floats, area_m2: Floats) -> Floats:
    """Turns (not yet whole) that give a flux swing under one rectangular voltage pulse.

    Parameters
    ----------
    volts_v : voltage across the winding, V, > 0.
    on_s : length of the pulse, s, > 0.
    swing_t : flux swing, twice the peak of a symmetrical flux, T, > 0.
    area_m2 : core cross-section, m², > 0.

    Returns
    -------
    ``N = V t_on / (ΔB A_e)``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Faraday's law. [derived]

    >>> round(float(turns_for_flux(12.0, 10e-6, 0.30, 125e-6)), 2)
    3.2
    """
    for name, value in (("voltage, V", volts_v), ("on-time, s", on_s), ("flux swing, T", swing_t)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    require_that(np.asarray(area_m2) > 0, "core area, m²", area_m2, "> 0 m²")
    return volts_v * on_s / (swing_t * area_m2)


def turns_square_wave(
    volts_v: Floats, share: Floats, switching_hz: Floats, flux_peak_t: Floats, area_m2: Floats
) -> Floats:
    """Turns (not yet whole) of one half-primary for a peak flux density.

    Parameters
    ----------
    volts_v : voltage across the half-primary while its switch conducts, V, > 0.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.
    switching_hz : frequency of the full push-pull cycle, Hz, > 0.
    flux_peak_t : peak flux density, T, > 0.
    area_m2 : core cross-section, m², > 0.

    Returns
    -------
    ``N = V d / (4 f B A_e)``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Volt-second law with ΔB = 2B and t_on = d/(2f); for d = 1 the handbook form
    N = V 10^8 / (4 f B A_e) in gauss and cm². [mclyman-handbook] [derived]

    >>> round(float(turns_square_wave(12.0, 1.0, 50e3, 0.15, 125e-6)), 2)
    3.2
    """
    return turns_for_flux(volts_v, on_time(switching_hz, share), 2.0 * flux_peak_t, area_m2)


def flux_peak_square_wave(
    volts_v: Floats, share: Floats, switching_hz: Floats, turns: Floats, area_m2: Floats
) -> Floats:
    """Peak flux density of a symmetrical push-pull drive, ``V d / (4 f N A_e)``.

    Parameters
    ----------
    volts_v : voltage across the half-primary while its switch conducts, V, >= 0.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.
    switching_hz : frequency of the full push-pull cycle, Hz, > 0.
    turns : turns of the half-primary, > 0.
    area_m2 : core cross-section, m², > 0.

    Returns
    -------
    peak flux density, T.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Volt-second law. [derived]

    >>> round(float(flux_peak_square_wave(12.0, 1.0, 50e3, 3, 125e-6)), 3)
    0.16
    """
    return flux_swing(volts_v, on_time(switching_hz, share), turns, area_m2) / 2.0


def flux_after_lost_pulse(flux_peak_t: Floats, *, held: bool) -> Floats:
    """Peak flux density when one pulse of a push-pull sequence is missing.

    Parameters
    ----------
    flux_peak_t : peak flux density of the undisturbed drive, T, >= 0.
    held : False where the magnetising current returns through diodes against a voltage (rails charged
        straight from the rectifier, body diodes to the battery): the flux falls back to about zero and the
        next pulse carries it to ``2B``, as the very first pulse after switch-on does. True where an
        output choke freewheels through both rectifier arms and so shorts the winding: the flux rests at
        ``B`` and the next pulse carries it to ``3B``.

    Returns
    -------
    peak flux density, T.

    Raises
    ------
    RangeError : the flux is negative.

    Source
    ------
    Volt-second balance; remanence is neglected in the first case. [derived]

    >>> [round(float(flux_after_lost_pulse(0.15, held=held)), 3) for held in (False, True)]
    [0.3, 0.45]
    """
    require_that(np.asarray(flux_peak_t) >= 0, "flux density, T", flux_peak_t, ">= 0 T")
    return (3.0 if held else 2.0) * flux_peak_t


def saturation_flux(temperature_c: Floats, bsat_25_t: Floats, bsat_100_t: Floats) -> Floats:
    """Saturation flux density on the straight line through a maker's 25 °C and 100 °C values.

    Parameters
    ----------
    temperature_c : core temperature, °C, -40 to 140.
    bsat_25_t, bsat_100_t : saturation flux density at 25 °C and at 100 °C, T.

    Returns
    -------
    saturation flux density, T.

    Raises
    ------
    RangeError : the temperature is outside the range in which the line is a fair picture.

    Source
    ------
    Linear interpolation between the two data-sheet points; near the Curie point the true curve falls
    faster. [derived]

    >>> round(float(saturation_flux(80.0, 0.49, 0.39)), 3)
    0.417
    """
    t = np.asarray(temperature_c)
    require_that(
        (t >= -40) & (t <= HOTTEST_CORE_C),
        "core temperature, °C",
        temperature_c,
        f"-40 to {HOTTEST_CORE_C:g} °C",
        "Lower the ambient temperature or the temperature rise allowed.",
    )
    return bsat_25_t + (bsat_100_t - bsat_25_t) * (temperature_c - 25.0) / 75.0


def inductance(turns: Floats, al_h: Floats) -> Floats:
    """Inductance of a winding, ``N² A_L``.

    Parameters
    ----------
    turns : number of turns, >= 0.
    al_h : inductance factor of the core, H (per turn squared), > 0.

    Returns
    -------
    inductance, H.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Definition of the inductance factor, IEC 62044-1. [iec-62044-1]

    >>> round(float(inductance(4, 3090e-9)) * 1e6, 2)
    49.44
    """
    require_that(np.asarray(turns) >= 0, "number of turns", turns, ">= 0")
    require_that(np.asarray(al_h) > 0, "inductance factor, H", al_h, "> 0 H")
    return turns * turns * al_h


def magnetising_peak_current(volts_v: Floats, on_s: Floats, magnetising_h: Floats) -> Floats:
    """Peak magnetising current of a symmetrical push-pull drive, ``V t_on / (2 L)``.

    Parameters
    ----------
    volts_v : voltage across the half-primary while its switch conducts, V, >= 0.
    on_s : on-time of one switch, s, >= 0.
    magnetising_h : inductance of the half-primary, H, > 0.

    Returns
    -------
    peak current (half of the swing), A.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Inductor law. [derived]

    >>> round(float(magnetising_peak_current(12.0, 10e-6, 48e-6)), 3)
    1.25
    """
    require_that(np.asarray(magnetising_h) > 0, "magnetising inductance, H", magnetising_h, "> 0 H")
    return flux_swing(volts_v, on_s, 1.0, magnetising_h) / 2.0


def secondary_over_primary(rail_v: Floats, share: Floats, volts_v: Floats) -> Floats:
    """Turns ratio that gives an average output from a push-pull drive, drops neglected.

    Parameters
    ----------
    rail_v : average output voltage per secondary half, V, > 0.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.
    volts_v : voltage across the half-primary, V, > 0.

    Returns
    -------
    ``Ns/Np = V_out / (d V)``, dimensionless.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Volt-second balance of the output filter. [derived]

    >>> round(float(secondary_over_primary(310.0, 0.98, 10.5)), 1)
    30.1
    """
    for name, value in (("output voltage, V", rail_v), ("conduction share", share), ("voltage, V", volts_v)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    require_that(np.asarray(share) <= 1, "conduction share", share, "<= 1")
    return rail_v / (share * volts_v)


def flat_top_current(output_w: Floats, volts_v: Floats, efficiency: Floats, share: Floats) -> Floats:
    """Flat-top current of the equivalent rectangular primary pulses.

    Parameters
    ----------
    output_w : output power, W, >= 0.
    volts_v : supply voltage, V, > 0.
    efficiency : output over input power, 0 < eta <= 1.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.

    Returns
    -------
    ``P / (η d V)``, A; with η = d = 0.8 it is the handbook's ``1.56 P/V``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Pressman, Switching Power Supply Design, 2nd ed. 1998, section 2.2. [pressman1998]

    >>> round(float(flat_top_current(500.0, 11.0, 0.8, 0.8)), 1)
    71.0
    """
    require_that(np.asarray(output_w) >= 0, "output power, W", output_w, ">= 0 W")
    require_that(np.asarray(volts_v) > 0, "supply voltage, V", volts_v, "> 0 V")
    for name, value in (("efficiency", efficiency), ("conduction share", share)):
        require_that((np.asarray(value) > 0) & (np.asarray(value) <= 1), name, value, "0 to 1")
    return output_w / (efficiency * share * volts_v)


def half_winding_rms(flat_top_a: Floats, share: Floats) -> Floats:
    """RMS current of one half-winding that conducts in every other half cycle.

    Parameters
    ----------
    flat_top_a : flat-top current of its pulses, A, >= 0.
    share : share d of the cycle in which either half conducts, 0 < d <= 1.

    Returns
    -------
    ``I √(d/2)``, A.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Pressman, Switching Power Supply Design, 2nd ed. 1998, section 2.2. [pressman1998]

    >>> round(float(half_winding_rms(70.9, 0.8)), 1)
    44.8
    """
    require_that(np.asarray(flat_top_a) >= 0, "flat-top current, A", flat_top_a, ">= 0 A")
    d = np.asarray(share)
    require_that((d > 0) & (d <= 1), "conduction share", share, "0 < d <= 1")
    rms: Floats = flat_top_a * np.sqrt(d / 2.0)
    return rms


def handbook_apparent_power(output_w: Floats, efficiency: Floats) -> Floats:
    """Apparent power of a transformer centre-tapped on both sides, ``P (√2/η + √2)``.

    Parameters
    ----------
    output_w : output power, W, >= 0.
    efficiency : transformer efficiency, 0 < eta <= 1.

    Returns
    -------
    apparent power, W.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    McLyman, AN109, Push-pull converter design, step 2. [mclyman-an109]

    >>> round(float(handbook_apparent_power(60.0, 0.98)), 0)
    171.0
    """
    require_that(np.asarray(output_w) >= 0, "output power, W", output_w, ">= 0 W")
    require_that(
        (np.asarray(efficiency) > 0) & (np.asarray(efficiency) <= 1), "efficiency", efficiency, "0 to 1"
    )
    return output_w * (math.sqrt(2.0) / efficiency + math.sqrt(2.0))


def area_product_power(
    flux_peak_t: Floats,
    switching_hz: Floats,
    core_area_m2: Floats,
    window_area_m2: Floats,
    density_a_per_m2: Floats,
    copper_fill: Floats,
    share: Floats,
    efficiency: Floats,
) -> Floats:
    """Output power that a centre-tapped push-pull transformer's core and window allow.

    Parameters
    ----------
    flux_peak_t : peak flux density, T, > 0.
    switching_hz : frequency of the full push-pull cycle, Hz, > 0.
    core_area_m2, window_area_m2 : core section and winding window, m², > 0.
    density_a_per_m2 : rms current density, A/m², > 0.
    copper_fill : copper area over window area, dimensionless, 0 to 1; the primary takes half of it.
    share : share d of the cycle in which either switch conducts, 0 < d <= 1.
    efficiency : output over input power, 0 < eta <= 1.

    Returns
    -------
    ``η f B A_e A_w k_u J √(2/d)``, W.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Derived from N = V d/(4 f B A_e) and the rms current of a half-primary; with k_u = 0.4 and
    η = d = 0.8 it is Pressman's 0.00100 B f A_e A_b / D_cma. [pressman1998] [derived]

    >>> density = 1.0 / (500 * 5.067e-10)  # 500 circular mils per ampere
    >>> round(float(area_product_power(0.16, 50e3, 125e-6, 177e-6, density, 0.4, 0.8, 0.8)), 1)
    353.5
    """
    for name, value in (
        ("flux density, T", flux_peak_t),
        ("switching frequency, Hz", switching_hz),
        ("core area, m²", core_area_m2),
        ("window area, m²", window_area_m2),
        ("current density, A/m²", density_a_per_m2),
    ):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    for name, value in (("copper fill", copper_fill), ("share", share), ("efficiency", efficiency)):
        require_that((np.asarray(value) > 0) & (np.asarray(value) <= 1), name, value, "0 to 1")
    volts_times_turns = efficiency * switching_hz * flux_peak_t * core_area_m2 * window_area_m2
    power: Floats = volts_times_turns * copper_fill * density_a_per_m2 * np.sqrt(2.0 / np.asarray(share))
    return power
