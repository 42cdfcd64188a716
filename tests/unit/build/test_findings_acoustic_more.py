"""Rules on radiators, heat shut in and tipping: each is seen quiet, and seen to fire."""

from __future__ import annotations

from dataclasses import replace

import pytest
from findings_support import changed, findings_of, put, van

from subwright.stages.common import Corner, Level
from subwright.stages.enclosure_spec import Radiator

PLATE = Radiator(
    count=1,
    sd_m2=0.05,
    bare_kg=0.15,
    added_kg=0.1,
    notch_hz=14.0,
    xmax_m=0.015,
    frame_m=0.31,
    hole_m=0.28,
    depth_m=None,
    on="front",
)


@pytest.mark.parametrize(("moved_m", "severity"), [(0.010, "ok"), (0.0151, "warn")])
def test_the_radiator_is_held_to_its_limit(moved_m: float, severity: str) -> None:
    box = replace(
        van().enclosure, radiator=PLATE, radiator_excursion_m=moved_m, radiator_excursion_at_hz=33.0
    )
    (found,) = findings_of("ENC-14", replace(van(), enclosure=box))
    assert found.severity == severity
    assert found.limit == 0.015


def test_a_box_without_radiator_is_not_asked() -> None:
    assert findings_of("ENC-14", van()) == ()


def test_heat_shut_in_is_reckoned_from_all_that_the_battery_gives() -> None:
    design = put(van(), "spec.enclosure.electronics_inside", True)
    (found,) = findings_of("ENC-15", design)
    heat = design.point(Corner.CHARGING, Level.PROGRAMME).battery_w
    assert found.value == pytest.approx(
        design.spec.supply.ambient_max_c + heat * design.enclosure.wall_k_per_w
    )
    (hotter,) = findings_of("ENC-15", changed(design, {"enclosure.wall_k_per_w": 5.0}))
    assert hotter.severity == "warn"
    assert findings_of("ENC-15", van()) == ()


@pytest.mark.parametrize(("tip", "severity"), [(0.95, "ok"), (0.7, "note")])
def test_a_box_that_tips_is_told(tip: float, severity: str) -> None:
    (found,) = findings_of("ENC-16", changed(van(), {"enclosure.balance.tip_g": tip}))
    assert found.severity == severity
