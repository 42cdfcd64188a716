"""Pulse-width modulators with feedback round a class-D bridge, and what their gate drivers need."""

from __future__ import annotations

import math
from dataclasses import dataclass

from subwright.physics.bounds import require

__all__ = [
    "RelaxationClock",
    "bootstrap_charge_coul",
    "clocked_edge_ratio",
    "clocked_loop_hz",
    "clocked_settling_hz",
    "difference_offset_v",
    "discharge_delay_s",
    "feedback_slope_v_per_s",
    "least_pulse_modulation",
    "loop_suppression_db",
    "relaxation_clock",
    "self_oscillating_duration_s",
    "self_oscillating_hz",
    "self_oscillating_loop_hz",
    "self_oscillating_pulse_s",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class RelaxationClock:
    """Carrier of a relaxation oscillator.

    Attributes
    ----------
    frequency_hz : Hz. low_v, high_v : turning points with the comparator's delay, V.
    threshold_low_v, threshold_high_v : where the comparator decides, V.
    rise_s, fall_s : between the turning points, s.
    """

    frequency_hz: float
    low_v: float
    high_v: float
    threshold_low_v: float
    threshold_high_v: float
    rise_s: float
    fall_s: float

    @property
    def slope_v_per_s(self) -> float:
        """Mean slope of the flanks, V/s."""
        return 2.0 * (self.high_v - self.low_v) * self.frequency_hz


def relaxation_clock(
    supply_v: float,
    low_v: float,
    pull_up_ohm: float,
    timing_ohm: float,
    timing_f: float,
    upper_ohm: float,
    lower_ohm: float,
    feedback_ohm: float,
    delay_s: float,
) -> RelaxationClock:
    """Relaxation oscillator of one comparator with an open collector.

    The timing resistor lies between output and capacitor, the capacitor on the inverting input. Three
    resistors hold the other input: to the supply, to ground, and to the output.

    Parameters
    ----------
    supply_v : of pull-up and thresholds, V, > 0.
    low_v : output when low, V, 0 to the supply.
    pull_up_ohm, timing_ohm, upper_ohm, lower_ohm, feedback_ohm : ohm, > 0.
    timing_f : F, > 0.
    delay_s : of the comparator, s, >= 0.

    Returns
    -------
    RelaxationClock. While the output is low the capacitor falls towards it with ``R C``; while it is high the
    pull-up, loaded by timing and threshold resistors, adds its Thévenin resistance.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    First-order steps between two thresholds; with a stiff output and no delay
    ``T = 2 R C ln((1 + k)/(1 - k))``, where k is the thresholds' swing over the output's. [derived]

    >>> ideal = relaxation_clock(6.0, 0.0, 1e-3, 10e3, 1e-9, 10e3, 10e3, 10e3, 0.0)
    >>> round(1e6 / ideal.frequency_hz, 3)  # 2 R C ln 2 with thresholds at a third and two thirds
    13.863
    """
    require("supply voltage", supply_v, "V", above=0.0)
    require("output when low", low_v, "V", at_least=0.0, below=supply_v)
    for name, ohms in (
        ("pull-up resistor", pull_up_ohm),
        ("timing resistor", timing_ohm),
        ("upper threshold resistor", upper_ohm),
        ("lower threshold resistor", lower_ohm),
        ("threshold feedback resistor", feedback_ohm),
    ):
        require(name, ohms, "Ω", above=0.0)
    require("timing capacitor", timing_f, "F", above=0.0)
    require("comparator delay", delay_s, "s", at_least=0.0)
    # The threshold pin sees the divider's Thévenin source through the feedback resistor.
    divider_ohm = upper_ohm * lower_ohm / (upper_ohm + lower_ohm)
    divider_v = supply_v * lower_ohm / (upper_ohm + lower_ohm)
    share = divider_ohm / (divider_ohm + feedback_ohm)  # of the output that reaches the pin
    # Output high: pull-up against the threshold network, seen from the timing resistor.
    network_ohm = divider_ohm + feedback_ohm
    source_ohm = pull_up_ohm * network_ohm / (pull_up_ohm + network_ohm)
    target_v = (supply_v * network_ohm + divider_v * pull_up_ohm) / (pull_up_ohm + network_ohm)
    # The output sits between target and capacitor: v + (target - v) b, and the pin follows it.
    b = timing_ohm / (timing_ohm + source_ohm)
    through = share * (1.0 - b)
    threshold_high = ((1.0 - share) * divider_v + share * b * target_v) / (1.0 - through)
    threshold_low = (1.0 - share) * divider_v + share * low_v
    rise_tau, fall_tau = (timing_ohm + source_ohm) * timing_f, timing_ohm * timing_f
    high = target_v - (target_v - threshold_high) * math.exp(-delay_s / rise_tau)
    low = low_v + (threshold_low - low_v) * math.exp(-delay_s / fall_tau)
    fall = fall_tau * math.log((high - low_v) / (low - low_v))
    rise = rise_tau * math.log((target_v - low) / (target_v - high))
    return RelaxationClock(
        frequency_hz=1.0 / (rise + fall),
        low_v=low,
        high_v=high,
        threshold_low_v=threshold_low,
        threshold_high_v=threshold_high,
        rise_s=rise,
        fall_s=fall,
    )


def feedback_slope_v_per_s(swing_v: float, feedback_ohm: float, capacitor_f: float) -> float:
    """Slope of the integrator's ripple with no output.

    Parameters
    ----------
    swing_v : half of the peak-to-peak difference between the nodes that are fed back, V, >= 0: one rail for
        a half-bridge, both for a bridge between them, the supply for a bridge on one.
    feedback_ohm, capacitor_f : of the integrator, ohm and F, > 0.

    Returns
    -------
    ``V/(R C)``, V/s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Integrator. [derived]

    >>> round(feedback_slope_v_per_s(35.0, 100e3, 470e-12) * 1e-6, 3)
    0.745
    """
    require("swing of the nodes", swing_v, "V", at_least=0.0)
    require("feedback resistor", feedback_ohm, "Ω", above=0.0)
    require("integrator capacitor", capacitor_f, "F", above=0.0)
    return swing_v / (feedback_ohm * capacitor_f)


def clocked_edge_ratio(carrier_v_per_s: float, feedback_v_per_s: float, modulation: float = 0.0) -> float:
    """By how much a shifted edge of a clocked modulator is passed on, over one clock period.

    Parameters
    ----------
    carrier_v_per_s : slope of the carrier at the comparator, V/s, > 0.
    feedback_v_per_s : slope of the integrator's ripple there with no output, V/s, >= 0.
    modulation : output over its limit, dimensionless, -1 to 1.

    Returns
    -------
    Product of the ratios of both edges,
    ``(1 - 2 F/(S + (1 + M) F)) (1 - 2 F/(S + (1 - M) F))``; with no output it is the square of
    ``(S - F)/(S + F)``. Below 1 a disturbance dies away; with ``S > 2 F`` it does so at any modulation
    without changing its sign. The loop's delay doesn't come in while it is shorter than the pulses.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Shift of the next crossing by the integrator's offset, as in the stability of pulse-width modulated
    loops. [cox-mouton2018], [derived]

    >>> round(clocked_edge_ratio(2.0, 1.0), 4)
    0.1111
    """
    require("carrier slope", carrier_v_per_s, "V/s", above=0.0)
    require("feedback slope", feedback_v_per_s, "V/s", at_least=0.0)
    require("modulation", modulation, "", at_least=-1.0, at_most=1.0)
    s, f = carrier_v_per_s, feedback_v_per_s
    first = 1.0 - 2.0 * f / (s + (1.0 + modulation) * f)
    second = 1.0 - 2.0 * f / (s + (1.0 - modulation) * f)
    return first * second


def clocked_loop_hz(
    switching_hz: float, carrier_v_per_s: float, feedback_v_per_s: float, delay_s: float = 0.0
) -> float:
    """Frequency at which the averaged loop gain of a clocked modulator, seen from its nodes, is 1.

    Parameters
    ----------
    switching_hz : Hz, > 0.
    carrier_v_per_s, feedback_v_per_s : as in ``clocked_edge_ratio``, V/s, > 0.
    delay_s : from the comparator's crossing to the switched node, s, >= 0.

    Returns
    -------
    ``1/(2 pi (S/(4 f F) + t_d))``, Hz: carrier of ``S/(2 f)`` peak to peak, bridge of twice the swing and
    integrator give the first lag; the delay adds to it. Below this frequency an error of the nodes is lowered
    by the ratio of both frequencies.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Averaged modulator and integrator. [cox-mouton2018], [derived]

    >>> round(clocked_loop_hz(200e3, 2.0, 1.0) / 1e3, 1)
    63.7
    >>> round(clocked_loop_hz(200e3, 2.0, 1.0, 300e-9) / 1e3, 1)
    56.8
    """
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("carrier slope", carrier_v_per_s, "V/s", above=0.0)
    require("feedback slope", feedback_v_per_s, "V/s", above=0.0)
    require("delay", delay_s, "s", at_least=0.0)
    lag = carrier_v_per_s / (4.0 * switching_hz * feedback_v_per_s) + delay_s
    return 1.0 / (2.0 * math.pi * lag)


def clocked_settling_hz(switching_hz: float, carrier_v_per_s: float, feedback_v_per_s: float) -> float:
    """Corner of the first-order decay that a shifted edge of a clocked loop shows.

    Parameters
    ----------
    switching_hz : Hz, > 0.
    carrier_v_per_s, feedback_v_per_s : V/s, the first greater.

    Returns
    -------
    ``(f/pi) ln((S + F)/(S - F))``, Hz: the ratio of two edges in a row, as an exponential.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``clocked_edge_ratio``. [derived]

    >>> round(clocked_settling_hz(200e3, 2.0, 1.0) / 1e3, 1)
    69.9
    """
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("feedback slope", feedback_v_per_s, "V/s", at_least=0.0)
    require("carrier slope", carrier_v_per_s, "V/s", above=feedback_v_per_s)
    s, f = carrier_v_per_s, feedback_v_per_s
    return switching_hz / math.pi * math.log((s + f) / (s - f))


def self_oscillating_hz(
    hysteresis: float, integrator_s: float, delay_s: float, modulation: float = 0.0
) -> float:
    """Frequency of a loop that swings between thresholds in proportion to its own output.

    Parameters
    ----------
    hysteresis : threshold at the integrator's output over half the swing of the nodes, dimensionless, >= 0.
    integrator_s : feedback resistor times integrator capacitor, s, > 0.
    delay_s : from the comparator's crossing to the switched node, s, >= 0.
    modulation : output over its limit, dimensionless, -1 to 1.

    Returns
    -------
    ``(1 - M²)/(4 (h R C + t_d))``, Hz; the rail drops out.

    Raises
    ------
    RangeError : an argument is out of range, or hysteresis and delay are both 0.

    Source
    ------
    Triangle between thresholds with overshoot by the delay, on either side. [derived]

    >>> round(self_oscillating_hz(0.043, 22.1e-6, 0.3e-6) / 1e3)
    200
    """
    require("modulation", modulation, "", at_least=-1.0, at_most=1.0)
    return (1.0 - modulation**2) / self_oscillating_duration_s(hysteresis, integrator_s, delay_s)


def self_oscillating_duration_s(hysteresis: float, integrator_s: float, delay_s: float) -> float:
    """Period at rest of a self-oscillating loop.

    Parameters
    ----------
    hysteresis : threshold over half the swing of the nodes, dimensionless, >= 0.
    integrator_s : feedback resistor times integrator capacitor, s, > 0.
    delay_s : s, >= 0.

    Returns
    -------
    ``4 (h R C + t_d)``, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    As ``self_oscillating_hz``. [derived]

    >>> round(self_oscillating_duration_s(0.043, 22.1e-6, 0.3e-6) * 1e6, 2)
    5.0
    """
    require("hysteresis", hysteresis, "", at_least=0.0)
    require("integrator's time constant", integrator_s, "s", above=0.0)
    require("delay", delay_s, "s", at_least=0.0)
    period = 4.0 * (hysteresis * integrator_s + delay_s)
    require("period", period, "s", above=0.0)
    return period


def self_oscillating_pulse_s(period_s: float, modulation: float) -> float:
    """Shorter of the two pulses of a self-oscillating loop.

    Parameters
    ----------
    period_s : at rest, s, > 0.
    modulation : output over its limit, dimensionless, -1 to 1.

    Returns
    -------
    ``T_0/(2 (1 + |M|))``, s: a quarter of the period at rest as the output nears the rail, never less.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Duty over frequency, ``(1 - M)/2`` over ``(1 - M²)/T_0``. [derived]

    >>> self_oscillating_pulse_s(5e-6, 1.0) * 1e6
    1.25
    """
    require("period", period_s, "s", above=0.0)
    require("modulation", modulation, "", at_least=-1.0, at_most=1.0)
    return period_s / (2.0 * (1.0 + abs(modulation)))


def self_oscillating_loop_hz(period_s: float) -> float:
    """Frequency at which the loop gain of a self-oscillating modulator, seen from its nodes, is 1.

    Parameters
    ----------
    period_s : at rest, s, > 0.

    Returns
    -------
    ``(2/pi)/T_0``, Hz: an error of the nodes moves the mean of the integrator by its thresholds' and its
    delay's share only, a lag of ``T_0/4``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Mean of the triangle between its turning points. [derived]

    >>> round(self_oscillating_loop_hz(5e-6) / 1e3, 1)
    127.3
    """
    require("period", period_s, "s", above=0.0)
    return 2.0 / (math.pi * period_s)


def loop_suppression_db(frequency_hz: float, loop_hz: float) -> float:
    """By how much a loop with one integrator lowers an error of its output stage.

    Parameters
    ----------
    frequency_hz : of the error, Hz, > 0.
    loop_hz : where the loop's gain is 1, Hz, > 0.

    Returns
    -------
    ``20 log10 |1 + f_1/(j f)|``, dB.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    First-order loop. [derived]

    >>> round(loop_suppression_db(100.0, 63.7e3), 1)
    56.1
    """
    require("frequency", frequency_hz, "Hz", above=0.0)
    require("loop frequency", loop_hz, "Hz", above=0.0)
    return 10.0 * math.log10(1.0 + (loop_hz / frequency_hz) ** 2)


def least_pulse_modulation(pulse_s: float, switching_hz: float) -> float:
    """Greatest share of the bus that a clocked modulator can use with a shortest pulse.

    Parameters
    ----------
    pulse_s : shortest that the switched node makes, s, >= 0.
    switching_hz : Hz, > 0.

    Returns
    -------
    ``1 - 2 t f``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range, or the pulse fills half of the period.

    Source
    ------
    Duty of the shortest pulse. [derived]

    >>> round(least_pulse_modulation(125e-9, 200e3), 3)
    0.95
    """
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("shortest pulse", pulse_s, "s", at_least=0.0, below=0.5 / switching_hz)
    return 1.0 - 2.0 * pulse_s * switching_hz


def discharge_delay_s(
    resistance_ohm: float, capacitance_f: float, start_v: float, threshold_v: float
) -> float:
    """Time for a capacitor to fall through a resistor to a gate's threshold.

    Parameters
    ----------
    resistance_ohm : ohm, >= 0.
    capacitance_f : F, > 0.
    start_v : V, > 0.
    threshold_v : lower threshold of the gate, V, 0 < threshold <= start.

    Returns
    -------
    ``R C ln(V/V_T)``, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    First-order step; the same delay circuit with rising edge is in [ti-hct14].

    >>> round(discharge_delay_s(750.0, 100e-12, 4.7, 1.6) * 1e9, 1)
    80.8
    """
    require("resistance", resistance_ohm, "Ω", at_least=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("starting voltage", start_v, "V", above=0.0)
    require("threshold voltage", threshold_v, "V", above=0.0, at_most=start_v)
    return resistance_ohm * capacitance_f * math.log(start_v / threshold_v)


def bootstrap_charge_coul(
    gate_coul: float, quiescent_a: float, hold_s: float, level_shift_coul: float, leakage_a: float = 0.0
) -> float:
    """Charge that a bootstrap capacitor gives while its switch stays on.

    Parameters
    ----------
    gate_coul : of the switch, C, >= 0.
    quiescent_a : of the driver's floating section, A, >= 0.
    hold_s : longest time between recharges, s, >= 0.
    level_shift_coul : for one edge of the driver's level shifter, C, >= 0.
    leakage_a : of resistors and capacitor across it, A, >= 0.

    Returns
    -------
    ``Q_g + Q_ls + (I_QBS + I_leak) t``, C. The note asks for twice the capacitor that this charge needs for
    its drop, with twice the gate's charge.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    International Rectifier AN-978, section on bootstrap components. [ir-an978]

    >>> round(bootstrap_charge_coul(63e-9, 230e-6, 0.02, 5e-9) * 1e6, 3)
    4.668
    """
    require("gate charge", gate_coul, "C", at_least=0.0)
    require("quiescent current", quiescent_a, "A", at_least=0.0)
    require("holding time", hold_s, "s", at_least=0.0)
    require("level-shift charge", level_shift_coul, "C", at_least=0.0)
    require("leakage", leakage_a, "A", at_least=0.0)
    return gate_coul + level_shift_coul + (quiescent_a + leakage_a) * hold_s


def difference_offset_v(gain: float, tolerance: float, mean_v: float, reference_v: float) -> float:
    """Direct output that unequal resistors of a difference amplifier make of the nodes' mean.

    Parameters
    ----------
    gain : ``R_fb/R_i``, V/V, > 0.
    tolerance : of each of the four resistors, fraction, 0 to 0.2.
    mean_v : mean of both nodes, V.
    reference_v : that they are referred to, V.

    Returns
    -------
    Greatest size, V: ``|mean - ref| 4 t g/(1 + g)`` to first order.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Common-mode rejection of the four-resistor difference amplifier, worst case. [horowitz-hill]

    >>> round(difference_offset_v(8.0, 0.01, 12.0, 5.0), 3)
    0.249
    """
    require("gain", gain, "V/V", above=0.0)
    require("tolerance", tolerance, "", at_least=0.0, at_most=0.2)
    return abs(mean_v - reference_v) * 4.0 * tolerance * gain / (1.0 + gain)
