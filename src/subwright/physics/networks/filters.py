"""Active filter blocks in closed form: exact with real part values and an op-amp of finite bandwidth.

The op-amp is 1/A(s) = s/(2π GBW): an integrator with infinite DC gain and no output resistance.
Sallen–Key stages have a file of their own, ``sallen_key``.
"""

from __future__ import annotations

import numpy as np

from ._checks import ArrayLike, between, positive, positive_or_open
from .rational import Polynomial, Rational, add, multiply, scale

__all__ = [
    "all_pass",
    "all_pass_phase_deg",
    "coupling_highpass",
    "first_order_lowpass",
    "follower",
    "inverting_summer",
    "mfb_lowpass",
    "mfb_lowpass_least_c2_f",
    "mfb_lowpass_resistors_ohm",
    "op_amp_bandwidth_hz",
    "phase_switch",
    "slowness_s",
]


def slowness_s(gbw_hz: ArrayLike) -> ArrayLike:
    """Time constant of the op-amp's integrator.

    Parameters
    ----------
    gbw_hz : gain-bandwidth product, Hz, > 0; infinite for an ideal op-amp.

    Returns
    -------
    ``1/(2π GBW)``, s; 1/A is s times this.

    Raises
    ------
    RangeError : the product isn't above zero.

    Source
    ------
    [derived]: one-pole op-amp with infinite DC gain.

    >>> slowness_s(np.inf)
    0.0
    """
    positive_or_open("gain-bandwidth product", gbw_hz, "Hz")
    return 1.0 / (2 * np.pi * gbw_hz)


