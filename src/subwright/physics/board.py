"""Printed-board conductors: track width for current, spacing, holes for leads."""

from __future__ import annotations

from typing import Final, Literal

from subwright.physics.bounds import require
from subwright.physics.electrical import copper_resistivity_ohm_m

__all__ = [
    "hole_and_pad_m",
    "power_spacing_m",
    "sheet_resistance_ohm",
    "track_current_a",
    "track_resistance_ohm",
    "track_width_m",
]

Layer = Literal["external", "internal"]
DensityLevel = Literal["A", "B", "C"]

_MIL: Final = 25.4e-6
_CONSTANT: Final[dict[Layer, float]] = {"external": 0.048, "internal": 0.024}
_MAX_CURRENT_A: Final = 35.0
_MAX_WIDTH_M: Final = 400 * _MIL

_HOLE_MM: Final[dict[DensityLevel, tuple[float, float]]] = {
    "A": (0.25, 0.60),
    "B": (0.20, 0.50),
    "C": (0.15, 0.40),
}


def track_width_m(
    current_a: float, rise_k: float, thickness_m: float = 35e-6, layer: Layer = "external"
) -> float:
    """Width of a track that carries a current at a chosen rise.

    Parameters
    ----------
    current_a : A, 0 < I <= 35.
    rise_k : K, 5 to 100.
    thickness_m : copper thickness, m, 17 µm to 105 µm.
    layer : "external" or "internal".

    Returns
    -------
    width, m: ``I = k dT^0.44 A^0.725`` (A in mil²; k 0.048 external, 0.024 internal).

    Raises
    ------
    RangeError : an argument is off the chart, or the track would be wider than the chart's 400 mil.

    Source
    ------
    IPC-2221 chart 6-4, usual curve fit. IPC-2152 replaces the chart; a bare thin board without a plane
    can run hotter than it says. [ipc-2221]

    >>> round(track_width_m(1.0, 10.0) * 1e3, 3), round(track_width_m(10.0, 10.0) * 1e3, 2)
    (0.3, 7.19)
    """
    _check_track(rise_k, thickness_m)
    require(
        "track current",
        current_a,
        "A",
        above=0.0,
        at_most=_MAX_CURRENT_A,
        source="ipc-2221",
        remedy="Carry this current in a wire link, not in a track.",
    )
    area_mil2 = (current_a / (_CONSTANT[layer] * rise_k**0.44)) ** (1.0 / 0.725)
    width = float(area_mil2 * _MIL**2 / thickness_m)
    require(
        "track width",
        width,
        "m",
        at_most=_MAX_WIDTH_M,
        source="ipc-2221",
        remedy="Carry this current in a wire link, or use thicker copper.",
    )
    return width


def track_current_a(
    width_m: float, rise_k: float, thickness_m: float = 35e-6, layer: Layer = "external"
) -> float:
    """Current that heats a track by ``rise_k``; the inverse of ``track_width_m``.

    Parameters
    ----------
    width_m : m, 0 < w <= 10.16 mm.
    rise_k, thickness_m, layer : as for ``track_width_m``.

    Returns
    -------
    current, A.

    Raises
    ------
    RangeError : an argument is off the chart.

    Source
    ------
    IPC-2221 chart 6-4, usual curve fit. [ipc-2221]

    >>> round(track_current_a(1e-3, 10.0), 2), round(track_current_a(1e-3, 20.0), 2)
    (2.39, 3.24)
    """
    _check_track(rise_k, thickness_m)
    require("track width", width_m, "m", above=0.0, at_most=_MAX_WIDTH_M, source="ipc-2221")
    area_mil2 = width_m * thickness_m / _MIL**2
    return float(_CONSTANT[layer] * rise_k**0.44 * area_mil2**0.725)


def _check_track(rise_k: float, thickness_m: float) -> None:
    require("track temperature rise", rise_k, "K", at_least=5.0, at_most=100.0, source="ipc-2221")
    require("copper thickness", thickness_m, "m", at_least=17e-6, at_most=106e-6, source="ipc-2221")


def sheet_resistance_ohm(thickness_m: float = 35e-6, temperature_c: float = 20.0) -> float:
    """Resistance of one square of copper foil.

    Parameters
    ----------
    thickness_m : m, > 0.
    temperature_c : °C.

    Returns
    -------
    ``rho/t``, ohm per square.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    IEC 60028 copper. [iec-60028]

    >>> round(sheet_resistance_ohm() * 1e3, 3)
    0.493
    """
    require("copper thickness", thickness_m, "m", above=0.0)
    return copper_resistivity_ohm_m(temperature_c) / thickness_m


def track_resistance_ohm(
    length_m: float, width_m: float, thickness_m: float = 35e-6, temperature_c: float = 20.0
) -> float:
    """Resistance of a track.

    Parameters
    ----------
    length_m, width_m, thickness_m : m, > 0.
    temperature_c : °C.

    Returns
    -------
    resistance, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Squares times sheet resistance. [iec-60028]

    >>> round(track_resistance_ohm(0.1, 2e-3) * 1e3, 1)
    24.6
    """
    require("track length", length_m, "m", above=0.0)
    require("track width", width_m, "m", above=0.0)
    return sheet_resistance_ohm(thickness_m, temperature_c) * length_m / width_m


def power_spacing_m(peak_v: float) -> float:
    """Spacing for power conversion equipment.

    Parameters
    ----------
    peak_v : V, 0 to 600.

    Returns
    -------
    ``0.6 + 0.005 V`` mm, in m.

    Raises
    ------
    RangeError : the voltage is out of range.

    Source
    ------
    IPC-9592. [ipc-9592]

    >>> round(power_spacing_m(60.0) * 1e3, 2)
    0.9
    """
    require("peak voltage", peak_v, "V", at_least=0.0, at_most=600.0, source="ipc-9592")
    return (0.6 + 0.005 * peak_v) * 1e-3


def hole_and_pad_m(lead_m: float, level: DensityLevel = "B") -> tuple[float, float]:
    """Finished hole and pad diameter for a round lead.

    Parameters
    ----------
    lead_m : largest lead diameter, m, 0 < d <= 5 mm.
    level : producibility level "A" (general), "B" (moderate) or "C" (high density).

    Returns
    -------
    (hole, pad), m: hole = lead + 0.25/0.20/0.15 mm; pad = hole + 0.1 + 0.60/0.50/0.40 mm.

    Raises
    ------
    RangeError : the lead is out of range.

    Source
    ------
    IPC-2222 and IPC-2221 design note. [ipc-2222]

    >>> [round(x * 1e3, 2) for x in hole_and_pad_m(0.8e-3, "A")]
    [1.05, 1.75]
    """
    require("lead diameter", lead_m, "m", above=0.0, at_most=5e-3, source="ipc-2222")
    clearance, ring = _HOLE_MM[level]
    hole = lead_m + clearance * 1e-3
    return hole, hole + (0.1 + ring) * 1e-3
