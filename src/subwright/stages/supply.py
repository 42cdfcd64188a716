"""The vehicle side: operating corners, source resistance, cable, fuse and running time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.fields import (
    Area,
    BatteryCapacity,
    Celsius,
    Current,
    Length,
    Ratio,
    Resistance,
    StageSpec,
    Voltage,
    choice,
    quantity,
)
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
from subwright.physics.batteries import BATTERIES, BatteryKind, corner_defaults
from subwright.physics.electrical import (
    adiabatic_section_m2,
    cable_loop_resistance_ohm,
    conductor_temperature_c,
    derating_factor,
    peukert_time_s,
)
from subwright.stages.common import Contributor, Corner, Loss, PartUse, Rating

__all__ = [
    "SupplyDemand",
    "SupplyResult",
    "SupplySpec",
    "battery_resistance_ohm",
    "design_supply",
    "supply_corners",
]

# ABYC E-11: along the wire from the battery's positive pole; the second figure for wire in a sheath.
_FUSE_DISTANCE_M: Final = 0.178
_FUSE_DISTANCE_SHEATHED_M: Final = 1.83
# Fuse makers ask for a quarter in hand where the load is continuous.
_FUSE_CONTINUOUS_LOADING: Final = 0.75
_FUSE_TEST_RATIO: Final = 1.35
_AMPERE_HOUR_S: Final = 3600.0
_ADIABATIC_LIMIT_S: Final = 5.0  # IEC 60364-5-54
# Conductor and air temperature behind each table of cable ratings, °C.
_RATING_BASIS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"thin-wall-cable": (100.0, 25.0), "din-vde-0276-1000": (70.0, 30.0)}
)
_FUSE_BODIES: Final[tuple[FuseBody, ...]] = ("blade C", "blade E", "strip SF30", "strip SF51")


_ORDER: Final = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)


class SupplySpec(StageSpec):
    """What the build file says about the battery, its cable and the place it works in."""

    battery: BatteryKind = choice("lead-acid", why="Chemistry: flooded lead-acid, AGM, or LFP (LiFePO4).")
    system_v: Literal[12, 24, 36, 48] = choice(12, why="Nominal system voltage.")
    capacity_ah: BatteryCapacity = quantity(
        "70 Ah", low="4 Ah", high="2000 Ah", why="Battery capacity at the 20 hour rate."
    )
    internal_resistance_ohm: Resistance | None = quantity(
        None,
        low="0.1 mohm",
        high="1 ohm",
        why="Battery's own resistance; auto takes the usual figure of the chemistry over the capacity.",
    )
    min_v: Voltage | None = quantity(
        None, low="3 V", high="60 V", why="Lowest voltage while cranking; auto by chemistry and system."
    )
    low_v: Voltage | None = quantity(
        None, low="6 V", high="60 V", why="Tired battery, engine off: the lowest at which it must play."
    )
    nominal_v: Voltage | None = quantity(
        None, low="6 V", high="60 V", why="Voltage at which the power is stated; auto by chemistry."
    )
    charging_v: Voltage | None = quantity(
        None, low="6 V", high="64 V", why="Engine running or charger on; auto by chemistry."
    )
    max_v: Voltage | None = quantity(
        None, low="6 V", high="64 V", why="Highest steady voltage that it must stand while playing."
    )
    cable_length_m: Length = quantity(
        "4 m",
        low="0.1 m",
        high="30 m",
        why="One-way run from battery + to the unit; the return is as long unless the chassis carries it.",
    )
    return_path: Literal["cable", "chassis"] = choice(
        "cable", why="Whether the current returns through its own cable or through the vehicle's body."
    )
    chassis_resistance_ohm: Resistance = quantity(
        "2 mohm",
        low="0.1 mohm",
        high="100 mohm",
        why="Body and bolted joints, used with a chassis return; common practice, no source: measure it.",
    )
    section_m2: Area | None = quantity(
        None,
        low="0.5 mm2",
        high="120 mm2",
        why="Copper section of the supply cable; auto picks the smallest that holds drop, current and fuse.",
    )
    cable_standard: Literal["vehicle", "iec60228"] = choice(
        "vehicle", why="Table of resistances: vehicle cable (ISO 6722-1) or flexible class 5 (IEC 60228)."
    )
    max_drop: Ratio = quantity(
        "3 %", low="0.5 %", high="15 %", why="Cable drop at full sine over the nominal voltage."
    )
    contact_resistance_ohm: Resistance = quantity(
        "3 mohm",
        low="0.1 mohm",
        high="100 mohm",
        why="Fuse, holder, lugs and terminals together; common practice, no source: measure it.",
    )
    ambient_min_c: Celsius = quantity("-10 °C", low="-40 °C", high="40 °C", why="Coldest air at the unit.")
    ambient_max_c: Celsius = quantity(
        "50 °C", low="15 °C", high="65 °C", why="Hottest air at unit and cable."
    )
    fuse_a: Current | None = quantity(
        None, low="1 A", high="500 A", why="Fuse at the battery, a standard rating; auto picks it."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyDemand:
    """What the rest of the build draws from the battery.

    Attributes
    ----------
    average_a, rms_a, peak_a : at the nominal corner with a full sine, A.
    programme_average_a : with programme, A.
    worst_average_a : the highest average over all corners with a full sine, A.
    idle_a : at idle, A.
    corner_average_a : average with a full sine at each corner it plays at, A; may be empty.
    """

    average_a: float
    rms_a: float
    peak_a: float
    programme_average_a: float
    worst_average_a: float
    idle_a: float = 0.0
    corner_average_a: Mapping[Corner, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyResult:
    """The supply as built: every figure at the cable's working temperature unless it says otherwise.

    Attributes
    ----------
    corners : open-circuit voltage, V. corner_reasons : where each comes from.
    terminal_v : voltage at the unit with a full sine, V, for the corners whose current is known.
    corner_average_a : current at those corners, A.
    battery_resistance_ohm, cable_resistance_ohm (out and return, hot), contact_resistance_ohm,
    source_resistance_ohm (their sum) : ohm.
    section_m2 : chosen. section_needed_m2 : by the drop alone, m².
    section_current_limit_a : what the cable carries in this heat, A; section_rated_a : in free air at the
    rating's temperature. derating : their ratio. conductor_c : conductor at full sine, °C.
    drop_v, peak_drop_v : cable and return, at average and peak current, V. drop_ratio, drop_limit_ratio :
    ``drop_v`` over the nominal voltage, and its limit.
    fuse_a, fuse_body, fuse_voltage_v, fuse_voltage_needed_v, fuse_breaking_a : the link.
    fuse_min_a : least rating that carries the load. fuse_max_a : most that protects the cable.
    fuse_open_at_135_a : 1.35 times the rating; fuse_open_135_s : (earliest, latest) opening there, s.
    fault_a : short circuit right behind the fuse, A. fault_far_a : at the unit's end of the cable, A.
    fault_clear_s : latest opening at ``fault_far_a``, s, or None where the standard sets no limit.
    fault_section_m2 : least section that survives it, m²; None where the fuse may take longer than 5 s.
    fuse_distance_m, fuse_distance_sheathed_m : farthest place of the fuse from the battery, m.
    cable_positive_m, cable_return_m : lengths to buy, m.
    runtime_s : from full with programme, s; usable_ah : capacity counted on.
    """

    corners: Mapping[Corner, float]
    corner_reasons: Mapping[Corner, str]
    terminal_v: Mapping[Corner, float]
    corner_average_a: Mapping[Corner, float]
    battery_resistance_ohm: float
    cable_resistance_ohm: float
    contact_resistance_ohm: float
    source_resistance_ohm: float
    section_m2: float
    section_needed_m2: float
    section_rated_a: float
    section_current_limit_a: float
    derating: float
    conductor_c: float
    drop_v: float
    peak_drop_v: float
    drop_ratio: float
    drop_limit_ratio: float
    fuse_a: float
    fuse_body: str
    fuse_voltage_v: float
    fuse_voltage_needed_v: float
    fuse_breaking_a: float
    fuse_min_a: float
    fuse_max_a: float
    fuse_open_at_135_a: float
    fuse_open_135_s: tuple[float | None, float | None]
    fault_a: float
    fault_far_a: float
    fault_clear_s: float | None
    fault_section_m2: float | None
    fuse_distance_m: float
    fuse_distance_sheathed_m: float
    cable_positive_m: float
    cable_return_m: float
    runtime_s: float
    usable_ah: float
    ambient_min_c: float
    ambient_max_c: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]


def supply_corners(spec: SupplySpec) -> tuple[Mapping[Corner, float], Mapping[Corner, str]]:
    """Open-circuit voltage of each corner, stated or by default.

    Parameters
    ----------
    spec : the supply's spec.

    Returns
    -------
    (voltage in V, where it comes from), both by corner.

    Raises
    ------
    RangeError : the corners are not in rising order.

    Source
    ------
    Supply codes of ISO 16750-2 [iso-16750-2] where they exist, otherwise per-cell habits
    [common-practice]; each reason says which.
    """
    defaults = corner_defaults(spec.battery, spec.system_v)
    stated = (spec.min_v, spec.low_v, spec.nominal_v, spec.charging_v, spec.max_v)
    volts: dict[Corner, float] = {}
    reasons: dict[Corner, str] = {}
    for corner, value, default in zip(_ORDER, stated, defaults, strict=True):
        volts[corner] = default.volts if value is None else value
        reasons[corner] = default.why if value is None else "stated in the build file"
    for lower, upper in itertools.pairwise(_ORDER):
        if volts[lower] > volts[upper]:
            raise RangeError(
                message="The battery's corners must rise from cranking to the highest voltage.",
                quantity=f"{lower.value} voltage",
                value=show(volts[lower], "voltage"),
                limit=f"at most the {upper.value} voltage, {show(volts[upper], 'voltage')}",
                remedy=f"Change {lower.value} or {upper.value} under [supply].",
            )
    return MappingProxyType(volts), MappingProxyType(reasons)


def battery_resistance_ohm(spec: SupplySpec) -> float:
    """Internal resistance of the battery, stated or from its capacity.

    Parameters
    ----------
    spec : the supply's spec.

    Returns
    -------
    resistance, ohm: Ω·Ah of the chemistry over the capacity, times the 12 V blocks in series.

    Source
    ------
    Healthy batteries at room temperature; no document to name [common-practice].
    """
    if spec.internal_resistance_ohm is not None:
        return spec.internal_resistance_ohm
    return BATTERIES[spec.battery].ohm_ah / spec.capacity_ah * spec.system_v / 12.0


def design_supply(
    spec: SupplySpec, demand: SupplyDemand, *, min_section_m2: float = 0.0, min_fuse_a: float = 0.0
) -> SupplyResult:
    """Size cable and fuse for a demand, and add up the source resistance.

    Parameters
    ----------
    spec : the supply's spec.
    demand : currents, A.
    min_section_m2, min_fuse_a : lower bounds on an automatic pick, m² and A, so that an iteration can keep
        its picks from falling back.

    Returns
    -------
    SupplyResult.

    Raises
    ------
    RangeError : contradictory corners or currents, an unknown section or fuse rating.
    NoSolutionError : no listed cable and fuse carry the demand.

    Source
    ------
    Resistances [iso-6722-1] or [iec-60228], copper [iec-60028], ratings [thin-wall-cable] and
    [din-vde-0276-1000], fuses [iso-8820-3] and [iso-8820-5], place and rule of the fuse [abyc-e11], running
    time [peukert1897].
    """
    _check(demand)
    corners, corner_reasons = supply_corners(spec)
    nominal_v = corners[Corner.NOMINAL]
    battery_ohm = battery_resistance_ohm(spec)
    crest = demand.rms_a / demand.average_a
    worst_rms_a = demand.worst_average_a * crest
    fuse_min_a = max(worst_rms_a, demand.programme_average_a / _FUSE_CONTINUOUS_LOADING)
    fault_a = corners[Corner.CHARGING] / (battery_ohm + 0.5 * spec.contact_resistance_ohm)
    fuse = _pick_fuse(spec, max(fuse_min_a, min_fuse_a), fault_a)
    row, limit_a = _pick_cable(spec, demand, nominal_v, fuse.rated_a, min_section_m2)
    rated_a, (conductor_limit_c, reference_c) = _rating(row)

    conductor_c = conductor_temperature_c(
        worst_rms_a, rated_a, spec.ambient_max_c, conductor_limit_c, reference_c
    )
    conductor_c = min(conductor_c, 200.0)  # an overloaded stated section is a finding, not a crash
    cable_ohm = _run_ohm(spec, row, conductor_c)
    drop_v = demand.average_a * cable_ohm
    fault_far_a = corners[Corner.CHARGING] / (
        battery_ohm + spec.contact_resistance_ohm + _run_ohm(spec, row, spec.ambient_max_c)
    )
    clear_s = _clear_time_s(fuse, fault_far_a)
    source_ohm = battery_ohm + cable_ohm + spec.contact_resistance_ohm
    battery = BATTERIES[spec.battery]
    runtime_s = battery.usable * peukert_time_s(
        spec.capacity_ah * _AMPERE_HOUR_S, demand.programme_average_a, battery.peukert
    )
    opening = next(t for t in FUSE_TIMES[fuse.body] if t.ratio == _FUSE_TEST_RATIO)
    fuse_voltage_v = _fuse_voltage(fuse, corners[Corner.MAX])
    return_m = spec.cable_length_m if spec.return_path == "cable" else 0.0
    result_drop = drop_v / nominal_v
    return SupplyResult(
        corners=corners,
        corner_reasons=corner_reasons,
        terminal_v={c: corners[c] - amps * source_ohm for c, amps in demand.corner_average_a.items()},
        corner_average_a=dict(demand.corner_average_a),
        battery_resistance_ohm=battery_ohm,
        cable_resistance_ohm=cable_ohm,
        contact_resistance_ohm=spec.contact_resistance_ohm,
        source_resistance_ohm=source_ohm,
        section_m2=row.section_m2,
        section_needed_m2=row.section_m2 * result_drop / spec.max_drop,
        section_rated_a=rated_a,
        section_current_limit_a=limit_a,
        derating=limit_a / rated_a,
        conductor_c=conductor_c,
        drop_v=drop_v,
        peak_drop_v=demand.peak_a * cable_ohm,
        drop_ratio=result_drop,
        drop_limit_ratio=spec.max_drop,
        fuse_a=fuse.rated_a,
        fuse_body=fuse.body,
        fuse_voltage_v=fuse_voltage_v,
        fuse_voltage_needed_v=corners[Corner.MAX],
        fuse_breaking_a=fuse.breaking_a,
        fuse_min_a=fuse_min_a,
        fuse_max_a=limit_a,
        fuse_open_at_135_a=_FUSE_TEST_RATIO * fuse.rated_a,
        fuse_open_135_s=(opening.shortest_s, opening.longest_s),
        fault_a=fault_a,
        fault_far_a=fault_far_a,
        fault_clear_s=clear_s,
        fault_section_m2=_fault_section_m2(fault_far_a, clear_s),
        fuse_distance_m=_FUSE_DISTANCE_M,
        fuse_distance_sheathed_m=_FUSE_DISTANCE_SHEATHED_M,
        cable_positive_m=spec.cable_length_m,
        cable_return_m=return_m,
        runtime_s=runtime_s,
        usable_ah=battery.usable * spec.capacity_ah,
        ambient_min_c=spec.ambient_min_c,
        ambient_max_c=spec.ambient_max_c,
        parts=_parts(spec, row, fuse, limit_a, worst_rms_a, corners[Corner.MAX], fuse_voltage_v, fault_a),
        losses=_losses(spec, demand, cable_ohm, crest),
        contributors=(),
        sources=_sources(spec, row, fuse),
        reasons=_reasons(spec, row, fuse, limit_a, result_drop, fuse_min_a, battery_ohm, fault_a),
    )


def _check(demand: SupplyDemand) -> None:
    positive = all(
        math.isfinite(value) and value > 0.0
        for value in (
            demand.average_a,
            demand.rms_a,
            demand.peak_a,
            demand.programme_average_a,
            demand.worst_average_a,
        )
    )
    ordered = demand.average_a <= demand.rms_a * (1 + 1e-9) and demand.rms_a <= demand.peak_a * (1 + 1e-9)
    if not (positive and ordered and demand.worst_average_a >= demand.average_a * (1 - 1e-9)):
        raise RangeError(
            message="The battery current must be positive, with average ≤ rms ≤ peak and worst ≥ nominal.",
            quantity="battery current (average, rms, peak, worst)",
            value=", ".join(
                f"{a:.4g} A" for a in (demand.average_a, demand.rms_a, demand.peak_a, demand.worst_average_a)
            ),
            limit="0 < average ≤ rms ≤ peak, worst ≥ average",
            remedy="Check the power and the converter behind this demand.",
        )


def _run_ohm(spec: SupplySpec, row: CableSize, conductor_c: float) -> float:
    """Out and return at conductor temperature; the vehicle's body counts as the return where it is one."""
    if spec.return_path == "cable":
        return cable_loop_resistance_ohm(spec.cable_length_m, row.resistance_ohm_per_m, conductor_c)
    out = cable_loop_resistance_ohm(spec.cable_length_m, row.resistance_ohm_per_m, conductor_c, 0.0)
    return out + spec.chassis_resistance_ohm


