"""Biquads: state-variable low-pass, the equaliser that moves a sealed box's poles, the peaked high-pass.

The op-amp is 1/A(s) = s/(2π GBW), as in ``filters``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ._checks import ArrayLike, between, positive
from .filters import slowness_s
from .rational import Polynomial, Rational, add, multiply, scale

__all__ = [
    "TransformValues",
    "highpass_half_power_hz",
    "peaked_highpass_f0_q",
    "state_variable_lowpass",
    "state_variable_q",
    "transform_biquad",
    "transform_spread",
    "transform_values",
]


def state_variable_q(upper_ohm: ArrayLike, lower_ohm: ArrayLike) -> ArrayLike:
    """Q of a state-variable filter whose summing amplifier has three equal resistors.

    Parameters
    ----------
    upper_ohm, lower_ohm : divider from the band-pass output to the + input, and to ground, ohm, > 0.

    Returns
    -------
    ``(1 + upper/lower)/3``, dimensionless.

    Raises
    ------
    RangeError : a resistance isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16; node equations [derived].

    >>> round(float(state_variable_q(11.2e3, 10e3)), 4)
    0.7067
    """
    positive("upper resistor", upper_ohm, "Ω")
    positive("lower resistor", lower_ohm, "Ω")
    return (1.0 + upper_ohm / lower_ohm) / 3.0


def state_variable_lowpass(
    summing_ohm: tuple[ArrayLike, ArrayLike, ArrayLike],
    divider_ohm: tuple[ArrayLike, ArrayLike],
    integrators_ohm: tuple[ArrayLike, ...],
    integrators_f: tuple[ArrayLike, ArrayLike],
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """Low-pass output of a state-variable filter: a summing amplifier and two inverting integrators.

    Parameters
    ----------
    summing_ohm : to the - input of the summing amplifier, from the signal, from the low-pass output and from
        its own output, ohm, > 0.
    divider_ohm : from the band-pass output to the + input, and to ground, ohm, > 0.
    integrators_ohm, integrators_f : of both integrators, ohm and F, > 0.
    gbw_hz : gain-bandwidth product, Hz; infinite for ideal op-amps.

    Returns
    -------
    Transfer function, DC gain -R_low/R_in; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations, [derived]; ideal form in [opamps-for-everyone], chapter 16.

    >>> stage = state_variable_lowpass((1e4, 1e4, 1e4), (11.2e3, 1e4), (15.915e3, 15.915e3), (1e-9, 1e-9))
    >>> round(float(20 * np.log10(abs(stage.at(10e3)))), 2)
    -3.02
    """
    for name, value in zip(("R in", "R low", "R high"), summing_ohm, strict=True):
        positive(name, value, "Ω")
    upper, lower = divider_ohm
    positive("upper resistor", upper, "Ω")
    positive("lower resistor", lower, "Ω")
    slowness: Polynomial = (0.0, slowness_s(gbw_hz))
    inverse: list[Polynomial] = []  # -1/gain of each integrator
    for resistance, capacitance in zip(integrators_ohm, integrators_f, strict=True):
        positive("integrator resistor", resistance, "Ω")
        positive("integrator capacitor", capacitance, "F")
        constant = resistance * capacitance
        inverse.append(add((0.0, constant), multiply(slowness, (1.0, constant))))
    g_in, g_low, g_high = (1.0 / r for r in summing_ohm)
    total = g_in + g_low + g_high
    share = lower / (upper + lower)
    own = add((g_high,), scale(slowness, total))
    denominator = add(
        multiply(own, multiply(inverse[0], inverse[1])), (g_low,), scale(inverse[1], share * total)
    )
    return Rational(numerator=(-g_in,), denominator=denominator)


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformValues:
    """Parts of :func:`transform_biquad`: ohm and F, scalars or arrays."""

    input_ohm: ArrayLike  # each of the two resistors of the input T
    input_f: ArrayLike
    feedback_ohm: ArrayLike  # each of the two of the feedback T
    feedback_f: ArrayLike
    bridge_ohm: ArrayLike  # the same in both bridges
    bridge_f: ArrayLike


def transform_spread(box_hz: float, box_q: float, wanted_hz: float, wanted_q: float) -> float:
    """Constant k that must be above zero for the biquad to exist.

    Parameters
    ----------
    box_hz, box_q : poles to cancel, Hz and dimensionless, > 0.
    wanted_hz, wanted_q : poles to put in their place, Hz and dimensionless, > 0.

    Returns
    -------
    ``(f0/fp - Q0/Qp)/(Q0/Qp - fp/f0)``, dimensionless.

    Raises
    ------
    RangeError : an argument isn't above zero.

    Source
    ------
    [linkwitz1978].

    >>> round(transform_spread(65.0, 0.9, 30.0, 0.707), 3)
    1.101
    """
    for name, value, unit in (
        ("box resonance", box_hz, "Hz"),
        ("box Q", box_q, ""),
        ("wanted resonance", wanted_hz, "Hz"),
        ("wanted Q", wanted_q, ""),
    ):
        positive(name, value, unit)
    return (box_hz / wanted_hz - box_q / wanted_q) / (box_q / wanted_q - wanted_hz / box_hz)


def transform_values(
    box_hz: float, box_q: float, wanted_hz: float, wanted_q: float, bridge_f: ArrayLike
) -> TransformValues:
    """Ideal parts of the biquad for a chosen bridge capacitor.

    Parameters
    ----------
    box_hz, box_q, wanted_hz, wanted_q : as in :func:`transform_spread`, whose result must be above zero.
    bridge_f : F, > 0.

    Returns
    -------
    TransformValues.

    Raises
    ------
    RangeError : no such biquad exists, or an argument isn't above zero.

    Source
    ------
    [linkwitz1978]: ``R1 = 1/(2π f0 C2 2 Q0 (1 + k))``, ``R2 = 2 k R1``, ``C1 = C2 (2 Q0 (1 + k))²``,
    ``C3 = C1 (fp/f0)²``, ``R3 = R1 (f0/fp)²``.

    >>> v = transform_values(65.0, 0.9, 30.0, 0.707, 100e-9)
    >>> [round(float(r)) for r in (v.input_ohm, v.bridge_ohm, v.feedback_ohm)]
    [6473, 14259, 30389]
    """
    positive("bridge capacitor", bridge_f, "F")
    k = transform_spread(box_hz, box_q, wanted_hz, wanted_q)
    positive("spread k of the box transform", k, "")
    spread = 2.0 * box_q * (1.0 + k)
    r1 = 1.0 / (2 * math.pi * box_hz * bridge_f * spread)
    c1 = bridge_f * spread**2
    ratio = (box_hz / wanted_hz) ** 2
    return TransformValues(
        input_ohm=r1,
        input_f=c1,
        feedback_ohm=r1 * ratio,
        feedback_f=c1 / ratio,
        bridge_ohm=2.0 * k * r1,
        bridge_f=bridge_f,
    )


def transform_biquad(
    input_ohm: ArrayLike,
    input_f: ArrayLike,
    feedback_ohm: ArrayLike,
    feedback_f: ArrayLike,
    bridge_ohm: ArrayLike,
    bridge_f: ArrayLike,
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """Inverting equaliser that replaces a sealed box's pole pair: a bridged T before and around an op-amp.

    Parameters
    ----------
    input_ohm, input_f : each resistor of the input T and its capacitor to ground, ohm and F, > 0.
    feedback_ohm, feedback_f : the same in the feedback.
    bridge_ohm, bridge_f : resistor and capacitor in series across each T, the same in both, ohm and F, > 0.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function, -1 at high frequency, DC gain -R3/R1; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations, [derived]; circuit of [linkwitz1978].

    >>> stage = transform_biquad(6473.0, 1.4297e-6, 30388.0, 304.6e-9, 14264.0, 100e-9)
    >>> round(float(20 * np.log10(abs(stage.at(0.1)))), 2), round(float(abs(stage.at(20e3))), 3)
    (13.43, 1.0)
    """
    for name, value in (("input R", input_ohm), ("feedback R", feedback_ohm), ("bridge R", bridge_ohm)):
        positive(name, value, "Ω")
    for name, value in (("input C", input_f), ("feedback C", feedback_f), ("bridge C", bridge_f)):
        positive(name, value, "F")
    bridge: Polynomial = (1.0, bridge_ohm * bridge_f)

    def admittance(resistance: ArrayLike, capacitance: ArrayLike) -> tuple[Polynomial, Polynomial]:
        """Short-circuit admittance without the bridge's own denominator, which both sides share."""
        tee = scale((1.0, 0.5 * resistance * capacitance), 2.0 * resistance)
        return add(bridge, multiply((0.0, bridge_f), tee)), tee

    driven, driven_below = admittance(input_ohm, input_f)
    fed, fed_below = admittance(feedback_ohm, feedback_f)
    slowness: Polynomial = (0.0, slowness_s(gbw_hz))
    # At the - input the T's look like R(1 + sRC)/(...): input admittance of a terminated T.
    own_driven, own_fed = (
        _terminated(resistance, capacitance, bridge, bridge_f)
        for resistance, capacitance in ((input_ohm, input_f), (feedback_ohm, feedback_f))
    )
    error = multiply(slowness, add(multiply(own_driven, fed_below), multiply(own_fed, driven_below)))
    return Rational(
        numerator=scale(multiply(driven, fed_below), -1.0),
        denominator=add(multiply(fed, driven_below), error),
    )


