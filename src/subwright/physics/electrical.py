"""Conductors, batteries, fuses and simple RC timing: what the vehicle side of a build is made of."""

from __future__ import annotations

import math

from subwright.physics.bounds import require

__all__ = [
    "COPPER_ALPHA_20_PER_K",
    "COPPER_RESISTIVITY_20_OHM_M",
    "adiabatic_section_m2",
    "cable_loop_resistance_ohm",
    "conductor_resistance_ohm",
    "conductor_temperature_c",
    "copper_factor",
    "copper_resistivity_ohm_m",
    "derating_factor",
    "fuse_hold_ok",
    "peukert_time_s",
    "preece_current_a",
    "preece_diameter_m",
    "reverse_mosfet_loss_w",
    "voltage_drop_v",
]

# IEC 60028:1925, International Annealed Copper Standard: 58 MS/m, 0.00393 /K, both at 20 °C.
COPPER_RESISTIVITY_20_OHM_M = 1.0 / 58.0e6
COPPER_ALPHA_20_PER_K = 0.00393

_PREECE_A_PER_M_1_5 = 80.0 * 1000.0**1.5  # 80.0 A at 1 mm diameter


def copper_factor(temperature_c: float) -> float:
    """Resistance of annealed copper over its resistance at 20 °C.

    Parameters
    ----------
    temperature_c : conductor temperature, °C, -100 to 250.

    Returns
    -------
    ``1 + 0.00393 (T - 20)``, dimensionless.

    Raises
    ------
    RangeError : the temperature is outside the linear range.

    Source
    ------
    IEC 60028:1925, constant-mass temperature coefficient. [iec-60028]

    >>> round(copper_factor(60.0), 3), round(copper_factor(90.0), 3)
    (1.157, 1.275)
    """
    require("conductor temperature", temperature_c, "°C", at_least=-100.0, at_most=250.0, source="iec-60028")
    return 1.0 + COPPER_ALPHA_20_PER_K * (temperature_c - 20.0)


def copper_resistivity_ohm_m(temperature_c: float = 20.0) -> float:
    """Resistivity of annealed copper.

    Parameters
    ----------
    temperature_c : conductor temperature, °C, -100 to 250.

    Returns
    -------
    resistivity, ohm·m.

    Raises
    ------
    RangeError : the temperature is outside the linear range.

    Source
    ------
    IEC 60028:1925. [iec-60028]

    >>> round(copper_resistivity_ohm_m(20.0) * 1e8, 4)
    1.7241
    """
    return COPPER_RESISTIVITY_20_OHM_M * copper_factor(temperature_c)


def conductor_resistance_ohm(length_m: float, section_m2: float, temperature_c: float = 20.0) -> float:
    """DC resistance of a solid copper conductor.

    Parameters
    ----------
    length_m : length, m, > 0.
    section_m2 : copper section, m², > 0.
    temperature_c : conductor temperature, °C.

    Returns
    -------
    resistance, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``R = rho l / A`` with IEC 60028 copper. [iec-60028]

    >>> round(conductor_resistance_ohm(1.0, 2.5e-6) * 1e3, 2)
    6.9
    """
    require("conductor length", length_m, "m", above=0.0)
    require("conductor section", section_m2, "m²", above=0.0)
    return copper_resistivity_ohm_m(temperature_c) * length_m / section_m2


def cable_loop_resistance_ohm(
    length_m: float, ohm_per_m: float, temperature_c: float = 20.0, return_share: float = 1.0
) -> float:
    """Resistance of a cable run out and return, at conductor temperature.

    Parameters
    ----------
    length_m : one-way length, m, >= 0.
    ohm_per_m : resistance of one conductor per metre at 20 °C, ohm/m, > 0.
    temperature_c : conductor temperature, °C.
    return_share : length of the return conductor over the outward one, >= 0 (1: equal cable; 0: no
        return counted, for example a chassis return that is added separately).

    Returns
    -------
    loop resistance, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ohm's law for both conductors, copper after IEC 60028. [iec-60028]

    >>> round(cable_loop_resistance_ohm(4.0, 7.6e-3) * 20.0, 3)  # 20 A
    1.216
    """
    require("cable length", length_m, "m", at_least=0.0)
    require("cable resistance per metre", ohm_per_m, "Ω/m", above=0.0)
    require("return share", return_share, "", at_least=0.0)
    return length_m * (1.0 + return_share) * ohm_per_m * copper_factor(temperature_c)