def _rating(row: CableSize) -> tuple[float, tuple[float, float]]:
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
    rated_a, (conductor_limit_c, reference_c) = _rating(row)
    return rated_a * min(1.0, derating_factor(ambient_c, conductor_limit_c, reference_c))


@cache
def _candidates(
    standard: Literal["vehicle", "iec60228"], ambient_c: float
) -> tuple[tuple[CableSize, float], ...]:
    """Listed cables with a rating, thinnest first, with what each carries at this air temperature."""
    return tuple(
        (row, _limit_a(row, ambient_c)) for row in cables(standard).values() if row.current_a is not None
    )


def _pick_cable(
    spec: SupplySpec, demand: SupplyDemand, nominal_v: float, fuse_a: float, min_section_m2: float
) -> tuple[CableSize, float]:
    if spec.section_m2 is not None:
        row = cable(spec.section_m2, spec.cable_standard)
        return row, _limit_a(row, spec.ambient_max_c)
    candidates = _candidates(spec.cable_standard, spec.ambient_max_c)
    for row, limit_a in candidates:
        if row.section_m2 < min_section_m2 * (1.0 - 1e-9) or limit_a < fuse_a:
            continue
        rated_a, (limit_c, reference_c) = _rating(row)
        warm_c = conductor_temperature_c(
            demand.worst_average_a * demand.rms_a / demand.average_a,
            rated_a,
            spec.ambient_max_c,
            limit_c,
            reference_c,
        )
        if demand.average_a * _run_ohm(spec, row, warm_c) <= spec.max_drop * nominal_v:
            return row, limit_a
    thickest, most_a = candidates[-1]
    raise NoSolutionError(
        message="No listed cable holds both the voltage drop and the fuse's current.",
        quantity="supply current",
        value=f"{demand.average_a:.4g} A, fuse {fuse_a:g} A",
        limit=f"{show(thickest.section_m2, 'area')} carries {most_a:.4g} A in {spec.ambient_max_c:g} °C air",
        source=thickest.origin.source,
        remedy="Shorten the run, allow more drop, raise the system voltage, or lower the power.",
    )


