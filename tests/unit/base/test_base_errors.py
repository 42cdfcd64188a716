"""The error family."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from subwright.base.errors import FileProblem, InputError, PartNotFoundError, RangeError, UnitError


@pytest.mark.parametrize(
    "error",
    [
        RangeError(message="too much", quantity="flux density", value="0.4 T", limit="0.3 T", source="x"),
        PartNotFoundError(message="no such part", near=("a", "b")),
        InputError(
            message="1 problem", problems=(FileProblem(file=Path("a"), line=3, key="k", message="m"),)
        ),
        UnitError(message="no unit", remedy="add it"),
    ],
)
def test_errors_cross_a_process_boundary(error: Exception) -> None:
    """A worker process hands its error over as a pickle; the fields must survive it."""
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert vars(again) == vars(error)


def test_errors_are_hashable_and_compare_by_identity() -> None:
    first, second = UnitError(message="a"), UnitError(message="a")
    assert len({first, second}) == 2


def test_text_names_quantity_value_limit_source_and_remedy() -> None:
    text = str(RangeError(message="m", quantity="q", value="v", limit="l", source="s", remedy="r"))
    assert text == "m [q is v, limit l] (source: s) Remedy: r"
