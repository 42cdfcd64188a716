"""``subwright set``: values as people type them."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli_support import Command


@pytest.mark.parametrize("words", [("100 W",), ("100", "W")])
def test_a_unit_needs_no_quotes(words: tuple[str, ...], subwright: Command, van: Path) -> None:
    done = subwright("set", van, "goal.power", *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith('goal.power: "180 W" → "100 W"')


@pytest.mark.parametrize("words", [("-5 W",), ("-5", "W")])
def test_a_minus_begins_a_value_not_an_option(words: tuple[str, ...], subwright: Command, van: Path) -> None:
    done = subwright("set", van, "goal.power", *words)
    assert done.returncode == 2
    assert "power is -5 W, limit at least 1 W" in done.stderr


def test_options_are_still_options(subwright: Command, van: Path) -> None:
    assert subwright("set", van, "goal.power", "100 W", "--json").stdout.startswith("{")


def test_a_part_of_a_choice_names_the_choices(subwright: Command, van: Path) -> None:
    done = subwright("set", van, "amplifier.kind", "class_d")
    assert done.returncode == 2
    assert 'did you mean "class_d_half_bridge"' in done.stderr
