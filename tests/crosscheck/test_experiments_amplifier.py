"""The amplifier's and the inputs' experiments on builds that no example has, and that they can fail."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.build.experiments import amplifier, amplifier_points
from subwright.build.experiments import filter as line_filter
from subwright.build.experiments.record import Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.netlist import Reading
from subwright.circuits.simulate import Engine
from subwright.parts.library import Library
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
VAN, BIKE = "storyteller-van", "cargo-bike-cinema"
BUILDS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "class G": (VAN, {"amplifier": {"kind": "class_g"}}),
    "class H": (BIKE, {"amplifier": {"kind": "bridge_class_h"}}),
    "pairs": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "pair"}, "goal": {"power_w": 60.0}}),
    "chip": (VAN, {"amplifier": {"kind": "class_ab"}, "goal": {"power_w": 20.0}}),
    "laterals": (VAN, {"amplifier": {"kind": "class_ab", "ab_output": "lateral"}, "goal": {"power_w": 50.0}}),
    "bridge of pairs": (
        BIKE,
        {"amplifier": {"kind": "bridge_class_ab", "ab_output": "pair"}, "goal": {"power_w": 4.0}},
    ),
    "full bridge": (VAN, {"amplifier": {"kind": "class_d_full_bridge"}}),
    "speaker level": (VAN, {"input": {"source": "speaker"}}),
    "difference": (BIKE, {"input": {"receiver": "difference"}}),
}
NAMES = {
    "class G": {"changing-rails-loss", "amplifier-clip", "amplifier-test-points"},
    "class H": {"changing-rails-loss", "amplifier-test-points"},
    "pairs": {"class-ab-loss", "amplifier-clip", "amplifier-test-points"},
    "chip": {"class-ab-loss", "amplifier-test-points"},
    "laterals": {"amplifier-test-points"},
    "bridge of pairs": {"amplifier-test-points"},
    "full bridge": {"class-d-ripple", "output-filter-response", "amplifier-clip", "amplifier-test-points"},
    "speaker level": {"input-response"},
    "difference": {"input-response", "filter-response"},
}
EVERY: dict[str, Experiment] = {
    e.name: e for e in (*amplifier.EXPERIMENTS, amplifier_points.EXPERIMENT, *line_filter.EXPERIMENTS)
}


@cache
def solved(name: str) -> Design:
    example, changes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {part: getattr(spec, part).model_copy(update=new) for part, new in changes.items()}
    return service.solve(spec.model_copy(update=parts), folder=EXAMPLES).design


def outcomes(design: Design, name: str, engine: Engine) -> list[Outcome]:
    library = library_for(design.spec, EXAMPLES)
    return [case.run(engine, 120.0) for case in EVERY[name].cases(design, library)]


@pytest.mark.parametrize(
    ("build", "name"), [(build, name) for build, names in NAMES.items() for name in sorted(names)]
)
def test_simulation_and_closed_form_agree(build: str, name: str, reference_engine: Engine) -> None:
    found = outcomes(solved(build), name, reference_engine)
    assert found
    for outcome in found:
        assert outcome.engine == reference_engine.name
        for check in outcome.checks:
            assert check.holds, (check.quantity, check.closed, check.simulated, check.limit)
        for course in outcome.traces.values():
            assert course.shape == outcome.axis.shape


def test_what_a_build_does_not_have_has_no_cases() -> None:
    library = library_for(solved("class G").spec, EXAMPLES)
    assert EVERY["class-d-ripple"].cases(solved("class G"), library) == ()
    assert EVERY["class-ab-loss"].cases(solved("class G"), library) == ()
    assert EVERY["changing-rails-loss"].cases(solved("pairs"), library) == ()
    assert EVERY["output-filter-response"].cases(solved("pairs"), library) == ()


@pytest.mark.parametrize(
    ("build", "name", "change"),
    [
        ("class G", "changing-rails-loss", {"inner_ratio": 0.55}),
        ("pairs", "class-ab-loss", {"bias_a": 0.3}),
        ("full bridge", "class-d-ripple", {"inductance_h": 30e-6}),
    ],
)
def test_a_wrong_model_is_noticed(
    build: str, name: str, change: dict[str, float], reference_engine: Engine
) -> None:
    """The circuit stays, the closed form is told another story."""
    design = solved(build)
    stated = replace(design.amplifier.model, **change)
    circuit = outcomes(design, name, reference_engine)[0]
    told = replace(design, amplifier=replace(design.amplifier, model=stated))
    library = library_for(design.spec, EXAMPLES)
    other = EVERY[name].cases(told, library)[0].run(reference_engine, 120.0)
    pairs = zip(other.checks, circuit.checks, strict=True)
    assert any(abs(a.closed / b.simulated - 1.0) > a.limit for a, b in pairs)


def test_a_wrong_reading_at_a_test_point_shows(monkeypatch: Any, reference_engine: Engine) -> None:
    """Half a volt on the bases and a tenth on the sine: each fails its own check."""
    true = amplifier_points.amplifier_readings

    def wrong(design: Design, library: Library) -> dict[str, tuple[Reading, ...]]:
        return {
            net: tuple(
                replace(row, dc_v=row.dc_v + 0.5)
                if net.startswith("base")
                else replace(row, ripple_v=1.1 * row.ripple_v)
                for row in rows
            )
            for net, rows in true(design, library).items()
        }

    monkeypatch.setattr(amplifier_points, "amplifier_readings", wrong)
    *_, playing = outcomes(solved("laterals"), "amplifier-test-points", reference_engine)
    failed = {
        f"{check.quantity.split()[0]} {check.quantity.rpartition(', ')[2]}"
        for check in playing.checks
        if not check.holds
    }
    assert failed == {"TP501 peak to peak", "TP502 mean", "TP503 mean"}