def _terminated(
    resistance: ArrayLike, capacitance: ArrayLike, bridge: Polynomial, bridge_f: ArrayLike
) -> Polynomial:
    """Admittance at one end of a bridged T whose other end is grounded, over the same denominator."""
    through = multiply((1.0, resistance * capacitance), bridge)
    tee = scale((1.0, 0.5 * resistance * capacitance), 2.0 * resistance)
    return add(through, multiply((0.0, bridge_f), tee))


def peaked_highpass_f0_q(peak_hz: float, peak_db: float) -> tuple[float, float]:
    """Pole frequency and Q of a second-order high-pass with a peak of given height and place.

    Parameters
    ----------
    peak_hz : frequency of the peak, Hz, > 0.
    peak_db : above the passband, dB, 0.1 to 12.

    Returns
    -------
    (f0 in Hz, Q): ``Q² = (G² + G sqrt(G² - 1))/2``, ``f0 = f_peak sqrt(1 - 1/(2 Q²))``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Maximum of the second-order magnitude, [derived].

    >>> f0, q = peaked_highpass_f0_q(30.0, 6.0206)
    >>> round(f0, 2), round(q, 3)
    (27.92, 1.932)
    """
    positive("frequency of the peak", peak_hz, "Hz")
    between("peak", peak_db, 0.1, 12.0, "dB", "second-order high-pass")
    gain = 10.0 ** (peak_db / 20.0)
    square = 0.5 * (gain**2 + gain * math.sqrt(gain**2 - 1.0))
    return peak_hz * math.sqrt(1.0 - 0.5 / square), math.sqrt(square)


def highpass_half_power_hz(f0_hz: float, q: float) -> float:
    """Frequency at which a second-order high-pass is 3.01 dB below its passband.

    Parameters
    ----------
    f0_hz : pole frequency, Hz, > 0.
    q : dimensionless, > 0.

    Returns
    -------
    Hz; equal to the pole frequency for Q = 0.7071.

    Raises
    ------
    RangeError : an argument isn't above zero.

    Source
    ------
    Second-order magnitude set to one half, [derived].

    >>> round(highpass_half_power_hz(20.0, 0.5**0.5), 6)
    20.0
    """
    positive("pole frequency", f0_hz, "Hz")
    positive("Q", q, "")
    half = 1.0 - 0.5 / q**2
    return f0_hz / math.sqrt(half + math.sqrt(half**2 + 1.0))
