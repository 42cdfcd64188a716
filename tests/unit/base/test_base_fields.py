"""Spec fields: what the build file may say, and how a refusal reads."""

from __future__ import annotations

import tomllib
from typing import Any, Literal

import pytest
from pydantic import ValidationError

from subwright.base.fields import (
    Area,
    Celsius,
    Decibel,
    Length,
    Ratio,
    Resistance,
    StageSpec,
    Turns,
    choice,
    quantity,
)


class Spec(StageSpec):
    cable_length_m: Length = quantity("4 m", low="0.1 m", high="30 m", why="One-way run.")
    section_m2: Area | None = quantity(None, low="0.5 mm2", high="120 mm2", why="Copper section.")
    thickness_m: Length = quantity("18 mm", low="6 mm", high="40 mm", why="Panel thickness.")
    ambient_c: Celsius = quantity("-10 °C", low="-40 °C", high="60 °C", why="Coldest day.")
    gain_db: Decibel = quantity("0 dB", low="-20 dB", high="30 dB", why="Gain.")
    load_ohm: Resistance = quantity("4R7", low="1 Ω", high="1 kΩ", why="Load.")
    max_drop: Ratio = quantity("3 %", low="0.1 %", high="20 %", why="Largest drop.")
    primary_turns: Turns | None = quantity(None, low="1", high="50", why="Turns.")
    system_v: Literal[12, 24, 36, 48] = choice(12, why="Battery.")
    kind: Literal["sealed", "vented"] = choice("sealed", why="Enclosure.")
    core: str | None = choice(None, why="Core id.")
    order: Literal[2, 4] | None = choice(None, why="Order.")
    chassis: bool = choice(False, why="Return through the chassis.")


def problem(**given: Any) -> tuple[tuple[int | str, ...], str]:
    with pytest.raises(ValidationError) as caught:
        Spec.model_validate(given, by_alias=True, by_name=False)
    (detail,) = caught.value.errors()
    return detail["loc"], detail["msg"]


def test_defaults_are_read_into_the_stored_unit() -> None:
    spec = Spec()
    assert spec.cable_length_m == 4.0
    assert spec.thickness_m == 0.018
    assert spec.max_drop == 0.03
    assert spec.load_ohm == 4.7
    assert spec.section_m2 is None


def test_the_build_file_spelling() -> None:
    text = """
    cable_length = "13 ft"
    section = "AWG 4"
    max_drop = 0.05
    primary_turns = 4
    system = "24 V"
    kind = "vented"
    ambient = "14 F"
    order = 4
    """
    spec = Spec.model_validate(tomllib.loads(text), by_alias=True, by_name=False)
    assert spec.cable_length_m == pytest.approx(3.9624)
    assert spec.section_m2 == pytest.approx(21.15e-6, rel=1e-3)
    assert spec.max_drop == 0.05
    assert spec.primary_turns == 4
    assert type(spec.primary_turns) is int
    assert spec.system_v == 24
    assert spec.ambient_c == pytest.approx(-10.0)
    assert spec.order == 4


def test_in_code_the_field_name_takes_the_stored_unit() -> None:
    assert Spec(cable_length_m=6.0).cable_length_m == 6.0
    assert Spec(cable_length_m="6 m").cable_length_m == 6.0
    assert Spec(system_v=48).system_v == 48


@pytest.mark.parametrize("key", ["section", "primary_turns", "core", "order"])
@pytest.mark.parametrize("word", ["auto", "Auto ", None])
def test_auto_leaves_an_optional_field_to_the_programme(key: str, word: str | None) -> None:
    spec = Spec.model_validate({key: word})
    assert getattr(spec, {"section": "section_m2"}.get(key, key)) is None


def test_auto_is_refused_where_a_value_is_needed() -> None:
    loc, message = problem(cable_length="auto")
    assert loc == ("cable_length",)
    assert "can't be left to the programme" in message
    assert 'write a value from "0.1 m" to "30 m"' in message


@pytest.mark.parametrize(
    ("key", "number", "remedy"),
    [
        ("cable_length", 4, 'write "4 m"'),
        ("thickness", 18, 'write "18 mm"'),
        ("section", 2.5, 'write "2.5 mm2"'),
        ("load", 4, 'write "4 Ω"'),
        ("gain", 3, 'write "3 dB"'),
        ("ambient", -5, 'write "-5 °C"'),
    ],
)
def test_a_plain_number_is_refused_with_the_likely_unit(key: str, number: float, remedy: str) -> None:
    loc, message = problem(**{key: number})
    assert loc == (key,)
    assert remedy in message


def test_bounds_name_value_limit_and_remedy() -> None:
    loc, message = problem(cable_length="45 m")
    assert loc == ("cable_length",)
    assert "cable length is too large" in message
    assert "is 45 m, limit at most 30 m" in message
    _, message = problem(cable_length="5 mm")
    assert "at least 0.1 m" in message


