"""Comparators with hysteresis and an open-collector output, solved exactly.

Two circuits cover the job. *Sensing*: the watched voltage reaches the + input through R_top, with R_bottom
to ground and R_feedback from the output; the reference sits on the - input. *Inverting*: R1 from a supply,
R2 to ground and R3 from the output set the + input; the watched voltage sits on the - input.

With the output transistor off, the feedback resistor sees the pull-up in series; with it on, it sees the
saturated output voltage V_OL, not zero. Formulas that leave both out are optimistic [adi-adcmp391].
Every argument may be an array; arrays broadcast.
"""

from __future__ import annotations

import numpy as np

from ._checks import Array, ArrayLike, not_negative, positive, positive_or_open

__all__ = [
    "divider_sense_v",
    "inverting_levels_v",
    "least_hysteresis_v",
    "non_inverting_design",
    "offset_at_sense_v",
    "output_high_v",
    "residual_ripple",
    "sensing_thresholds_v",
    "shunt_reference_v",
    "sink_current_a",
]


def sensing_thresholds_v(
    *,
    top_ohm: ArrayLike,
    bottom_ohm: ArrayLike,
    feedback_ohm: ArrayLike,
    reference_v: ArrayLike,
    pullup_v: ArrayLike,
    pullup_ohm: ArrayLike = 0.0,
    low_v: ArrayLike = 0.0,
    offset_v: ArrayLike = 0.0,
    bias_a: ArrayLike = 0.0,
) -> tuple[ArrayLike, ArrayLike]:
    """Watched voltage in V at which a sensing comparator goes low (falling) and high again (rising).

    Parameters
    ----------
    top_ohm, bottom_ohm, feedback_ohm : divider from the watched voltage and feedback resistor in Ω;
        ``bottom_ohm`` may be infinite (left out).
    reference_v : voltage on the - input in V.
    pullup_v, pullup_ohm : pull-up supply in V and resistor in Ω.
    low_v : saturated output voltage V_OL in V.
    offset_v : input offset in V; the output changes over at V(+) = V(-) + offset.
    bias_a : current in A that flows out of the + input (positive for a PNP input stage).

    Returns
    -------
    falling_v, rising_v : thresholds in V at the watched voltage.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Kirchhoff's current law at the + input; with ``bottom_ohm`` infinite it is [adi-adcmp391], eq. 2-4, and
    with no pull-up [ti-snos018], eq. 6-8.

    >>> down, up = sensing_thresholds_v(top_ohm=10e3, bottom_ohm=np.inf, feedback_ohm=1e6, reference_v=2.5,
    ...     pullup_v=12.0, pullup_ohm=10e3, low_v=0.13)
    >>> print(f"{up:.4f} {down:.4f}")
    2.5237 2.4059
    """
    positive("upper sense resistor", top_ohm, "Ω")
    positive_or_open("lower sense resistor", bottom_ohm, "Ω")
    positive_or_open("feedback resistor", feedback_ohm, "Ω")
    not_negative("pull-up resistor", pullup_ohm, "Ω")
    node = reference_v + offset_v
    drawn = node / bottom_ohm - bias_a
    falling = node + top_ohm * (drawn + (node - pullup_v) / (feedback_ohm + pullup_ohm))
    rising = node + top_ohm * (drawn + (node - low_v) / feedback_ohm)
    return falling, rising


def inverting_levels_v(
    *,
    r1_ohm: ArrayLike,
    r2_ohm: ArrayLike,
    r3_ohm: ArrayLike,
    supply_v: ArrayLike,
    pullup_v: ArrayLike | None = None,
    pullup_ohm: ArrayLike = 0.0,
    low_v: ArrayLike = 0.0,
    bias_a: ArrayLike = 0.0,
) -> tuple[ArrayLike, ArrayLike]:
    """Voltage in V on the + input with the output high, and with the output low.

    Parameters
    ----------
    r1_ohm : from the supply to the + input, ohm, > 0.
    r2_ohm : from the + input to ground, ohm, > 0; infinite for none.
    r3_ohm : from the output to the + input, ohm, > 0.
    supply_v : voltage at the far end of R1, V.
    pullup_v : pull-up supply, V; the same supply unless given.
    pullup_ohm : pull-up resistor, ohm, >= 0.
    low_v : saturated output voltage, V.
    bias_a : current that flows out of the + input, A.

    Returns
    -------
    Level with the output high, and with it low, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [ti-an74], method of the three resistors; pull-up and V_OL by Kirchhoff's current law.

    >>> high, low = inverting_levels_v(r1_ohm=1e6, r2_ohm=1e6, r3_ohm=1e6, supply_v=15.0)
    >>> print(f"{high:.1f} {low:.1f}")
    10.0 5.0
    """
    positive("R1", r1_ohm, "Ω")
    positive_or_open("R2", r2_ohm, "Ω")
    positive("R3", r3_ohm, "Ω")
    not_negative("pull-up resistor", pullup_ohm, "Ω")
    pull = supply_v if pullup_v is None else pullup_v
    g1, g2 = 1.0 / r1_ohm, 1.0 / r2_ohm
    g3_high, g3_low = 1.0 / (r3_ohm + pullup_ohm), 1.0 / r3_ohm
    high = (supply_v * g1 + pull * g3_high + bias_a) / (g1 + g2 + g3_high)
    low = (supply_v * g1 + low_v * g3_low + bias_a) / (g1 + g2 + g3_low)
    return high, low


