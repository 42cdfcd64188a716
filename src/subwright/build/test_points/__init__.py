"""What the bench reads at the test points of each block, from the closed forms, at the corners."""

from __future__ import annotations

from subwright.build.test_points.states import (
    ANY_BATTERY,
    BATTERIES,
    FULL_SINE,
    NO_SIGNAL,
    battery_voltages,
    operating_points,
    played,
)

__all__ = [
    "ANY_BATTERY",
    "BATTERIES",
    "FULL_SINE",
    "NO_SIGNAL",
    "battery_voltages",
    "operating_points",
    "played",
]
