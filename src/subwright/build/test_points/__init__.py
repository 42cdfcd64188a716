"""What the bench reads at the test points of each block, from the closed forms, at the corners."""

from __future__ import annotations

from subwright.build.test_points.states import BATTERIES, battery_voltages

__all__ = ["BATTERIES", "battery_voltages"]
