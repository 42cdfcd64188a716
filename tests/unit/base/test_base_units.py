"""Reading, printing and coding values."""

from __future__ import annotations

import math

import pytest

from subwright.base.errors import RangeError, SubwrightError, UnitError
from subwright.base.quantities import QUANTITIES, SUFFIXES, UNITS, dimension_of, key_of, words_of
from subwright.base.units import code, parse, show


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("4k7", "resistance", 4700.0),
        ("4K7", "resistance", 4700.0),
        ("4.7 kΩ", "resistance", 4700.0),
        ("4.7 k\u2126", "resistance", 4700.0),
        ("4.7kohm", "resistance", 4700.0),
        ("4,7k", "resistance", 4700.0),
        ("0,047 Ω", "resistance", 0.047),
        ("2R2", "resistance", 2.2),
        ("R47", "resistance", 0.47),
        ("R005", "resistance", 0.005),
        ("470R", "resistance", 470.0),
        ("1M", "resistance", 1e6),
        ("1 mΩ", "resistance", 1e-3),
        ("4m7", "resistance", 4.7e-3),
        ("2M2", "resistance", 2.2e6),
        ("100n", "capacitance", 100e-9),
        ("470u", "capacitance", 470e-6),
        ("470 \u00b5F", "capacitance", 470e-6),
        ("470 \u03bcF", "capacitance", 470e-6),
        ("p47", "capacitance", 0.47e-12),
        ("4n7F", "capacitance", 4.7e-9),
        ("1m", "capacitance", 1e-3),
        ("22 uH", "inductance", 22e-6),
        ("4u7", "inductance", 4.7e-6),
        ("5V1", "voltage", 5.1),
        ("-35 V", "voltage", -35.0),
        ("\u221235 V", "voltage", -35.0),
        ("+12V", "voltage", 12.0),
        ("1e3 V", "voltage", 1000.0),
        ("0.5 mV", "voltage", 0.5e-3),
        ("18 mm", "length", 0.018),
        ("18\u00a0mm", "length", 0.018),
        ("1/2 in", "length", 0.0127),
        ("1 1/2 in", "length", 0.0381),
        ("½ in", "length", 0.0127),
        ('15"', "length", 0.381),
        ("13 ft", "length", 3.9624),
        ("5 ft 6 in", "length", 1.6764),
        ("5' 6 1/2\"", "length", 1.6891),
        ("AWG 12", "length", 2.0525e-3),
        ("2.5 mm2", "area", 2.5e-6),
        ("2.5 mm²", "area", 2.5e-6),
        ("2.5 mm^2", "area", 2.5e-6),
        ("2.5 sq mm", "area", 2.5e-6),
        ("AWG 4", "area", 21.15e-6),
        ("4 AWG", "area", 21.15e-6),
        ("AWG 2/0", "area", 67.43e-6),
        ("AWG 0000", "area", 107.22e-6),
        ("38 l", "volume", 0.038),
        ("38 L", "volume", 0.038),
        ("1.2 cuft", "volume", 0.0339802),
        ("1.2 cu ft", "volume", 0.0339802),
        ("85 °C", "temperature", 85.0),
        ("85 C", "temperature", 85.0),
        ("85 ℃", "temperature", 85.0),
        ("185 F", "temperature", 85.0),
        ("-40 °F", "temperature", -40.0),
        ("40 K", "temperature difference", 40.0),
        ("1.5 °C/W", "thermal resistance", 1.5),
        ("5 %", "ratio", 0.05),
        ("0.05", "ratio", 0.05),
        ("100 ppm", "ratio", 1e-4),
        ("3 dB", "level", 3.0),
        ("60 Ah", "battery capacity", 60.0),
        ("200 mT", "flux density", 0.2),
        ("2000 G", "flux density", 0.2),
        ("14 Tm", "force factor", 14.0),
        ("14 T·m", "force factor", 14.0),
        ("14 N/A", "force factor", 14.0),
        ("90°", "angle", 90.0),
        ("12", "turns", 12.0),
        ("7.6 mΩ/m", "linear resistance", 7.6e-3),
        ("0.5 V/µs", "slew rate", 5e5),
        ("8 nV/√Hz", "noise density", 8e-9),
        ("1/2 W", "power", 0.5),
        ("30 min", "time", 1800.0),
    ],
)
def test_reads_what_people_write(text: str, dimension: str, value: float) -> None:
    assert parse(text, dimension) == pytest.approx(value, rel=1e-4, abs=0.0)


def test_powers_of_ten_are_exact() -> None:
    """A decimal with a prefix is the float nearest to its value, not a product that misses it by one bit."""
    assert parse("2.2 uF", "capacitance") == 2.2e-6
    assert parse("4n7", "capacitance") == 4.7e-9
    assert parse("0.1 mm", "length") == 0.1e-3
    assert parse("7 %", "ratio") == 0.07


