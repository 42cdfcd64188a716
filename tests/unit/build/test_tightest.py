"""Which margin stands for a stage: that of a limit that matters, kept or not."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.build.findings.rule import REGISTRY, Measure
from subwright.build.result import Design, Finding

EXAMPLES = Path(__file__).parents[3] / "examples"
NAMES = ("storyteller-van", "canal-workboat", "cargo-bike-cinema", "harvest-wagon")


@cache
def designed(name: str) -> Design:
    return service.solve(service.open_build(EXAMPLES / f"{name}.build.toml").spec, folder=EXAMPLES).design


def finding(margin: float, gravity: str, severity: str = "ok", *, counted: bool = False) -> Finding:
    made = next(iter(designed(NAMES[0]).findings))
    return replace(made, stage="driver", margin=margin, gravity=gravity, severity=severity, counted=counted)


def tightest(*findings: Finding) -> Finding | None:
    return replace(designed(NAMES[0]), findings=findings).tightest("driver")


def test_a_kept_limit_counts_and_a_passed_note_does_not() -> None:
    kept, near, passed = finding(0.4, "stop"), finding(0.01, "stop", "note"), finding(-0.7, "note", "note")
    assert tightest(kept, near, passed) is near


def test_a_count_that_is_right_has_no_margin() -> None:
    kept, right = finding(0.4, "warn"), finding(0.0, "warn", counted=True)
    wrong = finding(-1.0, "warn", "warn", counted=True)
    assert tightest(kept, right) is kept
    assert tightest(kept, wrong) is wrong


def test_where_every_limit_is_a_note_the_least_of_them_stands() -> None:
    passed = finding(-0.2, "note", "note")
    assert tightest(passed, finding(0.3, "note")) is passed
    assert replace(designed(NAMES[0]), findings=()).tightest() is None


@pytest.mark.parametrize("name", NAMES)
def test_no_stage_of_an_example_shows_a_notes_margin(name: str) -> None:
    for stage in ("supply", "converter", "protection", "amplifier", "driver", "enclosure"):
        found = designed(name).tightest(stage)
        assert found is None or REGISTRY[found.code].severity != "note", found


def test_a_finding_keeps_what_it_would_be_once_broken() -> None:
    rule = replace(
        REGISTRY["SUP-10"],
        near=0.5,
        check=lambda _: [Measure(quantity="q", value=0.9, limit=1.0, dimension="ratio")],
    )
    (made,) = rule.evaluate(designed(NAMES[0]))
    assert (made.severity, made.gravity, made.judged) == ("note", "warn", True)
