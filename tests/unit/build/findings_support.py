"""Solved example builds, and a way to change one number deep inside a design."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from subwright import service
from subwright.build.findings.rule import REGISTRY
from subwright.build.result import Design, Finding
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[3] / "examples"


@cache
def solved(name: str) -> Design:
    """An example build, solved once for all tests."""
    return service.solve(EXAMPLES / f"{name}.build.toml").design


def van() -> Design:
    """Sealed box, half-bridge on a push-pull converter, 12 V, cabin."""
    return solved("storyteller-van")


def bike() -> Design:
    """Bridge straight from the battery: no converter, no transformer."""
    return solved("cargo-bike-cinema")


def wagon() -> Design:
    """Bridge on the raised rail of a boost converter, 12 V."""
    return solved("harvest-wagon")


@cache
def _with_amplifier(name: str, kind: str) -> Design:
    spec = service.open_build(EXAMPLES / f"{name}.build.toml").spec
    amplifier = spec.amplifier.model_copy(update={"kind": kind})
    return service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=EXAMPLES).design


def two_pairs() -> Design:
    """The van with class G: pairs of transistors on two pairs of rails."""
    return _with_amplifier("storyteller-van", "class_g")


def lifted() -> Design:
    """The bridge from the battery with class H: its rail lifted over the crests."""
    return _with_amplifier("cargo-bike-cinema", "bridge_class_h")


def put(whole: Any, path: str, value: Any) -> Any:
    """A copy with the value at a dotted path replaced; ``*`` stands for each item of a tuple or mapping."""
    head, _, rest = path.partition(".")
    if head == "*":
        if isinstance(whole, Mapping):
            return {key: put(item, rest, value) if rest else value for key, item in whole.items()}
        return tuple(put(item, rest, value) if rest else value for item in whole)
    if isinstance(whole, Mapping):
        assert head in whole, head
        return {**whole, head: put(whole[head], rest, value) if rest else value}
    inner = put(getattr(whole, head), rest, value) if rest else value
    if isinstance(whole, BaseModel):
        assert head in type(whole).model_fields, head
        return whole.model_copy(update={head: inner})
    assert is_dataclass(whole)
    return replace(whole, **{head: inner})


def changed(design: Design, changes: Mapping[str, Any]) -> Design:
    """A design with several numbers replaced."""
    for path, value in changes.items():
        design = put(design, path, value)
    return design


def at_point(design: Design, corner: Corner, level: Level, **values: float) -> Design:
    """A design with numbers of one operating point replaced."""
    points = tuple(
        replace(point, **values) if (point.corner, point.level) == (corner, level) else point
        for point in design.points
    )
    return replace(design, points=points)


def findings_of(code: str, design: Design) -> tuple[Finding, ...]:
    """What one rule finds on a design, kept limits included."""
    return tuple(REGISTRY[code].evaluate(design))
