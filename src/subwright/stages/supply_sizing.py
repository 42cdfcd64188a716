"""Choosing the supply's cable and fuse from the tables, and what a short circuit does to them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.standards import (
    FUSE_RATINGS,
    FUSE_TIMES,
    CableSize,
    FuseBody,
    FuseRating,
    cable,
    cables,
    fuse_at_least,
    fuse_ratings,
    opening_time,
)
from subwright.base.units import show
from subwright.physics.electrical import (
    adiabatic_section_m2,
    cable_loop_resistance_ohm,
    conductor_temperature_c,
    derating_factor,
)
from subwright.stages.supply_spec import SupplyDemand, SupplySpec

__all__ = [
    "clear_time_s",
    "fault_section_m2",
    "fuse_voltage_v",
    "pick_cable",
    "pick_fuse",
    "rating_basis",
    "run_ohm",
]

_ADIABATIC_LIMIT_S: Final = 5.0  # IEC 60364-5-54
# Conductor and air temperature behind each table of cable ratings, °C.
_RATING_BASIS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"thin-wall-cable": (100.0, 25.0), "din-vde-0276-1000": (70.0, 30.0)}
)
_FUSE_BODIES: Final[tuple[FuseBody, ...]] = ("blade C", "blade E", "strip SF30", "strip SF51")


def run_ohm(spec: SupplySpec, row: CableSize, conductor_c: float) -> float:
    """Out and return at conductor temperature, ohm; with a chassis return the body counts."""
    if spec.return_path == "cable":
        return cable_loop_resistance_ohm(spec.cable_length_m, row.resistance_ohm_per_m, conductor_c)
    out = cable_loop_resistance_ohm(spec.cable_length_m, row.resistance_ohm_per_m, conductor_c, 0.0)
    return out + spec.chassis_resistance_ohm


def rating_basis(row: CableSize) -> tuple[float, tuple[float, float]]:
    """Listed rating of a cable, A, and the (conductor, air) temperatures behind it, °C.

    Raises
    ------
    RangeError : this section has no listed rating.
    """
    if row.current_a is None or row.current_origin is None:
        raise RangeError(
            message="This section has a listed resistance but no listed current rating.",
            quantity="copper section",
            value=show(row.section_m2, "area"),
            limit="a section with a known rating",
            source=row.origin.source,
            remedy="Take a common section (2.5, 4, 6, 10, 16, 25, 35, 50 mm²), or leave it to auto.",
        )
    return row.current_a, _RATING_BASIS[row.current_origin.source]


def _limit_a(row: CableSize, ambient_c: float) -> float:
    rated_a, (conductor_limit_c, reference_c) = rating_basis(row)
    return rated_a * min(1.0, derating_factor(ambient_c, conductor_limit_c, reference_c))


@cache
def _candidates(
    standard: Literal["vehicle", "iec60228"], ambient_c: float
) -> tuple[tuple[CableSize, float], ...]:
    """Listed cables with a rating, thinnest first, with what each carries at this air temperature."""
    return tuple(
        (row, _limit_a(row, ambient_c)) for row in cables(standard).values() if row.current_a is not None
    )


def pick_cable(
    spec: SupplySpec, demand: SupplyDemand, nominal_v: float, fuse_a: float, min_section_m2: float
) -> tuple[CableSize, float]:
    """The stated cable, or the thinnest listed one that holds the drop and outlasts the fuse.

    Parameters
    ----------
    spec : the supply's spec. demand : currents, A. nominal_v : V. fuse_a : rating to carry, A.
    min_section_m2 : lower bound on an automatic pick, m².

    Returns
    -------
    (cable, current that it carries in this air in A).

    Raises
    ------
    RangeError : the stated section is not listed. NoSolutionError : no listed cable will do.
    """
    if spec.section_m2 is not None:
        row = cable(spec.section_m2, spec.cable_standard)
        return row, _limit_a(row, spec.ambient_max_c)
    candidates = _candidates(spec.cable_standard, spec.ambient_max_c)
    rms_a = demand.worst_average_a * demand.rms_a / demand.average_a
    for row, limit_a in candidates:
        # A stated fuse may be smaller than the load: then the load heats the cable until it opens.
        if row.section_m2 < min_section_m2 * (1.0 - 1e-9) or limit_a < max(fuse_a, rms_a):
            continue
        rated_a, (limit_c, reference_c) = rating_basis(row)
        warm_c = conductor_temperature_c(rms_a, rated_a, spec.ambient_max_c, limit_c, reference_c)
        if demand.average_a * run_ohm(spec, row, warm_c) <= spec.max_drop * nominal_v:
            return row, limit_a
    thickest, most_a = candidates[-1]
    raise NoSolutionError(
        message="No listed cable holds both the voltage drop and the fuse's current.",
        quantity="supply current",
        value=f"{demand.average_a:.4g} A, fuse {fuse_a:g} A",
        limit=f"{show(thickest.section_m2, 'area')} carries {most_a:.4g} A in {spec.ambient_max_c:g} °C air",
        source=thickest.origin.source,
        remedy="Shorten supply.cable_length, raise supply.max_drop or supply.system, or lower goal.power or "
        "supply.ambient_max.",
    )


def pick_fuse(spec: SupplySpec, need_a: float, fault_a: float) -> FuseRating:
    """The stated fuse, or the smallest rating that carries the load in a body that breaks the fault.

    Parameters
    ----------
    spec : the supply's spec. need_a : least rating, A. fault_a : short circuit behind the fuse, A.

    Returns
    -------
    The rating; where no body breaks the fault, one of the strongest bodies.

    Raises
    ------
    RangeError : the stated rating does not exist, or the load is beyond every rating.
    """
    strong = tuple(
        body
        for body in _FUSE_BODIES
        if any(row.body == body and row.breaking_a >= fault_a for row in FUSE_RATINGS)
    )
    bodies: tuple[FuseBody, ...] = strong or ("strip SF30", "strip SF51")
    if spec.fuse_a is None:
        return fuse_at_least(need_a, bodies)
    stated = spec.fuse_a
    for choice_of in (bodies, _FUSE_BODIES):
        matches = [r for r in FUSE_RATINGS if r.body in choice_of and math.isclose(r.rated_a, stated)]
        if matches:
            return matches[0]
    near = sorted(sorted(fuse_ratings(), key=lambda rating: abs(rating - stated))[:2])
    raise RangeError(
        message="This is no standard fuse rating.",
        quantity="fuse",
        value=f"{stated:g} A",
        limit="a listed rating",
        source="iso-8820-3",
        remedy="Use " + " or ".join(f"{rating:g} A" for rating in near) + ", or leave it to auto.",
    )


def fuse_voltage_v(fuse: FuseRating, needed_v: float) -> float:
    """The lowest voltage marking, V, that covers the need, or the highest there is."""
    return min((v for v in fuse.voltages_v if v >= needed_v), default=max(fuse.voltages_v))


def clear_time_s(fuse: FuseRating, fault_a: float) -> float | None:
    """Latest opening, s; past the last listed multiple the melting integral I² t is taken as constant."""
    ratios = [row.ratio for row in FUSE_TIMES[fuse.body]]
    ratio = fault_a / fuse.rated_a
    if ratio < ratios[0]:
        return None
    longest_s = opening_time(fuse.body, min(ratio, ratios[-1])).longest_s
    return None if longest_s is None else longest_s * min(1.0, ratios[-1] / ratio) ** 2


def fault_section_m2(fault_a: float, clear_s: float | None) -> float | None:
    """Least section, m², that survives a fault until the fuse opens; None past the adiabatic 5 s."""
    if clear_s is None or clear_s > _ADIABATIC_LIMIT_S:
        return None
    return adiabatic_section_m2(fault_a, clear_s)
