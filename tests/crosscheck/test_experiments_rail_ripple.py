"""Ripple of a class-D amplifier's rails against its closed forms, and that a wrong capacitor would show."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.experiments import rail_ripple
from subwright.build.experiments.record import Outcome
from subwright.circuits.netlist import Circuit
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
BUILDS = {"storyteller-van": 2, "cargo-bike-cinema": 1}


def run(name: str, number: int, engine: Engine) -> Outcome:
    design = service.solve(EXAMPLES / f"{name}.build.toml").design
    cases = rail_ripple.EXPERIMENTS[0].cases(design, library_for(design.spec, EXAMPLES))
    assert len(cases) == BUILDS[name]
    return cases[number].run(engine, 60.0)


@pytest.mark.parametrize(("name", "number"), [(n, k) for n, count in BUILDS.items() for k in range(count)])
def test_the_rails_ripple_as_the_closed_form_says(name: str, number: int, engine: Engine) -> None:
    (check,) = run(name, number, engine).checks
    assert check.holds, (check.quantity, check.closed, check.simulated)


@pytest.mark.parametrize("number", [0, 1])
def test_a_wrong_capacitor_would_be_noticed(
    monkeypatch: pytest.MonkeyPatch, number: int, reference_engine: Engine
) -> None:
    def smaller(circuit: Circuit, *rest: Any, **how: Any) -> Traces:
        parts = tuple(
            replace(part, value=0.9 * part.value)
            if isinstance(part.value, float) and "BANK" in part.designator
            else part
            for part in circuit.parts
        )
        return simulate(replace(circuit, parts=parts), *rest, **how)

    monkeypatch.setattr(rail_ripple, "simulate", smaller)
    (check,) = run("storyteller-van", number, reference_engine).checks
    assert not check.holds


def test_class_ab_has_no_cases() -> None:
    spec = service.open_build(EXAMPLES / "storyteller-van.build.toml").spec
    amplifier = spec.amplifier.model_copy(update={"kind": "class_ab"})
    goal = spec.goal.model_copy(update={"power_w": 20.0})
    changed = spec.model_copy(update={"amplifier": amplifier, "goal": goal})
    design = service.solve(changed, folder=EXAMPLES).design
    assert rail_ripple.EXPERIMENTS[0].cases(design, library_for(design.spec, EXAMPLES)) == ()
