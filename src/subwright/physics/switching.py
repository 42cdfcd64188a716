"""Losses and stresses of MOSFETs, rectifiers and snubbers in hard-switched power stages."""

from __future__ import annotations

import math

from subwright.physics.bounds import require

__all__ = [
    "conduction_loss_w",
    "coss_energy_j",
    "coss_loss_w",
    "coss_scaled_f",
    "dead_time_loss_w",
    "gate_drive_power_w",
    "hot_ratio",
    "junction_power_limit_w",
    "output_charge_coul",
    "overlap_loss_w",
    "pushpull_drain_stress_v",
    "recovery_loss_w",
    "rectifier_loss_w",
    "rectifier_reverse_v",
    "switching_time_s",
]

_KELVIN = 273.15


def hot_ratio(temperature_c: float, ratio_at_100: float) -> float:
    """On-resistance of a silicon MOSFET over its value at 25 °C.

    Parameters
    ----------
    temperature_c : junction temperature, °C, -55 to 200.
    ratio_at_100 : R_DS(on) at 100 °C over that at 25 °C, from the data sheet's curve, dimensionless,
        1 to 2.2.

    Returns
    -------
    ``(T / 298.15 K)^n`` with n fitted to the ratio at 100 °C, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Carrier mobility falls with a power of the absolute temperature (Baliga, Fundamentals of Power
    Semiconductor Devices, ch. 2); the exponent is fitted. [baliga2008]

    >>> hot_ratio(25.0, 1.5), round(hot_ratio(100.0, 1.5), 6)
    (1.0, 1.5)
    """
    require("junction temperature", temperature_c, "°C", at_least=-55.0, at_most=200.0)
    require("hot on-resistance ratio", ratio_at_100, "", at_least=1.0, at_most=2.2)
    exponent = math.log(ratio_at_100) / math.log((100.0 + _KELVIN) / (25.0 + _KELVIN))
    return float(((temperature_c + _KELVIN) / (25.0 + _KELVIN)) ** exponent)


def conduction_loss_w(rds_hot_ohm: float, current_a: float, duty: float = 1.0) -> float:
    """Conduction loss of a MOSFET that carries a flat-topped current for a share of the time.

    Parameters
    ----------
    rds_hot_ohm : on-resistance at junction temperature, ohm, > 0.
    current_a : current while on, A (with ``duty`` 1: rms current).
    duty : share of the period in which it conducts, 0 to 1.

    Returns
    -------
    ``R I² D``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(conduction_loss_w(1.3 * 5e-3, 40.0, 0.45), 2)
    4.68
    """
    require("on-resistance", rds_hot_ohm, "Ω", above=0.0)
    require("duty", duty, "", at_least=0.0, at_most=1.0)
    require("switch current", current_a, "A")
    return rds_hot_ohm * current_a**2 * duty


def switching_time_s(switch_charge_coul: float, gate_a: float) -> float:
    """Time in which voltage and current overlap in one edge.

    Parameters
    ----------
    switch_charge_coul : gate charge from threshold to the end of the plateau, C, > 0.
    gate_a : current that the driver delivers at the plateau, A, > 0.

    Returns
    -------
    time, s.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Charge balance of the gate, as in STD50N03L table 7. [st-std50n03l]

    >>> round(switching_time_s(20e-9, 0.5) * 1e9, 1)
    40.0
    """
    require("gate switching charge", switch_charge_coul, "C", above=0.0)
    require("gate current", gate_a, "A", above=0.0)
    return switch_charge_coul / gate_a


