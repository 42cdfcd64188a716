"""What the build file says about the supply, what is asked of it, and what the supply stage answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

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
from subwright.physics.batteries import BatteryKind
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = ["SupplyDemand", "SupplyResult", "SupplySpec"]


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
