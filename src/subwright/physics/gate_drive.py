"""Driving a MOSFET's gate: current at the plateau, edge times, and a follower that makes 12 V from more."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from subwright.physics.bounds import require

__all__ = [
    "GateMagnetising",
    "follower_output_v",
    "follower_series_ohm",
    "gate_current_a",
    "gate_magnetising",
    "gate_rms_a",
    "negative_charge_coul",
    "plateau_current_a",
    "turn_off_charge_coul",
]


def plateau_current_a(driver_a: float, plateau_v: float, gate_ohm: float) -> float:
    """Current that pulls charge out of a gate at its plateau.

    Parameters
    ----------
    driver_a : peak current of the driver for this gate, A, > 0.
    plateau_v : plateau of the gate charge curve, V, > 0; the resistor sees no more than this at turn-off.
    gate_ohm : gate resistor and the gate's own resistance, ohm, >= 0.

    Returns
    -------
    the smaller of ``driver_a`` and ``plateau_v/gate_ohm``, A.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ohm's law at the plateau. [derived]

    >>> plateau_current_a(0.4, 5.0, 10.0), plateau_current_a(0.4, 5.0, 25.0)
    (0.4, 0.2)
    """
    require("driver current", driver_a, "A", above=0.0)
    require("gate plateau", plateau_v, "V", above=0.0)
    require("gate resistance", gate_ohm, "Ω", at_least=0.0)
    return driver_a if gate_ohm == 0 else min(driver_a, plateau_v / gate_ohm)


def turn_off_charge_coul(qgs_coul: float, qgd_coul: float) -> float:
    """Gate charge that leaves while voltage and current overlap at turn-off.

    Parameters
    ----------
    qgs_coul, qgd_coul : gate-source and gate-drain charge, C, > 0.

    Returns
    -------
    ``Q_gd + Q_gs/2``, C: the plateau, and the half of Q_gs above the threshold.

    Raises
    ------
    RangeError : a charge is not positive.

    Source
    ------
    Switching charge Q_gs,th + Q_gd of STMicroelectronics STD50N03L, appendix A, with half of Q_gs above the
    threshold where the sheet does not say. [st-std50n03l]

    >>> round(turn_off_charge_coul(19e-9, 24e-9) * 1e9, 1)
    33.5
    """
    require("gate-source charge", qgs_coul, "C", above=0.0)
    require("gate-drain charge", qgd_coul, "C", above=0.0)
    return qgd_coul + 0.5 * qgs_coul


def negative_charge_coul(qgs_coul: float, plateau_v: float, swing_v: float) -> float:
    """Charge of a gate that a transformer drives below its source as well.

    Parameters
    ----------
    qgs_coul : gate-source charge, C, > 0: that up to the plateau.
    plateau_v : plateau, V, > 0.
    swing_v : how far below the source, V, >= 0.

    Returns
    -------
    ``Q_gs/V_plateau V``, C: below the threshold the gate is a capacitor, and stays one below 0 V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Slope of the gate charge curve up to its plateau, carried on below nought. [derived]

    >>> round(negative_charge_coul(20e-9, 5.0, 10.0) * 1e9, 3)
    40.0
    """
    require("gate-source charge", qgs_coul, "C", above=0.0)
    require("gate plateau", plateau_v, "V", above=0.0)
    require("negative swing", swing_v, "V", at_least=0.0)
    return qgs_coul / plateau_v * swing_v


def gate_current_a(gate_charge_coul: float, switching_hz: float, gates: int) -> float:
    """Mean supply current of a number of gates.

    Parameters
    ----------
    gate_charge_coul : total charge of one gate, C, > 0.
    switching_hz : cycles per second, Hz, > 0.
    gates : how many, >= 1.

    Returns
    -------
    ``n Q f``, A.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge per second. [derived]

    >>> round(gate_current_a(110e-9, 50e3, 4) * 1e3, 1)
    22.0
    """
    require("gate charge", gate_charge_coul, "C", above=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("gates", gates, "", at_least=1)
    return gates * gate_charge_coul * switching_hz


def gate_rms_a(mean_a: float, charging_a: float, discharging_a: float) -> float:
    """Effective current in a wire that charges and discharges a gate once a cycle.

    Parameters
    ----------
    mean_a : charge of the gate times the frequency, A, >= 0.
    charging_a, discharging_a : peaks, A, >= 0.

    Returns
    -------
    ``sqrt(Q f (I1 + I2)/2)``, A: each pulse dies away exponentially from its peak, so that its charge is
    ``I tau`` and its square's integral ``I^2 tau/2 = I Q/2``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Integral of an exponential. [derived]

    >>> round(gate_rms_a(110e-9 * 50e3, 1.0, 2.0), 3)
    0.091
    """
    require("mean gate current", mean_a, "A", at_least=0.0)
    require("charging peak", charging_a, "A", at_least=0.0)
    require("discharging peak", discharging_a, "A", at_least=0.0)
    return sqrt(mean_a * (charging_a + discharging_a) / 2.0)


def follower_output_v(zener_v: float, input_v: float, base_v: float = 0.7, dropout_v: float = 1.5) -> float:
    """Output of an emitter follower whose base hangs on a zener.

    Parameters
    ----------
    zener_v : zener voltage, V, > 0.
    input_v : supply, V, >= 0.
    base_v : base-emitter voltage, V.
    dropout_v : least voltage over the whole stage, V.

    Returns
    -------
    the smaller of ``zener_v - base_v`` and ``input_v - dropout_v``, at least 0, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Emitter follower; base-emitter voltage and dropout from memory. [derived]

    >>> follower_output_v(13.0, 24.0), follower_output_v(13.0, 10.0)
    (12.3, 8.5)
    """
    require("zener voltage", zener_v, "V", above=0.0)
    require("supply", input_v, "V", at_least=0.0)
    return max(0.0, min(zener_v - base_v, input_v - dropout_v))


def follower_series_ohm(input_v: float, zener_v: float, zener_a: float, load_a: float, gain: float) -> float:
    """Largest resistor that still feeds zener and base at the lowest supply.

    Parameters
    ----------
    input_v : lowest supply at which the output must hold, V, > ``zener_v``.
    zener_v : zener voltage at its upper tolerance, V, > 0.
    zener_a : least zener current, A, > 0.
    load_a : output current, A, >= 0.
    gain : least current gain, dimensionless, > 0.

    Returns
    -------
    ``(E - V_z)/(I_z + I/(h + 1))``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Node equation at the base. [derived]

    >>> round(follower_series_ohm(19.0, 13.65, 2e-3, 40e-3, 40.0))
    1798
    """
    require("zener voltage", zener_v, "V", above=0.0)
    require("lowest supply", input_v, "V", above=zener_v)
    require("zener current", zener_a, "A", above=0.0)
    require("load current", load_a, "A", at_least=0.0)
    require("current gain", gain, "", above=0.0)
    return (input_v - zener_v) / (zener_a + load_a / (gain + 1.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class GateMagnetising:
    """Magnetising current of a gate transformer between two drivers.

    Attributes
    ----------
    peak_a : at the end of a pulse, A. drawn_a : mean that the drivers give, A. returned_a : mean that comes
    back at the begin of each pulse, A. drawing_s : part of a pulse in which they give, s.
    """

    peak_a: float
    drawn_a: float
    returned_a: float
    drawing_s: float


def gate_magnetising(
    inductance_h: float, driven_v: float, returned_v: float, resting_v: float, on_s: float, rest_s: float
) -> GateMagnetising:
    """Course of a gate transformer's magnetising current, once it swings about nought.

    A pulse begins with the current of the one before, against it: the current falls to nought at
    ``returned_v``, through diodes into the supply, and rises again at ``driven_v``. Between two pulses both
    ends are low and the drops of what carries the current, ``resting_v``, take a little of it.

    Parameters
    ----------
    inductance_h : of the driven winding, H, > 0.
    driven_v : across it while the drivers give, V, > 0.
    returned_v : across it while the current comes back, V, > 0.
    resting_v : between two pulses, V, >= 0.
    on_s, rest_s : length of a pulse and of the pause after it, s, > 0 and >= 0; two of each make a cycle.

    Returns
    -------
    GateMagnetising. With ``T = 2 (t + p)``: ``t_d = (t V_r + p V_p)/(V_d + V_r)``, at most t;
    ``I = V_d t_d/L``; drawn ``I t_d/T``; returned ``(I - V_p p/L)(t - t_d)/T``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Volt-seconds of a half cycle, ``V_d t_d = V_r (t - t_d) + V_p p`` [mclyman-handbook]; charge of two
    triangles a cycle [derived].

    >>> alike = gate_magnetising(240e-6, 12.0, 12.0, 0.0, 10e-6, 0.0)  # V t/(2 L), and as much back as given
    >>> round(alike.peak_a, 6), round(alike.drawn_a, 6), round(alike.returned_a, 6)
    (0.25, 0.0625, 0.0625)
    """
    require("inductance", inductance_h, "H", above=0.0)
    require("driven voltage", driven_v, "V", above=0.0)
    require("voltage of the return", returned_v, "V", above=0.0)
    require("voltage of the pause", resting_v, "V", at_least=0.0)
    require("pulse", on_s, "s", above=0.0)
    require("pause", rest_s, "s", at_least=0.0)
    drawing_s = min((on_s * returned_v + rest_s * resting_v) / (driven_v + returned_v), on_s)
    peak = driven_v * drawing_s / inductance_h
    left = max(peak - resting_v * rest_s / inductance_h, 0.0)
    cycle = 2.0 * (on_s + rest_s)
    return GateMagnetising(
        peak_a=peak,
        drawn_a=peak * drawing_s / cycle,
        returned_a=left * (on_s - drawing_s) / cycle,
        drawing_s=drawing_s,
    )
