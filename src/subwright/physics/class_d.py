"""Class-D output stages: filter, ripple, conduction, rail pumping and dead-time error."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require

__all__ = [
    "PUMPING_WORST_MODULATION",
    "bus_ripple_v",
    "class_d_conduction_w",
    "commutation_capacitance_f",
    "dead_time_error_v",
    "dead_time_thd",
    "filter_response",
    "lc_corner_hz",
    "lc_quality",
    "output_filter_l_c",
    "parallel_damping_ohm",
    "pumping_capacitance_f",
    "rail_pumping_v",
    "reactive_pumping_v",
    "ripple_current_pp_a",
]

PUMPING_WORST_MODULATION = 2.0 / math.pi


def class_d_conduction_w(output_w: float, switch_hot_ohm: float, load_ohm: float, switches: int = 1) -> float:
    """Conduction loss of a class-D stage from its output power.

    Parameters
    ----------
    output_w : power in the load, W, >= 0.
    switch_hot_ohm : on-resistance of one hot switch, ohm, >= 0.
    load_ohm : ohm, > 0.
    switches : switches that carry the load current at once: 1 in a half-bridge, 2 in a full bridge.

    Returns
    -------
    ``P_o n R_DS(on)/R_L``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Honda & Cerezo, class-D tutorial, International Rectifier 2003. [honda-cerezo2003]

    >>> round(class_d_conduction_w(100.0, 1.5 * 72.5e-3, 4.0), 1)
    2.7
    """
    require("output power", output_w, "W", at_least=0.0)
    require("on-resistance", switch_hot_ohm, "Ω", at_least=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    require("switches in the current path", switches, "", at_least=1, at_most=2)
    return output_w * switches * switch_hot_ohm / load_ohm


def output_filter_l_c(load_ohm: float, corner_hz: float, bridge: bool = False) -> tuple[float, float]:
    """Butterworth output filter of a class-D stage.

    Parameters
    ----------
    load_ohm : load, ohm, > 0.
    corner_hz : -3 dB frequency, Hz, > 0.
    bridge : true for one inductor and one capacitor to ground on each leg of a bridge: each leg then sees
        half the load.

    Returns
    -------
    (inductance, capacitance) of one leg, H and F: ``L = sqrt(2) R/w``, ``C = 1/(sqrt(2) R w)``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Texas Instruments SLAA701B, section 1.3.3. [ti-slaa701]

    >>> l, c = output_filter_l_c(4.0, 40e3)
    >>> round(l * 1e6, 1), round(c * 1e6, 3)
    (22.5, 0.703)
    """
    require("load resistance", load_ohm, "Ω", above=0.0)
    require("filter corner", corner_hz, "Hz", above=0.0)
    leg = load_ohm / 2.0 if bridge else load_ohm
    omega = 2.0 * math.pi * corner_hz
    return math.sqrt(2.0) * leg / omega, 1.0 / (math.sqrt(2.0) * leg * omega)


def lc_corner_hz(inductance_h: float, capacitance_f: float) -> float:
    """Undamped resonance of an LC filter.

    Parameters
    ----------
    inductance_h : H, > 0.
    capacitance_f : F, > 0.

    Returns
    -------
    ``1/(2 pi sqrt(L C))``, Hz.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    NXP TFA9812 data sheet rev. 02, 2009, table 58 gives values that obey it. [nxp-tfa9812]

    >>> round(lc_corner_hz(15e-6, 680e-9) / 1e3, 1)
    49.8
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    return 1.0 / (2.0 * math.pi * math.sqrt(inductance_h * capacitance_f))


