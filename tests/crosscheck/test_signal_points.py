"""What inputs' and filter's test points promise, against the simulated circuit, for every kind of circuit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import sqrt
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.bringup import bring_up
from subwright.build.experiments import experiment_named, signal_points
from subwright.build.experiments.record import Check
from subwright.build.result import Design
from subwright.circuits.netlist import Reading
from subwright.circuits.simulate import Engine
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_signal_blocks import filter_block, input_block
from subwright.parts.library import Library
from subwright.service.solved import library_for

EXAMPLES = Path(__file__).parents[2] / "examples"
VAN, BIKE, BOAT = "storyteller-van", "cargo-bike-cinema", "canal-workboat"
BUILDS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "battery, difference": (BIKE, {"input": {"receiver": "difference"}}),
    "battery, loudspeaker level": (BIKE, {"input": {"source": "speaker"}}),
    "battery behind a zener diode": (
        BIKE,
        {
            "supply": {"system_v": 48},
            "amplifier": {"kind": "bridge_class_d"},
            "goal": {"power_w": 150.0},
            "filter": {"topology": "multiple-feedback"},
        },
    ),
    "battery, swept state-variable": (
        BIKE,
        {"filter": {"topology": "state-variable", "sweep_low_hz": 50.0, "sweep_high_hz": 150.0}},
    ),
    "equal parts, followers": (BOAT, {"filter": {"op_amp_supply": "follower", "topology": "equal"}}),
    "swept unity, zener diodes, boost": (
        VAN,
        {
            "filter": {
                "op_amp_supply": "zener",
                "sweep_low_hz": 50.0,
                "sweep_high_hz": 150.0,
                "boost_db": 6.0,
                "sensitivity_most_v": 4.0,
            },
        },
    ),
    "regulators, box transform, not coupled": (
        VAN,
        {
            "amplifier": {"kind": "class_ab"},
            "goal": {"power_w": 20.0},
            "filter": {
                "op_amp_supply": "regulator",
                "transform_hz": 35.0,
                "phase_control": True,
                "phase_switch": False,
                "level_control": False,
                "output_coupling": "none",
            },
        },
    ),
    "small winding, mono": (
        VAN,
        {
            "converter": {"output": "regulated", "auxiliary_feed": "winding"},
            "filter": {"inputs": "mono"},
            "input": {"receiver": "difference"},
        },
    ),
}


@cache
def made(name: str) -> tuple[Design, Library]:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    spec = spec.model_copy(
        update={part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    )
    return service.solve(spec, folder=EXAMPLES).design, library_for(spec, EXAMPLES)


def _blocks(name: str) -> list[Block]:
    return [*input_block(*made(name)), *filter_block(*made(name))]


def _checks(name: str, engine: Engine) -> list[Check]:
    cases = experiment_named("signal-test-points").cases(*made(name))
    return [check for case in cases for check in case.run(engine, 30.0).checks]


@pytest.mark.parametrize("name", BUILDS)
def test_the_circuit_reads_what_the_sheets_say(name: str, reference_engine: Engine) -> None:
    checks = _checks(name, reference_engine)
    assert len(checks) == 3 * 3 + 2  # two of the supply and the rest on each battery; the sine in both blocks
    assert [check for check in checks if not check.holds] == []


@pytest.mark.parametrize("name", BUILDS)
def test_every_point_says_what_it_reads_at_rest_and_what_moves_with_a_sine(name: str) -> None:
    for block in _blocks(name):
        for point in block.circuit.test_points:
            resting = [reading for reading in point.readings if reading.at.endswith("no signal")]
            moving = [reading for reading in point.readings if reading.at.endswith("on each input")]
            assert len(resting) in (1, 3), point
            assert [reading.ripple_v for reading in resting] == [0.0] * len(resting)
            assert len(moving) == (0 if point.net.startswith(("op_", "mid")) else 1), point
            assert all(reading.ripple_v > 0.0 for reading in moving)


@pytest.mark.parametrize("name", BUILDS)
def test_the_sine_behind_the_filter_makes_the_bring_up_s_output(name: str) -> None:
    design, library = made(name)
    block = next(iter(filter_block(design, library)))
    sine = next(point for point in block.circuit.test_points if point.net == "filter_out").readings[-1]
    output = bring_up(design, library).reading("output-level")
    assert output is not None
    amplified = 0.5 * sine.ripple_v / sqrt(2.0) * design.amplifier.voltage_gain
    assert amplified == pytest.approx(output.expected, rel=1e-9)


def test_a_sine_or_a_supply_that_is_promised_wrong_is_found(
    reference_engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = "battery, difference"
    true = signal_points.filter_readings

    def wrong(design: Design, library: Library) -> dict[str, tuple[Reading, ...]]:
        return {
            net: tuple(replace(row, dc_v=1.02 * row.dc_v, ripple_v=1.01 * row.ripple_v) for row in rows)
            for net, rows in true(design, library).items()
        }

    monkeypatch.setattr(signal_points, "filter_readings", wrong)
    failed = {check.quantity.split(",")[0] for check in _checks(name, reference_engine) if not check.holds}
    assert failed == {
        "supply of the op-amps",
        "half of it",
        "sine's peak in the filter",
        "rest against the signal's ground",
    }
