"""The heat stage: choice of sink, junctions, trip and refusals."""

from __future__ import annotations

import math

import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError, RangeError
from subwright.parts.drawer import parse_drawer
from subwright.parts.library import load_library
from subwright.physics.thermal import ThermalDevice
from subwright.stages.common import Level
from subwright.stages.heat import HeatDemand, HeatSpec, design_heat, sink_rise_k

LIBRARY = load_library()


def device(
    scale: float = 1.0, count: int = 4, name: str = "output switch", **changed: float
) -> ThermalDevice:
    values = {
        "idle_w": 0.2 * scale,
        "programme_w": 1.5 * scale,
        "full_w": 3.0 * scale,
        "worst_w": 4.0 * scale,
        "rth_jc_k_per_w": 1.0,
        "interface_k_per_w": 1.6,
        "tj_max_c": 175.0,
    }
    return ThermalDevice(name=name, count=count, **(values | changed))


def demand(*devices: ThermalDevice, ambient: float = 50.0, trip: float = 85.0) -> HeatDemand:
    return HeatDemand(devices=devices or (device(),), ambient_c=ambient, trip_c=trip)


@pytest.mark.parametrize("heatsink", ["auto", "plate"])
def test_every_junction_is_the_series_chain(heatsink: str) -> None:
    asked = demand(device(), device(0.5, 2, "rectifier", tj_max_c=150.0))
    result = design_heat(HeatSpec(heatsink=heatsink), asked, LIBRARY)
    for level, watts in ((Level.IDLE, 0.2), (Level.PROGRAMME, 1.5), (Level.FULL, 3.0)):
        total = 4 * watts + 2 * 0.5 * watts
        assert result.power_w[level] == pytest.approx(total, rel=1e-12)
        assert result.devices[0].junction_c[level] == pytest.approx(
            result.sink_c[level] + watts * 2.6, rel=1e-12
        )
        assert result.devices[1].junction_c[level] == pytest.approx(
            result.sink_c[level] + 0.5 * watts * 2.6, rel=1e-12
        )


def test_programme_stays_below_the_trip() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    assert result.sink_c[Level.PROGRAMME] <= result.sink_limit_c <= 80.0
    assert result.basis is Level.PROGRAMME


def test_full_basis_never_trips() -> None:
    result = design_heat(HeatSpec(basis="full"), demand(), LIBRARY)
    assert result.sink_worst_c <= 80.0
    assert result.time_to_trip_s is None
    assert "stays below" in " ".join(result.reasons)


def test_automatic_sink_is_the_lightest_that_holds() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    lighter = [s for s in LIBRARY.heatsinks.values() if s.mass_kg < result.mass_kg]
    for sink in lighter:
        assert 50.0 + sink_rise_k(sink.rth_k_per_w, sink.rise_k, 6.0) > result.sink_limit_c


def test_the_drawer_comes_first() -> None:
    heavy = max(LIBRARY.heatsinks.values(), key=lambda s: s.mass_kg)
    library = LIBRARY.with_drawer(parse_drawer(f'format_version = 1\n[have]\n"{heavy.id}" = 1\n'))
    result = design_heat(HeatSpec(), demand(), library)
    assert result.sink_id == heavy.id
    assert result.parts[0].in_drawer


def test_a_kept_sink_stays_as_long_as_it_serves() -> None:
    free = design_heat(HeatSpec(), demand(), LIBRARY)
    larger = min(
        (
            s
            for s in LIBRARY.heatsinks.values()
            if s.mass_kg > free.mass_kg and s.rth_k_per_w < 0.9 * free.rth_k_per_w
        ),
        key=lambda s: s.mass_kg,
    )
    assert design_heat(HeatSpec(), demand(), LIBRARY, larger.id).sink_id == larger.id
    too_small = max(LIBRARY.heatsinks.values(), key=lambda s: s.rth_k_per_w)
    assert design_heat(HeatSpec(), demand(), LIBRARY, too_small.id).sink_id == free.sink_id


def test_plate_is_computed_and_checked_by_a_second_published_form() -> None:
    result = design_heat(HeatSpec(heatsink="plate"), demand(), LIBRARY)
    assert result.plate_side_m is not None
    assert result.plate_area_m2 is not None
    assert result.rth_second_k_per_w is not None
    steps = result.plate_side_m / 5e-3
    assert steps == pytest.approx(round(steps), abs=1e-9)
    assert result.plate_area_m2 == pytest.approx(result.plate_side_m**2, rel=1e-12)
    assert result.mass_kg == pytest.approx(result.plate_area_m2 * 3e-3 * 2700, rel=1e-12)
    assert result.rth_second_k_per_w == pytest.approx(result.rth_k_per_w, rel=0.3)


