"""First-order RC timing: switch-on delay, direct-voltage detection, pre-charge."""

from __future__ import annotations

import math

from subwright.physics.bounds import require

__all__ = [
    "rc_charge_time_s",
    "rc_dc_detect_time_s",
    "rc_lowpass_v",
    "resistor_charge_energy_j",
]


def rc_charge_time_s(
    resistance_ohm: float, capacitance_f: float, threshold_v: float, supply_v: float
) -> float:
    """Time for a capacitor to charge through a resistor from zero to a threshold.

    Parameters
    ----------
    resistance_ohm : ohm, > 0.
    capacitance_f : F, > 0.
    threshold_v : V, 0 < threshold < supply.
    supply_v : V.

    Returns
    -------
    time, s: ``t = -R C ln(1 - Vth/Vs)``.

    Raises
    ------
    RangeError : the threshold is never reached, or an argument is out of range.

    Source
    ------
    First-order step response. [derived]

    >>> round(rc_charge_time_s(47e3, 100e-6, 2.5, 5.0), 3)
    3.258
    """
    require("resistance", resistance_ohm, "Ω", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("supply voltage", supply_v, "V", above=0.0)
    require(
        "threshold voltage",
        threshold_v,
        "V",
        above=0.0,
        below=supply_v,
        remedy="The capacitor never charges past its supply: lower the threshold or raise the supply.",
    )
    return -resistance_ohm * capacitance_f * math.log1p(-threshold_v / supply_v)


def rc_dc_detect_time_s(
    resistance_ohm: float, capacitance_f: float, fault_v: float, base_emitter_v: float = 0.65
) -> float:
    """Time until an RC direct-voltage detector trips on a stuck output.

    Parameters
    ----------
    resistance_ohm, capacitance_f : the averaging low-pass, ohm and F, > 0.
    fault_v : steady output voltage, V, sign ignored, above ``base_emitter_v``.
    base_emitter_v : voltage at which the detecting transistor conducts, V.

    Returns
    -------
    time, s.

    Raises
    ------
    RangeError : the fault is too small ever to trip.

    Source
    ------
    First-order step response to 0.65 V. [derived]

    >>> round(rc_dc_detect_time_s(100e3, 10e-6, 35.0), 4)
    0.0187
    """
    return rc_charge_time_s(resistance_ohm, capacitance_f, base_emitter_v, abs(fault_v))


def rc_lowpass_v(input_v: float, frequency_hz: float, resistance_ohm: float, capacitance_f: float) -> float:
    """Peak voltage behind a first-order low-pass.

    Parameters
    ----------
    input_v : peak input, V.
    frequency_hz : Hz, >= 0.
    resistance_ohm, capacitance_f : ohm and F, > 0.

    Returns
    -------
    ``V / sqrt(1 + (2 pi f R C)²)``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    First-order frequency response. [derived]

    >>> round(rc_lowpass_v(40.0, 20.0, 100e3, 10e-6), 3)
    0.318
    """
    require("frequency", frequency_hz, "Hz", at_least=0.0)
    require("resistance", resistance_ohm, "Ω", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    return input_v / math.hypot(1.0, 2.0 * math.pi * frequency_hz * resistance_ohm * capacitance_f)


def resistor_charge_energy_j(capacitance_f: float, supply_v: float) -> float:
    """Heat left in the series resistor when a capacitor is charged from zero, whatever its resistance.

    Parameters
    ----------
    capacitance_f : F, > 0.
    supply_v : V, >= 0.

    Returns
    -------
    ``C V² / 2``, J.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Energy balance of charging from a steady supply. [derived]

    >>> round(resistor_charge_energy_j(10e-3, 14.4), 2)
    1.04
    """
    require("capacitance", capacitance_f, "F", above=0.0)
    require("supply voltage", supply_v, "V", at_least=0.0)
    return 0.5 * capacitance_f * supply_v**2
