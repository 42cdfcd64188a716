"""The voltage stage of a class-AB amplifier in closed form: pair, mirror, Miller capacitor, feedback.

A pair of transistors turns the difference between input and feedback into a current; a mirror adds its two
halves; a voltage amplifier with a capacitor from collector to base integrates that current. All is small
signal unless it says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import atan, degrees, hypot, pi, radians, sqrt, tan
from typing import Final

from subwright.physics.bounds import require
from subwright.physics.junctions import base_emitter_v

__all__ = [
    "THERMAL_V",
    "difference_unity_hz",
    "greatest_unity_hz",
    "junction_current_a",
    "lag_deg",
    "loop_gain",
    "pair_noise_v_per_rthz",
    "pair_transconductance_s",
    "parallel_ohm",
    "second_pole_hz",
    "shunted_share",
    "sine_slew_v_per_s",
    "slew_v_per_s",
    "steady_gain",
    "stray_pole_hz",
    "unity_loop_hz",
]

THERMAL_V: Final = 1.380649e-23 * 300.15 / 1.602176634e-19
"""kT/q at 27 °C, V."""
_BOLTZMANN: Final = 1.380649e-23
_CHARGE: Final = 1.602176634e-19
_KELVIN: Final = 300.15
_HALVINGS: Final = 40
_ROUNDS: Final = 16


def parallel_ohm(*ohms: float) -> float:
    """Resistances side by side.

    Parameters
    ----------
    ohms : each > 0, Ω.

    Returns
    -------
    One over the sum of the conductances, Ω.

    Source
    ------
    Kirchhoff. [derived]

    >>> parallel_ohm(30.0, 60.0)
    20.0
    """
    return 1.0 / sum(1.0 / ohm for ohm in ohms)


def pair_transconductance_s(tail_a: float, degeneration_ohm: float = 0.0) -> float:
    """Output current of a pair with a mirror over the difference of its base voltages.

    Parameters
    ----------
    tail_a : of both halves together, A, > 0.
    degeneration_ohm : in each emitter, Ω.

    Returns
    -------
    ``1/(r_e + R_E)`` with ``r_e = 2 (kT/q)/I``, S. Without a mirror half of it comes out of one side.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 3, differential pairs with emitter degeneration; mirror as load, chapter 4.

    >>> print(f"{1e3 * pair_transconductance_s(2e-3):.1f} {1e3 * pair_transconductance_s(2e-3, 100.0):.2f}")
    38.7 7.95
    """
    require("tail current", tail_a, "A", above=0.0)
    require("emitter degeneration", degeneration_ohm, "Ω", at_least=0.0)
    return 1.0 / (2.0 * THERMAL_V / tail_a + degeneration_ohm)


def unity_loop_hz(transconductance_s: float, miller_f: float, noise_gain: float) -> float:
    """Frequency at which the loop gain is one, with a Miller capacitor as the only store.

    Parameters
    ----------
    transconductance_s : of the pair, S.
    miller_f : F.
    noise_gain : one over the share that is fed back, >= 1, dimensionless.

    Returns
    -------
    ``g/(2π C A)``, Hz.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 9, compensation by a Miller capacitor; [sedra-smith], the 741's: 1/5.26 kΩ,
    30 pF, 1 MHz.

    >>> print(f"{unity_loop_hz(1 / 5.26e3, 30e-12, 1.0) / 1e6:.2f}")
    1.01
    """
    require("transconductance", transconductance_s, "S", above=0.0)
    require("Miller capacitor", miller_f, "F", above=0.0)
    require("noise gain", noise_gain, "", at_least=1.0)
    return transconductance_s / (2.0 * pi * miller_f * noise_gain)


def slew_v_per_s(current_a: float, miller_f: float) -> float:
    """How fast a current moves the voltage across the Miller capacitor.

    Parameters
    ----------
    current_a : all of the tail's, where a mirror turns it around, A.
    miller_f : F.

    Returns
    -------
    ``I/C``, V/s.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 9; [sedra-smith], the 741's 19 µA into 30 pF: 0.63 V/µs.

    >>> print(f"{slew_v_per_s(19e-6, 30e-12) / 1e6:.2f}")
    0.63
    """
    require("current", current_a, "A", above=0.0)
    require("Miller capacitor", miller_f, "F", above=0.0)
    return current_a / miller_f


def sine_slew_v_per_s(peak_v: float, hz: float) -> float:
    """Steepest slope of a sine.

    Parameters
    ----------
    peak_v : V.
    hz : Hz.

    Returns
    -------
    ``2π f V``, V/s.

    Source
    ------
    Derivative of the sine. [derived]

    >>> print(f"{sine_slew_v_per_s(40.0, 20e3) / 1e6:.2f}")
    5.03
    """
    return 2.0 * pi * hz * peak_v


def lag_deg(hz: float, poles_hz: Iterable[float]) -> float:
    """Phase by which poles lag together at a frequency, degrees.

    Parameters
    ----------
    hz : Hz.
    poles_hz : each > 0, Hz.

    Returns
    -------
    Sum of ``arctan(f/f_p)``, degrees.

    Source
    ------
    [gray-meyer] chapter 9.

    >>> print(f"{lag_deg(1e6, [1e6, 1e6]):.0f}")
    90
    """
    return degrees(sum(atan(hz / pole) for pole in poles_hz))


def greatest_unity_hz(poles_hz: Iterable[float], lag: float) -> float:
    """Frequency at which poles lag by an angle: the highest unity frequency for a phase margin.

    Parameters
    ----------
    poles_hz : each > 0, at least one, Hz.
    lag : above 0, below 90, degrees.

    Returns
    -------
    Hz. With 90 degrees from the Miller capacitor the phase margin there is ``90 - lag``.

    Raises
    ------
    RangeError : the angle is out of range.

    Source
    ------
    [gray-meyer] chapter 9; by bisection.

    >>> print(f"{greatest_unity_hz([3e6], 30.0) / 1e6:.3f}")
    1.732
    """
    require("phase lag", lag, "°", above=0.0, below=90.0)
    poles = tuple(poles_hz)
    # the lowest pole alone lags by the angle here: with the others the answer lies below
    low, high = 0.0, min(poles) * tan(radians(lag))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if lag_deg(middle, poles) < lag:
            low = middle
        else:
            high = middle
    return low


def second_pole_hz(transconductance_s: float, miller_f: float, into_f: float, out_f: float) -> float:
    """Pole of a voltage amplifier behind its Miller capacitor.

    Parameters
    ----------
    transconductance_s : of the voltage amplifier with its emitter resistor, S.
    miller_f : F.
    into_f, out_f : capacitance at its base and at its collector, to ground, F.

    Returns
    -------
    ``g C/(2π (C_1 C_2 + C (C_1 + C_2)))``, Hz.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 9, pole splitting.

    >>> print(f"{second_pole_hz(34e-3, 100e-12, 20e-12, 150e-12) / 1e6:.1f}")
    27.1
    """
    require("transconductance", transconductance_s, "S", above=0.0)
    require("Miller capacitor", miller_f, "F", above=0.0)
    stray = into_f * out_f + miller_f * (into_f + out_f)
    require("stray capacitance", stray, "F²", above=0.0)
    return transconductance_s * miller_f / (2.0 * pi * stray)


def stray_pole_hz(ohm: float, farad: float) -> float:
    """Corner of a resistance with a capacitance, Hz.

    Parameters
    ----------
    ohm : Ω.
    farad : F.

    Returns
    -------
    ``1/(2π R C)``, Hz.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    First order. [derived]

    >>> print(f"{stray_pole_hz(220.0, 220e-12) / 1e6:.2f}")
    3.29
    """
    require("resistance", ohm, "Ω", above=0.0)
    require("capacitance", farad, "F", above=0.0)
    return 1.0 / (2.0 * pi * ohm * farad)


def steady_gain(first_s: float, first_ohm: float, second_s: float, second_ohm: float) -> float:
    """Open-loop gain of two stages far below their corner.

    Parameters
    ----------
    first_s, second_s : transconductances, S.
    first_ohm, second_ohm : loads at their outputs, Ω.

    Returns
    -------
    ``g_1 R_1 g_2 R_2``, V/V.

    Source
    ------
    [gray-meyer] chapter 6, two-stage amplifiers.

    >>> print(f"{steady_gain(8e-3, 30e3, 30e-3, 1.5e3):.0f}")
    10800
    """
    return first_s * first_ohm * second_s * second_ohm


def loop_gain(hz: float, unity_hz: float, steady: float) -> float:
    """Modulus of a loop gain with one pole.

    Parameters
    ----------
    hz : Hz.
    unity_hz : where the integrator alone has one, Hz.
    steady : gain at no frequency, dimensionless.

    Returns
    -------
    ``|1/(1/A_0 + j f/f_u)|``, V/V.

    Source
    ------
    [gray-meyer] chapter 9.

    >>> print(f"{loop_gain(1e3, 500e3, 400.0):.0f}")
    312
    """
    return 1.0 / hypot(1.0 / steady, hz / unity_hz)


def junction_current_a(drop_v: float, ohm: float) -> float:
    """Collector current that a fixed voltage sets through base-emitter junction and emitter resistor.

    Parameters
    ----------
    drop_v : across junction and resistor, V, >= 0.9.
    ohm : Ω, > 0.

    Returns
    -------
    Current at which ``V = V_BE(I) + I R``, A.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 4, current sources; junction as :func:`subwright.physics.junctions.base_emitter_v`.

    >>> print(f"{1e3 * junction_current_a(1.3, 330.0):.2f}")
    1.92
    """
    require("voltage of the reference", drop_v, "V", at_least=0.9)
    require("emitter resistor", ohm, "Ω", above=0.0)
    # the junction moves by kT/q for a factor e: each round leaves a tenth of the error or less
    current = (drop_v - 0.65) / ohm
    for _ in range(_ROUNDS):
        current = (drop_v - base_emitter_v(current)) / ohm
    return current


def shunted_share(series_ohm: float, shunt_ohm: float, load_ohm: float) -> float:
    """What a shunt leaves of a signal, over what passes without it.

    Parameters
    ----------
    series_ohm : before the shunt, Ω.
    shunt_ohm : of the shunt, Ω.
    load_ohm : behind it, Ω.

    Returns
    -------
    Ratio of both dividers, dimensionless, below 1.

    Source
    ------
    Voltage dividers. [derived]

    >>> print(f"{shunted_share(4.7e3, 125.0, 18e3):.4f}")
    0.0325
    """
    muted = parallel_ohm(shunt_ohm, load_ohm)
    return muted / (series_ohm + muted) * (series_ohm + load_ohm) / load_ohm


def pair_noise_v_per_rthz(
    tail_a: float, degeneration_ohm: float, current_gain: float, input_ohm: float, feedback_ohm: float
) -> float:
    """Noise density at the input of a pair of bipolar transistors, mid band.

    Parameters
    ----------
    tail_a : A.
    degeneration_ohm : in each emitter, Ω.
    current_gain : of the transistors, dimensionless.
    input_ohm, feedback_ohm : what the two bases see, Ω.

    Returns
    -------
    Thermal noise of all resistances, half of r_e in each emitter, and the base currents' shot noise in
    what they see, V/√Hz.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 11, equivalent input noise of a bipolar transistor.

    >>> print(f"{1e9 * pair_noise_v_per_rthz(2e-3, 100.0, 200.0, 4e3, 700.0):.1f}")
    10.4
    """
    require("tail current", tail_a, "A", above=0.0)
    require("current gain", current_gain, "", above=0.0)
    half = 2.0 * THERMAL_V / tail_a
    thermal = 4.0 * _BOLTZMANN * _KELVIN * (input_ohm + feedback_ohm + 2.0 * degeneration_ohm + half)
    shot = 2.0 * _CHARGE * 0.5 * tail_a / current_gain * (input_ohm**2 + feedback_ohm**2)
    return sqrt(thermal + shot)


def difference_unity_hz(leg_gain: float, ohm: float, farad: float) -> float:
    """Loop gain of one of an integrator that holds the difference of two legs driven in opposition.

    Parameters
    ----------
    leg_gain : from the integrator's output to one leg's, V/V, > 0.
    ohm : from each output to the integrator, Ω, > 0.
    farad : its capacitor, F, > 0.

    Returns
    -------
    Hz.

    Raises
    ------
    RangeError : an argument out of its range.

    Source
    ------
    The difference rises by ``2 G`` for each volt of an integrator of time constant ``R C``. [derived]

    >>> round(difference_unity_hz(10.0, 100e3, 1e-9))
    31831
    """
    require("leg's gain", leg_gain, "", above=0.0)
    require("resistor of the integrator", ohm, "resistance", above=0.0)
    require("capacitor of the integrator", farad, "capacitance", above=0.0)
    return 2.0 * leg_gain / (2.0 * pi * ohm * farad)
