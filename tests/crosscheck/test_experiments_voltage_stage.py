"""The voltage stage's experiments on every kind of discrete class AB, and that a wrong part fails them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest

from subwright import service
from subwright.base.units import code
from subwright.build.experiments import chip_input, voltage_stage, voltage_stage_drive
from subwright.build.experiments.record import Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.embedded import Embedded
from subwright.circuits.simulate import Engine
from subwright.service.solved import library_for
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
VAN, BIKE = "storyteller-van", "cargo-bike-cinema"
BUILDS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "pairs": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "pair"}, "goal": {"power_w": 60.0}}),
    "lateral": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "lateral"}, "goal": {"power_w": 50.0}}),
    "class G": (VAN, {"amplifier": {"kind": "class_g"}}),
    "class H": (BIKE, {"amplifier": {"kind": "bridge_class_h"}}),
    "bridge": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"}, "goal": {"power_w": 4.0}},
    ),
}
EVERY: dict[str, Experiment] = {
    e.name: e for e in (*voltage_stage.EXPERIMENTS, *voltage_stage_drive.EXPERIMENTS)
}


@cache
def solved(name: str) -> Design:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    return service.solve(spec.model_copy(update=parts), folder=EXAMPLES).design


def stage_of(design: Design) -> VoltageStage:
    found = design.amplifier.voltage_stage
    assert found is not None
    return found


def outcomes(design: Design, name: str, engine: Engine) -> list[Outcome]:
    library = library_for(design.spec, EXAMPLES)
    return [case.run(engine, 120.0) for case in EVERY[name].cases(design, library)]


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("build", BUILDS)
def test_simulation_and_closed_form_agree(build: str, name: str, reference_engine: Engine) -> None:
    found = outcomes(solved(build), name, reference_engine)
    assert found
    for outcome in found:
        for check in outcome.checks:
            assert check.holds, (check.quantity, check.closed, check.simulated, check.limit)
        for course in outcome.traces.values():
            assert course.shape == outcome.axis.shape


def test_a_design_without_the_stage_has_no_cases() -> None:
    design = service.solve(EXAMPLES / f"{VAN}.build.toml").design
    library = library_for(design.spec, EXAMPLES)
    assert design.amplifier.voltage_stage is None
    assert all(experiment.cases(design, library) == () for experiment in EVERY.values())


@pytest.mark.parametrize(
    ("name", "kind", "role", "factor"),
    [
        ("voltage-stage-rest", "resistors_ohm", "tail resistor", 0.8),
        ("voltage-stage-rest", "resistors_ohm", "stage source resistor", 1.25),
        ("voltage-stage-response", "resistors_ohm", "voltage feedback shunt", 0.9),
        ("voltage-stage-response", "capacitors_f", "voltage feedback capacitor", 0.5),
        ("voltage-stage-loop", "capacitors_f", "Miller capacitor", 0.47),
        ("voltage-stage-slew", "capacitors_f", "Miller capacitor", 2.2),
        ("voltage-stage-full", "resistors_ohm", "stage source resistor", 10.0),
        ("voltage-stage-mute", "resistors_ohm", "input series", 0.5),
    ],
)
def test_a_wrong_part_is_noticed(
    name: str, kind: str, role: str, factor: float, reference_engine: Engine
) -> None:
    """A part other than the design's, its stated figures left as they were."""
    design = solved("pairs")
    stage = stage_of(design)
    values = dict(getattr(stage, kind))
    values[role] *= factor
    bought = code(values[role], "resistance" if kind == "resistors_ohm" else "capacitance")
    ids = tuple(replace(use, part_id=bought) if use.role == role else use for use in design.amplifier.parts)
    other = replace(stage, **{kind: MappingProxyType(values)})
    changed = replace(design, amplifier=replace(design.amplifier, voltage_stage=other, parts=ids))
    found = outcomes(changed, name, reference_engine)
    assert not all(check.holds for outcome in found for check in outcome.checks)


@pytest.mark.parametrize("build", ["pairs", "class H"])
def test_both_engines_see_the_same_loop(build: str, reference_engine: Engine) -> None:
    first = outcomes(solved(build), "voltage-stage-loop", reference_engine)[0]
    second = outcomes(solved(build), "voltage-stage-loop", Embedded())[0]
    label = "loop gain, dB"
    np.testing.assert_allclose(second.axis, first.axis, rtol=1e-6)
    np.testing.assert_allclose(second.traces[label], first.traces[label], atol=0.05)


CHIPS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "chip": (VAN, {"amplifier": {"kind": "class_ab"}, "goal": {"power_w": 20.0}}),
    "bridge chip": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "load_ohm": 4.0}, "goal": {"power_w": 8.0}},
    ),
}


@pytest.mark.parametrize("build", CHIPS)
def test_a_chip_s_input_passes_what_its_divider_says(build: str, reference_engine: Engine) -> None:
    example, changes = CHIPS[build]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    design = service.solve(spec.model_copy(update=parts), folder=EXAMPLES).design
    (experiment,) = chip_input.EXPERIMENTS
    (case,) = experiment.cases(design, library_for(design.spec, EXAMPLES))
    outcome = case.run(reference_engine, 120.0)
    assert len(outcome.checks) == (2 if build == "chip" else 1)
    assert all(check.holds for check in outcome.checks)
    assert experiment.cases(solved("pairs"), library_for(design.spec, EXAMPLES)) == ()
