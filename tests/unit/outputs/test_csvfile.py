"""CSV: read back by the standard library's reader; cells that a spreadsheet would run are held off."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.outputs.csvfile import cell, table

PRINTABLE = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FFF, exclude_categories=["Cs"]), max_size=20
)


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_rfc_4180_section_2_rules() -> None:
    text = table(["aaa", "b,b"], [['x"y', "line\r\nbreak"]])
    assert text == 'aaa,"b,b"\r\n"x""y","line\r\nbreak"\r\n'
    assert read(text) == [["aaa", "b,b"], ['x"y', "line\r\nbreak"]]


@pytest.mark.parametrize(
    "attack",
    [
        '=HYPERLINK("http://example.invalid")',
        "+1+1",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "  =1",
        "\uff1d1+1",
        "|calc",
        "-",
        "=1\n",
    ],
)
def test_formula_starts_are_held_off(attack: str) -> None:
    assert read(table(["h"], [[attack]]))[1][0].startswith("'")


@pytest.mark.parametrize("number", ["-12.5", "+3", "-1e-6", "12", ".5"])
def test_plain_numbers_keep_their_sign(number: str) -> None:
    assert cell(number) == number


def test_ragged_rows_are_refused() -> None:
    with pytest.raises(ValueError, match="header of 2"):
        table(["a", "b"], [["1"]])


@settings(deadline=None)
@given(st.lists(st.tuples(PRINTABLE, PRINTABLE), max_size=6))
def test_reads_back_and_never_starts_a_formula(rows: list[tuple[str, str]]) -> None:
    back = read(table(["h1", "h2"], rows))[1:]
    for row, got in zip(rows, back, strict=True):
        for cell_in, cell_out in zip(row, got, strict=True):
            assert cell_out in (cell_in, "'" + cell_in)
            if cell_out.strip()[:1] in ("=", "@", "+", "-"):
                float(cell_out)
