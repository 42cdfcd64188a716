"""The class-D modulator's experiments: closed forms hold in every form, and a wrong part would be noticed."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build import closed_loop
from subwright.build.closed_loop import ClosedLoop, loop_of
from subwright.build.experiments import modulator, modulator_supply
from subwright.build.experiments.record import Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.netlist import Circuit
from subwright.circuits.simulate import Engine
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
SELF: dict[str, Any] = {"modulator": "self-oscillating"}
BUILDS: dict[str, tuple[str, dict[str, Any]]] = {
    "half-bridge": ("storyteller-van", {}),
    "half-bridge, own rate": ("storyteller-van", SELF),
    "full bridge, own rate": ("storyteller-van", SELF | {"kind": "class_d_full_bridge"}),
    "12 V bridge": ("cargo-bike-cinema", {}),
    "raised rail, own rate": ("harvest-wagon", SELF),
    "48 V": ("canal-workboat", {}),
}
EVERY: dict[str, Experiment] = {e.name: e for e in (*modulator.EXPERIMENTS, *modulator_supply.EXPERIMENTS)}
CASES = [
    ("half-bridge", "modulator-rate", 1),
    ("half-bridge", "modulator-supply", 0),
    ("half-bridge, own rate", "modulator-rate", 2),
    ("half-bridge, own rate", "modulator-loop", 0),
    ("half-bridge, own rate", "modulator-bootstrap", 0),
    ("full bridge, own rate", "modulator-start", 0),
    ("full bridge, own rate", "modulator-bootstrap", 1),
    ("12 V bridge", "modulator-supply", 0),
    ("12 V bridge", "modulator-rate", 1),
    ("raised rail, own rate", "modulator-rate", 0),
    ("48 V", "modulator-start", 0),
]


@cache
def solved(name: str) -> Design:
    example, wishes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    amplifier = spec.amplifier.model_copy(update=wishes)
    return service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=EXAMPLES).design


def run(build: str, name: str, number: int, engine: Engine) -> Outcome:
    design = solved(build)
    return EVERY[name].cases(design, library_for(design.spec, EXAMPLES))[number].run(engine, 120.0)


def broken(outcome: Outcome) -> list[str]:
    return [
        f"{check.quantity}: {check.closed:.4g} against {check.simulated:.4g}"
        for check in outcome.checks
        if not check.holds
    ]


@pytest.mark.parametrize(("name", "number"), [("modulator-rate", 0), ("modulator-start", 0)])
def test_the_clocked_loop_plays_on_either_engine(name: str, number: int, engine: Engine) -> None:
    outcome = run("half-bridge", name, number, engine)
    assert broken(outcome) == []
    assert all(course.shape == outcome.axis.shape for course in outcome.traces.values())


@pytest.mark.parametrize(("build", "name", "number"), CASES)
def test_closed_forms_hold_in_every_form(
    build: str, name: str, number: int, reference_engine: Engine
) -> None:
    assert broken(run(build, name, number, reference_engine)) == []


def changed(monkeypatch: pytest.MonkeyPatch, change: Any) -> None:
    """Have every closed loop's netlist altered after it is made."""
    honest = ClosedLoop.circuit

    def altered(loop: ClosedLoop, *rest: Any, **how: Any) -> Circuit:
        return change(honest(loop, *rest, **how))

    monkeypatch.setattr(closed_loop.ClosedLoop, "circuit", altered)


def scaled(role: str, factor: float) -> Any:
    def change(circuit: Circuit) -> Circuit:
        parts = [
            replace(part, value=factor * part.value) if part.role == role else part for part in circuit.parts
        ]
        return replace(circuit, parts=tuple(parts))

    return change


@pytest.mark.parametrize(
    ("build", "role", "factor", "said"),
    [
        ("half-bridge", "clock timing capacitor", 1.2, "switching frequency"),
        ("half-bridge", "dead-time capacitor", 2.0, "dead time"),
        ("half-bridge", "integrator input", 1.3, "mean of the switched nodes"),
        ("half-bridge, own rate", "integrator capacitor", 1.2, "switching frequency"),
    ],
)
def test_a_wrong_part_would_be_noticed(
    monkeypatch: pytest.MonkeyPatch,
    build: str,
    role: str,
    factor: float,
    said: str,
    reference_engine: Engine,
) -> None:
    changed(monkeypatch, scaled(role, factor))
    number = 1 if said.startswith("mean") else 0
    assert any(
        line.startswith(said) for line in broken(run(build, "modulator-rate", number, reference_engine))
    )


def test_without_its_hold_diodes_the_loop_would_never_start(
    monkeypatch: pytest.MonkeyPatch, reference_engine: Engine
) -> None:
    """The drivers wait for a rising edge after a stop; without the diodes nobody makes one."""

    def without(circuit: Circuit) -> Circuit:
        kept = tuple(part for part in circuit.parts if part.role != "mute hold diode")
        return replace(circuit, parts=kept)

    changed(monkeypatch, without)
    lines = broken(run("half-bridge, own rate", "modulator-start", 0, reference_engine))
    assert any(line.startswith("switching frequency once it plays") for line in lines)


def test_class_ab_has_no_cases() -> None:
    design = solved("half-bridge")
    bare = replace(design, amplifier=replace(design.amplifier, modulator=None))
    library = library_for(design.spec, EXAMPLES)
    assert all(experiment.cases(bare, library) == () for experiment in EVERY.values())
    assert loop_of(design, library).m.form == "clocked"
