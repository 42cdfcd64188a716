"""Two versions of a build, and a part that can't be had."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.base.errors import PartNotFoundError, SubwrightError
from subwright.build.bench import Entry
from subwright.build.bringup import bring_up
from subwright.build.difference import difference, readings_kept
from subwright.build.result import Design
from subwright.build.substitution import WithoutParts, substitute
from subwright.parts.library import Library, load_library

VAN = Path(__file__).parents[3] / "examples" / "storyteller-van.build.toml"


@cache
def library() -> Library:
    return load_library().with_drawer(service.open_drawer(VAN.with_name("storyteller-van.drawer.toml")))


@cache
def van() -> Design:
    return service.solve(VAN).design


def solved(**changes: dict[str, Any]) -> Design:
    spec = van().spec
    update = {stage: getattr(spec, stage).model_copy(update=fields) for stage, fields in changes.items()}
    return service.solve(spec.model_copy(update=update), folder=VAN.parent).design


def test_a_design_does_not_differ_from_itself() -> None:
    found = difference(van(), van())
    assert found.changes == ()
    assert found.figures == ()


def test_turns_are_told_as_a_re_wind() -> None:
    transformer = van().transformer
    assert transformer is not None
    more = replace(transformer.secondary, turns=transformer.secondary_turns + 1)
    other = replace(van(), transformer=replace(transformer, secondary=more))
    turns = transformer.secondary_turns
    assert [change.sentence for change in difference(van(), other).changes] == [
        f"re-wind: secondary {turns} → {turns + 1} turns"
    ]


def test_another_corner_exchanges_filter_parts_and_nothing_else() -> None:
    after = solved(filter={"corner_hz": 95.0})
    found = difference(van(), after)
    assert found.changes
    assert all(change.touches.startswith("filter/") for change in found.changes)
    names = [name for name, _, _ in found.figures]
    assert names == ["low-pass corner"]


def test_each_change_is_real_and_each_part_that_changed_is_told() -> None:
    """By another route: the parts lists as sets."""
    after = solved(enclosure={"volume_m3": 0.025}, filter={"corner_hz": 95.0})
    found = difference(van(), after)

    def parts(design: Design) -> set[tuple[str, str, str, str]]:
        return {(s, p.role, p.part_id, p.value) for s, p in design.part_uses() if p.unit == "pcs"}

    told = {change.touches for change in found.changes}
    for stage, role, _, _ in parts(van()) ^ parts(after):
        if role != "panel sheet":
            assert f"{stage}/{role}" in told, role
    assert any(change.act == "re-cut" for change in found.changes)


def test_readings_stay_valid_unless_what_they_rest_on_was_touched() -> None:
    after = solved(filter={"corner_hz": 95.0}, protection={"under_voltage_trip_v": 11.0})
    found = difference(van(), after)
    before_steps, after_steps = bring_up(van(), library()), bring_up(after, library())
    entries = [
        Entry(unit="1", at="t", key=reading.key, value=reading.expected, accuracy=0.005, code="X")
        for reading in before_steps.readings
    ]
    kept = {row.entry.key: row.standing for row in readings_kept(entries, found, before_steps, after_steps)}
    assert kept["low-pass-corner"] == "measure again"
    assert kept["under-voltage-trip"] == "measure again"
    for key in ("primary-inductance", "turns-ratio", "over-voltage-trip", "box-resonance", "rail-positive"):
        assert kept[key] == "valid", key


def test_a_missing_part_is_gone_from_the_new_design_and_candidates_are_named() -> None:
    found = substitute(van(), library(), "LM339")
    assert found.design is not None
    assert all(part.part_id != "LM339" for _, part in found.design.part_uses())
    assert found.moves is not None
    assert any("LM339" in change.what for change in found.moves.changes)
    assert "LM2901" in [row.part_id for row in found.candidates]
    assert all(row.part_id != "LM339" for row in found.candidates)


def test_a_candidate_in_the_drawer_comes_before_its_equal() -> None:
    rows = substitute(van(), library(), "EL 2200u 25V").candidates
    keys = [(len(row.other), len(row.worse), not row.in_drawer) for row in rows]
    assert keys == sorted(keys)


def test_a_part_that_the_build_file_names_is_replaced_there() -> None:
    found = substitute(van(), library(), "Harbour 10", most=8)
    assert found.design is None or found.design.driver.part_id == found.instead
    assert (found.design is None) == bool(found.refusal)


def test_unknown_parts_and_plain_values_are_refused() -> None:
    with pytest.raises(PartNotFoundError, match="no part"):
        substitute(van(), library(), "LM999")
    with pytest.raises(SubwrightError, match="preferred value"):
        substitute(van(), library(), "9k1")


def test_a_library_without_a_part_hides_only_that() -> None:
    rest = WithoutParts(library(), frozenset({"LM339"}))
    assert "LM339" not in rest.comparators
    assert set(library().comparators) - set(rest.comparators) == {"LM339"}
    assert rest.in_drawer("LM393") == library().in_drawer("LM393")
    assert rest.mosfets == library().mosfets
