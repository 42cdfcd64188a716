"""Preferred values and markings. Tolerance exact unless a row says otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.preferred import nearest, values
from subwright.base.units import code, parse

E6 = [10, 15, 22, 33, 47, 68]
E12 = [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]
E24 = sorted([*E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91])


def decade(series: str, scale: int) -> list[int]:
    return [round(v * scale) for v in values(series)]


def test_e24_departs_from_the_rounded_progression_in_eight_places() -> None:
    """IEC 60063:2015: 26→27, 29→30, 32→33, 35→36, 38→39, 42→43, 46→47, 83→82."""
    rounded = [round(10 * 10 ** (i / 24)) for i in range(24)]
    differ = {(a, b) for a, b in zip(rounded, decade("E24", 10), strict=True) if a != b}
    assert differ == {(26, 27), (29, 30), (32, 33), (35, 36), (38, 39), (42, 43), (46, 47), (83, 82)}


@pytest.mark.parametrize(("series", "printed"), [("E6", E6), ("E12", E12), ("E24", E24)])
def test_series_as_printed(series: str, printed: list[int]) -> None:
    """IEC 60063:2015, tables."""
    assert decade(series, 10) == printed


@pytest.mark.parametrize(("coarse", "fine"), [("E6", "E12"), ("E12", "E24"), ("E48", "E96"), ("E96", "E192")])
def test_each_series_is_every_second_of_the_next(coarse: str, fine: str) -> None:
    """IEC 60063:2015."""
    assert values(coarse) == pytest.approx(values(fine)[::2], rel=1e-12)


def test_first_twelve_of_e96() -> None:
    """IEC 60063:2015: 100 102 105 107 110 113 115 118 121 124 127 130, 96 different values."""
    e96 = decade("E96", 100)
    assert e96[:12] == [100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130]
    assert len(set(e96)) == 96


def test_e24_and_e96_share_six_values() -> None:
    """Derived from IEC 60063:2015: 100, 110, 130, 150, 200, 750."""
    assert {10 * v for v in decade("E24", 10)} & set(decade("E96", 100)) == {100, 110, 130, 150, 200, 750}


@pytest.mark.parametrize(
    ("series", "percent", "last_digit"), [("E12", 11.1, 0.1), ("E24", 7.14, 0.01), ("E96", 1.48, 0.01)]
)
def test_worst_rounding_error(series: str, percent: float, last_digit: float) -> None:
    """Derived: max (b - a)/(a + b) over neighbours; three printed digits."""
    v = np.append(values(series), 10.0)
    assert 100 * np.max(np.diff(v) / (v[1:] + v[:-1])) == pytest.approx(percent, rel=0, abs=0.5 * last_digit)


@pytest.mark.parametrize(
    ("value", "e96", "e24"),
    [
        (1234.9, 1240, 1200),
        (3183.1, 3160, 3300),
        (1865.8, 1870, 1800),
        (4415.0, 4420, 4300),
        (1666.9, 1650, 1600),
    ],
)
def test_nearest_by_ratio(value: float, e96: float, e24: float) -> None:
    """Derived from IEC 60063 with the metric |ln(x/v)|."""
    assert nearest(value, "E96") == pytest.approx(e96)
    assert nearest(value, "E24") == pytest.approx(e24)


@pytest.mark.parametrize(
    ("text", "ohm"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470.0),
        ("4K7", 4.7e3),
        ("47K", 47e3),
        ("470K", 470e3),
        ("4M7", 4.7e6),
    ],
)
def test_letter_and_digit_code(text: str, ohm: float) -> None:
    """IEC 60062:2016, examples."""
    assert parse(text, "resistance") == pytest.approx(ohm)
    assert code(ohm, "resistance").upper() == text