def test_bounds_themselves_are_allowed() -> None:
    assert Spec(cable_length="30 m", thickness="6 mm", ambient="-40 F").ambient_c == pytest.approx(-40.0)
    assert Spec(section="0.5 mm2").section_m2 == pytest.approx(0.5e-6)
    assert Spec(section="120 mm²").section_m2 == pytest.approx(120e-6)


def test_a_wrong_dimension_keeps_the_key() -> None:
    loc, message = problem(cable_length="4 V")
    assert loc == ("cable_length",)
    assert "'4 V' is a voltage, not a length" in message


def test_braces_in_the_text_are_no_template() -> None:
    _, message = problem(cable_length="{text} {0}")
    assert "{text} {0}" in message


@pytest.mark.parametrize("value", [True, [1], {"a": 1}])
def test_other_types_are_refused(value: Any) -> None:
    loc, message = problem(cable_length=value)
    assert loc == ("cable_length",)
    assert "written as text with its unit" in message


def test_not_a_number_is_refused() -> None:
    assert problem(max_drop=float("nan"))[0] == ("max_drop",)
    with pytest.raises(ValidationError):
        Spec(cable_length_m=float("inf"))


def test_turns_are_whole() -> None:
    assert "whole number" in problem(primary_turns=4.5)[1]
    assert Spec(primary_turns="12 turns").primary_turns == 12


def test_choices_are_named_and_guessed() -> None:
    loc, message = problem(kind="vennted")
    assert loc == ("kind",)
    assert 'did you mean "vented"?' in message
    assert "one of 12 V, 24 V, 36 V, 48 V" in problem(system=13)[1]
    assert "one of 12 V, 24 V, 36 V, 48 V" in problem(system="13 V")[1]
    assert "a length, not a voltage" in problem(system="12 m")[1]
    assert "one of 2, 4" in problem(order=3)[1]


def test_a_switch_is_no_number() -> None:
    """1 == True in the language; a choice among numbers must not take a switch for one."""

    class Count(StageSpec):
        count: Literal[1, 2] = choice(1, why="How many.")

    with pytest.raises(ValidationError):
        Count.model_validate({"count": True})


def test_unknown_keys_are_refused() -> None:
    loc, _ = problem(cable_lenght="4 m")
    assert loc == ("cable_lenght",)
    assert problem(cable_length_m="4 m")[0] == ("cable_length_m",)


def test_specs_are_frozen() -> None:
    with pytest.raises(ValidationError):
        Spec().cable_length_m = 5.0  # type: ignore[misc]


def test_input_is_not_changed() -> None:
    given = {"cable_length": 4}
    with pytest.raises(ValidationError):
        Spec.model_validate(given)
    assert given == {"cable_length": 4}
    assert type(given["cable_length"]) is int


def test_a_spec_that_contradicts_itself_fails_at_import() -> None:
    with pytest.raises(TypeError, match="suffix says"):

        class WrongSuffix(StageSpec):
            length_v: Length = quantity("4 m", low="1 m", high="5 m", why="x")

    with pytest.raises(TypeError, match="leave no room"):

        class NoRoom(StageSpec):
            length_m: Length = quantity("4 m", low="5 m", high="1 m", why="x")

    with pytest.raises(TypeError, match="default is refused"):

        class OutsideDefault(StageSpec):
            length_m: Length = quantity("9 m", low="1 m", high="5 m", why="x")

    with pytest.raises(TypeError, match="allows None"):

        class NoneDefault(StageSpec):
            length_m: Length = quantity(None, low="1 m", high="5 m", why="x")

    with pytest.raises(TypeError, match="share the build-file key"):

        class TwoKeys(StageSpec):
            drop_v: float = choice(1.0, why="x")
            drop: float = choice(1.0, why="x")

    with pytest.raises(TypeError, match="made with quantity"):

        class NoBounds(StageSpec):
            length_m: Length = choice(1.0, why="x")


def test_rules_carry_what_a_form_needs() -> None:
    rule = Spec.RULES["thickness_m"]
    assert (rule.key, rule.dimension, rule.unit, rule.optional) == ("thickness", "length", "mm", False)
    assert (rule.low, rule.high) == (0.006, 0.04)
    assert Spec.RULES["section_m2"].optional
    assert "kind" not in Spec.RULES


def test_a_count_in_words_asks_for_a_whole_number() -> None:
    class Box(StageSpec):
        port_count: Literal[1, 2, 3] = choice(1, why="Ports.")
        primary_turns: Turns = quantity("5", low="1", high="60", why="Turns.")

    for key, value, allowed in (
        ("port_count", "two", "one of 1, 2, 3"),
        ("primary_turns", "six", '"1" to "60"'),
    ):
        with pytest.raises(ValidationError) as caught:
            Box.model_validate({key: value})
        text = str(caught.value)
        assert "must be a whole number" in text
        assert "ratio" not in text
        assert allowed in text
    assert Box.model_validate({"port_count": "2"}).port_count == 2
