"""Builds whose design once held a number that no JSON holds, or was refused in words of another trade."""

from __future__ import annotations

import json
from typing import Any

import pytest

from subwright.base.errors import NoSolutionError
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.to_json import dumps
from subwright.parts.library import load_library

LIBRARY = load_library()


def solve(**wishes: Any) -> Design:
    return solve_build(BuildSpec.model_validate({"name": "written", **wishes}), LIBRARY)


def test_a_loop_whose_phase_never_reaches_half_a_turn() -> None:
    design = solve(
        supply={"system": 48, "capacity": "300 Ah", "cable_length": "9.3 m"},
        driver={"part": "Drover 12", "count": 3},
        goal={"power": "180 W", "lowest_note": "20 Hz", "crest_factor": "6 dB"},
        amplifier={"kind": "bridge_class_d", "load": "8 ohm"},
        converter={"topology": "boost"},
    )
    assert design.boost is not None
    margins = {name: figures.gain_margin_db for name, figures in design.boost.loop.figures.items()}
    assert margins["max, a tenth"] is None
    stated = [margin for margin in margins.values() if margin is not None]
    assert design.boost.loop.gain_margin_db == min(stated)
    written = json.loads(dumps(design))["boost"]["loop"]["figures"]["max, a tenth"]
    assert written[-1] is None


@pytest.mark.parametrize(
    ("battery", "system", "kind"), [("lfp", 24, "class_ab"), ("lead-acid", 36, "class_g")]
)
def test_a_drop_sensed_across_a_small_switch(battery: str, system: int, kind: str) -> None:
    design = solve(
        supply={"battery": battery, "system": system, "return_path": "chassis"},
        driver={"part": "Fell 12"},
        goal={"power": "20 W", "lowest_note": "40 Hz", "crest_factor": "15 dB"},
        amplifier={"kind": kind},
        protection={"over_current": "switch"},
    )
    trip = design.protection.over_current
    assert trip is not None
    assert trip.response_s is not None
    assert 0.0 < trip.response_s < 1e-3
    dumps(design)


def test_a_raised_rail_below_the_reference_is_refused_as_such() -> None:
    with pytest.raises(NoSolutionError, match="no higher than the controller") as refusal:
        solve(
            supply={"battery": "lfp", "cable_length": "7.6 m"},
            driver={"part": "Moraine 15", "count": 4},
            goal={"power": "1 W", "lowest_note": "20 Hz"},
            amplifier={"kind": "bridge_class_d"},
            converter={"topology": "boost"},
        )
    assert "converter.topology" in (refusal.value.remedy or "")


def test_a_regulated_rail_at_the_end_of_its_duty_settles() -> None:
    """Whole and half steps both swing between two solutions here; the design stands all the same."""
    design = solve(
        supply={"battery": "agm", "system": 24, "cable_length": "4.3 m", "capacity": "7 Ah"},
        driver={"part": "Skerry 8", "count": 3},
        goal={"power": "500 W", "lowest_note": "50 Hz", "crest_factor": "12 dB"},
        amplifier={"modulator": "self-oscillating", "inductor_core": "bought", "switching": "80 kHz"},
        converter={
            "topology": "full-bridge",
            "output": "regulated",
            "switching": "35 kHz",
            "auxiliary_feed": "winding",
        },
        transformer={"rise_basis": "full", "stack": 3},
        battery_guard={"reverse": "none"},
        filter={"corner": "90 Hz"},
    )
    assert all(watts == pytest.approx(500.0, rel=0.02) for watts in design.signal.sine_w.values())


def test_a_load_far_below_the_one_stated_is_a_stop_and_no_nan() -> None:
    """Four drivers in parallel on an amplifier that expects 8 Ω: the rails fall, and AMP-07 says why."""
    design = solve(
        supply={
            "battery": "lfp",
            "cable_length": "11.2 m",
            "return_path": "chassis",
            "ambient_max": "65 °C",
        },
        driver={"part": "Harbour 10", "count": 4},
        goal={"power": "80 W", "lowest_note": "50 Hz", "crest_factor": "5 dB"},
        enclosure={"volume": "150 l", "braces": 0},
        amplifier={"kind": "class_d_half_bridge", "modulator": "self-oscillating", "load": "8 ohm"},
        converter={"topology": "full-bridge", "output": "regulated", "auxiliary_feed": "winding"},
        heat={"heatsink": "plate"},
        filter={"corner": "180 Hz"},
    )
    assert [f.code for f in design.findings if f.severity == "stop"] == ["AMP-07"]
    assert abs(design.balance.imbalance) < 1e-9
    dumps(design)


def test_a_stuck_output_meets_the_coils_copper() -> None:
    """Direct current knows the direct resistance, whatever load the amplifier was told to expect."""
    shared: dict[str, Any] = {
        "supply": {"system": 24},
        "driver": {"part": "Drover 12"},
        "goal": {"power": "60 W"},
        "speaker_guard": {"switch": "mosfet"},
    }
    for load in ("4 ohm", "8 ohm"):
        design = solve(amplifier={"kind": "class_d_half_bridge", "load": load}, **shared)
        guard, stage = design.speaker_guard, design.amplifier
        assert guard is not None
        assert guard.switch is not None
        stuck_a = stage.rail_expected_v / design.driver.re_ohm
        assert guard.switch.coil_j == pytest.approx(0.5 * (design.driver.le_h or 0.0) * stuck_a**2)
        assert guard.coil_heat_j == pytest.approx(stage.rail_expected_v * stuck_a * guard.total_s)
