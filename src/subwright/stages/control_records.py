"""What the switch-on control takes and hands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import Current, StageSpec, Time, Voltage, choice, quantity
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = [
    "ControlInput",
    "ControlResult",
    "ControlSpec",
    "Event",
    "Remote",
    "StandbyItem",
    "Timer",
    "TimerSupply",
]


class ControlSpec(StageSpec):
    """What the builder may say about switching on and off."""

    remote: Literal["line", "none"] = choice(
        "line", why="Switched on by a low-current remote line, or always on while the battery is connected."
    )
    remote_on_v: Voltage | None = quantity(
        None,
        low="2 V",
        high="30 V",
        why="Voltage of the remote line at which it switches on; auto: 40 % of the nominal battery.",
    )
    remote_current_a: Current = quantity(
        "1 mA", low="50 uA", high="20 mA", why="Most that it may draw from the remote line, highest battery."
    )
    debounce_s: Time = quantity(
        "50 ms", low="5 ms", high="1 s", why="How long the remote line must be there before anything starts."
    )
    unmute_s: Time = quantity(
        "1 s",
        low="0.1 s",
        high="10 s",
        why="From the control supply to the amplifier's un-mute; rails and op-amps must have settled.",
    )
    speaker_s: Time = quantity(
        "2.2 s",
        low="0.2 s",
        high="20 s",
        why="From the control supply until the loudspeaker is connected; after the un-mute.",
    )
    parked_s: Time = quantity(
        "720 h",
        low="24 h",
        high="17520 h",
        why="How long the vehicle stands; standby may take a tenth of the battery in that time.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class StandbyItem:
    """One path that goes on drawing while it is off, A."""

    name: str
    current_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ControlInput:
    """What the other stages tell this one.

    Attributes
    ----------
    corners : battery at rest, V. capacity_ah : of the battery, Ah.
    control_a : what the switched supply feeds (controller, comparators, op-amps), A.
    leaks : paths that stay on the battery when it is off. ungated : the same, but only without a remote line.
    soft_start_s : until the rails stand, s; 0 straight from the battery.
    rail_hold_s : how long the rails stay up once the converter stops, idling, s; None without rails.
    speaker_open_s : release of the speaker relay or switch, s; None where none is fitted.
    highest_v : pulse that the control transistor has to stand, V.
    """

    corners: Mapping[Corner, float]
    capacity_ah: float
    control_a: float
    leaks: tuple[StandbyItem, ...]
    ungated: tuple[StandbyItem, ...]
    soft_start_s: float
    rail_hold_s: float | None
    speaker_open_s: float | None
    highest_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Remote:
    """Remote line to a transistor, which pulls the base of the supply switch.

    Attributes
    ----------
    series_ohm, pulldown_ohm, filter_f : preferred values. on_v, on_low_v, on_high_v : threshold at 20 °C, hot
        and cold with 5 % parts, V. base_v : what the divider must give, V.
    wanted_v : V. line_a, line_limit_a : drawn at the highest battery, A.
    debounce_s : at the nominal battery, s. quickest_s : at the highest. slowest_s : at the low corner.
    switch : PNP or P-channel part. base_ohm : its base resistor, Ω. switch_a, switch_limit_a : A.
    base_w : heat of the base resistor at the highest battery, W.
    """

    series_ohm: float
    pulldown_ohm: float
    filter_f: float
    wanted_v: float
    base_v: float
    on_v: float
    on_low_v: float
    on_high_v: float
    line_a: float
    line_limit_a: float
    debounce_s: float
    quickest_s: float
    slowest_s: float
    switch: str
    base_ohm: float
    base_w: float
    switch_a: float
    switch_limit_a: float
    switch_v: float
    switch_limit_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Timer:
    """An RC delay against half its supply: preferred values, Ω and F; wanted, nominal, least and most, s."""

    name: str
    resistor_ohm: float
    capacitor_f: float
    wanted_s: float
    nominal_s: float
    low_s: float
    high_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class TimerSupply:
    """What the timers' comparator runs on, behind the control supply.

    Attributes
    ----------
    series_ohm, series_w : resistor, Ω, and its heat at the highest battery, W.
    clamp, clamp_v, clamp_w, clamp_limit_w : zener, V and W.
    low_v, nominal_v : supply at the low and the nominal corner, V. decoupling_f : F.
    half_ohm : each half of the divider that the timers are compared with, Ω.
    pullup_ohm : of the un-mute output, Ω.
    """

    series_ohm: float
    series_w: float
    clamp: str
    clamp_v: float
    clamp_w: float
    clamp_limit_w: float
    low_v: float
    nominal_v: float
    decoupling_f: float
    half_ohm: float
    pullup_ohm: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Something that happens after the remote line changed: at the earliest and at the latest, s."""

    name: str
    earliest_s: float
    latest_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ControlResult:
    """Remote switch-on, standby and the order of events.

    Attributes
    ----------
    remote : the input; None where it is always on. standby : what draws while off (or always).
    standby_a : their sum, A. flat_s : until the battery is flat, s.
    parked_share : of the capacity that standby takes in the time parked.
    timers : un-mute, and loudspeaker where something connects it. supply : of the timers.
    switch_on, switch_off : events in order.
    """

    remote: Remote | None
    standby: tuple[StandbyItem, ...]
    standby_a: float
    flat_s: float
    parked_s: float
    parked_share: float
    timers: tuple[Timer, ...]
    supply: TimerSupply
    switch_on: tuple[Event, ...]
    switch_off: tuple[Event, ...]
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
