"""Ringing, RC snubbers and the energy that leakage inductance leaves in a switch."""

from __future__ import annotations

import math

from subwright.physics.bounds import require

__all__ = [
    "added_capacitance_method_f",
    "avalanche_energy_j",
    "leakage_loss_w",
    "ring_inductance_h",
    "snubber_capacitance_f",
    "snubber_loss_w",
    "snubber_resistance_ohm",
    "undamped_peak_v",
]


def undamped_peak_v(step_v: float) -> float:
    """Peak of an undamped ring when a step meets parasitic inductance and capacitance.

    Parameters
    ----------
    step_v : step, V.

    Returns
    -------
    twice the step, V: the bound that a real, damped ring stays below.

    Source
    ------
    Second-order step response without damping; "RC snubbing for the lab" measures 19 V for a 10 V step.
    [snubbing-lab]

    >>> undamped_peak_v(10.0)
    20.0
    """
    return 2.0 * step_v


def added_capacitance_method_f(added_f: float, ring_hz: float, slowed_hz: float) -> float:
    """Parasitic capacitance of a ringing node, from the ring with and without an added capacitor.

    Parameters
    ----------
    added_f : capacitor added at the node, F, > 0.
    ring_hz : ring frequency without it, Hz, > ``slowed_hz``.
    slowed_hz : ring frequency with it, Hz, > 0.

    Returns
    -------
    ``C_par = C_add / ((f0/f1)² - 1)``, F.

    Raises
    ------
    RangeError : the added capacitor didn't slow the ring.

    Source
    ------
    "RC snubbing for the lab", technical article. [snubbing-lab]

    >>> round(added_capacitance_method_f(1e-9, 20e6, 10e6) * 1e12, 1)
    333.3
    """
    require("added capacitance", added_f, "F", above=0.0)
    require("ring frequency with the capacitor", slowed_hz, "Hz", above=0.0, below=ring_hz)
    return added_f / ((ring_hz / slowed_hz) ** 2 - 1.0)


def ring_inductance_h(ring_hz: float, capacitance_f: float) -> float:
    """Parasitic inductance from a ring frequency and the capacitance it rings with.

    Parameters
    ----------
    ring_hz : Hz, > 0.
    capacitance_f : F, > 0.

    Returns
    -------
    ``L = 1/((2 pi f)² C)``, H.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Resonance; used so in "RC snubbing for the lab". [snubbing-lab]

    >>> round(ring_inductance_h(20e6, 333.3e-12) * 1e9, 0)
    190.0
    """
    require("ring frequency", ring_hz, "Hz", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    return 1.0 / ((2.0 * math.pi * ring_hz) ** 2 * capacitance_f)


def snubber_resistance_ohm(inductance_h: float, capacitance_f: float) -> float:
    """Starting value of the snubber resistor: the characteristic impedance of the ring.

    Parameters
    ----------
    inductance_h : parasitic inductance, H, > 0.
    capacitance_f : parasitic capacitance, F, > 0.

    Returns
    -------
    ``sqrt(L/C)``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    "RC snubbing for the lab", technical article. [snubbing-lab]

    >>> round(snubber_resistance_ohm(190e-9, 333.3e-12), 1)
    23.9
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    return math.sqrt(inductance_h / capacitance_f)


def snubber_capacitance_f(parasitic_f: float, multiple: float = 3.0) -> float:
    """Starting value of the snubber capacitor: three to four times the parasitic capacitance.

    Parameters
    ----------
    parasitic_f : F, > 0.
    multiple : dimensionless, 3 to 4.

    Returns
    -------
    capacitance, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    "RC snubbing for the lab", technical article. [snubbing-lab]

    >>> round(snubber_capacitance_f(333.3e-12) * 1e9, 2)
    1.0
    """
    require("parasitic capacitance", parasitic_f, "F", above=0.0)
    require("snubber capacitor multiple", multiple, "", at_least=3.0, at_most=4.0, source="snubbing-lab")
    return parasitic_f * multiple


def snubber_loss_w(capacitance_f: float, step_v: float, switching_hz: float) -> float:
    """Heat in an RC snubber: half a charge at each edge.

    Parameters
    ----------
    capacitance_f : snubber capacitor, F, > 0.
    step_v : voltage step at each edge, V, >= 0.
    switching_hz : full cycles per second (two edges each), Hz, > 0.

    Returns
    -------
    ``C V² f``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Severns, Design of Snubbers for Power Circuits. [severns-snubbers]

    >>> round(snubber_loss_w(1e-9, 30.0, 100e3) * 1e3, 1)
    90.0
    """
    require("snubber capacitance", capacitance_f, "F", above=0.0)
    require("voltage step", step_v, "V", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return capacitance_f * step_v**2 * switching_hz


def leakage_loss_w(leakage_h: float, current_a: float, switching_hz: float) -> float:
    """Power that the leakage inductance delivers to one switch's clamp.

    Parameters
    ----------
    leakage_h : leakage inductance seen by the switch, H, >= 0.
    current_a : current at turn-off, A.
    switching_hz : turn-offs of this switch per second, Hz, > 0.

    Returns
    -------
    ``L I² f / 2``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Stored energy times repetition rate. [derived]

    >>> round(leakage_loss_w(50e-9, 60.0, 50e3), 2)
    4.5
    """
    require("leakage inductance", leakage_h, "H", at_least=0.0)
    require("switch current", current_a, "A")
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return 0.5 * leakage_h * current_a**2 * switching_hz


def avalanche_energy_j(leakage_h: float, current_a: float, breakdown_v: float, supply_v: float) -> float:
    """Energy that a MOSFET takes in avalanche when it alone clamps an inductance fed from a supply.

    Parameters
    ----------
    leakage_h : unclamped inductance, H, >= 0.
    current_a : current at turn-off, A.
    breakdown_v : avalanche voltage (take 1.3 times the rating where the data sheet is silent), V.
    supply_v : voltage behind the inductance while it is clamped, V, below ``breakdown_v``.

    Returns
    -------
    ``L I² / 2 * V_br / (V_br - V)``, J.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    International Rectifier application note AN-1005, avalanche with a supply. [ir-an1005]

    >>> round(avalanche_energy_j(50e-9, 60.0, 78.0, 28.8) * 1e6, 1)
    142.7
    """
    require("inductance", leakage_h, "H", at_least=0.0)
    require("switch current", current_a, "A")
    require("supply voltage", supply_v, "V", at_least=0.0, below=breakdown_v)
    return 0.5 * leakage_h * current_a**2 * breakdown_v / (breakdown_v - supply_v)
