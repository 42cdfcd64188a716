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
from subwright.build.substitution import WithoutParts, equivalents, substitute
from subwright.build.substitution_trial import try_candidates
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


def test_a_resistor_that_must_stand_more_heat_is_told_though_its_value_stays() -> None:
    parts = tuple(
        replace(p, description="resistor 0.25 W") if p.role == "op-amp supply resistor" else p
        for p in van().filter.parts
    )
    before = replace(van(), filter=replace(van().filter, parts=parts))
    told = difference(before, van()).changes
    assert [change.act for change in told] == ["exchange"]
    assert "resistor 0.25 W → " in told[0].what
    assert told[0].what.endswith("resistor 1 W")


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


def trial_of(part_id: str, candidate: str):  # type: ignore[no-untyped-def]
    return try_candidates(van(), library(), part_id, [candidate])[0]


def part_at(design: Design, stage: str, role: str) -> str:
    return next(part.part_id for where, part in design.part_uses() if (where, part.role) == (stage, role))


@pytest.mark.parametrize(
    ("part_id", "candidate", "stage", "role"),
    [
        ("TL072", "NE5532", "filter", "filter op-amp"),
        ("LM339", "LM2901", "protection", "protection comparator"),
        ("EL 2200u 25V", "EL 3300u 25V", "converter", "input capacitor"),
        ("SG3525A", "SG2525A", "converter", "push-pull controller"),
    ],
)
def test_a_part_that_the_solver_chose_is_tried_with_that_very_candidate(
    part_id: str, candidate: str, stage: str, role: str
) -> None:
    assert part_at(van(), stage, role) == part_id  # chosen, not named by the build file
    found = trial_of(part_id, candidate)
    assert found.refusal == ""
    assert found.design is not None
    assert part_at(found.design, stage, role) == candidate
    assert all(part.part_id != part_id for _, part in found.design.part_uses())
    assert found.moves is not None
    assert any(change.touches == f"{stage}/{role}" for change in found.moves.changes)


def test_the_circuit_is_solved_again_round_the_candidate() -> None:
    """Fewer of the larger capacitors will do: the count is the solver's, not the missing part's."""
    found = trial_of("EL 2200u 25V", "EL 4700u 25V")
    assert found.design is not None
    assert found.design.converter is not None
    assert van().converter is not None
    assert found.design.converter.input_bank.count < van().converter.input_bank.count  # type: ignore[union-attr]
    worst = found.design.converter.input_bank
    assert worst.count * worst.capacitor.ripple_a > 0.0


def test_a_candidate_that_does_not_do_says_why_and_a_new_stop_is_named() -> None:
    refused = trial_of("LM339", "TLC3702")
    assert refused.design is None
    assert "open-collector" in refused.refusal
    stopped = trial_of("MBR20200CT", "MBR2060CT")
    assert stopped.design is not None
    assert stopped.stops
    codes = {finding.code for finding in stopped.design.findings if finding.severity == "stop"}
    assert set(stopped.stops) <= codes


def test_where_something_else_does_better_in_one_of_two_places_it_says_so() -> None:
    found = trial_of("IRF3205", "IRFB3206")
    assert found.design is not None, found.refusal
    assert part_at(found.design, "converter", "push-pull switch") == "IRFB3206"
    places = {stage for stage, part in van().part_uses() if part.part_id == "IRF3205"}
    assert len(places) == 2
    assert len(found.elsewhere) == 1


def test_what_would_also_do_is_worse_in_nothing_and_of_the_same_kind() -> None:
    found = equivalents(van(), library())
    assert len(found) >= 5
    assert "LM2901" not in found.get("LM339", ())  # its offset is worse
    assert all(name not in names for name, names in found.items())
    used = {part.part_id for _, part in van().part_uses()}
    assert set(found) <= used
    for name, names in found.items():
        if name in library().kind("capacitor"):
            have = library().kind("capacitor")
            for other in names:
                assert have[other].capacitance_f >= have[name].capacitance_f  # type: ignore[attr-defined]
                assert have[other].voltage_v >= have[name].voltage_v  # type: ignore[attr-defined]


def test_parts_turns_and_panels_are_told_and_the_log_keeps_what_they_leave_alone() -> None:
    """Turns, a panel and a protection resistor change; each voids its own readings and no others."""
    transformer, box = van().transformer, van().enclosure
    assert transformer is not None
    wound = replace(transformer.secondary, turns=transformer.secondary_turns + 1)
    front = next(panel for panel in box.panels if panel.name == "front")
    panels = tuple(replace(p, length_m=p.length_m + 0.02) if p is front else p for p in box.panels)
    part = next(p for p in van().protection.parts if p.role == "under-voltage sense lower")
    parts = tuple(
        replace(p, part_id="47k", value="47 k\u03a9") if p is part else p for p in van().protection.parts
    )
    other = replace(
        van(),
        transformer=replace(transformer, secondary=wound),
        enclosure=replace(box, panels=panels),
        protection=replace(van().protection, parts=parts),
    )
    found = difference(van(), other)
    assert {change.act for change in found.changes} == {"re-wind", "re-cut", "exchange"}
    told = [change.sentence for change in found.changes]
    turns = transformer.secondary_turns
    assert f"re-wind: secondary {turns} \u2192 {turns + 1} turns" in told
    steps = bring_up(van(), library())
    entries = [
        Entry(unit="1", at="t", key=reading.key, value=reading.expected, accuracy=0.005, code="X")
        for reading in steps.readings
    ]
    kept = {row.entry.key: row.standing for row in readings_kept(entries, found, steps, steps)}
    for key in (
        "turns-ratio",
        "rail-positive",
        "under-voltage-trip",
        "under-voltage-hysteresis",
        "box-resonance",
    ):
        assert kept[key] == "measure again", key
    for key in ("over-voltage-trip", "low-pass-corner", "gate-A", "driver-resistance", "reference-voltage"):
        assert kept[key] == "valid", key
