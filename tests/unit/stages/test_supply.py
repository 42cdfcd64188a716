"""The supply stage: corners, cable, fuse, faults, running time and refusals."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.standards import VEHICLE_CABLE, cables, fuse_ratings
from subwright.stages.common import Corner
from subwright.stages.supply import (
    SupplyDemand,
    SupplySpec,
    battery_resistance_ohm,
    design_supply,
    supply_corners,
)


def demand(average: float = 25.0, **changed: float) -> SupplyDemand:
    values = {
        "average_a": average,
        "rms_a": 1.2 * average,
        "peak_a": 2.0 * average,
        "programme_average_a": 0.3 * average,
        "worst_average_a": 1.1 * average,
    }
    return SupplyDemand(**(values | changed))


def test_drop_is_ohms_law_with_the_hot_loop() -> None:
    spec = SupplySpec()
    result = design_supply(spec, demand())
    row = VEHICLE_CABLE[result.section_m2]
    hot = 1.0 + 0.00393 * (result.conductor_c - 20.0)
    assert result.cable_resistance_ohm == pytest.approx(2 * 4.0 * row.resistance_ohm_per_m * hot, rel=1e-12)
    assert result.drop_v == pytest.approx(25.0 * result.cable_resistance_ohm, rel=1e-12)
    assert result.drop_ratio == pytest.approx(result.drop_v / 12.0, rel=1e-12)
    assert result.source_resistance_ohm == pytest.approx(
        result.battery_resistance_ohm + result.cable_resistance_ohm + result.contact_resistance_ohm, rel=1e-12
    )


@pytest.mark.parametrize("average", [3.0, 12.0, 25.0, 45.0])
@pytest.mark.parametrize("standard", ["vehicle", "iec60228"])
@pytest.mark.parametrize("return_path", ["cable", "chassis"])
def test_automatic_cable_is_the_thinnest_that_holds(average: float, standard: str, return_path: str) -> None:
    spec = SupplySpec(cable_standard=standard, return_path=return_path, cable_length_m=3.0)
    result = design_supply(spec, demand(average))
    assert result.drop_ratio <= spec.max_drop
    assert result.fuse_min_a <= result.fuse_a <= result.section_current_limit_a
    assert result.fuse_a in fuse_ratings()
    thinner = [
        r for r in cables(spec.cable_standard).values() if r.section_m2 < result.section_m2 and r.current_a
    ]
    if thinner:
        stated = design_supply(
            SupplySpec(
                cable_standard=standard,
                return_path=return_path,
                cable_length_m=3.0,
                section_m2=thinner[-1].section_m2,
            ),
            demand(average),
        )
        assert stated.drop_ratio > spec.max_drop or stated.section_current_limit_a < stated.fuse_a


def test_fuse_need_is_the_worst_rms_or_the_programme_with_a_quarter_in_hand() -> None:
    assert design_supply(SupplySpec(), demand(20.0)).fuse_min_a == pytest.approx(1.1 * 20.0 * 1.2, rel=1e-12)
    loud = design_supply(SupplySpec(), demand(20.0, programme_average_a=24.0))
    assert loud.fuse_min_a == pytest.approx(24.0 / 0.75, rel=1e-12)


def test_a_stated_section_is_kept_even_when_it_fails() -> None:
    result = design_supply(SupplySpec(section_m2=2.5e-6), demand())
    assert result.section_m2 == pytest.approx(2.5e-6, rel=1e-9)
    assert result.drop_ratio > result.drop_limit_ratio
    assert result.fuse_a > result.section_current_limit_a


def test_picks_can_be_kept_from_falling_back() -> None:
    free = design_supply(SupplySpec(), demand(8.0))
    held = design_supply(SupplySpec(), demand(8.0), min_section_m2=25e-6, min_fuse_a=60.0)
    assert held.section_m2 >= 25e-6 > free.section_m2
    assert held.fuse_a >= 60.0 > free.fuse_a


def test_hotter_air_never_thins_the_cable() -> None:
    sections = [
        design_supply(SupplySpec(ambient_max_c=c, max_drop=0.15), demand(40.0)).section_m2
        for c in (20.0, 35.0, 50.0, 62.0)
    ]
    assert sections == sorted(sections)
    assert sections[-1] > sections[0]


def test_chassis_return_adds_the_body_instead_of_a_cable() -> None:
    result = design_supply(SupplySpec(return_path="chassis", section_m2=16e-6), demand())
    row = VEHICLE_CABLE[result.section_m2]
    hot = 1.0 + 0.00393 * (result.conductor_c - 20.0)
    assert result.cable_resistance_ohm == pytest.approx(4.0 * row.resistance_ohm_per_m * hot + 2e-3, rel=1e-9)
    assert result.cable_return_m == 0.0
    assert not any("return" in part.role for part in result.parts)


def test_fuse_breaks_the_battery_or_says_that_it_does_not() -> None:
    soft = design_supply(SupplySpec(internal_resistance_ohm=20e-3), demand())
    assert soft.fuse_body.startswith("blade")
    assert soft.fault_a <= soft.fuse_breaking_a
    stiff = design_supply(SupplySpec(battery="agm", capacity_ah=200.0), demand())
    assert stiff.fault_a > stiff.fuse_breaking_a
    assert any("breaking capacity" in line for line in stiff.reasons)


def test_fault_section_uses_the_latest_opening() -> None:
    result = design_supply(SupplySpec(), demand())
    assert result.fault_clear_s is not None
    assert result.fault_section_m2 is not None
    let_through = result.fault_far_a**2 * result.fault_clear_s
    assert result.fault_section_m2 == pytest.approx(let_through**0.5 / 115.0 * 1e-6, rel=1e-12)
    assert result.fault_section_m2 < result.section_m2


def test_terminal_voltage_at_each_corner_given() -> None:
    currents = {Corner.LOW: 24.0, Corner.NOMINAL: 25.0, Corner.CHARGING: 26.0}
    base = demand()
    asked = SupplyDemand(
        average_a=base.average_a,
        rms_a=base.rms_a,
        peak_a=base.peak_a,
        programme_average_a=base.programme_average_a,
        worst_average_a=base.worst_average_a,
        corner_average_a=currents,
    )
    result = design_supply(SupplySpec(), asked)
    for corner, amps in currents.items():
        assert result.terminal_v[corner] == pytest.approx(
            result.corners[corner] - amps * result.source_resistance_ohm, rel=1e-12
        )


def test_running_time_scales_with_the_chemistry() -> None:
    hours = {
        kind: design_supply(SupplySpec(battery=kind), demand()).runtime_s / 3600
        for kind in ("lead-acid", "agm", "lfp")
    }
    # 70 Ah at 7.5 A: 9.3 h to empty at most; half of it is used of a lead battery, 0.8 of LFP.
    assert hours["lead-acid"] < hours["agm"] < hours["lfp"] < 0.8 * 70 / 7.5


def test_battery_resistance_follows_capacity_and_system() -> None:
    small, large = SupplySpec(capacity_ah=35.0), SupplySpec(capacity_ah=70.0)
    assert battery_resistance_ohm(small) == pytest.approx(2 * battery_resistance_ohm(large), rel=1e-12)
    assert battery_resistance_ohm(SupplySpec(system_v=24)) == pytest.approx(
        2 * battery_resistance_ohm(large), rel=1e-12
    )


@pytest.mark.parametrize("battery", ["lead-acid", "agm", "lfp"])
@pytest.mark.parametrize("system", [12, 24, 36, 48])
def test_every_chemistry_and_system_designs(battery: str, system: int) -> None:
    result = design_supply(SupplySpec(battery=battery, system_v=system), demand(20.0 * 12 / system))
    assert result.fuse_voltage_v >= result.fuse_voltage_needed_v
    assert list(result.corners.values()) == sorted(result.corners.values())
    assert all(result.corner_reasons.values())


def test_build_file_spelling() -> None:
    spec = SupplySpec.model_validate(
        {"battery": "lfp", "system": "24 V", "cable_length": "13 ft", "section": "16 mm2", "max_drop": "5 %"}
    )
    assert spec.system_v == 24
    assert spec.cable_length_m == pytest.approx(3.9624, rel=1e-9)
    assert spec.section_m2 == pytest.approx(16e-6, rel=1e-9)


def test_corners_out_of_order_are_refused() -> None:
    with pytest.raises(RangeError, match="rise from cranking"):
        supply_corners(SupplySpec(nominal_v=9.0))


def test_fuse_off_the_list_names_its_neighbours() -> None:
    with pytest.raises(RangeError, match="30 A or 40 A"):
        design_supply(SupplySpec(fuse_a=35.0), demand())


def test_a_stated_fuse_below_the_load_leaves_a_cable_that_carries_the_load() -> None:
    """The fuse is a finding's business; a cable chosen for it alone would glow in the reckoning."""
    wanted = demand(25.0)
    result = design_supply(SupplySpec(fuse_a=5.0), wanted)
    assert result.fuse_a == 5.0
    assert result.section_current_limit_a >= wanted.worst_average_a * wanted.rms_a / wanted.average_a
    assert result.conductor_c < 110.0


def test_section_without_a_rating_is_refused() -> None:
    with pytest.raises(RangeError, match="no listed current rating"):
        design_supply(SupplySpec(section_m2=12e-6), demand())


def test_no_cable_for_a_thousand_amperes() -> None:
    with pytest.raises(NoSolutionError, match="No listed cable"):
        design_supply(SupplySpec(cable_length_m=30.0), demand(250.0))
    with pytest.raises(RangeError, match="no listed fuse"):
        design_supply(SupplySpec(), demand(1000.0))


@pytest.mark.parametrize(
    "changed",
    [
        {"average_a": 0.0},
        {"rms_a": 1.0},
        {"peak_a": 1.0},
        {"worst_average_a": 1.0},
        {"programme_average_a": float("nan")},
    ],
)
def test_impossible_currents_are_refused(changed: dict[str, float]) -> None:
    with pytest.raises(RangeError, match="battery current"):
        design_supply(SupplySpec(), demand(**changed))


def test_bare_number_is_refused_in_the_build_file() -> None:
    with pytest.raises(ValidationError, match="needs its unit"):
        SupplySpec.model_validate({"cable_length": 4})
