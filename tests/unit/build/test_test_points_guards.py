"""Readings of protection, switching on, battery guard and wiring: every point has them, and they agree."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.bringup import bring_up
from subwright.build.result import Design
from subwright.build.test_points.battery_guard import battery_guard_readings
from subwright.build.test_points.control import control_readings
from subwright.build.test_points.protection import inhibit_high_v, protection_readings
from subwright.build.test_points.wiring import switching_ripple, wiring_readings
from subwright.build.wiring_values import inside_ohm, wiring_values
from subwright.circuits.netlist import Reading
from subwright.circuits.wiring_circuit import UNIT_NETS, net_ohm
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_guard_blocks import battery_guard_block, control_block, protection_block
from subwright.outputs.schematic_wiring import wiring_block
from subwright.outputs.schematics import schematics
from subwright.parts.library import Library
from subwright.service.solved import library_for
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[3] / "examples"
VAN, BIKE, BOAT, WAGON = "storyteller-van", "cargo-bike-cinema", "canal-workboat", "harvest-wagon"
FORMS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "van": (VAN, {}),
    "bike": (BIKE, {}),
    "wagon": (WAGON, {}),
    "every trimmer, both shunts, P-channel": (
        VAN,
        {
            "protection": {
                "thermal_trimmer": True,
                "trimmer": True,
                "over_current": "shunt",
                "amplifier_current": "shunt",
            },
            "battery_guard": {"reverse": "p_mosfet"},
        },
    ),
    "drop of the switches, diode, always on": (
        BOAT,
        {
            "protection": {"over_current": "switch"},
            "battery_guard": {"reverse": "shunt_diode"},
            "control": {"remote": "none"},
        },
    ),
    "both shunts, amplifier on the battery": (
        BIKE,
        {"protection": {"amplifier_current": "shunt"}},
    ),
    "3524": (VAN, {"converter": {"controller": "SG3524", "output": "regulated"}}),
}


@cache
def made(form: str) -> tuple[Design, Library]:
    example, changes = FORMS[form]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {name: getattr(spec, name).model_copy(update=new) for name, new in changes.items()}
    spec = spec.model_copy(update=parts)
    return service.solve(spec, folder=EXAMPLES).design, library_for(spec, EXAMPLES)


def blocks(form: str) -> list[Block]:
    makers = (protection_block, control_block, battery_guard_block, wiring_block)
    return [block for maker in makers for block in maker(*made(form))]


def told(rows: tuple[Reading, ...], at: str) -> Reading:
    return next(row for row in rows if row.at == at)


@pytest.mark.parametrize("form", FORMS)
def test_every_test_point_says_what_it_reads(form: str) -> None:
    for block in blocks(form):
        for point in block.circuit.test_points:
            assert point.readings, (block.key, point.designator)
            states = [reading.at for reading in point.readings]
            assert len(set(states)) == len(states), (point.designator, states)


@pytest.mark.parametrize("form", ["van", "every trimmer, both shunts, P-channel"])
def test_guard_and_shunt_count_once_in_the_battery_s_path(form: str) -> None:
    """The supply has them among its contacts; the wiring's netlist has the guard apart."""
    design, library = made(form)
    reverse, trip = design.battery_guard.reverse, design.protection.over_current
    assert reverse is not None
    assert inside_ohm(design) == pytest.approx(
        reverse.resistance_ohm + (0.0 if trip is None else trip.sense_ohm), rel=1e-9
    )
    values = wiring_values(design)
    links = 2.0 * (values.link_ohm or 0.0)
    before = inside_ohm(design) - (values.guard_ohm or 0.0)
    whole = design.supply.source_resistance_ohm + links - before
    assert net_ohm(values)[UNIT_NETS[0]] == pytest.approx(whole, rel=1e-9)
    behind = battery_guard_readings(design, library)["input"]
    point = design.point(Corner.NOMINAL, Level.FULL)
    shunt = 0.0 if trip is None else trip.sense_ohm * point.battery_a
    expected = point.terminal_v + shunt - links * point.battery_a
    assert told(behind, "nominal battery, full sine").dc_v == pytest.approx(expected, rel=1e-6)


def test_the_cold_thermistor_reads_what_the_first_power_up_expects() -> None:
    design, library = made("van")
    reading = bring_up(design, library).reading("thermistor-node")
    assert reading is not None
    cold = protection_readings(design, library)["thermal_sense"][0]
    assert (cold.dc_v, cold.at) == (reading.expected, "heatsink at 22 °C")


@pytest.mark.parametrize("form", ["van", "bike", "wagon", "3524"])
def test_a_loaded_inhibit_lies_within_what_the_first_power_up_accepts(form: str) -> None:
    """A 3524's transistor and shutdown pin pull a sound line below six tenths of the reference."""
    design, library = made(form)
    reading = bring_up(design, library).reading("inhibit-line")
    assert reading is not None
    assert reading.high is not None
    assert reading.expected == inhibit_high_v(design)
    assert reading.low < inhibit_high_v(design, heaviest=True) <= reading.expected < reading.high


def test_what_switches_on_the_battery_shows_on_the_board_only() -> None:
    for form, kind in (("van", "converter"), ("wagon", "boost"), ("bike", "class D")):
        design, library = made(form)
        swing_v, rate_hz = switching_ripple(design, library, Corner.NOMINAL)
        assert 1e-3 < swing_v < 0.05 * design.supply.corners[Corner.NOMINAL], kind
        assert rate_hz > 20e3
        fused, board = (
            told(rows, "nominal battery, full sine") for rows in wiring_readings(design, library).values()
        )
        assert ("crests" in board.waveform, "crests" in fused.waveform) == (True, False)


def test_trips_on_the_battery_mute_and_the_mute_line_says_so() -> None:
    design, library = made("bike")
    assert told(control_readings(design, library)["mute"], "tripped").dc_v < 0.2
    states = [row.at for row in control_readings(*made("van"))["mute"]]
    assert "tripped" not in states


@pytest.mark.parametrize("form", ["wagon", "every trimmer, both shunts, P-channel"])
def test_the_list_of_sheets_stands_clear_of_the_wiring_s_notes(form: str) -> None:
    """The list is laid over the first sheet after its notes; the longest notes reached into it."""
    drawn = schematics(*made(form)).sheets[0].svg
    rows = [(float(x), float(y)) for x, y in re.findall(r'<text x="([\d.]+)" y="([\d.]+)" class="sm', drawn)]
    notes = [y for x, y in rows if x == 106.0]
    listed = [y for x, y in rows if x in (644.0, 652.0)]
    assert listed
    assert max(listed) < min(notes) - 11.0
