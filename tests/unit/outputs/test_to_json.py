"""JSON output: what goes in comes back through the standard library's reader, and NaN never gets out."""

from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from subwright.base.errors import SubwrightError
from subwright.outputs.to_json import dumps, plain
from subwright.stages.common import Corner, Rating


class Kind(StrEnum):
    SEALED = "sealed"


class Spec(BaseModel):
    volume_m3: float = 0.038
    kind: Kind = Kind.SEALED


@dataclass(frozen=True, kw_only=True, slots=True)
class Result:
    spec: Spec
    corners: dict[Corner, float]
    impedance_ohm: np.ndarray
    ratings: tuple[Rating, ...] = ()
    search_s: float = field(default=0.0, compare=False)


def make(**changes: object) -> Result:
    base = Result(
        spec=Spec(),
        corners={Corner.LOW: 11.0},
        impedance_ohm=np.array([3.2 + 0.5j, 8.0 - 1j]),
        ratings=(Rating(quantity="drain-source voltage", unit="V", applied=32.0, limit=60.0),),
        search_s=0.731,
    )
    return dataclasses.replace(base, **changes)


def test_nested_result_reads_back() -> None:
    read = json.loads(dumps(make()))
    assert read["spec"] == {"volume_m3": 0.038, "kind": "sealed"}
    assert read["corners"] == {"low": 11.0}
    assert read["impedance_ohm"] == {"real": [3.2, 8.0], "imag": [0.5, -1.0]}
    assert read["ratings"][0]["limit"] == 60.0


def test_run_times_stay_out_so_that_bytes_repeat() -> None:
    assert "search_s" not in dumps(make())
    assert dumps(make(search_s=0.1)) == dumps(make(search_s=0.2))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, np.float64("nan"), complex(1, math.nan)])
def test_not_finite_is_refused_with_its_place(bad: object) -> None:
    with pytest.raises(SubwrightError, match=r"stages\.rail_v\[1\]"):
        dumps({"stages": {"rail_v": [1.0, bad]}})


def test_not_finite_in_an_array_is_refused_with_its_field() -> None:
    with pytest.raises(SubwrightError, match="impedance_ohm"):
        dumps(make(impedance_ohm=np.array([1.0, np.nan])))


def test_unknown_types_are_refused_not_guessed() -> None:
    with pytest.raises(SubwrightError, match="no JSON form"):
        dumps({"call": print})


def test_keys_paths_sets_and_numpy_scalars() -> None:
    assert plain({(Corner.LOW, 2): np.int64(3)}) == {"low 2": 3}
    assert plain(Path("a/b.toml")) == "a/b.toml"
    assert plain({"b", "a"}) == ["a", "b"]
    assert plain(np.bool_(True)) is True
    assert dumps([-0.0]) == "[0.0]\n"


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@settings(deadline=None)
@given(JSON_VALUES)
def test_any_json_value_survives(value: object) -> None:
    assert json.loads(dumps(value)) == value


@settings(deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), max_size=20))
def test_arrays_read_back_exactly(values: list[float]) -> None:
    assert json.loads(dumps(np.array(values, dtype=float))) == values