def test_a_number_is_taken_in_the_stored_unit() -> None:
    assert parse(4700.0, "resistance") == 4700.0
    assert parse(12, "voltage") == 12.0


@pytest.mark.parametrize(
    ("text", "dimension", "hint"),
    [
        ("4 meter", "length", 'did you mean "4 m"?'),
        ("4 metres", "length", 'did you mean "4 m"?'),
        ("12 v", "voltage", 'did you mean "12 V"?'),
        ("12 volts", "voltage", 'did you mean "12 V"?'),
        ("100 mHz", "frequency", 'did you mean "100 MHz"?'),
        ("1 MV", "voltage", 'did you mean "1 mV"?'),
        ("470 uf", "capacitance", 'did you mean "470 µF"?'),
        ("470 mfd", "capacitance", 'did you mean "470 µF"?'),
        ("1M", "capacitance", 'did you mean "1 mF"?'),
        ("20 db", "level", 'did you mean "20 dB"?'),
        ("38 litres", "volume", 'did you mean "38 l"?'),
        ("4 m", "voltage", 'for example "12 V"'),
        ("4", "voltage", 'add the unit, for example "12 V"'),
        ("470", "resistance", 'add the unit, for example "4.7 kΩ"'),
        ("40 °C", "temperature difference", 'for example "40 K"'),
    ],
)
def test_refusal_says_what_was_probably_meant(text: str, dimension: str, hint: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, dimension)
    assert hint in caught.value.remedy
    assert dimension in caught.value.quantity


def test_a_mismatch_names_both_dimensions() -> None:
    with pytest.raises(UnitError, match="'4 m' is a length, not a voltage"):
        parse("4 m", "voltage")
    with pytest.raises(UnitError, match="'3 F' is a capacitance or a temperature, not a voltage"):
        parse("3 F", "voltage")


@pytest.mark.parametrize("text", ["1,234 V", "12,500 V", "123,456V"])
def test_a_comma_that_may_be_a_thousands_separator_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="can be read as"):
        parse(text, "voltage")


@pytest.mark.parametrize(("text", "value"), [("0,125 V", 0.125), ("1,25 V", 1.25), ("1234,567 V", 1234.567)])
def test_a_comma_that_can_only_be_decimal_is_read(text: str, value: float) -> None:
    assert parse(text, "voltage") == value


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "V",
        "--5 V",
        "5 V 3",
        "1.2.3 V",
        "1,2,3 V",
        "1/0 V",
        "nan V",
        "inf V",
        "1e999 V",
        "0x10 V",
        "٣ V",
        "9" * 400 + " V",
        "1" * 5000,
        "4k7",
        "AWG 4",
        "1,000.5 V",
        "5 VV",
    ],
)
def test_rubbish_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(SubwrightError) as caught:
        parse(text, "voltage")
    assert "\n" not in str(caught.value)
    assert caught.value.remedy


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_not_finite_is_refused_both_ways(value: float) -> None:
    with pytest.raises(RangeError):
        parse(value, "voltage")
    with pytest.raises(RangeError):
        show(value, "voltage")


def test_true_is_no_quantity() -> None:
    with pytest.raises(UnitError):
        parse(True, "voltage")


def test_wire_gauge_outside_the_standard_is_refused() -> None:
    with pytest.raises(RangeError, match="AWG 77"):
        parse("AWG 77", "area")


def test_an_unknown_dimension_names_a_near_one() -> None:
    with pytest.raises(UnitError, match="did you mean 'voltage'"):
        parse("4 V", "voltages")
    with pytest.raises(UnitError):
        show(4.0, "volts and all")


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (4700.0, "resistance", "4.70 kΩ"),
        (0.038, "volume", "38.0 l"),
        (0.018, "length", "18.0 mm"),
        (0.9996, "voltage", "1.00 V"),
        (0.99949, "voltage", "999 mV"),
        (999.6, "voltage", "1.00 kV"),
        (-0.9996, "voltage", "-1.00 V"),
        (0.0, "voltage", "0 V"),
        (-0.0, "voltage", "0 V"),
        (-0.04, "temperature", "0.0 °C"),
        (85.0, "temperature", "85.0 °C"),
        (125.0, "temperature", "125 °C"),
        (1.046875, "temperature", "1.0 °C"),  # not 1.05 and then 1.1
        (99.96, "temperature", "100 °C"),
        (-3.0103, "level", "-3.01 dB"),
        (0.0001, "level", "0.00 dB"),
        (-0.0001, "level", "0.00 dB"),
        (4700e-6, "capacitance", "4700 µF"),
        (12345e-6, "capacitance", "12300 µF"),
        (0.05, "area", "500 cm²"),
        (2.5e-6, "area", "2.50 mm²"),
        (0.0009997, "area", "10.0 cm²"),
        (0.5e-3, "length", "0.500 mm"),
        (35e-6, "length", "35.0 µm"),
        (1.2, "length", "1.20 m"),
        (3.0, "volume", "3.00 m³"),
        (119.6, "time", "1.99 min"),
        (7199.9, "time", "2.00 h"),
        (0.02, "time", "20.0 ms"),
        (12.0, "turns", "12 turns"),
        (-0.0, "turns", "0 turns"),
        (1.0, "turns", "1 turn"),
        (0.03, "share", "3.00 %"),
        (0.707, "ratio", "0.707"),
        (90.0, "angle", "90.0°"),
        (0.2, "flux density", "200 mT"),
        (1e5, "volumetric loss", "100 kW/m³"),
        (4e6, "current density", "4.00 A/mm²"),
    ],
)
def test_prints_as_an_engineer_does(value: float, dimension: str, text: str) -> None:
    assert show(value, dimension) == text