def _pick_fuse(spec: SupplySpec, need_a: float, fault_a: float) -> FuseRating:
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


def _fuse_voltage(fuse: FuseRating, needed_v: float) -> float:
    """The lowest voltage marking that covers the need, or the highest there is."""
    return min((v for v in fuse.voltages_v if v >= needed_v), default=max(fuse.voltages_v))


def _clear_time_s(fuse: FuseRating, fault_a: float) -> float | None:
    """Latest opening; past the last listed multiple the melting integral I² t is taken as constant."""
    ratios = [row.ratio for row in FUSE_TIMES[fuse.body]]
    ratio = fault_a / fuse.rated_a
    if ratio < ratios[0]:
        return None
    longest_s = opening_time(fuse.body, min(ratio, ratios[-1])).longest_s
    return None if longest_s is None else longest_s * min(1.0, ratios[-1] / ratio) ** 2


def _fault_section_m2(fault_a: float, clear_s: float | None) -> float | None:
    if clear_s is None or clear_s > _ADIABATIC_LIMIT_S:
        return None
    return adiabatic_section_m2(fault_a, clear_s)


def _parts(
    spec: SupplySpec,
    row: CableSize,
    fuse: FuseRating,
    limit_a: float,
    worst_rms_a: float,
    max_v: float,
    fuse_voltage_v: float,
    fault_a: float,
) -> tuple[PartUse, ...]:
    section = f"{row.section_m2 * 1e6:g} mm²"
    kind = "vehicle cable" if spec.cable_standard == "vehicle" else "flexible class 5 cable"
    at = f"{Corner.MAX.value}, {spec.ambient_max_c:g} °C"
    current = Rating(
        quantity="continuous current",
        unit="A",
        applied=worst_rms_a,
        limit=limit_a,
        source=row.current_origin.source if row.current_origin else "",
        at=at,
    )
    lengths = [("supply cable, positive", spec.cable_length_m)]
    if spec.return_path == "cable":
        lengths.append(("supply cable, return", spec.cable_length_m))
    wires = tuple(
        PartUse(
            role=role,
            letter="W",
            part_id=f"{spec.cable_standard}-{section}",
            description=f"{kind}, copper, {section}",
            quantity=length,
            unit="m",
            value=section,
            ratings=(current,),
            provenance=row.origin.where,
        )
        for role, length in lengths
    )
    colour = f", {fuse.colour}" if fuse.colour else ""
    link = PartUse(
        role="supply fuse",
        letter="F",
        part_id=f"{fuse.body} {fuse.rated_a:g} A",
        description=f"fuse link {fuse.body}, {fuse.rated_a:g} A, {fuse_voltage_v:g} V{colour}, with holder",
        quantity=1,
        value=f"{fuse.rated_a:g} A",
        ratings=(
            Rating(
                quantity="continuous current",
                unit="A",
                applied=worst_rms_a,
                limit=fuse.rated_a,
                source=fuse.origin.source,
                at=at,
            ),
            Rating(
                quantity="voltage", unit="V", applied=max_v, limit=fuse_voltage_v, source=fuse.origin.source
            ),
            Rating(
                quantity="breaking current",
                unit="A",
                applied=fault_a,
                limit=fuse.breaking_a,
                source=fuse.origin.source,
                at="short circuit behind the fuse",
            ),
        ),
        provenance=fuse.origin.where,
    )
    return (*wires, link)


