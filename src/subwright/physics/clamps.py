"""The clamp that takes the leakage energy of a switch, and what it gives back.

A diode leads the current of the leakage inductance from the drain into a capacitor; a resistor takes the
charge from there back to the supply. What the resistor drops becomes heat, the rest is returned.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require

__all__ = ["clamp_capacitance_f", "clamp_resistance_ohm", "clamp_voltage_v", "zener_clamp_w"]

Floats = float | NDArray[np.float64]


def clamp_voltage_v(
    leakage_w: Floats,
    resistance_ohm: float,
    supply_v: Floats,
    rest_v: Floats,
    diode_v: float = 0.0,
    *,
    driving_v: Floats = 0.0,
) -> Floats:
    """Voltage at which a clamp settles whose resistor returns its charge to the supply.

    Parameters
    ----------
    leakage_w : power that the leakage inductance delivers, W, >= 0; scalar or array.
    resistance_ohm : resistor from the clamp's capacitor to the supply, ohm, > 0.
    supply_v : supply, V, > 0; broadcast.
    rest_v : off-state voltage of the drain without any spike, less the diode, V: the capacitor charges to
        it in any case.
    diode_v : drop of the clamp's diode, V, >= 0: it takes its share of the leakage power.
    driving_v : voltage that drives the leakage current on while it dies, V, below the clamp's: the supply
        where an output choke short-circuits the secondary, none behind peak-charged rails.

    Returns
    -------
    voltage, V, broadcast shape: the root of ``(V + Vf - Ed)(V - E) = R P``, or ``rest_v`` where that is
    higher.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge balance of the capacitor: ``P/(V + Vf - Ed)`` in, ``(V - E)/R`` out. [derived]

    >>> round(float(clamp_voltage_v(20.0, 150.0, 15.5, 31.0)), 2)
    63.07
    >>> round(float(clamp_voltage_v(20.0, 150.0, 15.5, 31.0, 0.8)), 2)
    62.73
    >>> round(float(clamp_voltage_v(20.0, 150.0, 15.5, 31.0, driving_v=15.5)), 2)
    70.27
    """
    require("leakage power", leakage_w, "W", at_least=0.0)
    require("clamp resistor", resistance_ohm, "Ω", above=0.0)
    require("supply", supply_v, "V", above=0.0)
    less = driving_v - diode_v  # the quadratic's other zero
    apart = np.square(supply_v - less)
    root = 0.5 * (supply_v + less + np.sqrt(apart + 4.0 * resistance_ohm * np.asarray(leakage_w)))
    settled: Floats = np.maximum(root, rest_v)
    return settled


def clamp_resistance_ohm(
    leakage_w: float, clamp_v: float, supply_v: float, *, driving_v: float = 0.0
) -> float:
    """Resistor that holds a clamp at ``clamp_v``; the inverse of ``clamp_voltage_v``.

    Parameters
    ----------
    leakage_w : power that the leakage inductance delivers, W, > 0.
    clamp_v : clamp voltage, V, > ``supply_v``.
    supply_v : supply that the charge returns to, V, >= 0.
    driving_v : as in ``clamp_voltage_v``, V, below ``clamp_v``.

    Returns
    -------
    ``(V - Ed)(V - E)/P``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge balance of the capacitor. [derived]

    >>> round(clamp_resistance_ohm(20.0, 63.07, 15.5), 1)
    150.0
    """
    require("leakage power", leakage_w, "W", above=0.0)
    require("clamp voltage", clamp_v, "V", above=supply_v)
    require("clamp voltage", clamp_v, "V", above=driving_v)
    return (clamp_v - driving_v) * (clamp_v - supply_v) / leakage_w


def clamp_capacitance_f(leakage_w: float, clamp_v: float, pulses_hz: float, ripple: float) -> float:
    """Capacitor that keeps a clamp's ripple to a share of its voltage.

    Parameters
    ----------
    leakage_w : power into it, W, >= 0.
    clamp_v : clamp voltage, V, > 0.
    pulses_hz : pulses per second into this capacitor, Hz, > 0.
    ripple : peak-to-peak ripple over the voltage, dimensionless, > 0.

    Returns
    -------
    ``P/(V² f ripple)``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge of one pulse, ``P/(V f)``, over the ripple that it may make. [derived]

    >>> round(clamp_capacitance_f(20.0, 63.0, 100e3, 0.05) * 1e6, 2)
    1.01
    """
    require("leakage power", leakage_w, "W", at_least=0.0)
    require("clamp voltage", clamp_v, "V", above=0.0)
    require("pulse rate", pulses_hz, "Hz", above=0.0)
    require("ripple share", ripple, "", above=0.0)
    return leakage_w / (clamp_v**2 * pulses_hz * ripple)


def zener_clamp_w(leakage_w: float) -> float:
    """Heat in a zener that clamps the drain while the secondary still carries the current.

    Parameters
    ----------
    leakage_w : power that the leakage inductance delivers, W, >= 0.

    Returns
    -------
    the same power, W: while the rectifier conducts, supply and reflected rail cancel in the loop, so the
    clamp takes the stored energy and no more. A zener returns none of it.

    Raises
    ------
    RangeError : the power is negative.

    Source
    ------
    Loop equation ``L di/dt = E - V_reflected - V_clamp`` with E = V_reflected. [derived]

    >>> zener_clamp_w(4.5)
    4.5
    """
    require("leakage power", leakage_w, "W", at_least=0.0)
    return leakage_w
