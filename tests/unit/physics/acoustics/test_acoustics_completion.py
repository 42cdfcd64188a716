"""Completing a parameter set: any sufficient subset gives the same driver, and a wrong number is named."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import NoSolutionError, RangeError
from subwright.physics.acoustics.air import AIR_20C
from subwright.physics.acoustics.completion import NAMES, complete, relations_hold
from subwright.physics.acoustics.parameters import DriverModel, efficiency_from_motor, strings_of

MODEL = DriverModel(
    re_ohm=3.4, bl_tm=14.5, mms_kg=0.140, cms_m_per_n=2.308e-4, rms_kg_per_s=5.2, sd_m2=0.0500
)
TRUE = {
    "re_ohm": MODEL.re_ohm,
    "fs_hz": MODEL.fs_hz,
    "sd_m2": MODEL.sd_m2,
    "qes": MODEL.qes,
    "qms": MODEL.qms,
    "qts": MODEL.qts,
    "mms_kg": MODEL.mms_kg,
    "bl_tm": MODEL.bl_tm,
    "cms_m_per_n": MODEL.cms_m_per_n,
    "rms_kg_per_s": MODEL.rms_kg_per_s,
    "vas_m3": MODEL.vas_m3(),
    "efficiency": efficiency_from_motor(MODEL.bl_tm, MODEL.sd_m2, MODEL.re_ohm, MODEL.mms_kg),
}


def test_the_true_set_is_consistent() -> None:
    assert relations_hold(TRUE) < 1e-12
    assert set(TRUE) == set(NAMES)
    assert complete(TRUE).disagreements == ()


def test_every_subset_of_six_gives_the_driver_or_is_refused() -> None:
    solved = 0
    for names in itertools.combinations(NAMES, 6):
        stated = {name: TRUE[name] for name in names}
        try:
            found = complete(stated)
        except NoSolutionError:
            continue
        solved += 1
        assert found.disagreements == ()
        for name in NAMES:
            assert found.values[name] == pytest.approx(TRUE[name], rel=1e-9), (names, name)
    assert solved > 300


@given(
    fs=st.floats(12.0, 80.0),
    qes=st.floats(0.15, 2.0),
    qms=st.floats(1.0, 15.0),
    vas=st.floats(0.005, 0.6),
    sd=st.floats(0.01, 0.15),
    re=st.floats(0.8, 14.0),
)
def test_completed_sets_obey_all_relations(
    fs: float, qes: float, qms: float, vas: float, sd: float, re: float
) -> None:
    stated = {"fs_hz": fs, "qes": qes, "qms": qms, "vas_m3": vas, "sd_m2": sd, "re_ohm": re}
    found = complete(stated)
    assert relations_hold(found.values) < 1e-9
    for name, value in stated.items():
        assert found.values[name] == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("wrong", ["mms_kg", "vas_m3", "qms", "sd_m2", "fs_hz", "cms_m_per_n"])
def test_one_wrong_number_in_a_full_set_is_named(wrong: str) -> None:
    stated = TRUE | {wrong: TRUE[wrong] * 2.0}
    found = complete(stated)
    assert [item.quantity for item in found.disagreements] == [wrong]
    item = found.disagreements[0]
    assert item.suspects == (wrong,)
    assert item.implied == pytest.approx(TRUE[wrong], rel=1e-9)
    assert item.relative_difference == pytest.approx(1.0, rel=1e-9)
    assert wrong not in found.basis
    assert found.values[wrong] == pytest.approx(TRUE[wrong], rel=1e-9)


@pytest.mark.parametrize("wrong", ["re_ohm", "bl_tm"])
def test_resistance_and_force_factor_can_t_be_told_apart(wrong: str) -> None:
    """They count only as Bl²/Re, so either may be the wrong one; the ohmmeter is trusted."""
    found = complete(TRUE | {wrong: TRUE[wrong] * 1.3})
    assert [item.quantity for item in found.disagreements] == ["bl_tm"]
    assert set(found.disagreements[0].suspects) == {"re_ohm", "bl_tm"}


def test_where_several_numbers_could_be_wrong_all_are_named() -> None:
    stated = {name: TRUE[name] for name in ("qts", "qms", "qes", "fs_hz", "re_ohm", "sd_m2", "vas_m3")}
    found = complete(stated | {"qts": TRUE["qts"] * 0.9})
    assert [item.quantity for item in found.disagreements] == ["qts"]
    assert set(found.disagreements[0].suspects) == {"qts", "qms", "qes"}


def test_trusted_values_are_kept() -> None:
    stated = TRUE | {"fs_hz": TRUE["fs_hz"] * 1.1}
    found = complete(stated, trusted=("fs_hz",))
    assert found.values["fs_hz"] == stated["fs_hz"]
    assert "fs_hz" in found.basis
    assert found.disagreements


def test_rounding_on_a_data_sheet_is_not_a_contradiction() -> None:
    rounded = {name: float(f"{value:.2g}") for name, value in TRUE.items()}
    assert complete(rounded, tolerance=0.1).disagreements == ()


def test_too_little_is_refused_with_what_is_missing() -> None:
    with pytest.raises(NoSolutionError) as caught:
        complete({"fs_hz": 30.0, "qts": 0.4})
    assert "sd_m2" in caught.value.message
    assert "piston area" in caught.value.remedy


@pytest.mark.parametrize(
    "stated", [{"fs_hz": 0.0}, {"fs_hz": -3.0}, {"fs_hz": math.nan}, {"fs_hz": math.inf}]
)
def test_values_that_are_no_parameters_are_refused(stated: dict[str, float]) -> None:
    with pytest.raises(NoSolutionError):
        complete(TRUE | stated)


@pytest.mark.parametrize("part", ["qms", "qes"])
def test_swapped_qs_are_refused(part: str) -> None:
    with pytest.raises(NoSolutionError) as caught:
        complete(TRUE | {part: TRUE["qts"] * 0.9})
    assert "swapped" in caught.value.remedy


@pytest.mark.parametrize(
    ("count", "connection", "wanted"),
    [
        (1, "single", (1, 1)),
        (2, "series", (2, 1)),
        (3, "parallel", (1, 3)),
        (4, "series-parallel", (2, 2)),
    ],
)
def test_strings(count: int, connection: str, wanted: tuple[int, int]) -> None:
    assert strings_of(count, connection) == wanted  # type: ignore[arg-type]


@pytest.mark.parametrize(("count", "connection"), [(2, "single"), (1, "series"), (3, "series-parallel")])
def test_impossible_strings(count: int, connection: str) -> None:
    with pytest.raises(RangeError):
        strings_of(count, connection)  # type: ignore[arg-type]


def test_vas_goes_with_the_air() -> None:
    assert complete(TRUE, air=AIR_20C).values["vas_m3"] == pytest.approx(TRUE["vas_m3"], rel=1e-12)
