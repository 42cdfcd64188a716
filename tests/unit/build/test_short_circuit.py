"""A short circuit ahead of the unit is not held back by what the unit has inside."""

from __future__ import annotations

from pathlib import Path

import pytest

from subwright import service
from subwright.stages.common import Corner

EXAMPLES = Path(__file__).parents[3] / "examples"


def test_neither_switch_nor_shunt_limits_a_short_ahead_of_the_unit() -> None:
    design = service.solve(EXAMPLES / "storyteller-van.build.toml").design
    stated, supply = design.spec.supply.contact_resistance_ohm, design.supply
    assert supply.contact_resistance_ohm > 1.5 * stated  # the reverse-polarity switch is in the source
    charging_v = supply.corners[Corner.CHARGING]
    assert supply.fault_a == pytest.approx(charging_v / (supply.battery_resistance_ohm + 0.5 * stated))
    assert charging_v / supply.fault_far_a - supply.battery_resistance_ohm - stated == pytest.approx(
        supply.cable_resistance_ohm, rel=0.2
    )  # the cable alone, at ambient temperature instead of its own