def lc_quality(inductance_h: float, capacitance_f: float, load_ohm: float, bridge: bool = False) -> float:
    """Quality factor of an LC output filter with its resistive load.

    Parameters
    ----------
    inductance_h, capacitance_f : of one leg, H and F, > 0.
    load_ohm : load, ohm, > 0.
    bridge : true when each leg sees half the load.

    Returns
    -------
    ``R sqrt(C/L)``, dimensionless; 0.707 is Butterworth.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Texas Instruments SLAA701B, section 1.3.3. [ti-slaa701]

    >>> round(lc_quality(15e-6, 680e-9, 6.0, bridge=True), 2)
    0.64
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    return (load_ohm / 2.0 if bridge else load_ohm) * math.sqrt(capacitance_f / inductance_h)


def parallel_damping_ohm(inductance_h: float, capacitance_f: float, ratio: float) -> float:
    """Best resistor in series with a damping capacitor across an LC filter's output.

    Parameters
    ----------
    inductance_h, capacitance_f : the filter, H and F, > 0.
    ratio : damping capacitor over filter capacitor, 0.5 to 10.

    Returns
    -------
    ``sqrt(L/C) sqrt((2 + n)(4 + 3 n) / (2 n² (4 + n)))``, ohm. With it the unloaded filter's output impedance
    peaks at ``sqrt(L/C) sqrt(2 (2 + n))/n``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Erickson & Maksimovic, Fundamentals of Power Electronics, chapter on input filters, optimum parallel
    damping. [erickson2001]

    >>> round(parallel_damping_ohm(22e-6, 680e-9, 2.0), 2)
    5.19
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("damping capacitor ratio", ratio, "", at_least=0.5, at_most=10.0, source="erickson2001")
    quality = math.sqrt((2.0 + ratio) * (4.0 + 3.0 * ratio) / (2.0 * ratio**2 * (4.0 + ratio)))
    return math.sqrt(inductance_h / capacitance_f) * quality


