"""What follows from a core's dimensions: a record needs only what a caliper or a sheet gives."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from subwright.base.errors import SubwrightError
from subwright.parts.reader import Complaint
from subwright.physics.cores import EffectiveParameters, e_pair, etd_pair, ring

__all__ = ["complete_core"]

_DENSITY_KG_PER_M3 = 4800.0  # MnZn power ferrite; used where the record gives no mass
_FERRITE_NEEDED = {
    "ring": ("outer_m", "inner_m", "height_m"),
    "etd": ("outer_m", "inner_m", "height_m", "depth_m", "window_m", "leg_m"),
    "e": ("outer_m", "inner_m", "height_m", "depth_m", "window_m", "leg_m"),
}


def complete_core(raw: Mapping[str, Any], complain: Complaint) -> dict[str, Any] | None:
    """Add to a core's given values all that the dimensions determine; given values are never replaced.

    Parameters
    ----------
    raw : SI values by field name; shape and dimensions are needed, the rest may be absent.
    complain : called with (field, sentence) for each problem.

    Returns
    -------
    All values by field name, or None where the dimensions are incomplete or contradict each other.
    """
    shape = raw.get("shape")
    if shape not in _FERRITE_NEEDED:
        complain("shape", f"{shape!r} is none of {', '.join(_FERRITE_NEEDED)}")
        return None
    missing = [name for name in _FERRITE_NEEDED[shape] if not isinstance(raw.get(name), (int, float))]
    for name in missing:
        complain(name, f"is missing; a core of shape {shape!r} needs it")
    if missing:
        return None
    try:
        derived = _ring_values(raw) if shape == "ring" else _pair_values(raw)
    except SubwrightError as error:
        complain("outer_m", str(error))
        return None
    for mine, theirs in (
        ("l_e_m", "catalogue_l_e_m"),
        ("a_e_m2", "catalogue_a_e_m2"),
        ("v_e_m3", "catalogue_v_e_m3"),
    ):
        # of E and ETD cores the catalogue's values serve, of rings the standard's formula
        if shape != "ring" and theirs in raw:
            derived[mine] = raw[theirs]
    if shape != "ring":
        derived["c1_per_m"] = derived["l_e_m"] / derived["a_e_m2"]
        if "catalogue_v_e_m3" not in raw:
            derived["v_e_m3"] = derived["l_e_m"] * derived["a_e_m2"]
    derived.setdefault("mass_kg", derived["v_e_m3"] * _DENSITY_KG_PER_M3)
    return {**derived, **raw}


def _effective(parameters: EffectiveParameters) -> dict[str, Any]:
    return {
        "a_e_m2": parameters.a_e_m2,
        "a_min_m2": parameters.a_min_m2,
        "l_e_m": parameters.l_e_m,
        "v_e_m3": parameters.v_e_m3,
        "c1_per_m": parameters.c1_per_m,
    }


def _ring_values(raw: Mapping[str, Any]) -> dict[str, Any]:
    coating = raw.get("coating_m", 0.0)
    outer = raw["outer_m"] + 2 * coating
    inner = raw["inner_m"] - 2 * coating
    height = raw["height_m"] + 2 * coating
    solid = math.pi / 4 * (raw["outer_m"] ** 2 - raw["inner_m"] ** 2) * raw["height_m"]
    return {
        **_effective(ring(raw["outer_m"], raw["inner_m"], raw["height_m"])),
        "window_area_m2": math.pi / 4 * inner**2,
        "winding_width_m": math.pi * inner,
        "winding_height_m": inner / 2,
        "mean_turn_m": outer - inner + 2 * height,
        "surface_m2": math.pi * outer * height + math.pi / 2 * outer**2,
        "mass_kg": solid * _DENSITY_KG_PER_M3,
    }


def _pair_values(raw: Mapping[str, Any]) -> dict[str, Any]:
    width, window_width, height = raw["outer_m"], raw["inner_m"], raw["height_m"]
    depth, window, leg = raw["depth_m"], raw["window_m"], raw["leg_m"]
    shape = etd_pair if raw["shape"] == "etd" else e_pair
    clearance = (window_width - leg) / 2
    box = 2 * (width * height + width * depth + height * depth)
    # a full coil former stands out by the window's width on both faces; its flanks add to the box
    flanks = 2 * 2 * (window_width + window) * clearance
    # coil former: flanges and walls as the ETD formers have them, thinner on small cores
    flanges = min(3.6e-3, 0.12 * window + 0.3e-3)
    walls = min(2.1e-3, 0.22 * clearance)
    build = clearance - walls
    breadth = window - flanges
    inside = 2 * 0.7 * walls
    around = math.pi * (leg + inside) if raw["shape"] == "etd" else 2 * (leg + depth + 2 * inside)
    values = {
        **_effective(shape(width, height / 2, depth, window_width, window / 2, leg)),
        "winding_width_m": breadth,
        "winding_height_m": build,
        "window_area_m2": breadth * build,
        "mean_turn_m": around + math.pi * build,
        "surface_m2": box + flanks,
    }
    if "window_area_m2" in raw and "winding_width_m" in raw:
        values["winding_height_m"] = raw["window_area_m2"] / raw["winding_width_m"]
    return values
