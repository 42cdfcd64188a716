"""What stands between the battery and the circuit: wishes, needs and results."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import Resistance, StageSpec, Time, choice, quantity
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = [
    "BatteryGuardInput",
    "BatteryGuardResult",
    "BatteryGuardSpec",
    "GuardedPart",
    "NegativeStress",
    "PulseStress",
    "ReverseNeed",
    "ReverseSwitch",
    "ReversedPart",
    "ShuntDiode",
    "SurgeClamp",
]

ReverseKind = Literal["none", "n_mosfet", "p_mosfet", "shunt_diode"]


class BatteryGuardSpec(StageSpec):
    """What the builder may say about a reversed battery and pulses."""

    reverse: ReverseKind = choice(
        "none",
        why="Against a reversed battery: N-channel MOSFET in the return, P-channel in the positive lead, a "
        "diode "
        "across the input that blows the fuse, or nothing.",
    )
    reverse_mosfet: str = choice("auto", why="Its MOSFET, by id from the library or drawer.")
    reverse_mosfets: int | None = choice(None, why="How many of them in parallel, 1 to 6; auto: by heat.")
    reverse_diode: str = choice("auto", why="Rectifier for the diode across the input, by id.")
    clamp: str = choice(
        "auto", why="Suppressor diode behind the fuse: an id, auto, or none. Auto fits one at 12 and 24 V."
    )
    alternator: Literal["clamped", "unclamped"] = choice(
        "clamped", why="Whether the alternator has a central load-dump clamp, as those since about 2000 have."
    )
    dump_resistance_ohm: Resistance | None = quantity(
        None,
        low="0.2 ohm",
        high="10 ohm",
        why="Alternator's source resistance in an unclamped load dump; auto: the least of ISO 16750-2.",
    )
    dump_width_s: Time | None = quantity(
        None,
        low="10 ms",
        high="1 s",
        why="Width of an unclamped load dump down to a tenth; auto: the longest of ISO 16750-2.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ReverseNeed:
    """What the reverse-polarity part has to carry and block.

    Attributes
    ----------
    rms_a : battery current with a full sine, A. battery_max_v, battery_low_v : highest and low corner, V.
    ambient_c : hottest air, °C.
    """

    rms_a: float
    battery_max_v: float
    battery_low_v: float
    ambient_c: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ReverseSwitch:
    """A series MOSFET against a reversed battery.

    Attributes
    ----------
    kind : N-channel in the return, or P-channel in the positive lead. mosfet : id. count : in parallel.
    resistance_ohm : all together at the stated junction temperature, Ω. rms_a : it was sized for, A.
    loss_w : all together at that current, W. junction_c, junction_limit_c : without a heatsink, °C.
    blocks_v, rating_v : a reversed battery on charged input capacitors, and the rating, V.
    gate_ohm, clamp_id, clamp_v : gate resistor, Ω, and its zener, V. gate_low_v, gate_low_limit_v : gate
    drive
        at the low corner and what the on resistance is stated at, V. gate_high_v, gate_limit_v : V.
    turn_off_s : gate resistor times gate charge: how long a sudden reversal flows, s.
    avalanche_limit_j : single-pulse energy of one device, J; 0 where the sheet gives none.
    """

    kind: Literal["n_mosfet", "p_mosfet"]
    mosfet: str
    count: int
    resistance_ohm: float
    rms_a: float
    loss_w: float
    junction_c: float
    junction_limit_c: float
    blocks_v: float
    rating_v: float
    gate_ohm: float
    clamp_id: str
    clamp_v: float
    gate_low_v: float
    gate_low_limit_v: float
    gate_high_v: float
    gate_limit_v: float
    turn_off_s: float
    avalanche_limit_j: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ShuntDiode:
    """A diode across the input that blows the fuse.

    Attributes
    ----------
    rectifier : id. fault_a : current of the reversed battery, A. surge_a2s : what the diode stands, A²s.
    fuse_a2s : what the fuse may let through before it opens, A²s.
    """

    rectifier: str
    count: int
    fault_a: float
    surge_a2s: float
    fuse_a2s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SurgeClamp:
    """The suppressor diode behind the fuse.

    Attributes
    ----------
    suppressor : id. count : in parallel. standoff_v, standoff_needed_v : V.
    break_min_v : where the earliest sample begins to conduct, V.
    peak_v, weakest_v : highest clamped voltage, and the weakest rating behind it, V.
    peak_a, energy_j : severest pulse, A and J. power_w, power_limit_w : its peak power, and the limit for its
        width, W for one diode.
    leakage_a : A.
    """

    suppressor: str
    count: int
    standoff_v: float
    standoff_needed_v: float
    break_min_v: float
    peak_v: float
    weakest_v: float
    peak_a: float
    energy_j: float
    power_w: float
    power_limit_w: float
    leakage_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GuardedPart:
    """A part that sees the battery: its role, id and highest battery voltage in V, steady or pulsed."""

    role: str
    part_id: str
    limit_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ReversedPart:
    """What a part on the battery side stands when the supply is pulled below zero.

    Attributes
    ----------
    role, part_id : as in the bill. lowest_v : it stands directly on the supply, V.
    most_a : it stands backwards, A; None where the voltage counts. series_ohm : between supply and part, Ω;
        None where the whole pulse's current may flow through it.
    """

    role: str
    part_id: str
    lowest_v: float = 0.0
    most_a: float | None = None
    series_ohm: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class NegativeStress:
    """One negative pulse at one part: V at least, or A at most, and what holds the supply there."""

    pulse: str
    role: str
    part_id: str
    unit: Literal["V", "A"]
    value: float
    limit: float
    held_by: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PulseStress:
    """One pulse or over-voltage at the parts behind the guard.

    Attributes
    ----------
    name : of the pulse. at_v : at the parts, V. weakest, limit_v : part with the lowest rating, V.
    held_by : what keeps it there.
    """

    name: str
    at_v: float
    weakest: str
    limit_v: float
    held_by: str


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryGuardInput:
    """What the other stages tell this one.

    Attributes
    ----------
    system_v : V. corners : battery at rest, V. parts : what sees the battery.
    capacitance_f, esr_ohm : input capacitors, F and Ω; 0 F where there are none.
    reversed_parts : what they stand below zero. body_diode_v : of the switches from ground to the supply, V;
        None where no path leads through them.
    source_ohm : battery, cable and contacts, Ω. fuse_a : rating, A. fuse_a2s : it lets through at most, A²s.
    """

    system_v: int
    corners: Mapping[Corner, float]
    parts: tuple[GuardedPart, ...]
    capacitance_f: float
    esr_ohm: float
    source_ohm: float
    fuse_a: float
    fuse_a2s: float | None
    reversed_parts: tuple[ReversedPart, ...] = ()
    body_diode_v: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryGuardResult:
    """Reverse polarity, clamp and pulses.

    Attributes
    ----------
    reverse : series switch; diode : across the input; clamp : suppressor; each None where not fitted.
    stresses : each pulse at the parts behind it. negative : each negative pulse at each part.
    reversed_j : avalanche energy of pulse 1 in the series switch with nothing in front of it, J; 0 where
        there is none.
    """

    kind: ReverseKind
    reverse: ReverseSwitch | None
    diode: ShuntDiode | None
    clamp: SurgeClamp | None
    guarded: tuple[GuardedPart, ...]
    stresses: tuple[PulseStress, ...]
    negative: tuple[NegativeStress, ...]
    reversed_j: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