def test_a_finned_sink_gets_better_as_it_gets_hotter() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    rises = {level: result.sink_c[level] - result.air_c for level in Level}
    per_watt = [rises[level] / result.power_w[level] for level in Level]
    assert per_watt == sorted(per_watt, reverse=True)
    # Fourth-root law: R ~ rise^-1/4.
    ratio = per_watt[2] / per_watt[1]
    assert ratio == pytest.approx((rises[Level.PROGRAMME] / rises[Level.FULL]) ** 0.25, rel=1e-9)


def test_time_to_trip_against_stepping() -> None:
    result = design_heat(HeatSpec(heatsink="plate"), demand(), LIBRARY)
    assert result.time_to_trip_s is not None
    sink, time, step = result.start_c, 0.0, 0.01
    while sink < result.trip_c:
        sink += step * (result.worst_w - (sink - result.air_c) / result.rth_k_per_w) / result.capacity_j_per_k
        time += step
    assert result.time_to_trip_s == pytest.approx(time, rel=5e-3)


def test_needed_resistance_brings_the_hottest_junction_to_its_reserve() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    needed = result.needed_k_per_w[Level.FULL]
    assert needed is not None
    assert 50.0 + 12.0 * needed + 3.0 * 2.6 == pytest.approx(175.0 - 25.0, rel=1e-12)


def test_touch_temperature_is_judged_in_25_degree_air() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    assert result.touch_hot_c - result.touch_c == pytest.approx(result.air_c - 25.0, rel=1e-12)


def test_air_inside_the_box_needs_a_larger_sink() -> None:
    outside = design_heat(HeatSpec(), demand(), LIBRARY)
    inside = design_heat(HeatSpec(air_rise_k=15.0), demand(), LIBRARY)
    assert inside.mass_kg > outside.mass_kg


def test_a_stated_sink_is_kept_even_when_it_is_too_small() -> None:
    small = min(LIBRARY.heatsinks.values(), key=lambda s: s.mass_kg)
    result = design_heat(HeatSpec(heatsink=small.id), demand(device(4.0)), LIBRARY)
    assert result.sink_id == small.id
    assert result.sink_c[Level.PROGRAMME] > result.sink_limit_c


def test_unknown_sink_is_refused() -> None:
    with pytest.raises(PartNotFoundError):
        design_heat(HeatSpec(heatsink="no such thing"), demand(), LIBRARY)


@pytest.mark.parametrize("basis", ["programme", "full"])
def test_too_much_heat_for_everything_is_refused_with_what_the_best_loses(basis: str) -> None:
    with pytest.raises(NoSolutionError, match="Neither a heatsink") as caught:
        design_heat(HeatSpec.model_validate({"basis": basis}), demand(device(2.0, count=80)), LIBRARY)
    error = caught.value
    most = float(str(error.limit).split()[2])
    heat = float(str(error.value).split()[0])
    best = LIBRARY.heatsinks[str(error.limit).split("W, ")[1].split(" at ")[0]]
    rise = float(str(error.limit).split(" at ")[1].split(" K")[0])
    assert most < heat
    assert sink_rise_k(best.rth_k_per_w, best.rise_k, most) == pytest.approx(rise, rel=0.02)
    assert ("heat.basis" in str(error.remedy)) == (basis == "full")


def test_junction_that_no_sink_can_cool_is_refused() -> None:
    with pytest.raises(NoSolutionError, match="any heatsink"):
        design_heat(HeatSpec(), demand(device(1.0, 1, programme_w=60.0, full_w=60.0, worst_w=60.0)), LIBRARY)


def test_air_at_the_trip_is_refused() -> None:
    with pytest.raises(RangeError, match="air at the heatsink"):
        design_heat(HeatSpec(), demand(ambient=82.0), LIBRARY)


def test_nothing_on_the_sink_is_refused() -> None:
    with pytest.raises(RangeError, match="nothing on the heatsink"):
        design_heat(HeatSpec(), HeatDemand(devices=(), ambient_c=50.0, trip_c=85.0), LIBRARY)


def test_all_figures_are_finite() -> None:
    result = design_heat(HeatSpec(), demand(), LIBRARY)
    for name in result.__slots__:
        value = getattr(result, name)
        if isinstance(value, float):
            assert math.isfinite(value), name
