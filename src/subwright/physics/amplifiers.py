"""Power amplifiers: what a supply can put into a load, clipping, class-B dissipation."""

from __future__ import annotations

import math

import numpy as np

from subwright.physics.bounds import require

__all__ = [
    "CLASS_B_MAX_EFFICIENCY",
    "bridge_sine_power_w",
    "bridge_square_power_w",
    "class_b_dissipation_w",
    "class_b_efficiency",
    "class_b_input_power_w",
    "class_b_reactive_stress",
    "class_b_worst_dissipation_w",
    "clipped_sine_power_w",
    "clipped_sine_thd",
    "coupling_capacitance_f",
    "lift_capacitance_f",
    "programme_peak_ratio",
    "sine_power_w",
]

CLASS_B_MAX_EFFICIENCY = math.pi / 4.0


def sine_power_w(peak_v: float, load_ohm: float) -> float:
    """Average power of a sine in a resistive load.

    Parameters
    ----------
    peak_v : V, >= 0.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``V²/(2 R)``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power amplifiers chapter, ex. 12.7. [boylestad]

    >>> sine_power_w(20.0, 16.0)
    12.5
    """
    require("peak voltage", peak_v, "V", at_least=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    return peak_v**2 / (2.0 * load_ohm)


def bridge_square_power_w(supply_v: float, load_ohm: float) -> float:
    """Ceiling of a lossless bridge on one supply: a square wave of the whole supply voltage.

    Parameters
    ----------
    supply_v : V, >= 0.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``V²/R``, W. No signal can deliver more from this supply into this load.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ohm's law. [derived]

    >>> bridge_square_power_w(12.0, 4.0)
    36.0
    """
    require("supply voltage", supply_v, "V", at_least=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    return supply_v**2 / load_ohm


def bridge_sine_power_w(supply_v: float, load_ohm: float) -> float:
    """Ceiling of a lossless bridge for an undistorted sine: half the square wave's power.

    Parameters
    ----------
    supply_v : V, >= 0.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``V²/(2 R)``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ohm's law with a peak equal to the supply. [derived]

    >>> bridge_sine_power_w(12.0, 4.0)
    18.0
    """
    return sine_power_w(supply_v, load_ohm)


def clipped_sine_power_w(clip_v: float, load_ohm: float, overdrive: float) -> float:
    """Average power of a sine that is clipped symmetrically.

    Parameters
    ----------
    clip_v : voltage at which it is cut, V, >= 0.
    load_ohm : ohm, > 0.
    overdrive : peak of the unclipped sine over ``clip_v``, dimensionless, >= 1 (1: onset of clipping).

    Returns
    -------
    power, W; between the sine's ``V²/2R`` and the square wave's ``V²/R``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Mean square of the clipped sine. [derived]

    >>> clipped_sine_power_w(12.0, 4.0, 1.0), round(clipped_sine_power_w(12.0, 4.0, 1e6), 1)
    (18.0, 36.0)
    """
    require("clipping voltage", clip_v, "V", at_least=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    return clip_v**2 * _clipped_mean_square(overdrive) / load_ohm


def clipped_sine_thd(overdrive: float) -> float:
    """Total harmonic distortion of a symmetrically clipped sine.

    Parameters
    ----------
    overdrive : peak of the unclipped sine over the clipping voltage, dimensionless, >= 1.

    Returns
    -------
    rms of the harmonics over rms of the fundamental, dimensionless; 0 to 0.483 (square wave).

    Raises
    ------
    RangeError : the overdrive is below 1.

    Source
    ------
    Mean square and first Fourier coefficient of the clipped sine. [derived]

    >>> round(clipped_sine_thd(1.0), 9), round(clipped_sine_thd(1e6), 3)
    (0.0, 0.483)
    """
    mean_square = _clipped_mean_square(overdrive)
    angle = math.asin(1.0 / overdrive)
    fundamental = (4.0 / math.pi) * (
        overdrive * (0.5 * angle - 0.25 * math.sin(2.0 * angle)) + math.cos(angle)
    )
    harmonics = max(mean_square - 0.5 * fundamental**2, 0.0)
    return math.sqrt(harmonics / (0.5 * fundamental**2))


def _clipped_mean_square(overdrive: float) -> float:
    """Mean square of a sine of peak ``overdrive`` clipped at 1."""
    require("overdrive", overdrive, "", at_least=1.0)
    angle = math.asin(1.0 / overdrive)
    rising = overdrive**2 * (angle - math.sin(angle) * math.cos(angle)) / math.pi
    return rising + 1.0 - 2.0 * angle / math.pi


def programme_peak_ratio(crest_factor_db: float) -> float:
    """Peak of the sine with a programme's rms, over the programme's own peak.

    Parameters
    ----------
    crest_factor_db : peak over rms of the programme, dB, 3.0103 (sine) to 30.

    Returns
    -------
    ``sqrt(2) 10^(-CF/20)``, dimensionless, at most 1.

    Raises
    ------
    RangeError : the crest factor is below that of a sine.

    Source
    ------
    Definition of the crest factor; heating by programme is reckoned with the sine of the same rms.
    [derived]

    >>> round(programme_peak_ratio(9.0), 4)
    0.5018
    """
    require("crest factor", crest_factor_db, "dB", at_least=3.0102, at_most=30.0)
    return min(1.0, math.sqrt(2.0) * math.exp(-crest_factor_db / 20.0 * math.log(10.0)))


def class_b_input_power_w(rail_v: float, peak_v: float, load_ohm: float) -> float:
    """Power that a class-B stage on split rails draws with a sine.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    peak_v : output peak, V, 0 to ``rail_v``.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``2 V Vp/(pi R)``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power amplifiers chapter, ex. 12.7. [boylestad]

    >>> round(class_b_input_power_w(30.0, 20.0, 16.0), 1)
    23.9
    """
    _check_class_b(rail_v, peak_v, load_ohm)
    return 2.0 * rail_v * peak_v / (math.pi * load_ohm)


def class_b_efficiency(rail_v: float, peak_v: float) -> float:
    """Efficiency of a class-B stage with a sine.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    peak_v : output peak, V, 0 to ``rail_v``.

    Returns
    -------
    ``(pi/4) Vp/V``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power amplifiers chapter, ex. 12.9. [boylestad]

    >>> round(class_b_efficiency(24.0, 22.0), 3), round(class_b_efficiency(24.0, 6.0), 3)
    (0.72, 0.196)
    """
    _check_class_b(rail_v, peak_v, 1.0)
    return CLASS_B_MAX_EFFICIENCY * peak_v / rail_v


def class_b_dissipation_w(rail_v: float, peak_v: float, load_ohm: float) -> float:
    """Heat in all output devices of a class-B stage with a sine.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    peak_v : output peak, V, 0 to ``rail_v``.
    load_ohm : ohm, > 0.

    Returns
    -------
    input less output power, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power amplifiers chapter, ex. 12.7. [boylestad]

    >>> round(class_b_dissipation_w(30.0, 20.0, 16.0), 1)
    11.4
    """
    return class_b_input_power_w(rail_v, peak_v, load_ohm) - sine_power_w(peak_v, load_ohm)


def class_b_worst_dissipation_w(rail_v: float, load_ohm: float) -> float:
    """Greatest heat in all output devices of a class-B stage with a sine, at ``Vp = 2 V/pi``.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``2 V²/(pi² R)``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Boylestad & Nashelsky, power amplifiers chapter, ex. 12.8. [boylestad]

    >>> round(class_b_worst_dissipation_w(45.0, 4.0), 1)
    102.6
    """
    _check_class_b(rail_v, 0.0, load_ohm)
    return 2.0 * rail_v**2 / (math.pi**2 * load_ohm)


def class_b_reactive_stress(
    rail_v: float, peak_v: float, load_ohm: float, phase_deg: float
) -> tuple[float, float, float]:
    """Hardest instant for one output device of a class-B stage that drives a reactive load with a sine.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    peak_v : output peak, V, 0 to ``rail_v``.
    load_ohm : modulus of the load's impedance, ohm, > 0.
    phase_deg : by how much the current lags the voltage, degrees, 0 to 90.

    Returns
    -------
    (dissipation in W, collector-emitter voltage in V, current in A) at that instant, on a grid of 0.1 degree.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``(V - Vp sin x) Vp/|Z| sin(x - phase)``; with a resistor its greatest value is ``V²/4R``,
    at 45 degrees and full drive ``V²/(sqrt(2) |Z|)``. [derived]

    >>> [round(x, 2) for x in class_b_reactive_stress(40.0, 40.0, 4.0, 0.0)]
    [100.0, 20.0, 5.0]
    >>> watts, volts, amps = class_b_reactive_stress(40.0, 40.0, 4.0, 45.0)
    >>> round(watts, 1), round(volts, 1), round(amps, 2)
    (282.8, 40.0, 7.07)
    """
    _check_class_b(rail_v, peak_v, load_ohm)
    require("phase", phase_deg, "°", at_least=0.0, at_most=90.0)
    phase = math.radians(phase_deg)
    x = phase + np.radians(np.arange(0.0, 180.05, 0.1))  # this device conducts while its current is positive
    across = rail_v - peak_v * np.sin(x)
    current = peak_v / load_ohm * np.sin(x - phase)
    at = int(np.argmax(across * current))
    return float(across[at] * current[at]), float(across[at]), float(current[at])


def _check_class_b(rail_v: float, peak_v: float, load_ohm: float) -> None:
    require("rail voltage", rail_v, "V", above=0.0)
    require(
        "output peak",
        peak_v,
        "V",
        at_least=0.0,
        at_most=rail_v,
        remedy="Raise the rails or lower the power: the output can't pass its rail.",
    )
    require("load resistance", load_ohm, "Ω", above=0.0)


def coupling_capacitance_f(corner_hz: float, load_ohm: float) -> float:
    """Output coupling capacitor of a single-supply amplifier.

    Parameters
    ----------
    corner_hz : -3 dB frequency, Hz, > 0.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``1/(2 pi f R)``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Texas Instruments TPA3125D2 data sheet SLOS611, 2008, table 3. [ti-tpa3125]

    >>> round(coupling_capacitance_f(40.0, 4.0) * 1e6)
    995
    """
    require("corner frequency", corner_hz, "Hz", above=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    return 1.0 / (2.0 * math.pi * corner_hz * load_ohm)


def lift_capacitance_f(
    peak_v: float, threshold_v: float, load_ohm: float, frequency_hz: float, sag_v: float
) -> float:
    """Capacitor that lifts an amplifier's rail over each crest of a sine.

    Parameters
    ----------
    peak_v : output peak, V, >= ``threshold_v``.
    threshold_v : output above which the lifted rail carries the current, V, >= 0.
    load_ohm : ohm, > 0.
    frequency_hz : lowest note, Hz, > 0.
    sag_v : how far the capacitor may discharge over one crest, V, > 0.

    Returns
    -------
    ``Vp cos(x)/(pi f R dV)`` with ``sin(x) = threshold/Vp``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge of the part of a half sine above the threshold. [derived]

    >>> round(lift_capacitance_f(20.0, 0.0, 4.0, 40.0, 2.0) * 1e6)
    19894
    """
    require("threshold", threshold_v, "V", at_least=0.0)
    require("output peak", peak_v, "V", at_least=threshold_v, above=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    require("lowest note", frequency_hz, "Hz", above=0.0)
    require("sag", sag_v, "V", above=0.0)
    above = math.sqrt(1.0 - (threshold_v / peak_v) ** 2)
    return peak_v * above / (math.pi * frequency_hz * load_ohm * sag_v)
