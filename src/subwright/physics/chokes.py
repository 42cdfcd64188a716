"""Chokes with an air gap, and the duty of converters that regulate with one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require
from subwright.physics.magnetics import MU_0

__all__ = [
    "air_gap_m",
    "boost_duty",
    "boost_ripple_a",
    "discontinuous_share",
    "gapped_inductance_h",
    "least_turns",
    "output_choke_h",
    "regulated_share",
]

Floats = float | NDArray[np.float64]


def output_choke_h(rail_v: float, share: float, switching_hz: float, ripple_a: float) -> float:
    """Inductance that keeps the ripple of an output choke behind a push-pull or bridge rectifier.

    Parameters
    ----------
    rail_v : rail, V, > 0.
    share : share of the period in which either switch conducts, 0 to 1.
    switching_hz : full push-pull cycle, Hz, > 0; the choke sees twice that.
    ripple_a : peak-to-peak ripple, A, > 0.

    Returns
    -------
    ``V (1 - d)/(2 f ΔI)``, H.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Volt-seconds of the freewheeling interval; Pressman, Switching Power Supply Design, ch. 1 and 2.
    [pressman1998]

    >>> round(output_choke_h(45.0, 0.7, 50e3, 3.0) * 1e6, 1)
    45.0
    """
    require("rail voltage", rail_v, "V", above=0.0)
    require("conducting share", share, "", at_least=0.0, at_most=1.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("ripple current", ripple_a, "A", above=0.0)
    return rail_v * (1.0 - share) / (2.0 * switching_hz * ripple_a)


def least_turns(inductance_h: float, peak_a: float, flux_t: float, area_m2: float) -> int:
    """Turns below which a choke's core passes its flux density.

    Parameters
    ----------
    inductance_h : H, > 0.
    peak_a : peak current, A, > 0.
    flux_t : peak flux density allowed, T, > 0.
    area_m2 : smallest section of the core, m², > 0.

    Returns
    -------
    least whole number of turns N with ``L I/(N A) <= B``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Flux linkage ``L I = N B A``. [derived]

    >>> least_turns(45e-6, 16.0, 0.3, 178e-6)
    14
    """
    for name, value, unit in (
        ("inductance", inductance_h, "H"),
        ("peak current", peak_a, "A"),
        ("flux density", flux_t, "T"),
        ("core section", area_m2, "m²"),
    ):
        require(name, value, unit, above=0.0)
    return int(np.ceil(inductance_h * peak_a / (flux_t * area_m2) - 1e-9))


def air_gap_m(turns: int, inductance_h: float, area_m2: float, path_m: float, mu_i: float) -> float:
    """Total air gap that gives an inductance, fringing neglected.

    Parameters
    ----------
    turns : whole number, >= 1.
    inductance_h : H, > 0.
    area_m2, path_m : effective area, m², and length, m, of the core, > 0.
    mu_i : permeability of the core's material, dimensionless, > 0.

    Returns
    -------
    ``μ0 N² A/L - l/μ``, m; 0 where the core alone has less inductance. Fringing raises the inductance by
    some 10 to 30 %: grind less and measure.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Reluctances in series; Erickson & Maksimović, ch. 13. [erickson2001]

    >>> round(air_gap_m(14, 45e-6, 178e-6, 97e-3, 2200.0) * 1e3, 2)
    0.93
    """
    require("turns", turns, "", at_least=1)
    require("inductance", inductance_h, "H", above=0.0)
    require("core section", area_m2, "m²", above=0.0)
    require("magnetic path", path_m, "m", above=0.0)
    require("permeability", mu_i, "", above=0.0)
    return max(0.0, MU_0 * turns**2 * area_m2 / inductance_h - path_m / mu_i)


def gapped_inductance_h(turns: int, gap_m: float, area_m2: float, path_m: float, mu_i: float) -> float:
    """Inductance of a core with an air gap, fringing neglected; the inverse of ``air_gap_m``.

    Parameters
    ----------
    turns : whole number, >= 1.
    gap_m : total gap, m, >= 0.
    area_m2, path_m : effective area, m², and length, m, of the core, > 0.
    mu_i : permeability of the core's material, dimensionless, > 0.

    Returns
    -------
    ``μ0 N² A/(g + l/μ)``, H.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Reluctances in series; Erickson & Maksimović, ch. 13. [erickson2001]

    >>> round(gapped_inductance_h(14, 0.93e-3, 178e-6, 97e-3, 2200.0) * 1e6, 1)
    45.0
    """
    require("turns", turns, "", at_least=1)
    require("air gap", gap_m, "m", at_least=0.0)
    require("core section", area_m2, "m²", above=0.0)
    require("magnetic path", path_m, "m", above=0.0)
    require("permeability", mu_i, "", above=0.0)
    return MU_0 * turns**2 * area_m2 / (gap_m + path_m / mu_i)


def regulated_share(rail_v: Floats, drop_v: Floats, winding_v: Floats, most: Floats) -> Floats:
    """Share of the period that the switches must conduct for a rail behind an output choke.

    Parameters
    ----------
    rail_v : rail wanted, V; broadcast.
    drop_v : drops behind the winding that are there all the time, V.
    winding_v : half-secondary voltage while a switch conducts, V, > 0.
    most : largest share that dead time and commutation leave, dimensionless.

    Returns
    -------
    ``min((V + drop)/V_winding, most)``, dimensionless, broadcast shape.

    Raises
    ------
    RangeError : the winding voltage is not positive.

    Source
    ------
    Volt-second balance of the choke; Pressman, ch. 2. [pressman1998]

    >>> round(float(regulated_share(45.0, 1.0, 60.0, 0.9)), 4)
    0.7667
    """
    require("winding voltage", winding_v, "V", above=0.0)
    share: Floats = np.minimum((np.asarray(rail_v) + drop_v) / winding_v, most)
    return share


def discontinuous_share(
    rail_v: float, winding_v: float, current_a: float, switching_hz: float, inductance_h: float
) -> float:
    """Share of conduction that an output choke needs whose current has gaps.

    Parameters
    ----------
    rail_v : rail with the drops behind the winding, V, > 0, below ``winding_v``.
    winding_v : half-secondary voltage while a switch conducts, V.
    current_a : mean current of the choke, all its windings together, A, > 0.
    switching_hz : full push-pull cycle, Hz, > 0; the choke sees twice that.
    inductance_h : of one winding, all of them in step, H, > 0.

    Returns
    -------
    ``sqrt(4 f L I V/(Vw (Vw - V)))``, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Mean of the triangle that rises by ``Vw - V`` and falls by ``V``; Erickson & Maksimović, ch. 5.
    [erickson2001]

    >>> round(discontinuous_share(46.0, 60.0, 0.3, 50e3, 100e-6), 4)
    0.5732
    """
    require("rail voltage", rail_v, "V", above=0.0, below=winding_v)
    require("choke current", current_a, "A", above=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("inductance", inductance_h, "H", above=0.0)
    lift = winding_v * (winding_v - rail_v)
    return float(np.sqrt(4.0 * switching_hz * inductance_h * current_a * rail_v / lift))


def boost_duty(input_v: Floats, output_v: Floats, diode_v: float = 0.0) -> Floats:
    """Duty of a boost converter in continuous conduction, without resistances.

    Parameters
    ----------
    input_v : V, > 0; broadcast.
    output_v : V, > 0.
    diode_v : forward drop, V, >= 0.

    Returns
    -------
    ``1 - V_in/(V_out + V_f)``, dimensionless, at least 0 (the input runs through the diode).

    Raises
    ------
    RangeError : a voltage is not positive.

    Source
    ------
    Volt-second balance; Erickson & Maksimović, ch. 2. [erickson2001]

    >>> round(float(boost_duty(12.0, 30.0, 0.6)), 4)
    0.6078
    """
    require("input voltage", input_v, "V", above=0.0)
    require("output voltage", output_v, "V", above=0.0)
    require("diode drop", diode_v, "V", at_least=0.0)
    duty: Floats = np.maximum(0.0, 1.0 - np.asarray(input_v) / (np.asarray(output_v) + diode_v))
    return duty


def boost_ripple_a(input_v: Floats, duty: Floats, switching_hz: float, inductance_h: float) -> Floats:
    """Peak-to-peak ripple of a boost choke.

    Parameters
    ----------
    input_v : V, > 0; broadcast.
    duty : dimensionless, 0 to below 1; broadcast.
    switching_hz : Hz, > 0.
    inductance_h : H, > 0.

    Returns
    -------
    ``V D/(f L)``, A, broadcast shape.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Volt-seconds of the on-time; Erickson & Maksimović, ch. 2. [erickson2001]

    >>> round(float(boost_ripple_a(12.0, 0.6, 100e3, 20e-6)), 2)
    3.6
    """
    require("input voltage", input_v, "V", above=0.0)
    require("duty", duty, "", at_least=0.0, below=1.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("inductance", inductance_h, "H", above=0.0)
    ripple: Floats = np.asarray(input_v) * duty / (switching_hz * inductance_h)
    return ripple