def _losses(spec: SupplySpec, demand: SupplyDemand, cable_ohm: float, crest: float) -> tuple[Loss, ...]:
    programme2 = (demand.programme_average_a * crest) ** 2
    return tuple(
        Loss(
            where=where,
            full_w=demand.rms_a**2 * ohm,
            programme_w=programme2 * ohm,
            idle_w=demand.idle_a**2 * ohm,
        )
        for where, ohm in (
            ("supply cable", cable_ohm),
            ("supply contacts and fuse", spec.contact_resistance_ohm),
        )
    )


def _sources(spec: SupplySpec, row: CableSize, fuse: FuseRating) -> tuple[str, ...]:
    keys = [row.origin.source, "iec-60028", fuse.origin.source, "abyc-e11", "peukert1897", "iso-16750-2"]
    if row.current_origin is not None:
        keys.append(row.current_origin.source)
    if spec.internal_resistance_ohm is None:
        keys.append("common-practice")
    return tuple(dict.fromkeys(keys))


def _reasons(
    spec: SupplySpec,
    row: CableSize,
    fuse: FuseRating,
    limit_a: float,
    drop_ratio: float,
    fuse_min_a: float,
    battery_ohm: float,
    fault_a: float,
) -> tuple[str, ...]:
    picked = "stated" if spec.section_m2 is not None else "the thinnest listed cable that holds both limits"
    section = f"{row.section_m2 * 1e6:g} mm²"
    lines = [
        f"Cable {section} ({picked}): drop {drop_ratio * 100:.1f} % of {spec.max_drop * 100:.1f} %, "
        f"carries {limit_a:.0f} A in {spec.ambient_max_c:g} °C air.",
        f"Fuse {fuse.rated_a:g} A ({fuse.body}): the load needs at least {fuse_min_a:.1f} A, "
        f"the cable allows {limit_a:.0f} A.",
        f"The fuse sits within {_FUSE_DISTANCE_M * 1e3:.0f} mm of battery + along the wire, or within "
        f"{_FUSE_DISTANCE_SHEATHED_M:.2f} m where the wire is sheathed (ABYC E-11); "
        "the code that holds where you are comes first.",
    ]
    if fault_a > fuse.breaking_a:
        lines.append(
            f"A short circuit may reach {fault_a:.0f} A, more than this link is made to break "
            f"({fuse.breaking_a:.0f} A): use one whose data sheet states a higher breaking capacity."
        )
    if spec.internal_resistance_ohm is None:
        lines.append(
            f"Battery resistance {show(battery_ohm, 'resistance')}: {BATTERIES[spec.battery].ohm_ah:g} Ω·Ah "
            f"over {spec.capacity_ah:g} Ah for each 12 V, a healthy battery at room temperature "
            "(common practice, no source). Measure it under load and state it."
        )
    return tuple(lines)
