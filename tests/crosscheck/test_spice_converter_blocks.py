"""Controller, gate drive and soft start of designs against their closed forms, by the named experiments."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.build.experiments import experiment_named
from subwright.build.experiments.record import Outcome
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits.simulate import Engine
from subwright.parts.library import load_library

pytestmark = pytest.mark.spice

LIBRARY = load_library()
EXAMPLES = Path(__file__).parents[2] / "examples"
WISHES: dict[str, tuple[int, dict[str, object]]] = {
    "494": (12, {"controller": "TL494", "dead_time": "1.5 us"}),
    "bridge": (48, {}),
    "buffer": (24, {"topology": "push-pull", "gate_drive": "buffer"}),
    "regulated": (12, {"output": "regulated"}),
}


@cache
def design(name: str) -> Design:
    if name not in WISHES:
        found = service.solve(EXAMPLES / f"{name}.build.toml").design
        assert found is not None
        return found
    system, wishes = WISHES[name]
    spec = {
        "format_version": 1,
        "name": name,
        "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
        "driver": {"part": "Harbour 10"},
        "goal": {"power": "150 W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": "class_d_half_bridge"},
        "enclosure": {"kind": "sealed"},
        "converter": wishes,
    }
    return solve_build(BuildSpec.model_validate(spec), LIBRARY)


def run(experiment: str, name: str, engine: Engine, number: int = 0) -> Outcome:
    return experiment_named(experiment).cases(design(name), LIBRARY)[number].run(engine, 60.0)


def broken(outcome: Outcome) -> list[str]:
    return [
        f"{check.quantity}: {check.closed:.4g} against {check.simulated:.4g}"
        for check in outcome.checks
        if not check.holds
    ]


@pytest.mark.parametrize("case", [0, 2], ids=["pulses", "soft start"])
def test_the_timing_parts_do_what_they_were_chosen_for(case: int, engine: Engine) -> None:
    assert broken(run("controller-timing", "storyteller-van", engine, case)) == []


@pytest.mark.parametrize("name", ["494", "bridge", "regulated"])
def test_other_controllers_keep_time(name: str, reference_engine: Engine) -> None:
    assert broken(run("controller-timing", name, reference_engine)) == []
    assert broken(run("controller-timing", name, reference_engine, 2)) == []


def test_the_gates_follow_their_drivers(engine: Engine) -> None:
    assert broken(run("gate-drive", "storyteller-van", engine)) == []


@pytest.mark.parametrize("name", ["canal-workboat", "494", "bridge", "buffer"])
def test_gates_behind_other_drivers_follow(name: str, reference_engine: Engine) -> None:
    assert broken(run("gate-drive", name, reference_engine)) == []


def test_a_bridges_rails_fill_as_reckoned(reference_engine: Engine) -> None:
    assert broken(run("converter-soft-start", "bridge", reference_engine)) == []


def test_a_load_step_dips_as_reckoned(reference_engine: Engine) -> None:
    assert broken(run("converter-load-step", "storyteller-van", reference_engine)) == []


def test_the_steady_state_holds(reference_engine: Engine) -> None:
    """Lowest battery, a tenth of the load: where the clamp rests and the choke's current may have gaps."""
    for name in ("storyteller-van", "regulated"):
        assert broken(run("converter-steady-state", name, reference_engine)) == []


def test_the_rails_fill_as_reckoned_and_not_evenly(reference_engine: Engine) -> None:
    """Spread evenly over the soft start the current would be a fraction of the peak."""
    converter = design("storyteller-van").converter
    assert converter is not None
    charge = 2.0 * converter.reservoir_bank.capacitance_f * converter.rail_unloaded_v * converter.ratio
    outcome = run("converter-soft-start", "storyteller-van", reference_engine)
    assert (
        max(check.simulated for check in outcome.checks) > 2.0 * charge / converter.plan.timing.soft_start_s
    )


@pytest.mark.parametrize(
    ("wrong", "factor", "limit"), [("rt_ohm", 1.1, "rate of one output"), ("rd_ohm", 1.5, "dead time")]
)
def test_a_wrong_timing_part_would_be_noticed(
    wrong: str, factor: float, limit: str, reference_engine: Engine
) -> None:
    found = design("storyteller-van")
    assert found.converter is not None
    plan = found.converter.plan
    timing = replace(plan.timing, **{wrong: factor * getattr(plan.timing, wrong)})
    changed = replace(found, converter=replace(found.converter, plan=replace(plan, timing=timing)))
    outcome = experiment_named("controller-timing").cases(changed, LIBRARY)[0].run(reference_engine, 60.0)
    assert any(line.startswith(limit) for line in broken(outcome))