def filter_response(
    frequency_hz: NDArray[np.float64],
    inductance_h: float,
    capacitance_f: float,
    damping_ohm: float,
    damping_f: float,
    inductor_ohm: float,
    load_ohm: NDArray[np.complex128] | float,
    legs: int,
) -> NDArray[np.complex128]:
    """Response of a damped output filter into any load, from the ideal bridge to the load's terminals.

    Parameters
    ----------
    frequency_hz : Hz, > 0, shape (n,).
    inductance_h, capacitance_f : of one leg, H and F, > 0.
    damping_ohm, damping_f : in series across the filter capacitor of one leg, ohm and F, > 0.
    inductor_ohm : resistance of one inductor with its switch, ohm, >= 0.
    load_ohm : complex impedance on the same grid, ohm, or one resistance; infinite for an open output.
    legs : 1, or 2 where two legs drive the load in opposition (each then sees half of it).

    Returns
    -------
    Complex gain, V/V, shape (n,).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Voltage divider; damping after Erickson & Maksimovic [erickson2001].

    >>> f = np.array([10.0, 40e3])
    >>> gain = np.abs(filter_response(f, 22.5e-6, 0.703e-6, 1e9, 1e-12, 0.0, 4.0, 1))
    >>> [round(float(g), 3) for g in gain]
    [1.0, 0.707]
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("damping resistor", damping_ohm, "Ω", above=0.0)
    require("damping capacitor", damping_f, "F", above=0.0)
    require("inductor resistance", inductor_ohm, "Ω", at_least=0.0)
    require("legs", legs, "", at_least=1, at_most=2)
    s = 2j * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    across = s * capacitance_f + s * damping_f / (1.0 + s * damping_f * damping_ohm)
    across = across + legs / np.asarray(load_ohm, dtype=np.complex128)
    gain: NDArray[np.complex128] = 1.0 / (1.0 + (s * inductance_h + inductor_ohm) * across)
    return gain


def ripple_current_pp_a(
    bus_v: float, inductance_h: float, switching_hz: float, modulation: float = 0.0
) -> float:
    """Peak-to-peak ripple current of an output inductor.

    Parameters
    ----------
    bus_v : voltage between the two switches of the leg (both rails added), V, >= 0.
    inductance_h : H, > 0.
    switching_hz : Hz, > 0.
    modulation : output over its limit, dimensionless, -1 to 1.

    Returns
    -------
    ``V_bus (1 - m²)/(4 f L)``, A; greatest in the middle.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Buck ripple ``V d (1 - d)/(f L)`` with ``d = (1 + m)/2``. [derived]

    >>> round(ripple_current_pp_a(70.0, 22e-6, 400e3), 2)
    1.99
    """
    require("bus voltage", bus_v, "V", at_least=0.0)
    require("inductance", inductance_h, "H", above=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("modulation", modulation, "", at_least=-1.0, at_most=1.0)
    return bus_v * (1.0 - modulation**2) / (4.0 * switching_hz * inductance_h)


def rail_pumping_v(
    rail_v: float, modulation: float, frequency_hz: float, load_ohm: float, capacitance_f: float
) -> float:
    """Rise of the idle rail of a class-D half-bridge on split rails that can't take current back.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    modulation : output peak over ``rail_v``, dimensionless, 0 to 1.
    frequency_hz : note, Hz, > 0.
    load_ohm : ohm, > 0.
    capacitance_f : reservoir of one rail, F, > 0.

    Returns
    -------
    ``M V (2 - pi M/2)/(4 pi f R C)``, V; greatest at ``M = 2/pi``. First-order: small against the rail.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge returned to the idle rail in half a cycle of a sine. Direction of the effects:
    International Rectifier IRAUDAMP4 reference design. [derived]

    >>> round(rail_pumping_v(50.0, 2 / math.pi, 20.0, 4.0, 4700e-6), 2)
    6.74
    >>> round(rail_pumping_v(50.0, 1.0, 20.0, 4.0, 4700e-6), 2)
    4.54
    """
    require("rail voltage", rail_v, "V", above=0.0)
    require("modulation", modulation, "", at_least=0.0, at_most=1.0)
    require("note", frequency_hz, "Hz", above=0.0)
    require("load resistance", load_ohm, "Ω", above=0.0)
    require("rail capacitance", capacitance_f, "F", above=0.0)
    charge_v = modulation * rail_v * (2.0 - 0.5 * math.pi * modulation)
    return charge_v / (4.0 * math.pi * frequency_hz * load_ohm * capacitance_f)


def reactive_pumping_v(
    rail_v: float,
    frequency_hz: NDArray[np.float64],
    impedance_ohm: NDArray[np.complex128],
    capacitance_f: float,
) -> NDArray[np.float64]:
    """The same into a complex impedance, at the modulation that is worst for its angle.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    frequency_hz : notes, Hz, > 0, shape (n,).
    impedance_ohm : of the load at each, Ω, real part > 0, shape (n,), complex.
    capacitance_f : reservoir of one rail, F, > 0.

    Returns
    -------
    ``M V (2 - pi M cos(phi)/2)/(4 pi f |Z| C)`` with ``M = 2/(pi cos(phi))``, one at most, V, shape (n,).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Half a cycle of the lagging current through the lower switch's share of time. [derived]

    >>> z = np.array([4.0 + 0.0j, 4.0 * (0.5 + 0.75**0.5 * 1j)])
    >>> [round(float(v), 2) for v in reactive_pumping_v(50.0, np.array([20.0, 20.0]), z, 4700e-6)]
    [6.74, 12.85]
    """
    require("rail voltage", rail_v, "V", above=0.0)
    require("rail capacitance", capacitance_f, "F", above=0.0)
    require("lowest note", float(np.min(frequency_hz)), "Hz", above=0.0)
    require("least resistance of the load", float(np.min(impedance_ohm.real)), "Ω", above=0.0)
    modulus = np.abs(impedance_ohm)
    turned = impedance_ohm.real / modulus
    modulation = np.minimum(1.0, PUMPING_WORST_MODULATION / turned)
    charge_v = modulation * rail_v * (2.0 - 0.5 * math.pi * modulation * turned)
    rise: NDArray[np.float64] = charge_v / (4.0 * math.pi * frequency_hz * modulus * capacitance_f)
    return rise


def bus_ripple_v(
    current_a: float,
    modulation: float,
    switching_hz: float,
    capacitance_f: float,
    esr_ohm: float = 0.0,
    *,
    legs: int,
) -> float:
    """Peak-to-peak ripple at the switching frequency of a rail that a steady mean current feeds.

    Parameters
    ----------
    current_a : of the output inductor, A, >= 0.
    modulation : output over its limit, dimensionless, -1 to 1.
    switching_hz : Hz, > 0.
    capacitance_f : at the rail, F, > 0.
    esr_ohm : in series with it, Ω, >= 0.
    legs : 1 or 2, dimensionless: a bridge in opposition turns the current around instead of taking it away.

    Returns
    -------
    ``n I (d (1 - d)/(f C) + R)`` with ``d = (1 + M)/2`` and n legs, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge and step of a rectangular current, as of a buck converter's input. [derived]

    >>> round(bus_ripple_v(10.0, 0.5, 200e3, 100e-6, 0.02, legs=1), 3)
    0.294
    """
    require("current", current_a, "A", at_least=0.0)
    require("modulation", modulation, "", at_least=-1.0, at_most=1.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("rail capacitance", capacitance_f, "F", above=0.0)
    require("series resistance", esr_ohm, "Ω", at_least=0.0)
    require("legs", legs, "", at_least=1, at_most=2)
    duty = 0.5 * (1.0 + modulation)
    return legs * current_a * (duty * (1.0 - duty) / (switching_hz * capacitance_f) + esr_ohm)


def pumping_capacitance_f(rail_v: float, frequency_hz: float, load_ohm: float, rise_v: float) -> float:
    """Reservoir of each rail that keeps pumping to ``rise_v`` at the worst modulation.

    Parameters
    ----------
    rail_v : one rail, V, > 0.
    frequency_hz : lowest note, Hz, > 0.
    load_ohm : ohm, > 0.
    rise_v : allowed rise, V, > 0.

    Returns
    -------
    ``V/(2 pi² f R dV)``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``rail_pumping_v`` at ``M = 2/pi``, solved for C. [derived]

    >>> round(pumping_capacitance_f(50.0, 20.0, 4.0, 6.74) * 1e6, -1)
    4700.0
    """
    require("allowed rail rise", rise_v, "V", above=0.0)
    return rail_pumping_v(rail_v, PUMPING_WORST_MODULATION, frequency_hz, load_ohm, 1.0) / rise_v


def commutation_capacitance_f(current_a: float, path_h: float, rise_v: float) -> float:
    """Capacitance across a leg's switches that keeps the supply there within ``rise_v`` of its reservoir.

    Parameters
    ----------
    current_a : that leaves one switch for the other, A, >= 0.
    path_h : inductance of both leads between reservoir and switches, H, > 0.
    rise_v : allowed rise, V, > 0.

    Returns
    -------
    ``L (I/dV)²``, F: the leads' current can't jump and swings out into the capacitor.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``L I²/2 = C dV²/2``, no losses. [derived]

    >>> round(commutation_capacitance_f(10.0, 100e-9, 3.0) * 1e6, 2)
    1.11
    """
    require("current", current_a, "A", at_least=0.0)
    require("path inductance", path_h, "H", above=0.0)
    require("allowed rise", rise_v, "V", above=0.0)
    return path_h * (current_a / rise_v) ** 2


def dead_time_error_v(bus_v: float, dead_time_s: float, switching_hz: float) -> float:
    """Output voltage that one leg loses to its dead time, opposed to the current.

    Parameters
    ----------
    bus_v : voltage across the leg, V, >= 0.
    dead_time_s : per edge, s, >= 0.
    switching_hz : Hz, > 0.

    Returns
    -------
    ``V_bus t_dead f``, V.

    Raises
    ------
    RangeError : an argument is out of range, or both dead times fill the period.

    Source
    ------
    Mohan, Undeland, Robbins, Power Electronics, section 8-5, effect of blanking time. [mohan2003]

    >>> round(dead_time_error_v(100.0, 50e-9, 200e3), 2)
    1.0
    """
    require("bus voltage", bus_v, "V", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("dead time", dead_time_s, "s", at_least=0.0, below=0.5 / switching_hz)
    return bus_v * dead_time_s * switching_hz


def dead_time_thd(error_v: float, peak_v: float) -> float:
    """Distortion that dead time leaves in a sine, before feedback.

    Parameters
    ----------
    error_v : total error of the legs, V, >= 0, from ``dead_time_error_v``.
    peak_v : output peak, V, > ``4/pi error``.

    Returns
    -------
    rms of the harmonics of a square wave of ``error_v`` over the rms of the fundamental, dimensionless. It
    holds where the current is well above the inductor's ripple; feedback divides it by the loop gain.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Square-wave error after Mohan section 8-5, Fourier sum ``sqrt(1 - 8/pi²)``. [mohan2003]

    >>> round(dead_time_thd(1.0, 40.0), 4)
    0.0154
    """
    require("dead-time error", error_v, "V", at_least=0.0)
    require("output peak", peak_v, "V", above=4.0 / math.pi * error_v)
    harmonics = error_v * math.sqrt(1.0 - 8.0 / math.pi**2)
    return harmonics * math.sqrt(2.0) / peak_v
