"""The vehicle side: operating corners, source resistance, cable, fuse and running time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from subwright.base.errors import RangeError
from subwright.base.standards import FUSE_TIMES, CableSize, FuseRating
from subwright.base.units import show
from subwright.physics.batteries import BATTERIES, corner_defaults
from subwright.physics.electrical import conductor_temperature_c, peukert_time_s
from subwright.stages.common import Corner, Loss, PartUse, Rating
from subwright.stages.supply_sizing import (
    clear_time_s,
    fault_section_m2,
    fuse_voltage_v,
    pick_cable,
    pick_fuse,
    rating_basis,
    run_ohm,
)
from subwright.stages.supply_spec import SupplyDemand, SupplyResult, SupplySpec

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
_ORDER: Final = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)


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
    spec: SupplySpec,
    demand: SupplyDemand,
    *,
    within_ohm: float = 0.0,
    min_section_m2: float = 0.0,
    min_fuse_a: float = 0.0,
) -> SupplyResult:
    """Size cable and fuse for a demand, and add up the source resistance.

    Parameters
    ----------
    spec : the supply's spec.
    demand : currents, A.
    within_ohm : what the unit itself has in the battery's path, reverse-polarity switch and shunt, Ω: part of
        the source, but not of a short circuit ahead of it.
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
    fuse = pick_fuse(spec, max(fuse_min_a, min_fuse_a), fault_a)
    row, limit_a = pick_cable(spec, demand, nominal_v, fuse.rated_a, min_section_m2)
    rated_a, (conductor_limit_c, reference_c) = rating_basis(row)

    conductor_c = conductor_temperature_c(
        worst_rms_a, rated_a, spec.ambient_max_c, conductor_limit_c, reference_c
    )
    conductor_c = min(conductor_c, 200.0)  # an overloaded stated section is a finding, not a crash
    cable_ohm = run_ohm(spec, row, conductor_c)
    drop_v = demand.average_a * cable_ohm
    fault_far_a = corners[Corner.CHARGING] / (
        battery_ohm + spec.contact_resistance_ohm + run_ohm(spec, row, spec.ambient_max_c)
    )
    clear_s = clear_time_s(fuse, fault_far_a)
    source_ohm = battery_ohm + cable_ohm + spec.contact_resistance_ohm + within_ohm
    battery = BATTERIES[spec.battery]
    runtime_s = battery.usable * peukert_time_s(
        spec.capacity_ah * _AMPERE_HOUR_S, demand.programme_average_a, battery.peukert
    )
    opening = next(t for t in FUSE_TIMES[fuse.body] if t.ratio == _FUSE_TEST_RATIO)
    marked_v = fuse_voltage_v(fuse, corners[Corner.MAX])
    return_m = spec.cable_length_m if spec.return_path == "cable" else 0.0
    result_drop = drop_v / nominal_v
    return SupplyResult(
        corners=corners,
        corner_reasons=corner_reasons,
        terminal_v={c: corners[c] - amps * source_ohm for c, amps in demand.corner_average_a.items()},
        corner_average_a=dict(demand.corner_average_a),
        battery_resistance_ohm=battery_ohm,
        cable_resistance_ohm=cable_ohm,
        contact_resistance_ohm=spec.contact_resistance_ohm + within_ohm,
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
        fuse_voltage_v=marked_v,
        fuse_voltage_needed_v=corners[Corner.MAX],
        fuse_breaking_a=fuse.breaking_a,
        fuse_min_a=fuse_min_a,
        fuse_max_a=limit_a,
        fuse_open_at_135_a=_FUSE_TEST_RATIO * fuse.rated_a,
        fuse_open_135_s=(opening.shortest_s, opening.longest_s),
        fault_a=fault_a,
        fault_far_a=fault_far_a,
        fault_clear_s=clear_s,
        fault_section_m2=fault_section_m2(fault_far_a, clear_s),
        fuse_distance_m=_FUSE_DISTANCE_M,
        fuse_distance_sheathed_m=_FUSE_DISTANCE_SHEATHED_M,
        cable_positive_m=spec.cable_length_m,
        cable_return_m=return_m,
        runtime_s=runtime_s,
        usable_ah=battery.usable * spec.capacity_ah,
        ambient_min_c=spec.ambient_min_c,
        ambient_max_c=spec.ambient_max_c,
        parts=_parts(spec, row, fuse, limit_a, worst_rms_a, corners[Corner.MAX], marked_v, fault_a),
        losses=_losses(demand, cable_ohm, spec.contact_resistance_ohm + within_ohm, crest),
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


def _losses(demand: SupplyDemand, cable_ohm: float, contact_ohm: float, crest: float) -> tuple[Loss, ...]:
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
            ("supply contacts and fuse", contact_ohm),
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
