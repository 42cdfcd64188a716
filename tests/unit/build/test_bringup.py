"""The first power-up: order, windows, and its own numbers by a second route."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.preferred import values
from subwright.base.units import show
from subwright.build.bringup import bring_up
from subwright.build.bringup_numbers import (
    bench_voltage,
    discharges,
    rail_line,
    supply_limit,
    thermistor_stand_in,
)
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.parts.library import Library, load_library
from subwright.service.solved import library_for
from subwright.stages.common import Corner, Level

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))
WITH_CONVERTER = [path for path in EXAMPLES if "van" in path.name or "canal" in path.name]
WITH_RAILS = [path for path in EXAMPLES if "cargo" not in path.name]
WITH_BOOST = [path for path in EXAMPLES if "harvest" in path.name]


@cache
def solved(path: Path) -> tuple[Design, Library]:
    made = service.solve(path)
    assert made.build is not None
    spec = made.design.spec
    library = load_library()
    if spec.drawer is not None:
        library = library.with_drawer(service.open_drawer(path.parent / spec.drawer))
    return made.design, library


@cache
def procedure(path: Path) -> BringUp:
    return bring_up(*solved(path))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_step_says_what_a_wrong_reading_means_and_when_to_stop(path: Path) -> None:
    steps = procedure(path).steps
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    for step in steps:
        assert len(step.causes) >= 3, step.key
        assert step.stops, step.key
        assert step.actions, step.key


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_window_follows_from_the_design_or_says_that_it_is_common_practice(path: Path) -> None:
    """What follows from the design moves with its tolerances; what does not is marked, also in print."""
    from subwright.outputs.print_bringup import reading_cells

    steps = procedure(path)
    for reading in steps.readings:
        assert reading.basis, reading.key
        assert ("common practice, no source" in reading_cells(reading)[4]) is reading.customary, reading.key
    derived = {reading.key for reading in steps.readings if not reading.customary}
    assert {"under-voltage-trip", "over-voltage-release", "under-voltage-hysteresis"} <= derived
    assert {"thermal-trip-resistance", "low-pass-corner", "reference-voltage"} <= derived
    assert {"output-offset", "idle-current", "driver-resonance", "sink-rise"}.isdisjoint(derived)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_windows_enclose_what_is_expected(path: Path) -> None:
    for reading in procedure(path).readings:
        assert reading.low <= reading.expected, reading.key
        assert reading.high is None or reading.expected <= reading.high, reading.key
        assert np.isfinite([reading.expected, reading.low, reading.high or 0.0]).all()
        assert reading.rests_on


@pytest.mark.parametrize("path", WITH_CONVERTER, ids=lambda path: path.name)
def test_nothing_is_powered_before_it_was_measured(path: Path) -> None:
    keys = [step.key for step in procedure(path).steps]
    wanted = [
        "bare-board",
        "transformer",
        "controller",
        "gates",
        "rails",
        "loaded-rails",
        "under-voltage",
        "over-voltage",
        "thermal",
        "amplifier",
        "first-sound",
        "soak",
    ]
    assert [key for key in keys if key in wanted] == wanted
    for step in procedure(path).steps:
        if step.supply is not None:
            tops = [r.high or 0.0 for r in step.readings if r.dimension == "current"]
            assert all(step.supply.limit_a > top for top in tops), step.key


@pytest.mark.parametrize("path", WITH_BOOST, ids=lambda path: path.name)
def test_a_boosted_rail_is_raised_step_by_step_before_the_amplifier_hangs_on_it(path: Path) -> None:
    design, _ = solved(path)
    boost = design.boost
    assert boost is not None
    steps = procedure(path)
    wanted = ["boost-choke", "boost-passive", "boost-controller", "boost-rail", "boost-loaded", "amplifier"]
    assert [step.key for step in steps.steps if step.key in wanted] == wanted
    raised, rest = steps.reading("raised-rail"), steps.reading("output-rest")
    assert raised is not None
    assert rest is not None
    assert raised.expected == pytest.approx(boost.set_v)
    assert raised.low <= boost.rail_low_v
    assert (raised.high or 0.0) >= boost.rail_high_v
    assert rest.expected == pytest.approx(0.5 * boost.set_v)
    banks = {bank.bank: bank for bank in steps.discharges}
    assert banks["raised rail"].from_v >= boost.plan.guard.most_v
    for step in steps.steps:
        if step.supply is not None:
            tops = [r.high or 0.0 for r in step.readings if r.dimension == "current"]
            assert all(step.supply.limit_a > top for top in tops), step.key


def test_a_boost_converter_is_tried_before_anything_hangs_on_its_rail() -> None:
    path = next(path for path in EXAMPLES if "harvest" in path.name)
    keys = [step.key for step in procedure(path).steps]
    wanted = [
        *("bare-board", "boost-choke", "boost-passive", "boost-controller", "boost-gate", "boost-rail"),
        *("boost-loaded", "boost-second-stop"),
        *("under-voltage", "over-voltage", "thermal", "amplifier", "first-sound", "soak"),
    ]
    assert [key for key in keys if key in wanted] == wanted
    design, _ = solved(path)
    boost = design.boost
    assert boost is not None
    by_key = {reading.key: reading for reading in procedure(path).readings}
    top, bottom = boost.plan.divider.top_ohm, boost.plan.divider.bottom_ohm
    assert by_key["raised-rail"].expected == pytest.approx(2.5 * (1.0 + top / bottom))
    second = sum(zener.vz_v for zener in boost.plan.guard.zeners) + 1.0
    assert by_key["second-stop"].expected == pytest.approx(second)
    assert by_key["second-stop"].low > by_key["raised-rail"].high
    for step in procedure(path).steps:
        if step.supply is not None:
            currents = [r.expected for r in step.readings if r.dimension == "current"]
            assert all(step.supply.limit_a > current for current in currents), step.key


@pytest.mark.parametrize("path", WITH_RAILS, ids=lambda path: path.name)
def test_the_rail_line_from_one_corner_foretells_the_other_corners(path: Path) -> None:
    design, _ = solved(path)
    line = rail_line(design)
    for corner in (Corner.LOW, Corner.NOMINAL, Corner.MAX):
        for level in (Level.IDLE, Level.PROGRAMME, Level.FULL):
            point = design.point(corner, level)
            assert line.rail_v(point.terminal_v, point.rail_a) == pytest.approx(point.rail_mean_v, rel=0.01)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_the_discharge_resistor_empties_the_bank_in_the_time_stated(path: Path) -> None:
    design, _ = solved(path)
    assert discharges(design)
    for bank in discharges(design):
        steps = 200_000  # Euler in small steps, not the closed form
        volts, dt = bank.from_v, bank.held_s / steps
        for _ in range(steps):
            volts -= volts / (bank.resistor_ohm * bank.capacitance_f) * dt
        assert volts == pytest.approx(bank.to_v, rel=1e-3)
        assert bank.held_s <= 5.0
        decade = bank.resistor_ohm / 10.0 ** np.floor(np.log10(bank.resistor_ohm))
        assert np.isclose(values("E6"), decade, rtol=1e-6).any()


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_the_stand_in_trips_the_network_solved_node_by_node(path: Path) -> None:
    design, library = solved(path)
    found = thermistor_stand_in(design, library)
    network, volts = design.protection.thermal, design.protection.reference.nominal_v
    comparator = library.comparator(design.protection.comparator)
    # + input: level divider and feedback from the output, high through its pull-up
    up, down = 1.0 / network.upper_ohm, 1.0 / network.lower_ohm
    back = 1.0 / (network.feedback_ohm + network.pullup_ohm)
    level = (volts * (up + back) - comparator.ib_a) / (up + down + back)
    node = volts * network.series_ohm / (network.series_ohm + found.trip_ohm)
    assert node == pytest.approx(level, rel=0.005)
    assert found.trip_low_ohm < found.trip_ohm < found.trip_high_ohm
    assert found.hot_ohm <= found.trip_low_ohm
    assert found.trip_high_ohm <= found.hold_ohm < found.cold_ohm
    assert found.cold_ohm >= found.release_high_ohm


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_the_bench_voltage_is_one_that_no_protection_minds(path: Path) -> None:
    design, _ = solved(path)
    thresholds = design.protection.thresholds
    volts = bench_voltage(design)
    assert thresholds["under-voltage release"].window.worst_high < volts
    assert volts < thresholds["over-voltage trip"].window.worst_low


def test_the_pack_holds_the_procedure() -> None:
    from subwright.outputs.pack import pack_files

    design, library = solved(EXAMPLES[-1])
    text = pack_files(design, library=library)["bring-up.txt"].decode()
    for step in procedure(EXAMPLES[-1]).steps:
        assert step.title.upper() in text
    for reading in procedure(EXAMPLES[-1]).readings:
        assert f"[{reading.key}]" in text
    assert max(map(len, text.splitlines())) <= 110


def test_trimmers_are_set_before_their_trip_is_read() -> None:
    path = EXAMPLES[-1]
    spec = service.open_build(path).spec
    wishes = {"trimmer": True, "thermal_trimmer": True}
    spec = spec.model_copy(update={"protection": spec.protection.model_copy(update=wishes)})
    design = service.solve(spec, folder=path.parent).design
    steps = {step.key: step for step in bring_up(design, library_for(spec, path.parent)).steps}
    for key, trimmer in zip(
        ("under-voltage", "over-voltage", "thermal"), design.protection.trimmers, strict=True
    ):
        told = next(action for action in steps[key].actions if action.startswith("Set its trimmer"))
        assert show(trimmer.track_ohm, "resistance") in told
        assert show(trimmer.set_ohm, "resistance") in told
    thermal = steps["thermal"].actions[0]
    assert "in place of the thermistor" in thermal


def test_what_a_follower_feeds_is_drawn_from_the_battery_in_full() -> None:
    """A follower passes its current on at any battery; power over battery voltage would be too little."""
    path = next(path for path in EXAMPLES if "canal-workboat" in path.name)
    design, _ = solved(path)
    converter, nominal_v = design.converter, design.supply.corners[Corner.NOMINAL]
    assert converter is not None
    feed = converter.gate_supply
    assert feed is not None
    by_power = (converter.control_w + converter.gate_w) / nominal_v
    assert feed.battery_a(nominal_v) > 1.2 * by_power
    steps = procedure(path)
    gates = next(step for step in steps.steps if step.key == "gates")
    assert gates.supply is not None
    assert gates.supply.limit_a == supply_limit(2.5 * feed.battery_a(gates.supply.voltage_v))