def divider_sense_v(
    level_v: ArrayLike,
    top_ohm: ArrayLike,
    bottom_ohm: ArrayLike,
    *,
    offset_v: ArrayLike = 0.0,
    bias_a: ArrayLike = 0.0,
) -> ArrayLike:
    """Watched voltage in V that puts a plain divider's tap on a level, for a comparator's - input.

    ``level_v`` on the + input in V; divider in Ω; the output changes over at V(+) = V(-) + ``offset_v``;
    ``bias_a`` in A flows out of the - input.

    Parameters
    ----------
    level_v : voltage on the + input, V.
    top_ohm : upper sense resistor, ohm, > 0.
    bottom_ohm : lower sense resistor, ohm, > 0; infinite for none.
    offset_v : input offset, V; the output changes over at V(+) = V(-) + offset.
    bias_a : current that flows out of the input, A.

    Returns
    -------
    Watched voltage, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from Kirchhoff's current law.

    >>> print(f"{divider_sense_v(5.0, 22e3, 10e3):.2f}")
    16.00
    """
    positive("upper sense resistor", top_ohm, "Ω")
    positive_or_open("lower sense resistor", bottom_ohm, "Ω")
    node = level_v - offset_v
    return node + top_ohm * (node / bottom_ohm - bias_a)


def non_inverting_design(rising_v: float, falling_v: float, output_swing_v: float) -> tuple[float, float]:
    """Ratio R1/R2 (dimensionless) and reference voltage in V for a two-resistor non-inverting comparator.

    R1 feeds the input, R2 is the feedback, the output swings from 0 V to ``output_swing_v`` (no pull-up
    error): R1/R2 = (V_rise - V_fall)/V_swing, V_ref = V_rise/(1 + R1/R2).

    Parameters
    ----------
    rising_v : rising threshold, V, above the falling one.
    falling_v : falling threshold, V.
    output_swing_v : output high less output low, V, > 0.

    Returns
    -------
    R1/R2 (dimensionless) and reference voltage (V).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [ti-sboa313], circuit 060078, SBOA313.

    >>> ratio, reference = non_inverting_design(1.7, 1.3, 3.0)
    >>> print(f"{ratio:.4f} {reference:.3f}")
    0.1333 1.500
    """
    positive("hysteresis", rising_v - falling_v, "V")
    positive("output swing", output_swing_v, "V")
    ratio = (rising_v - falling_v) / output_swing_v
    return ratio, rising_v / (1.0 + ratio)


def offset_at_sense_v(
    offset_v: ArrayLike, top_ohm: ArrayLike, bottom_ohm: ArrayLike, feedback_ohm: ArrayLike = np.inf
) -> ArrayLike:
    """Input offset in V seen at the watched voltage: V_os (1 + R_top/R_bottom + R_top/R_feedback); Ω.

    Parameters
    ----------
    offset_v : input offset, V; the output changes over at V(+) = V(-) + offset.
    top_ohm : upper sense resistor, ohm, > 0.
    bottom_ohm : lower sense resistor, ohm, > 0; infinite for none.
    feedback_ohm : feedback resistor, ohm, > 0.

    Returns
    -------
    ``V_os (1 + R_top/R_bottom + R_top/R_feedback)``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the node equation of ``sensing_thresholds_v``.

    >>> print(f"{1e3 * offset_at_sense_v(5e-3, 36e3, 10e3, 120e3):.1f} mV")
    24.5 mV
    """
    positive("upper sense resistor", top_ohm, "Ω")
    positive_or_open("lower sense resistor", bottom_ohm, "Ω")
    return offset_v * (1.0 + top_ohm / bottom_ohm + top_ohm / feedback_ohm)