def overlap_loss_w(
    voltage_v: float, current_a: float, switching_hz: float, switch_charge_coul: float, gate_a: float
) -> float:
    """Loss from the overlap of voltage and current, turn-on and turn-off together.

    Parameters
    ----------
    voltage_v : voltage across the off switch, V, >= 0.
    current_a : current at the edge, A, >= 0.
    switching_hz : switching frequency of this switch, Hz, > 0.
    switch_charge_coul : Q_gs beyond threshold plus Q_gd, C, > 0.
    gate_a : gate current at the plateau, A, > 0; equal for both edges.

    Returns
    -------
    ``V I f (Q_gs,th + Q_gd)/I_g``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(overlap_loss_w(24.0, 30.0, 50e3, 20e-9, 0.5), 2)
    1.44
    """
    require("switch voltage", voltage_v, "V", at_least=0.0)
    require("switch current", current_a, "A", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return voltage_v * current_a * switching_hz * switching_time_s(switch_charge_coul, gate_a)


def gate_drive_power_w(gate_charge_coul: float, gate_v: float, switching_hz: float) -> float:
    """Power that the gate driver spends on one gate.

    Parameters
    ----------
    gate_charge_coul : total gate charge at ``gate_v``, C, > 0.
    gate_v : gate drive voltage, V, > 0.
    switching_hz : Hz, > 0.

    Returns
    -------
    ``Q_g V f``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(gate_drive_power_w(100e-9, 12.0, 50e3) * 1e3, 3)
    60.0
    """
    require("gate charge", gate_charge_coul, "C", above=0.0)
    require("gate drive voltage", gate_v, "V", above=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return gate_charge_coul * gate_v * switching_hz


def recovery_loss_w(voltage_v: float, recovery_charge_coul: float, switching_hz: float) -> float:
    """Loss that a diode's reverse recovery causes in the switch that turns on against it.

    Parameters
    ----------
    voltage_v : voltage that the diode takes over, V, >= 0.
    recovery_charge_coul : Q_rr, C, >= 0.
    switching_hz : Hz, > 0.

    Returns
    -------
    ``V Q_rr f``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(recovery_loss_w(50.0, 100e-9, 300e3), 3)
    1.5
    """
    require("diode voltage", voltage_v, "V", at_least=0.0)
    require("recovery charge", recovery_charge_coul, "C", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return voltage_v * recovery_charge_coul * switching_hz


def dead_time_loss_w(
    forward_v: float, current_a: float, dead_time_s: float, switching_hz: float, edges: int = 2
) -> float:
    """Loss in the body diode that carries the current while both switches are off.

    Parameters
    ----------
    forward_v : forward voltage of the body diode, V, > 0.
    current_a : output current, A, >= 0.
    dead_time_s : dead time per edge, s, >= 0.
    switching_hz : Hz, > 0.
    edges : edges per cycle in which the diode conducts, 1 or 2.

    Returns
    -------
    ``V_f I t_dead f`` per edge, times ``edges``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(dead_time_loss_w(1.0, 10.0, 50e-9, 300e3, edges=1), 3)
    0.15
    """
    require("diode forward voltage", forward_v, "V", above=0.0)
    require("output current", current_a, "A", at_least=0.0)
    require("dead time", dead_time_s, "s", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("edges per cycle", edges, "", at_least=1, at_most=2)
    return forward_v * current_a * dead_time_s * switching_hz * edges


def coss_scaled_f(coss_f: float, measured_v: float, at_v: float) -> float:
    """Small-signal output capacitance at another drain voltage.

    Parameters
    ----------
    coss_f : C_oss in the data sheet, F, > 0.
    measured_v : drain voltage at which it is stated, V, > 0.
    at_v : drain voltage wanted, V, > 0.

    Returns
    -------
    ``C sqrt(V_measured / V)``, F.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Abrupt-junction capacitance law (Baliga 2008, ch. 6, high-voltage limit). [baliga2008]

    >>> round(coss_scaled_f(400e-12, 25.0, 100.0) * 1e12, 1)
    200.0
    """
    require("output capacitance", coss_f, "F", above=0.0)
    require("measuring voltage", measured_v, "V", above=0.0)
    require("drain voltage", at_v, "V", above=0.0)
    return coss_f * math.sqrt(measured_v / at_v)


def output_charge_coul(coss_f: float, measured_v: float, voltage_v: float) -> float:
    """Charge that moves the drain from zero to ``voltage_v``.

    Parameters
    ----------
    coss_f, measured_v : C_oss and the drain voltage of its statement, F and V, > 0.
    voltage_v : final drain voltage, V, >= 0.

    Returns
    -------
    ``Q_oss = 2 C sqrt(V_measured V)``, C.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Integral of the abrupt-junction law. [derived]

    >>> round(output_charge_coul(400e-12, 25.0, 100.0) * 1e9, 1)
    40.0
    """
    require("output capacitance", coss_f, "F", above=0.0)
    require("measuring voltage", measured_v, "V", above=0.0)
    require("drain voltage", voltage_v, "V", at_least=0.0)
    return 2.0 * coss_f * math.sqrt(measured_v * voltage_v)


def coss_energy_j(coss_f: float, measured_v: float, voltage_v: float) -> float:
    """Energy stored in the output capacitance at ``voltage_v``.

    Parameters
    ----------
    coss_f, measured_v, voltage_v : as for ``output_charge_coul``.

    Returns
    -------
    ``E_oss = (2/3) C sqrt(V_measured) V^1.5``, J: a third of ``Q_oss V``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Integral of ``v dq`` with the abrupt-junction law. [derived]

    >>> round(coss_energy_j(400e-12, 25.0, 100.0) * 1e6, 3)
    1.333
    """
    return output_charge_coul(coss_f, measured_v, voltage_v) * voltage_v / 3.0


def coss_loss_w(voltage_v: float, charge_coul: float, switching_hz: float) -> float:
    """Loss of one switch from charging and discharging its output capacitance.

    Parameters
    ----------
    voltage_v : drain voltage that is switched, V, >= 0.
    charge_coul : Q_oss at that voltage, C, >= 0.
    switching_hz : Hz, > 0.

    Returns
    -------
    ``V Q_oss f / 2``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    STMicroelectronics STD50N03L data sheet, appendix A, table 7. [st-std50n03l]

    >>> round(coss_loss_w(50.0, 60e-9, 300e3), 3)
    0.45
    """
    require("drain voltage", voltage_v, "V", at_least=0.0)
    require("output charge", charge_coul, "C", at_least=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    return 0.5 * voltage_v * charge_coul * switching_hz


def junction_power_limit_w(tj_max_c: float, case_c: float, rth_jc_k_per_w: float) -> float:
    """Dissipation that brings a junction to its limit at a given case temperature.

    Parameters
    ----------
    tj_max_c : highest junction temperature, °C.
    case_c : case temperature, °C, below ``tj_max_c``.
    rth_jc_k_per_w : junction to case, K/W, > 0.

    Returns
    -------
    ``(Tj,max - Tc)/RthJC``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    International Rectifier IRFB4212PbF data sheet, 2005: maximum ratings. [ir-irfb4212]

    >>> junction_power_limit_w(175.0, 25.0, 2.5), junction_power_limit_w(175.0, 100.0, 2.5)
    (60.0, 30.0)
    """
    require("junction-to-case resistance", rth_jc_k_per_w, "K/W", above=0.0)
    require("case temperature", case_c, "°C", at_least=-60.0, below=tj_max_c)
    return (tj_max_c - case_c) / rth_jc_k_per_w


def pushpull_drain_stress_v(supply_v: float, spike_share: float = 0.3) -> float:
    """Drain voltage to design for in a push-pull: the doubled supply and a spike.

    Parameters
    ----------
    supply_v : highest supply, V, >= 0.
    spike_share : spike over the doubled supply as a share of it, >= 0.

    Returns
    -------
    ``2 V (1 + spike)``, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Pressman, Switching Power Supply Design, 2nd ed. 1998, ch. 2. [pressman1998]

    >>> round(pushpull_drain_stress_v(16.0), 1)
    41.6
    """
    require("supply voltage", supply_v, "V", at_least=0.0)
    require("spike share", spike_share, "", at_least=0.0)
    return 2.0 * supply_v * (1.0 + spike_share)


def rectifier_reverse_v(half_winding_v: float, centre_tapped: bool = True) -> float:
    """Reverse voltage on each rectifier diode.

    Parameters
    ----------
    half_winding_v : peak voltage of a half winding (of the winding, if it has no tap), V, >= 0.
    centre_tapped : true for a tapped winding, whether it feeds one rail through two diodes or two rails
        through a bridge; false for a bridge across a plain winding.

    Returns
    -------
    reverse voltage, V.

    Raises
    ------
    RangeError : the voltage is negative.

    Source
    ------
    Mohan, Undeland, Robbins, Power Electronics, ch. 10. [mohan2003]

    >>> rectifier_reverse_v(50.0), rectifier_reverse_v(50.0, centre_tapped=False)
    (100.0, 50.0)
    """
    require("winding voltage", half_winding_v, "V", at_least=0.0)
    return 2.0 * half_winding_v if centre_tapped else half_winding_v


def rectifier_loss_w(vf0_v: float, rd_ohm: float, average_a: float, rms_a: float) -> float:
    """Conduction loss of a rectifier with the two-parameter forward model.

    Parameters
    ----------
    vf0_v : threshold voltage, V, >= 0.
    rd_ohm : slope resistance, ohm, >= 0.
    average_a, rms_a : average and rms current of the diode, A, 0 <= average <= rms.

    Returns
    -------
    ``Vf0 I_avg + rd I_rms²``, W.

    Raises
    ------
    RangeError : an argument is out of range, or the rms current is below the average.

    Source
    ------
    The loss equation that rectifier data sheets print beside their forward curve (for example
    STMicroelectronics AN604). [st-an604]

    >>> round(rectifier_loss_w(0.8, 0.01, 5.0, 8.0), 2)
    4.64
    """
    require("threshold voltage", vf0_v, "V", at_least=0.0)
    require("slope resistance", rd_ohm, "Ω", at_least=0.0)
    require("average current", average_a, "A", at_least=0.0)
    require("rms current", rms_a, "A", at_least=average_a)
    return vf0_v * average_a + rd_ohm * rms_a**2
