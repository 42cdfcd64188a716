"""Wanted trips and releases where the builder leaves them to the programme, each with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.physics.batteries import BATTERIES, BatteryKind
from subwright.stages.common import Corner
from subwright.stages.protection_records import ProtectionInput, ProtectionSpec

__all__ = ["Target", "Targets", "choose_targets"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Target:
    """A wanted threshold in V or °C, and why."""

    value: float
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Targets:
    """All wanted thresholds."""

    under_trip: Target
    under_release: Target
    over_trip: Target
    over_release: Target
    thermal_trip: Target
    thermal_release: Target


@dataclass(frozen=True, kw_only=True, slots=True)
class _Habit:
    """Volts per 12 V block: trip under load, lowest sensible trip, release; and the trip's reason."""

    trip_v: float
    floor_v: float
    release_v: float
    why: str


# Common practice, no source: a trip is seen under load, so it uses the end of discharge at a high rate.
_HABITS: Final[Mapping[BatteryKind, _Habit]] = MappingProxyType(
    {
        "lead-acid": _Habit(
            trip_v=10.5,
            floor_v=9.0,
            release_v=12.0,
            why="1.75 V per cell, the end of discharge of lead-acid under load",
        ),
        "agm": _Habit(
            trip_v=10.5,
            floor_v=9.0,
            release_v=12.0,
            why="1.75 V per cell, the end of discharge of an AGM battery under load",
        ),
        "lfp": _Habit(
            trip_v=11.2,
            floor_v=10.4,
            release_v=12.6,
            why="2.8 V per cell, ahead of the battery's own cut-off at 2.5 V",
        ),
    }
)
_MISS = 0.005  # what preferred values may miss the target by
_ROOM = 1.25  # distance to a corner over the tolerance window


def choose_targets(spec: ProtectionSpec, data: ProtectionInput, window: float) -> Targets:
    """Wanted thresholds: the builder's, or the habit of the battery bent to the corners.

    Parameters
    ----------
    spec : the builder's wishes. data : corners and load.
    window : expected worst-case shift of a voltage threshold, fraction.

    Returns
    -------
    The six targets.

    Raises
    ------
    RangeError : a release isn't on the right side of its trip.
    """
    blocks = data.system_v / 12
    step = 0.1 * blocks
    habit = _HABITS[data.battery]
    drop = data.source_resistance_ohm * data.load_step_a
    low = data.corners[Corner.LOW]
    charging, highest = data.corners[Corner.CHARGING], data.corners[Corner.MAX]

    usual = habit.trip_v * blocks
    # Half the worst case is about the root-sum-square: a usual unit plays a full sine on a tired battery, and
    # a rule tells where the worst one would not.
    loaded = (low - drop) / (1 + 0.5 * window)
    trip = _below(max(habit.floor_v * blocks, min(usual, loaded)), step)
    why = habit.why
    if loaded < usual:
        why = (
            f"{show(usual, 'voltage')} would be usual, but the battery sags by {show(drop, 'voltage')} at "
            f"full sine and it must still play at the low corner of {show(low, 'voltage')}"
        )
    under_trip = _given(spec.under_voltage_trip_v, trip, why)
    full = BATTERIES[data.battery].full_v * blocks
    release = min(habit.release_v * blocks, full / (1 + window + _MISS))
    under_release = _given(
        spec.under_voltage_release_v,
        _below(max(release, under_trip.value * 1.05), step),
        f"above the {show(low, 'voltage')} to which a tired battery recovers, and within reach of a full one "
        f"at rest, {show(full, 'voltage')}",
    )

    over = -_below(-highest * (1 + _ROOM * window), step)
    over_trip = _given(
        spec.over_voltage_trip_v,
        over,
        f"clears the highest steady voltage of {show(highest, 'voltage')} even at the edge of tolerance",
    )
    back = min(max(charging * (1 + _ROOM * window), 0.95 * over_trip.value), 0.97 * over_trip.value)
    over_release = _given(
        spec.over_voltage_release_v,
        _below(back, step),
        "a few per cent below its trip, and above charging at "
        f"{show(charging, 'voltage')} where there is room",
    )

    thermal_trip = Target(
        value=spec.thermal_trip_c,
        reason="heatsink hot enough to burn, junctions still below their limit (common practice)",
    )
    thermal_release = Target(
        value=spec.thermal_release_c,
        reason="cool enough to play on for minutes, above the hottest ambient (common practice)",
    )
    _ordered("under-voltage release", under_release.value, "under-voltage trip", under_trip.value, "V")
    _ordered("over-voltage trip", over_trip.value, "over-voltage release", over_release.value, "V")
    _ordered("over-voltage release", over_release.value, "under-voltage release", under_release.value, "V")
    _ordered("thermal trip", thermal_trip.value, "thermal release", thermal_release.value, "°C")
    return Targets(
        under_trip=under_trip,
        under_release=under_release,
        over_trip=over_trip,
        over_release=over_release,
        thermal_trip=thermal_trip,
        thermal_release=thermal_release,
    )


def _below(value: float, step: float) -> float:
    return round((value + 1e-9) // step * step, 3)


def _given(value: float | None, default: float, why: str) -> Target:
    if value is not None:
        return Target(value=value, reason="as the build file says")
    return Target(value=default, reason=why)


def _ordered(upper_name: str, upper: float, lower_name: str, lower: float, unit: str) -> None:
    if upper <= lower:
        raise RangeError(
            message=f"The {upper_name} must lie above the {lower_name}.",
            quantity=upper_name,
            value=f"{upper:.4g} {unit}",
            limit=f"{lower:.4g} {unit}",
            remedy=f"Raise the {upper_name}, lower the {lower_name}, or leave both to auto.",
        )