def shunt_reference_v(
    vref_v: ArrayLike, upper_ohm: ArrayLike = 0.0, lower_ohm: ArrayLike = np.inf, iref_a: ArrayLike = 0.0
) -> ArrayLike:
    """Cathode voltage in V of a 431-family shunt reference: V_ref (1 + R1/R2) + I_ref R1.

    ``upper_ohm`` from cathode to reference pin, ``lower_ohm`` to anode, Ω; ``iref_a`` in A into the pin.

    Parameters
    ----------
    vref_v : reference voltage, V, > 0.
    upper_ohm : cathode to reference pin, ohm, >= 0.
    lower_ohm : reference pin to anode, ohm, > 0; infinite for none.
    iref_a : current into the reference pin, A.

    Returns
    -------
    ``V_ref (1 + R1/R2) + I_ref R1``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [tl431], data sheet.

    >>> print(f"{shunt_reference_v(2.495, 10e3, 10e3, 2e-6):.3f}")
    5.010
    """
    not_negative("upper reference resistor", upper_ohm, "Ω")
    positive_or_open("lower reference resistor", lower_ohm, "Ω")
    return vref_v * (1.0 + upper_ohm / lower_ohm) + iref_a * upper_ohm


def output_high_v(
    pullup_v: ArrayLike, pullup_ohm: ArrayLike, feedback_ohm: ArrayLike, input_v: ArrayLike
) -> ArrayLike:
    """Output voltage in V with the transistor off, the feedback resistor leading back to ``input_v`` (V).

    Resistors in Ω.

    Parameters
    ----------
    pullup_v : pull-up supply, V.
    pullup_ohm : pull-up resistor, ohm, >= 0.
    feedback_ohm : feedback resistor, ohm, > 0.
    input_v : voltage at the far end of the feedback resistor, V.

    Returns
    -------
    Output voltage, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from the voltage divider rule.

    >>> print(f"{output_high_v(12.0, 10e3, 1e6, 2.5):.3f}")
    11.906
    """
    return pullup_v + (input_v - pullup_v) * pullup_ohm / (pullup_ohm + feedback_ohm)


def sink_current_a(low_v: ArrayLike, paths: tuple[tuple[ArrayLike, ArrayLike], ...]) -> ArrayLike:
    """Current in A that the output transistor must sink: each path is (source voltage V, resistance Ω).

    An LED's forward voltage is taken off its source voltage by the caller; a path below ``low_v`` adds
    nothing.

    Parameters
    ----------
    low_v : saturated output voltage, V.
    paths : each path's source voltage (V, an LED's forward voltage already taken off) and resistance (ohm).

    Returns
    -------
    Current, A; a path whose source is below ``low_v`` adds nothing.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived] from Ohm's law.

    >>> print(f"{1e3 * sink_current_a(0.2, ((5.0, 10e3), (3.2, 3e3))):.2f} mA")
    1.48 mA
    """
    total: ArrayLike = 0.0
    for source_v, resistance in paths:
        positive("resistance", resistance, "Ω")
        total = total + np.maximum(source_v - low_v, 0.0) / resistance
    return total


def residual_ripple(note_hz: ArrayLike, time_constant_s: ArrayLike) -> ArrayLike:
    """Share of a bass note's supply ripple that an RC filter of ``time_constant_s`` (s) lets through.

    A sine of ``note_hz`` (Hz) takes power as sin², so the battery current ripples at twice the note. Returns
    the dimensionless gain 1/sqrt(1 + (4π f τ)²).

    Parameters
    ----------
    note_hz : bass note, Hz, >= 0.
    time_constant_s : sense filter's R C, s, >= 0.

    Returns
    -------
    ``1/sqrt(1 + (4π f τ)²)``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived], RC low-pass at 2f.

    >>> print(f"{residual_ripple(30.0, 10e-3):.3f}")
    0.256
    """
    not_negative("note", note_hz, "Hz")
    not_negative("time constant", time_constant_s, "s")
    gain: Array = np.asarray(1.0 / np.sqrt(1.0 + (4.0 * np.pi * note_hz * time_constant_s) ** 2))
    return gain if gain.ndim else float(gain)


def least_hysteresis_v(
    source_resistance_ohm: ArrayLike, load_step_a: ArrayLike, ripple_share: ArrayLike = 1.0
) -> ArrayLike:
    """Least hysteresis in V that stops a trip from undoing itself.

    Dropping the load lifts the terminal voltage by R_source times the load step (Ω, A). A sine's crest draws
    up to twice the mean, of which the sense filter lets ``ripple_share`` (0 to 1) through, so the need is
    R I (1 + share). The rail capacitors' help is left out, which is the safe side.

    Parameters
    ----------
    source_resistance_ohm : battery, cable and contacts, ohm, >= 0.
    load_step_a : battery current that a trip removes, A, >= 0.
    ripple_share : share of the ripple that passes the sense filter, 0 to 1.

    Returns
    -------
    ``R I (1 + share)``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [derived].

    >>> print(f"{least_hysteresis_v(0.04, 20.0, 0.25):.2f}")
    1.00
    """
    not_negative("source resistance", source_resistance_ohm, "Ω")
    not_negative("load step", load_step_a, "A")
    not_negative("ripple share", ripple_share, "")
    return source_resistance_ohm * load_step_a * (1.0 + ripple_share)