def test_digits() -> None:
    assert show(4712.0, "resistance", 4) == "4.712 kΩ"
    assert show(4712.0, "resistance", 2) == "4.7 kΩ"
    with pytest.raises(RangeError):
        show(1.0, "voltage", 0)


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (4700.0, "resistance", "4k7"),
        (10e3, "resistance", "10k"),
        (4990.0, "resistance", "4k99"),
        (49.9, "resistance", "49R9"),
        (470.0, "resistance", "470R"),
        (0.47, "resistance", "R47"),
        (0.005, "resistance", "R005"),
        (1e6, "resistance", "1M"),
        (999e3, "resistance", "999k"),
        (100e-9, "capacitance", "100n"),
        (4.7e-9, "capacitance", "4n7"),
        (0.47e-12, "capacitance", "p47"),
        (2.2e-6, "capacitance", "2u2"),
        (4.7e-3, "capacitance", "4m7"),
        (10e-6, "inductance", "10u"),
        (5.1, "voltage", "5V1"),
    ],
)
def test_codes_and_reads_the_code_back(value: float, dimension: str, text: str) -> None:
    assert code(value, dimension) == text
    assert parse(text, dimension) == value


@pytest.mark.parametrize("value", [0.0, -4700.0, math.nan, math.inf, 4712.34])
def test_code_refuses_what_no_part_is_marked_with(value: float) -> None:
    with pytest.raises(RangeError):
        code(value, "resistance")


def test_code_refuses_a_dimension_without_codes() -> None:
    with pytest.raises(RangeError, match="no letter code"):
        code(1.0, "length")


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_example_in_the_glossary_reads_as_its_own_dimension(name: str) -> None:
    quantity = QUANTITIES[name]
    value = parse(quantity.example, name)
    assert parse(show(value, name, 6), name) == pytest.approx(value, rel=1e-5, abs=0.0)


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_printed_unit_is_read_back_with_its_own_scale(name: str) -> None:
    for rung in QUANTITIES[name].ladder:
        assert parse(f"3 {rung.label}", name) == pytest.approx(3.0 * rung.scale, rel=1e-12, abs=0.0)


@pytest.mark.parametrize("name", QUANTITIES)
def test_ladders_ascend(name: str) -> None:
    ladder = QUANTITIES[name].ladder
    assert [rung.start for rung in ladder] == sorted(rung.start for rung in ladder)
    assert [rung.scale for rung in ladder] == sorted(rung.scale for rung in ladder)


def test_every_suffix_names_a_dimension() -> None:
    assert set(SUFFIXES.values()) <= set(UNITS)


@pytest.mark.parametrize(
    ("field", "dimension", "key"),
    [
        ("rail_v", "voltage", "rail"),
        ("rth_jc_k_per_w", "thermal resistance", "rth_jc"),
        ("slew_v_per_s", "slew rate", "slew"),
        ("noise_v_per_rthz", "noise density", "noise"),
        ("section_m2", "area", "section"),
        ("volume_m3", "volume", "volume"),
        ("v_e_m3", "volume", "v_e"),
        ("bl_tm", "force factor", "bl"),
        ("qts", "ratio", "qts"),
        ("primary_turns", "turns", "primary_turns"),
        ("capacity_ah", "battery capacity", "capacity"),
        ("resistance_ohm_per_m", "linear resistance", "resistance"),
    ],
)
def test_suffix_gives_dimension_and_key(field: str, dimension: str, key: str) -> None:
    assert dimension_of(field) == dimension
    assert key_of(field) == key


def test_an_unknown_compound_suffix_is_refused_and_not_taken_for_seconds() -> None:
    with pytest.raises(SubwrightError, match="compound unit"):
        dimension_of("rate_w_per_s")
    with pytest.raises(SubwrightError, match="compound unit"):
        dimension_of("loss_a_per_kg")
    assert dimension_of("turns_per_layer") == "ratio"


def test_words() -> None:
    assert words_of("cable_length_m") == "cable length"