def voltage_drop_v(
    current_a: float,
    length_m: float,
    ohm_per_m: float,
    temperature_c: float = 20.0,
    return_share: float = 1.0,
) -> float:
    """Voltage lost in a cable run, both conductors counted.

    Parameters
    ----------
    current_a : current, A, >= 0.
    length_m, ohm_per_m, temperature_c, return_share : as for ``cable_loop_resistance_ohm``.

    Returns
    -------
    drop, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``dV = I r (out + return)``. [iec-60028]

    >>> round(voltage_drop_v(20.0, 4.0, 7.6e-3), 3)
    1.216
    """
    require("current", current_a, "A", at_least=0.0)
    return current_a * cable_loop_resistance_ohm(length_m, ohm_per_m, temperature_c, return_share)


def preece_current_a(diameter_m: float) -> float:
    """Fusing current of a bare copper wire in still air.

    Parameters
    ----------
    diameter_m : wire diameter, m, 0.05 mm to 20 mm.

    Returns
    -------
    current that melts the wire in steady state, A. It is no rating: a wire burns its insulation far below.

    Raises
    ------
    RangeError : the diameter is out of range.

    Source
    ------
    Preece, ``I = 10244 d^1.5`` (d in inch) ``= 80.0 d^1.5`` (d in mm); constant as printed in Brooks,
    "Onderdonk's and Preece's Equations". [brooks-preece]

    >>> round(preece_current_a(2.053e-3), 1)
    235.3
    """
    require("wire diameter", diameter_m, "m", at_least=5e-5, at_most=20e-3, source="brooks-preece")
    return float(_PREECE_A_PER_M_1_5 * diameter_m**1.5)


def preece_diameter_m(current_a: float) -> float:
    """Diameter of the copper wire that melts at ``current_a``; the inverse of ``preece_current_a``.

    Parameters
    ----------
    current_a : fusing current, A, > 0.

    Returns
    -------
    diameter, m.

    Raises
    ------
    RangeError : the current is not positive, or the wire would be outside 0.05 mm to 20 mm.

    Source
    ------
    Preece, solved for the diameter. [brooks-preece]

    >>> round(preece_diameter_m(235.3) * 1e3, 2)
    2.05
    """
    require("fusing current", current_a, "A", above=0.0, source="brooks-preece")
    diameter = float((current_a / _PREECE_A_PER_M_1_5) ** (2.0 / 3.0))
    require("wire diameter", diameter, "m", at_least=5e-5, at_most=20e-3, source="brooks-preece")
    return diameter


def adiabatic_section_m2(fault_a: float, time_s: float, k: float = 115.0) -> float:
    """Least copper section that survives a short circuit until the fuse opens.

    Parameters
    ----------
    fault_a : prospective fault current, A, > 0.
    time_s : time to open, s, 0 < t <= 5.
    k : material constant, A·s^0.5/mm²; 115 for copper under PVC from 70 °C to 160 °C.

    Returns
    -------
    section, m²: ``S = I sqrt(t) / k``.

    Raises
    ------
    RangeError : an argument is out of range; beyond 5 s the wire is no longer adiabatic.

    Source
    ------
    IEC 60364-5-54, clause 543.1.2. [iec-60364-5-54]

    >>> round(adiabatic_section_m2(1000.0, 0.1) * 1e6, 2)
    2.75
    """
    require("fault current", fault_a, "A", above=0.0)
    require("opening time", time_s, "s", above=0.0, at_most=5.0, source="iec-60364-5-54")
    require("material constant k", k, "A·s^0.5/mm²", above=0.0)
    return fault_a * math.sqrt(time_s) / k * 1e-6