def mfb_lowpass(
    r1_ohm: ArrayLike,
    r2_ohm: ArrayLike,
    r3_ohm: ArrayLike,
    c1_f: ArrayLike,
    c2_f: ArrayLike,
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """Multiple-feedback low-pass (inverting).

    Parameters
    ----------
    r1_ohm, r2_ohm, r3_ohm : input to node, output to node, node to - input, ohm, > 0.
    c1_f, c2_f : output to - input, node to ground, F, > 0.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function, DC gain -R2/R1; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations, [derived]; ideal form in [opamps-for-everyone], chapter 16.

    >>> stage = mfb_lowpass(18.516e3, 18.516e3, 20.673e3, 47e-9, 220e-9)
    >>> round(float(20 * np.log10(abs(stage.at(80.0)))), 2)
    -3.01
    """
    for name, value in (("R1", r1_ohm), ("R2", r2_ohm), ("R3", r3_ohm)):
        positive(name, value, "Ω")
    positive("C1", c1_f, "F")
    positive("C2", c2_f, "F")
    g2, g3 = 1.0 / r2_ohm, 1.0 / r3_ohm
    slowness: Polynomial = (0.0, slowness_s(gbw_hz))  # 1/A(s)
    node_over_out = add(slowness, multiply((0.0, r3_ohm * c1_f), add((1.0,), slowness)))
    admittance: Polynomial = (1.0 / r1_ohm + g2 + g3, c2_f)
    inner = add(multiply(node_over_out, admittance), (g2,), scale(slowness, -g3))
    return Rational(numerator=(-1.0,), denominator=scale(inner, r1_ohm))


def mfb_lowpass_least_c2_f(q: ArrayLike, gain: ArrayLike, c1_f: ArrayLike) -> ArrayLike:
    """Least capacitor to ground of a multiple-feedback low-pass.

    Parameters
    ----------
    q : dimensionless, > 0.
    gain : magnitude of the DC gain, dimensionless, > 0.
    c1_f : feedback capacitor, F, > 0.

    Returns
    -------
    ``4 Q² C1 (1 + |A0|)``, F.

    Raises
    ------
    RangeError : an argument isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16.

    >>> round(1e9 * mfb_lowpass_least_c2_f(0.5**0.5, 1.0, 47e-9))
    188
    """
    positive("Q", q, "")
    positive("gain", gain, "")
    positive("C1", c1_f, "F")
    return 4.0 * np.asarray(q) ** 2 * c1_f * (1.0 + gain)


def mfb_lowpass_resistors_ohm(
    f0_hz: ArrayLike, q: ArrayLike, gain: ArrayLike, c1_f: ArrayLike, c2_f: ArrayLike
) -> tuple[ArrayLike, ArrayLike, ArrayLike]:
    """Resistors of a multiple-feedback low-pass for chosen capacitors.

    Parameters
    ----------
    f0_hz, q : pole frequency, Hz, > 0, and Q, > 0.
    gain : magnitude of the DC gain, dimensionless, > 0.
    c1_f, c2_f : F, > 0; C2 at least :func:`mfb_lowpass_least_c2_f`.

    Returns
    -------
    R1, R2, R3 as in :func:`mfb_lowpass`, ohm.

    Raises
    ------
    RangeError : C2 is too small, or an argument isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16.

    >>> [round(float(r) / 1e3, 3) for r in mfb_lowpass_resistors_ohm(80.0, 0.5**0.5, 1.0, 47e-9, 220e-9)]
    [18.516, 18.516, 20.673]
    """
    positive("pole frequency", f0_hz, "Hz")
    spare = np.asarray(c2_f / mfb_lowpass_least_c2_f(q, gain, c1_f))
    between("C2 over its least value", spare, 1.0, np.inf, "", "opamps-for-everyone")
    w0 = 2 * np.pi * f0_hz
    r2 = (1.0 - np.sqrt(1.0 - 1.0 / spare)) / (2.0 * w0 * q * c1_f)
    return r2 / gain, r2, 1.0 / (w0**2 * c1_f * c2_f * r2)


def first_order_lowpass(resistance_ohm: ArrayLike, capacitance_f: ArrayLike) -> Rational:
    """One RC low-pass section driven and read without loading.

    Parameters
    ----------
    resistance_ohm : ohm, > 0.
    capacitance_f : F, > 0.

    Returns
    -------
    Transfer function 1/(1 + s R C).

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(float(abs(first_order_lowpass(10e3, 100e-9).at(159.155))), 4)
    0.7071
    """
    positive("resistance", resistance_ohm, "Ω")
    positive("capacitance", capacitance_f, "F")
    return Rational(numerator=(1.0,), denominator=(1.0, resistance_ohm * capacitance_f))


def coupling_highpass(resistance_ohm: ArrayLike, capacitance_f: ArrayLike) -> Rational:
    """Capacitor in series with a signal, working into a resistor to ground.

    Parameters
    ----------
    resistance_ohm : ohm, > 0.
    capacitance_f : F, > 0.

    Returns
    -------
    Transfer function s R C/(1 + s R C).

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> round(float(abs(coupling_highpass(22e3, 10e-6).at(0.7234))), 4)
    0.7071
    """
    positive("resistance", resistance_ohm, "Ω")
    positive("capacitance", capacitance_f, "F")
    constant = resistance_ohm * capacitance_f
    return Rational(numerator=(0.0, constant), denominator=(1.0, constant))


def follower(gain: ArrayLike = 1.0, gbw_hz: ArrayLike = np.inf) -> Rational:
    """Non-inverting amplifier or buffer.

    Parameters
    ----------
    gain : dimensionless, >= 1.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function 1/(1/G + s/(2π GBW)).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [opamps-for-everyone], feedback equation.

    >>> round(float(abs(follower(10.0, 1e6).at(100e3))), 3)
    7.071
    """
    between("gain", gain, 1.0, 1e6, "")
    return Rational(numerator=(1.0,), denominator=(1.0 / gain, slowness_s(gbw_hz)))


def inverting_summer(
    inputs: tuple[tuple[ArrayLike, ArrayLike], ...], feedback_ohm: ArrayLike, gbw_hz: ArrayLike = np.inf
) -> Rational:
    """Inverting summing amplifier with the same signal on all its inputs.

    Parameters
    ----------
    inputs : per input the resistor (ohm, > 0) and the coupling capacitor in series (F, > 0; infinite for a
        direct connection).
    feedback_ohm : ohm, > 0.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function from the common input; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equation at the - input, [derived]; ideal form in [opamps-for-everyone].

    >>> round(float(inverting_summer(((22e3, np.inf), (22e3, np.inf)), 11e3).at(80.0).real), 6)
    -1.0
    """
    positive("feedback resistor", feedback_ohm, "Ω")
    common: Polynomial = (1.0,)
    admittance: Polynomial = (0.0,)
    for resistance, capacitance in inputs:
        positive("input resistor", resistance, "Ω")
        positive_or_open("coupling capacitor", capacitance, "F")
        above: Polynomial = (1.0 / resistance,)
        below: Polynomial = (1.0,)
        if np.all(np.isfinite(capacitance)):
            above, below = (0.0, capacitance), (1.0, resistance * capacitance)
        admittance = add(multiply(admittance, below), multiply(above, common))
        common = multiply(common, below)
    driven = scale(admittance, feedback_ohm)
    loop = multiply((0.0, slowness_s(gbw_hz)), add(common, driven))
    return Rational(numerator=scale(driven, -1.0), denominator=add(common, loop))


def phase_switch(
    input_ohm: ArrayLike, feedback_ohm: ArrayLike, inverted: bool, gbw_hz: ArrayLike = np.inf
) -> Rational:
    """One op-amp that passes a signal upright or inverted, by a switch on its + input.

    Parameters
    ----------
    input_ohm, feedback_ohm : equal resistors to the - input, ohm, > 0.
    inverted : True with the + input on ground, False with the + input on the signal.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function, +1 or -Rf/Ri at low frequency.

    Raises
    ------
    RangeError : a resistance isn't above zero.

    Source
    ------
    Node equation at the - input, [derived].

    >>> [round(float(phase_switch(10e3, 10e3, up).at(50.0).real), 6) for up in (False, True)]
    [1.0, -1.0]
    """
    positive("input resistor", input_ohm, "Ω")
    positive("feedback resistor", feedback_ohm, "Ω")
    back = input_ohm / (input_ohm + feedback_ohm)
    forward = 1.0 - back
    return Rational(
        numerator=(-forward if inverted else 1.0 - forward,), denominator=(back, slowness_s(gbw_hz))
    )


def all_pass(
    resistance_ohm: ArrayLike,
    capacitance_f: ArrayLike,
    *,
    input_ohm: ArrayLike = 10e3,
    feedback_ohm: ArrayLike = 10e3,
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """First-order all-pass: a lag that grows from 0° to -180°.

    Parameters
    ----------
    resistance_ohm, capacitance_f : signal to + input, + input to ground; ohm and F, > 0.
    input_ohm, feedback_ohm : equal resistors at the - input, ohm, > 0.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function; (1 - s R C)/(1 + s R C) with equal resistors and an ideal op-amp.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16, first-order all-pass.

    >>> round(float(np.degrees(np.angle(all_pass(10e3, 100e-9).at(80.0)))), 1)
    -53.4
    """
    positive("resistance", resistance_ohm, "Ω")
    positive("capacitance", capacitance_f, "F")
    positive("input resistor", input_ohm, "Ω")
    positive("feedback resistor", feedback_ohm, "Ω")
    back = input_ohm / (input_ohm + feedback_ohm)
    lag: Polynomial = (1.0, resistance_ohm * capacitance_f)
    return Rational(
        numerator=add((1.0,), scale(lag, back - 1.0)),
        denominator=multiply((back, slowness_s(gbw_hz)), lag),
    )


def all_pass_phase_deg(ratio: ArrayLike) -> ArrayLike:
    """Phase of a first-order all-pass.

    Parameters
    ----------
    ratio : frequency over 1/(2π R C), dimensionless, >= 0, scalar or array.

    Returns
    -------
    ``-2 atan(ratio)``, degrees.

    Source
    ------
    [opamps-for-everyone], chapter 16.

    >>> round(float(all_pass_phase_deg(0.5)), 2)
    -53.13
    """
    return -2.0 * np.degrees(np.arctan(ratio))


def op_amp_bandwidth_hz(f0_hz: ArrayLike, q: ArrayLike, gain: ArrayLike = 1.0) -> ArrayLike:
    """Gain-bandwidth product that keeps a section within about 1 % of its ideal response.

    Parameters
    ----------
    f0_hz : pole frequency of the section, Hz, > 0.
    q : Q of the section, dimensionless, > 0.
    gain : gain of the op-amp, dimensionless, >= 1.

    Returns
    -------
    ``100 G f0`` up to Q = 1, above it ``100 G f0 Q sqrt((Q² - 0.5)/(Q² - 0.25))``, Hz.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [opamps-for-everyone], chapter 16, op-amp selection.

    >>> round(float(op_amp_bandwidth_hz(80.0, 0.7071, 1.586)))
    12688
    """
    positive("pole frequency", f0_hz, "Hz")
    positive("Q", q, "")
    between("gain", gain, 1.0, 1e6, "")
    square = np.asarray(q, dtype=float) ** 2
    peaking = np.where(
        square > 1.0, np.sqrt(square * np.maximum(square - 0.5, 0.0) / np.maximum(square - 0.25, 0.25)), 1.0
    )
    return 100.0 * gain * f0_hz * peaking
