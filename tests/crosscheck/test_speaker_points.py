"""What the speaker guard's test points promise, against its circuit with each kind of switch."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.bringup import bring_up
from subwright.build.experiments import experiment_named, speaker_points
from subwright.build.experiments.record import Check
from subwright.build.result import Design
from subwright.build.test_points.control import control_readings
from subwright.circuits.netlist import Reading
from subwright.circuits.simulate import Engine
from subwright.outputs.schematic_guard_blocks import speaker_guard_block
from subwright.parts.library import Library
from subwright.service.solved import library_for

EXAMPLES = Path(__file__).parents[2] / "examples"
VAN, WAGON = "storyteller-van", "harvest-wagon"
BUILDS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "MOSFETs": (VAN, {"speaker_guard": {"switch": "mosfet"}}),
    "relay in series, diode alone": (VAN, {"speaker_guard": {"switch": "relay", "release": "plain"}}),
    "relay that grounds": (
        VAN,
        {"speaker_guard": {"switch": "relay", "contact": "grounded"}, "supply": {"system_v": 24}},
    ),
    "between two outputs": (WAGON, {}),
    "between two outputs, relay": (WAGON, {"speaker_guard": {"switch": "relay"}}),
}


@cache
def made(name: str) -> tuple[Design, Library]:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    spec = spec.model_copy(
        update={part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    )
    return service.solve(spec, folder=EXAMPLES).design, library_for(spec, EXAMPLES)


def _checks(name: str, engine: Engine) -> list[Check]:
    cases = experiment_named("speaker-test-points").cases(*made(name))
    return [check for case in cases for check in case.run(engine, 30.0).checks]


@pytest.mark.parametrize("name", BUILDS)
def test_the_circuit_reads_what_the_sheet_says(name: str, reference_engine: Engine) -> None:
    checks = _checks(name, reference_engine)
    assert len(checks) >= 3 * 4 + 3 + 2 * 2 + 2  # three batteries, the delay, both signs, the sine
    assert [check for check in checks if not check.holds] == []


@pytest.mark.parametrize("name", BUILDS)
def test_every_point_has_its_readings_and_those_of_shared_nets_agree(name: str) -> None:
    design, library = made(name)
    block = next(iter(speaker_guard_block(design, library)))
    found = {point.net: {row.at: row.dc_v for row in point.readings} for point in block.circuit.test_points}
    assert all(len(rows) >= 6 for rows in found.values()), found
    elsewhere = {row.at: row.dc_v for row in control_readings(design, library)["speaker_on"]}
    shared = elsewhere.keys() & found["speaker_on"].keys()
    assert len(shared) == 4
    assert {at: found["speaker_on"][at] for at in shared} == {at: elsewhere[at] for at in shared}


def test_the_output_s_steady_voltage_is_the_bring_up_s() -> None:
    design, library = made("MOSFETs")
    block = next(iter(speaker_guard_block(design, library)))
    lead = next(point for point in block.circuit.test_points if point.net == "speaker_out")
    within = {row.within_v for row in lead.readings if row.at.endswith("no signal")}
    offset = bring_up(design, library).reading("output-offset")
    assert offset is not None
    assert within == {offset.high}


def test_a_reading_that_is_promised_wrong_is_found(
    reference_engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    true = speaker_points.speaker_guard_readings

    def wrong(design: Design, library: Library) -> dict[str, tuple[Reading, ...]]:
        return {
            net: tuple(
                replace(row, dc_v=row.dc_v + 0.02 + 0.02 * abs(row.dc_v), ripple_v=1.02 * row.ripple_v)
                for row in rows
            )
            for net, rows in true(design, library).items()
        }

    monkeypatch.setattr(speaker_points, "speaker_guard_readings", wrong)
    assert [check for check in _checks("MOSFETs", reference_engine) if check.holds] == []
