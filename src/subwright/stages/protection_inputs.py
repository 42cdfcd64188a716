"""Whether every comparator's inputs stay within their range, at every corner of the battery."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.parts.schema import Comparator
from subwright.stages.common import Corner
from subwright.stages.protection_records import (
    InputRange,
    OverCurrentTrip,
    OverVoltageNetwork,
    ReferenceSupply,
    ThermalNetwork,
    UnderVoltageNetwork,
)
from subwright.stages.protection_reference import COMPARATOR_SUPPLY_A

__all__ = ["input_ranges"]


def input_ranges(
    corners: Mapping[Corner, float],
    supply: ReferenceSupply,
    comparator: Comparator,
    under: UnderVoltageNetwork,
    over: OverVoltageNetwork,
    thermal: ThermalNetwork,
    trips: Mapping[str, OverCurrentTrip | None],
) -> tuple[InputRange, ...]:
    """The lower input of each comparator against the end of its range.

    Parameters
    ----------
    corners : battery, V. supply : reference and comparators' supply. comparator : its record.
    under, over, thermal : networks. trips : over-current trips by name; None where not fitted.

    Returns
    -------
    One record for each comparator and corner; of a node that moves, the highest that it may be.
    """
    return tuple(
        InputRange(watch=watch, corner=corner, lower_v=lower, limit_v=limit)
        for corner, battery_v in corners.items()
        for limit, reference_v in [_limits(battery_v, supply, comparator)]
        for watch, lower in _lower(battery_v, reference_v, under, over, thermal, trips).items()
    )


def _limits(battery_v: float, supply: ReferenceSupply, comparator: Comparator) -> tuple[float, float]:
    """End of the input range and the highest reference at a battery voltage, V."""
    comparators_v = min(battery_v - supply.comparator_ohm * COMPARATOR_SUPPLY_A, supply.clamp_low_v)
    reference_v = supply.high_v
    if supply.kind == "shunt":  # its feed hangs on the same battery
        reference_v = min(reference_v, battery_v)
    return comparators_v - comparator.input_headroom_v, reference_v


def _lower(
    battery_v: float,
    reference_v: float,
    under: UnderVoltageNetwork,
    over: OverVoltageNetwork,
    thermal: ThermalNetwork,
    trips: Mapping[str, OverCurrentTrip | None],
) -> dict[str, float]:
    """The lower of the two inputs, V: where one of them may be anywhere, the other one."""
    arm = under.lower_all_ohm + (under.trimmer_ohm or 0.0)
    share = 1.0 / (1.0 + 2.0 * under.upper_each_ohm / arm)
    over_arm = over.lower_all_ohm + (over.trimmer_ohm or 0.0)
    over_share = 1.0 / (1.0 + over.upper_ohm / over_arm)
    level = thermal.lower_ohm / (thermal.upper_ohm + thermal.lower_ohm)
    lift = thermal.upper_ohm * thermal.lower_ohm / (thermal.upper_ohm + thermal.lower_ohm)
    lift /= lift + thermal.feedback_ohm + thermal.pullup_ohm
    found = {
        "under-voltage": min(share * battery_v, reference_v),
        "over-voltage": min(over_share * battery_v, reference_v),
        "thermal": reference_v * (level + (1.0 - level) * lift),
        "inhibit": 0.5 * reference_v,
    }
    for name, trip in trips.items():
        if trip is not None:
            found[name] = trip.level_v
    return found
