"""German inside plots, drawings, tables and refusals; each text whole or as the design says it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, send, workbench

from subwright import service
from subwright.outputs.svg import Axis, Plot, Series
from subwright.outputs.views import Sheet
from subwright.web.german import german
from subwright.web.plotting import PlotWish, in_german, redrawn, spoken_svg

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.build.toml"))
LEAST = 0.97  # a new table or plot may be ahead of its German words, most may not


@pytest.fixture(scope="module")
def sheets() -> tuple[Sheet, ...]:
    return tuple(sheet for path in EXAMPLES for sheet in service.sheets(service.solve(path).design))


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        found.cookies.set("language", "de")
        yield found


def missing(texts: Iterator[str]) -> tuple[int, list[str]]:
    said = [text for text in texts if text]
    return len(said), sorted({text for text in said if german(text) is None})


def cells(sheets: tuple[Sheet, ...]) -> Iterator[str]:
    for sheet in sheets:
        for grid in sheet.grids:
            yield from (grid.title, grid.note, *grid.header)
            for row in grid.rows:
                yield from row


def drawn(sheets: tuple[Sheet, ...]) -> Iterator[str]:
    for sheet in sheets:
        for figure in sheet.figures:
            yield from (unescape(text) for text in re.findall(r"<text[^>]*>([^<]+)</text>", figure.svg))


def test_tables_are_german(sheets: tuple[Sheet, ...]) -> None:
    count, rest = missing(cells(sheets))
    assert count > 1000
    assert len(rest) <= (1.0 - LEAST) * count, rest


def test_plots_and_drawings_are_german(sheets: tuple[Sheet, ...]) -> None:
    count, rest = missing(drawn(sheets))
    assert count > 1000
    assert len(rest) <= (1.0 - LEAST) * count, rest
    plots = [f.drawn for sheet in sheets for f in sheet.figures if isinstance(f.drawn, Plot)]
    whole = [plot for plot in plots if in_german(plot)]
    assert len(whole) >= LEAST * len(plots)


def test_a_plot_changes_its_words_and_nothing_else(sheets: tuple[Sheet, ...]) -> None:
    plot = next(f.drawn for s in sheets for f in s.figures if f.key == "response")
    assert isinstance(plot, Plot)
    english, said = redrawn(plot, PlotWish()), redrawn(plot, PlotWish(), language="de")
    assert "Frequenz, Hz" in said
    assert "Pegel, dB" in said
    assert "frequency" not in said
    assert re.findall(r'points="([^"]+)"', said) == re.findall(r'points="([^"]+)"', english)
    assert re.findall(r'data-x="([^"]+)"', said) == re.findall(r'data-x="([^"]+)"', english)


def test_words_that_the_catalogue_lacks_stay_english_whole() -> None:
    one = Series(label="some new curve", x=np.array([1.0, 2.0]), y=np.array([1.0, 2.0]))
    plot = Plot(
        title="Group delay", x=Axis(label="frequency", unit="Hz"), y=Axis(label="time"), series=(one,)
    )
    assert not in_german(plot)
    said = redrawn(plot, PlotWish(), language="de")
    assert "some new curve" in said
    assert "Gruppenlaufzeit" in said
    assert in_german(replace(plot, series=(replace(one, label="idle"),)))
    svg = '<text x="1" y="2">net volume 3 &amp; 4</text><text>some new words</text>'
    assert spoken_svg(svg) == (
        '<text x="1" y="2">Nettovolumen 3 &amp; 4</text><text>some new words</text>',
        False,
    )


def test_the_page_marks_only_what_is_english(client: TestClient) -> None:
    page = client.get(f"{EXAMPLE}/sheet/converter").text
    canvases = re.findall(r'<div class="canvas"[^>]*>', page)
    assert canvases
    assert not [canvas for canvas in canvases if 'lang="en"' in canvas]
    assert "Schienenspannung über der Batterie" in page
    plot = client.get(f"{EXAMPLE}/plot/filter").text
    assert "Filterverlauf" in plot


@pytest.mark.parametrize(
    ("key", "value", "message", "limit", "remedy"),
    [
        ("supply.cable_length", "500 m", "supply.cable_length: zu groß", "höchstens 30 m", "schreiben"),
        ("supply.cable_length", "5", "Länge: '5' ist ohne Einheit", "", "die Einheit dazuschreiben"),
        ("supply.cable_length", "5 Hz", "'5 Hz': das ist Frequenz, verlangt ist Länge", "", "einen Wert"),
        ("supply.battery", "lead", "kennt die Wahl 'lead' nicht", "eines von lead-acid, agm, lfp", "acid"),
        ("supply.cable_lenght", "5 m", "gemeint 'cable_length'?", "", ""),
    ],
)  # fmt: skip
def test_a_refused_value_is_told_in_german(
    client: TestClient, key: str, value: str, message: str, limit: str, remedy: str
) -> None:
    answer = send(client, "/set", {"key": key, "value": value})
    assert answer.status_code == 422
    error = answer.json()["error"]
    assert message in error["message"]
    assert error["limit"] == limit
    assert remedy in error["remedy"]
    assert error["problems"][0]["key"] == key


def test_a_refused_value_in_english_stands_in_parts(client: TestClient) -> None:
    client.cookies.set("language", "en")
    error = send(client, "/set", {"key": "supply.cable_length", "value": "500 m"}).json()["error"]
    assert error["message"] == "supply.cable_length is too large"
    assert error["limit"] == "at most 30 m"
    assert error["remedy"] == 'write a value from "0.1 m" to "30 m"'
