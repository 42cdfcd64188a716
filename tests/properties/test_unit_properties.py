"""Laws that hold for every value: round trips, scaling, and refusal without a crash."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import SubwrightError
from subwright.base.quantities import QUANTITIES
from subwright.base.units import code, parse, show

DIMENSIONS = st.sampled_from(sorted(QUANTITIES))
SIGNIFICANT = [name for name, quantity in QUANTITIES.items() if quantity.decimals is None]
CODED = {"resistance": (-2, 9), "capacitance": (-12, -1), "inductance": (-9, 0)}

pytestmark = pytest.mark.filterwarnings("error")
several = settings(max_examples=300, deadline=None)


@st.composite
def part_values(draw: st.DrawFn) -> tuple[float, str]:
    """A value of one to four digits in a decade that parts are made in."""
    dimension = draw(st.sampled_from(sorted(CODED)))
    low, high = CODED[dimension]
    mantissa = draw(st.integers(1, 9999))
    exponent = draw(st.integers(low, high))
    return float(f"{mantissa}e{exponent - len(str(mantissa)) + 1}"), dimension


@given(part_values())
@several
def test_a_code_is_read_back_exactly(case: tuple[float, str]) -> None:
    value, dimension = case
    text = code(value, dimension)
    assert parse(text, dimension) == value
    assert len(text) <= 8
    assert sum(letter.isalpha() for letter in text) == 1


@given(
    st.sampled_from(SIGNIFICANT),
    st.floats(min_value=1e-12, max_value=1e9, allow_nan=False),
    st.booleans(),
    st.integers(3, 9),
)
@several
def test_what_is_shown_is_read_back_within_its_digits(
    dimension: str, size: float, negative: bool, digits: int
) -> None:
    value = -size if negative else size
    text = show(value, dimension, digits)
    assert parse(text, dimension) == pytest.approx(value, rel=0.5001 * 10.0 ** (1 - digits), abs=0.0)


@given(st.floats(min_value=-273.15, max_value=2000.0), st.sampled_from(["temperature", "level"]))
@several
def test_temperatures_and_levels_are_read_back_within_their_decimals(value: float, dimension: str) -> None:
    text = show(value, dimension)
    step = {"temperature": 0.1, "level": 0.01}[dimension]
    assert abs(parse(text, dimension) - value) <= max(0.5001 * step, abs(value) * 0.005001)
    assert not text.startswith("-0.0 ")
    assert not text.startswith("-0.00 ")


@given(st.sampled_from(sorted(QUANTITIES)), st.floats(min_value=1e-9, max_value=1e8), st.integers(3, 6))
@several
def test_printing_is_stable(dimension: str, value: float, digits: int) -> None:
    """What was read back from a print prints the same again, to a unit in the last place."""
    once = parse(show(value, dimension, digits), dimension)
    twice = parse(show(once, dimension, digits), dimension)
    assert twice == pytest.approx(once, rel=1e-9 + (0.0 if dimension != "time" else 10.0 ** (1 - digits)))


@given(st.floats(min_value=1e-11, max_value=1e11), st.integers(3, 5))
@several
def test_no_prefix_is_left_to_rounding(value: float, digits: int) -> None:
    """Never "1000 mV" where the next prefix says "1.00 V"."""
    number = show(value, "voltage", digits).split()[0]
    if 1e-9 <= value < 1e6:
        assert 1.0 <= float(number) < 1000.0


@given(st.floats(min_value=1e-6, max_value=1e6), st.sampled_from(["V", "A", "W", "J", "Hz", "Pa", "F", "H"]))
@several
def test_prefixes_scale_by_powers_of_a_thousand(number: float, unit: str) -> None:
    dimension = next(name for name, quantity in QUANTITIES.items() if unit in quantity.units)
    plain = parse(f"{number!r} {unit}", dimension)
    for prefix, scale in (("m", 1e-3), ("k", 1e3)):
        if prefix + unit in QUANTITIES[dimension].units:
            assert parse(f"{number!r} {prefix}{unit}", dimension) == pytest.approx(plain * scale, rel=1e-15)


@given(st.floats(min_value=1e-3, max_value=1e3))
@several
def test_scaling_laws_between_unit_systems(number: float) -> None:
    inches = parse(f"{number!r} in", "length")
    assert parse(f"{number!r} ft", "length") == pytest.approx(12.0 * inches, rel=1e-14)
    assert parse(f"{number!r} sq in", "area") == pytest.approx(number * (inches / number) ** 2, rel=1e-14)
    assert parse(f"{number!r} cu in", "volume") == pytest.approx(number * (inches / number) ** 3, rel=1e-14)
    assert parse(f"{number!r} l", "volume") == pytest.approx(1000.0 * parse(f"{number!r} ml", "volume"))
    fahrenheit = parse(f"{number!r} F", "temperature")
    assert fahrenheit * 1.8 + 32.0 == pytest.approx(number, rel=1e-12, abs=1e-9)


@given(st.integers(0, 40), st.integers(0, 63))
@several
def test_fractions_are_sums(whole: int, over: int) -> None:
    text = f"{whole} {over}/64 in" if whole else f"{over}/64 in"
    assert parse(text, "length") == pytest.approx((whole + over / 64.0) * 0.0254, rel=1e-14)


ALPHABET = "0123456789.,/ +-eEkKmMuµnpRΩVAWFHzC°%'\"²lft inAWG\t\n\u00a0{}[]()√½٣"


@given(st.text(alphabet=ALPHABET, max_size=14), DIMENSIONS)
@settings(max_examples=1500, deadline=None)
def test_any_text_is_read_or_refused_in_one_line(text: str, dimension: str) -> None:
    check_read_or_refused(text, dimension)


@given(st.text(max_size=80), DIMENSIONS)
@several
def test_any_unicode_is_read_or_refused_in_one_line(text: str, dimension: str) -> None:
    check_read_or_refused(text, dimension)


@given(st.sampled_from(sorted(QUANTITIES)), st.data())
@settings(max_examples=800, deadline=None)
def test_a_mutated_value_is_read_or_refused(dimension: str, data: st.DataObject) -> None:
    text = QUANTITIES[dimension].example
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        keep = data.draw(st.integers(0, 1))
        text = text[:at] + data.draw(st.sampled_from(["", *ALPHABET])) + text[at + 1 - keep :]
    check_read_or_refused(text, dimension)


def check_read_or_refused(text: str, dimension: str) -> None:
    refused: SubwrightError | None = None
    value = 1.0
    try:
        value = parse(text, dimension)
    except SubwrightError as error:
        refused = error
    if refused is not None:
        assert refused.remedy
        assert len(str(refused)) < 900
        assert "\n" not in str(refused)
    assert math.isfinite(value)
    assert value != 0.0 or math.copysign(1.0, value) == 1.0


@given(st.floats(), DIMENSIONS, st.integers(-2, 20))
@several
def test_any_float_is_shown_or_refused(value: float, dimension: str, digits: int) -> None:
    try:
        text = show(value, dimension, digits)
    except SubwrightError:
        assert not abs(value) < 1e100 or not 1 <= digits <= 15
    else:
        assert "nan" not in text
        assert not text.startswith("-0 ")


@given(st.floats(), st.sampled_from(["resistance", "capacitance", "inductance", "voltage", "length"]))
@several
def test_any_float_is_coded_or_refused(value: float, dimension: str) -> None:
    try:
        text = code(value, dimension)
    except SubwrightError:
        return
    assert parse(text, dimension) == pytest.approx(value, rel=1e-9, abs=0.0)
