"""Heat from junction to sink to air, and how fast a sink warms."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.physics.bounds import require

__all__ = [
    "ALUMINIUM_DENSITY_KG_PER_M3",
    "ALUMINIUM_HEAT_J_PER_KG_K",
    "TO220_INTERFACE_K_PER_W",
    "ThermalDevice",
    "heatsink_at_rise_k_per_w",
    "junction_temperature_c",
    "sink_rth_needed_k_per_w",
    "thermal_capacity_j_per_k",
    "time_to_reach_s",
]

ALUMINIUM_HEAT_J_PER_KG_K: Final = 897.0  # pure aluminium, 25 °C
ALUMINIUM_DENSITY_KG_PER_M3: Final = 2700.0

# ON Semiconductor AN1040/D, TO-220: (bare, with grease), K/W.
TO220_INTERFACE_K_PER_W: Final[dict[str, tuple[float, float]]] = {
    "metal to metal": (1.2, 1.0),
    "mica": (3.4, 1.6),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class ThermalDevice:
    """A kind of device on a heatsink, with its loss at each level.

    Attributes
    ----------
    name : "output switch".
    count : how many of them share the heatsink.
    idle_w, programme_w, full_w : heat of ONE device at idle, programme and continuous sine, W.
    worst_w : heat of one device at the least favourable steady drive, W, >= full_w.
    rth_jc_k_per_w : junction to case, K/W.
    interface_k_per_w : case to sink, K/W.
    tj_max_c : highest junction temperature, °C.
    """

    name: str
    count: int
    idle_w: float
    programme_w: float
    full_w: float
    worst_w: float
    rth_jc_k_per_w: float
    interface_k_per_w: float
    tj_max_c: float


def junction_temperature_c(
    ambient_c: float,
    power_w: float,
    rth_jc_k_per_w: float,
    rth_cs_k_per_w: float,
    rth_sa_k_per_w: float,
    sink_power_w: float | None = None,
) -> float:
    """Junction temperature of a device on a heatsink.

    Parameters
    ----------
    ambient_c : air temperature, °C.
    power_w : heat of this device, W, >= 0.
    rth_jc_k_per_w, rth_cs_k_per_w, rth_sa_k_per_w : junction-case, case-sink, sink-air, K/W, >= 0.
    sink_power_w : heat of all devices on the sink, W; None: this device alone.

    Returns
    -------
    ``Ta + P_sink Rsa + P (Rjc + Rcs)``, °C.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Series chain of thermal resistances; TIP31 example of a university power-transistor lecture.
    [tip31-lecture]

    >>> round(junction_temperature_c(25.0, 3.9, 3.125, 0.0, 13.0), 1)
    87.9
    """
    total = power_w if sink_power_w is None else sink_power_w
    require("device power", power_w, "W", at_least=0.0)
    require("heat into the heatsink", total, "W", at_least=power_w)
    for name, rth in (
        ("junction-to-case resistance", rth_jc_k_per_w),
        ("case-to-sink resistance", rth_cs_k_per_w),
        ("sink-to-air resistance", rth_sa_k_per_w),
    ):
        require(name, rth, "K/W", at_least=0.0)
    return ambient_c + total * rth_sa_k_per_w + power_w * (rth_jc_k_per_w + rth_cs_k_per_w)


def sink_rth_needed_k_per_w(
    limit_c: float,
    ambient_c: float,
    power_w: float,
    rth_jc_k_per_w: float,
    rth_cs_k_per_w: float,
    sink_power_w: float | None = None,
) -> float:
    """Highest sink-to-air resistance that keeps a junction at or below its limit.

    Parameters
    ----------
    limit_c : junction temperature allowed, °C.
    ambient_c : air temperature, °C, below ``limit_c``.
    power_w : heat of this device, W, > 0.
    rth_jc_k_per_w, rth_cs_k_per_w : K/W, >= 0.
    sink_power_w : heat of all devices on the sink, W; None: this device alone.

    Returns
    -------
    thermal resistance, K/W.

    Raises
    ------
    RangeError : an argument is out of range.
    NoSolutionError : the device exceeds its limit even on a sink at air temperature.

    Source
    ------
    Series chain solved for the sink. [tip31-lecture]

    >>> round(sink_rth_needed_k_per_w(87.9, 25.0, 3.9, 3.125, 0.0), 2)
    13.0
    """
    total = power_w if sink_power_w is None else sink_power_w
    require("device power", power_w, "W", above=0.0)
    require("heat into the heatsink", total, "W", at_least=power_w)
    require("ambient temperature", ambient_c, "°C", at_least=-60.0, below=limit_c)
    left = limit_c - ambient_c - power_w * (rth_jc_k_per_w + rth_cs_k_per_w)
    if left <= 0.0:
        raise NoSolutionError(
            message="The device overheats on any heatsink.",
            quantity="rise from sink to junction",
            value=f"{power_w * (rth_jc_k_per_w + rth_cs_k_per_w):.4g} K",
            limit=f"{limit_c - ambient_c:.4g} K",
            source="tip31-lecture",
            remedy="Share the heat between more devices, take a larger case, or improve the interface.",
        )
    return left / total


def heatsink_at_rise_k_per_w(rated_k_per_w: float, rated_rise_k: float, rise_k: float) -> float:
    """Thermal resistance of a finned heatsink at another rise than the one it is rated at.

    Parameters
    ----------
    rated_k_per_w : K/W at ``rated_rise_k``, > 0.
    rated_rise_k, rise_k : sink above air, K, > 0.

    Returns
    -------
    ``R (rated rise / rise)^0.25``, K/W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Laminar natural convection, h in proportion to the fourth root of the rise (Holman); radiation, which
    changes less, is left out. [holman]

    >>> round(heatsink_at_rise_k_per_w(1.0, 75.0, 37.5), 3)
    1.189
    """
    require("heatsink resistance", rated_k_per_w, "K/W", above=0.0)
    require("rated rise", rated_rise_k, "K", above=0.0)
    require("temperature rise", rise_k, "K", above=0.0)
    return float(rated_k_per_w * (rated_rise_k / rise_k) ** 0.25)


def thermal_capacity_j_per_k(mass_kg: float, heat_j_per_kg_k: float = ALUMINIUM_HEAT_J_PER_KG_K) -> float:
    """Heat capacity of a body.

    Parameters
    ----------
    mass_kg : kg, > 0.
    heat_j_per_kg_k : specific heat, J/(kg K); aluminium unless stated.

    Returns
    -------
    capacity, J/K.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Definition; 897 J/(kg K) for aluminium at 25 °C, CRC Handbook. [crc]

    >>> thermal_capacity_j_per_k(0.5)
    448.5
    """
    require("mass", mass_kg, "kg", above=0.0)
    require("specific heat", heat_j_per_kg_k, "J/(kg K)", above=0.0)
    return mass_kg * heat_j_per_kg_k


def time_to_reach_s(
    target_c: float,
    start_c: float,
    ambient_c: float,
    power_w: float,
    rth_k_per_w: float,
    capacity_j_per_k: float,
) -> float:
    """Time in which a heatsink at a steady heat warms from one temperature to another.

    Parameters
    ----------
    target_c, start_c, ambient_c : °C.
    power_w : heat, W, >= 0.
    rth_k_per_w : sink to air, K/W, > 0.
    capacity_j_per_k : heat capacity of the sink, J/K, > 0.

    Returns
    -------
    time, s; 0 when the start is already there; ``math.inf`` when the steady temperature stays below.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Lumped body: ``t = R C ln((T_end - T_start)/(T_end - T_target))``. [derived]

    >>> round(time_to_reach_s(75.0, 25.0, 25.0, 100.0, 1.0, 448.5), 1)
    310.9
    """
    require("heat", power_w, "W", at_least=0.0)
    require("sink-to-air resistance", rth_k_per_w, "K/W", above=0.0)
    require("heat capacity", capacity_j_per_k, "J/K", above=0.0)
    if start_c >= target_c:
        return 0.0
    end_c = ambient_c + power_w * rth_k_per_w
    if end_c <= target_c:
        return math.inf
    return rth_k_per_w * capacity_j_per_k * math.log((end_c - start_c) / (end_c - target_c))