def derating_factor(ambient_c: float, limit_c: float, reference_c: float = 25.0) -> float:
    """Factor on a cable's rated current when the air is not at the rating's temperature.

    Parameters
    ----------
    ambient_c : air temperature at the cable, °C.
    limit_c : highest conductor temperature that the insulation stands, °C.
    reference_c : air temperature of the rating, °C, below ``limit_c``.

    Returns
    -------
    ``sqrt((limit - ambient)/(limit - reference))``, dimensionless; 0 at the limit, above 1 in cooler air.

    Raises
    ------
    RangeError : the ambient is at or above the limit, or the reference is.

    Source
    ------
    Heat balance: loss goes with current squared, rise with loss; IEC 60364-5-52 builds its correction
    tables on it. [derived]

    >>> round(derating_factor(65.0, 105.0, 25.0), 4)
    0.7071
    """
    require("reference temperature", reference_c, "°C", below=limit_c)
    require(
        "ambient temperature",
        ambient_c,
        "°C",
        at_least=-60.0,
        below=limit_c,
        remedy="Route the cable through a cooler place or use insulation of a higher class.",
    )
    return math.sqrt((limit_c - ambient_c) / (limit_c - reference_c))


def conductor_temperature_c(
    current_a: float, rated_a: float, ambient_c: float, limit_c: float, reference_c: float = 25.0
) -> float:
    """Temperature of a cable's conductor, from its rating.

    Parameters
    ----------
    current_a : rms current, A, >= 0.
    rated_a : current that heats the conductor from ``reference_c`` to ``limit_c``, A, > 0.
    ambient_c, limit_c, reference_c : °C, as for ``derating_factor``.

    Returns
    -------
    conductor temperature, °C.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Same heat balance as ``derating_factor``. [derived]

    >>> conductor_temperature_c(10.0, 20.0, 45.0, 105.0, 25.0)
    65.0
    """
    require("current", current_a, "A", at_least=0.0)
    require("rated current", rated_a, "A", above=0.0)
    require("reference temperature", reference_c, "°C", below=limit_c)
    return ambient_c + (limit_c - reference_c) * (current_a / rated_a) ** 2


def fuse_hold_ok(load_a: float, fuse_a: float, cable_a: float) -> bool:
    """Whether a fuse carries the load and protects the cable.

    Parameters
    ----------
    load_a : load current, A.
    fuse_a : fuse rating, A.
    cable_a : current that the cable carries where it runs, A.

    Returns
    -------
    true when ``load <= fuse <= cable``.

    Source
    ------
    ABYC E-11.10, strict form (the allowance of the next size up to 150 % is not used). [abyc-e11]

    >>> fuse_hold_ok(25.0, 30.0, 29.0), fuse_hold_ok(25.0, 30.0, 33.0)
    (False, True)
    """
    return load_a <= fuse_a <= cable_a


def peukert_time_s(
    capacity_coul: float, current_a: float, exponent: float, rated_time_s: float = 72000.0
) -> float:
    """Time for which a battery delivers a constant current from full to empty.

    Parameters
    ----------
    capacity_coul : rated capacity (1 Ah = 3600 C), C, > 0.
    current_a : discharge current, A, > 0.
    exponent : Peukert exponent, dimensionless, 1 to 1.6.
    rated_time_s : discharge time at which the capacity is rated, s (20 h for vehicle batteries).

    Returns
    -------
    time, s: ``t = H (C / (I H))^k``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Peukert 1897, in the form with the rated time H. [peukert1897]

    >>> round(peukert_time_s(100.0 * 3600, 5.0, 1.2) / 3600, 3)  # at the 20 h rate: 20 h by definition
    20.0
    """
    require("battery capacity", capacity_coul, "C", above=0.0)
    require("discharge current", current_a, "A", above=0.0)
    require("Peukert exponent", exponent, "", at_least=1.0, at_most=1.6, source="peukert1897")
    require("rated discharge time", rated_time_s, "s", above=0.0)
    return float(rated_time_s * (capacity_coul / (current_a * rated_time_s)) ** exponent)


def reverse_mosfet_loss_w(current_a: float, rds_hot_ohm: float) -> float:
    """Loss in a reverse-polarity MOSFET in the supply line.

    Parameters
    ----------
    current_a : rms supply current, A, >= 0.
    rds_hot_ohm : on-resistance when hot, ohm, > 0.

    Returns
    -------
    ``I² R``, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Joule's law. [derived]

    >>> round(reverse_mosfet_loss_w(50.0, 2e-3), 1)
    5.0
    """
    require("supply current", current_a, "A", at_least=0.0)
    require("on-resistance", rds_hot_ohm, "Ω", above=0.0)
    return current_a**2 * rds_hot_ohm
