"""Sallen–Key stages in closed form: exact with real part values and an op-amp of finite bandwidth.

The op-amp is 1/A(s) = s/(2π GBW): an integrator with infinite DC gain and no output resistance.
Low-pass: R1 and R2 in series from the input, C_f from the output back to their junction, C_g from the + input
to ground. High-pass: C1 and C2 in series, R_f leads back from the output and R_g to ground.
"""

from __future__ import annotations

import numpy as np

from ._checks import ArrayLike, between, positive
from .filters import slowness_s
from .rational import Polynomial, Rational, add, multiply

__all__ = [
    "equal_component_gain",
    "sallen_key_highpass",
    "sallen_key_highpass_f0_q",
    "sallen_key_highpass_resistors_ohm",
    "sallen_key_lowpass",
    "sallen_key_lowpass_f0_q",
    "sallen_key_lowpass_resistors_ohm",
]


def sallen_key_lowpass(
    r1_ohm: ArrayLike,
    r2_ohm: ArrayLike,
    cf_f: ArrayLike,
    cg_f: ArrayLike,
    *,
    gain: ArrayLike = 1.0,
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """Sallen–Key low-pass.

    Parameters
    ----------
    r1_ohm, r2_ohm : series resistors, ohm, > 0.
    cf_f, cg_f : capacitor to the output, and to ground, F, > 0.
    gain : DC gain set by the op-amp's divider, dimensionless, >= 1.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations, [derived]; with an ideal op-amp as [ti-sloa049].

    >>> round(float(abs(sallen_key_lowpass(10e3, 10e3, 200e-9, 100e-9).at(112.54))), 4)
    0.7071
    """
    for name, value, unit in (("R1", r1_ohm, "Ω"), ("R2", r2_ohm, "Ω"), ("Cf", cf_f, "F"), ("Cg", cg_f, "F")):
        positive(name, value, unit)
    between("gain", gain, 1.0, 1e3, "")
    node: Polynomial = (1.0, r2_ohm * cg_f + r1_ohm * cf_f + r1_ohm * cg_f, r1_ohm * r2_ohm * cf_f * cg_f)
    loop: Polynomial = (1.0 / gain, slowness_s(gbw_hz))
    return Rational(numerator=(1.0,), denominator=add(multiply(loop, node), (0.0, -r1_ohm * cf_f)))


def sallen_key_lowpass_f0_q(
    r1_ohm: ArrayLike, r2_ohm: ArrayLike, cf_f: ArrayLike, cg_f: ArrayLike, gain: ArrayLike = 1.0
) -> tuple[ArrayLike, ArrayLike]:
    """Pole frequency and Q of a Sallen–Key low-pass with an ideal op-amp.

    Parameters
    ----------
    r1_ohm, r2_ohm : ohm, > 0.
    cf_f, cg_f : F, > 0.
    gain : dimensionless, >= 1.

    Returns
    -------
    f0 in Hz and Q, broadcast over the arguments.

    Raises
    ------
    RangeError : a part isn't above zero, or the gain makes it oscillate.

    Source
    ------
    [ti-sloa049].

    >>> f0, q = sallen_key_lowpass_f0_q(10e3, 10e3, 200e-9, 100e-9)
    >>> round(float(f0), 2), round(float(q), 4)
    (112.54, 0.7071)
    """
    for name, value, unit in (("R1", r1_ohm, "Ω"), ("R2", r2_ohm, "Ω"), ("Cf", cf_f, "F"), ("Cg", cg_f, "F")):
        positive(name, value, unit)
    product = np.sqrt(r1_ohm * r2_ohm * cf_f * cg_f)
    damping = r1_ohm * cg_f + r2_ohm * cg_f + r1_ohm * cf_f * (1.0 - gain)
    positive("damping of the Sallen–Key stage", damping, "s")
    return 1.0 / (2 * np.pi * product), product / damping


def sallen_key_lowpass_resistors_ohm(
    f0_hz: ArrayLike, q: ArrayLike, cf_f: ArrayLike, cg_f: ArrayLike
) -> tuple[ArrayLike, ArrayLike]:
    """Resistors of a unity-gain Sallen–Key low-pass for chosen capacitors.

    Parameters
    ----------
    f0_hz, q : pole frequency, Hz, > 0, and Q, > 0.
    cf_f, cg_f : F, > 0; ``cf_f >= 4 Q² cg_f``.

    Returns
    -------
    R1 (the smaller) and R2, ohm, broadcast over the arguments.

    Raises
    ------
    RangeError : the capacitor ratio is too small for this Q.

    Source
    ------
    [opamps-for-everyone], chapter 16, unity-gain Sallen–Key low-pass (with a = 1/(Q k), b = 1/k²).

    >>> r1, r2 = sallen_key_lowpass_resistors_ohm(80.0, 0.5**0.5, 220e-9, 100e-9)
    >>> round(float(r1)), round(float(r2))
    (9826, 18309)
    """
    positive("pole frequency", f0_hz, "Hz")
    positive("Q", q, "")
    positive("Cf", cf_f, "F")
    positive("Cg", cg_f, "F")
    spare = np.asarray(cf_f / (cg_f * 4.0 * np.asarray(q) ** 2))
    between(
        "Cf over 4 Q² Cg", np.where(np.abs(spare - 1.0) < 1e-12, 1.0, spare), 1.0, np.inf, "", "ti-sloa049"
    )
    w0 = 2 * np.pi * f0_hz
    total = 1.0 / (w0 * q * cg_f)
    difference = total * np.sqrt(np.maximum(0.0, 1.0 - 1.0 / spare))
    return 0.5 * (total - difference), 0.5 * (total + difference)


def equal_component_gain(q: ArrayLike) -> ArrayLike:
    """DC gain that gives an equal-component Sallen–Key stage its Q.

    Parameters
    ----------
    q : dimensionless, 0.5 or above.

    Returns
    -------
    ``3 - 1/Q``, dimensionless.

    Raises
    ------
    RangeError : Q is below a half (the gain would fall under 1).

    Source
    ------
    [opamps-for-everyone], chapter 16.

    >>> round(equal_component_gain(0.5**0.5), 4)
    1.5858
    """
    between("Q", q, 0.5, 1e3, "", "opamps-for-everyone")
    return 3.0 - 1.0 / q


def sallen_key_highpass(
    c1_f: ArrayLike,
    c2_f: ArrayLike,
    rf_ohm: ArrayLike,
    rg_ohm: ArrayLike,
    *,
    gain: ArrayLike = 1.0,
    gbw_hz: ArrayLike = np.inf,
) -> Rational:
    """Sallen–Key high-pass.

    Parameters
    ----------
    c1_f, c2_f : series capacitors, F, > 0.
    rf_ohm, rg_ohm : resistor to the output, and to ground, ohm, > 0.
    gain : passband gain set by the op-amp's divider, dimensionless, >= 1.
    gbw_hz : gain-bandwidth product, Hz; infinite for an ideal op-amp.

    Returns
    -------
    Transfer function; arguments may be arrays that broadcast.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    Node equations, [derived]; ideal form in [opamps-for-everyone], chapter 16.

    >>> round(float(20 * np.log10(abs(sallen_key_highpass(220e-9, 220e-9, 25.58e3, 51.15e3).at(20.0)))), 2)
    -3.01
    """
    for name, value, unit in (("C1", c1_f, "F"), ("C2", c2_f, "F"), ("Rf", rf_ohm, "Ω"), ("Rg", rg_ohm, "Ω")):
        positive(name, value, unit)
    between("gain", gain, 1.0, 1e3, "")
    square = c1_f * c2_f * rf_ohm * rg_ohm
    node: Polynomial = (1.0, c2_f * rg_ohm + rf_ohm * (c1_f + c2_f), square)
    loop: Polynomial = (1.0 / gain, slowness_s(gbw_hz))
    return Rational(
        numerator=(0.0, 0.0, square), denominator=add(multiply(loop, node), (0.0, -c2_f * rg_ohm))
    )


def sallen_key_highpass_f0_q(
    c1_f: ArrayLike, c2_f: ArrayLike, rf_ohm: ArrayLike, rg_ohm: ArrayLike
) -> tuple[ArrayLike, ArrayLike]:
    """Pole frequency and Q of a unity-gain Sallen–Key high-pass with an ideal op-amp.

    Parameters
    ----------
    c1_f, c2_f : F, > 0.
    rf_ohm, rg_ohm : ohm, > 0.

    Returns
    -------
    f0 in Hz and Q, broadcast over the arguments.

    Raises
    ------
    RangeError : a part isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16.

    >>> f0, q = sallen_key_highpass_f0_q(220e-9, 220e-9, 25.58e3, 51.15e3)
    >>> round(float(f0), 2), round(float(q), 4)
    (20.0, 0.707)
    """
    for name, value, unit in (("C1", c1_f, "F"), ("C2", c2_f, "F"), ("Rf", rf_ohm, "Ω"), ("Rg", rg_ohm, "Ω")):
        positive(name, value, unit)
    product = np.sqrt(c1_f * c2_f * rf_ohm * rg_ohm)
    return 1.0 / (2 * np.pi * product), product / (rf_ohm * (c1_f + c2_f))


def sallen_key_highpass_resistors_ohm(
    f0_hz: ArrayLike, q: ArrayLike, c1_f: ArrayLike, c2_f: ArrayLike
) -> tuple[ArrayLike, ArrayLike]:
    """Resistors of a unity-gain Sallen–Key high-pass for chosen capacitors.

    Parameters
    ----------
    f0_hz, q : pole frequency, Hz, > 0, and Q, > 0.
    c1_f, c2_f : F, > 0.

    Returns
    -------
    R_f (to the output) and R_g (to ground), ohm, broadcast over the arguments.

    Raises
    ------
    RangeError : an argument isn't above zero.

    Source
    ------
    [opamps-for-everyone], chapter 16, unity-gain Sallen–Key high-pass.

    >>> rf, rg = sallen_key_highpass_resistors_ohm(20.0, 0.5**0.5, 220e-9, 220e-9)
    >>> round(rf), round(rg)
    (25577, 51154)
    """
    positive("pole frequency", f0_hz, "Hz")
    positive("Q", q, "")
    positive("C1", c1_f, "F")
    positive("C2", c2_f, "F")
    w0 = 2 * np.pi * f0_hz
    both = c1_f + c2_f
    return 1.0 / (w0 * q * both), q * both / (w0 * c1_f * c2_f)
