"""Plots laid out for the place that the page has: letters keep their size, nothing runs out of it."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, workbench

from subwright import service
from subwright.outputs.drawing import text_width
from subwright.outputs.svg import Axis, Plot, Series, Span
from subwright.web.plotting import PlotWish, redrawn

VAN = Path(__file__).parents[2] / "examples" / "storyteller-van.build.toml"
TEXT = re.compile(r'<text x="([-\d.]+)" y="([-\d.]+)" class="([^"]*)"(?: text-anchor="(\w+)")?[^>]*>([^<]*)<')


def size_of(svg: str) -> tuple[float, float]:
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert found is not None
    return float(found[1]), float(found[2])


def words(svg: str) -> list[tuple[float, float, float, str]]:
    """Left, right, base line and content of every text; a heading's letters are narrower than reckoned."""
    found = []
    for x, y, classes, anchor, content in TEXT.findall(svg):
        wide = text_width(unescape(content), 11.0 if "sm" in classes.split() else 12.0)
        start = float(x) - {"": 0.0, "middle": wide / 2, "end": wide}[anchor]
        found.append((start, start + wide, float(y), unescape(content)))
    return found


@pytest.fixture(scope="module")
def plots() -> list[Plot]:
    drawn = [f.drawn for sheet in service.sheets(service.solve(VAN).design) for f in sheet.figures]
    return [plot for plot in drawn if isinstance(plot, Plot)]


@pytest.mark.parametrize("width", [300.0, 353.0, 900.0])
@pytest.mark.parametrize("language", ["en", "de"])
def test_every_plot_keeps_inside_its_place(plots: list[Plot], width: float, language: str) -> None:
    assert len(plots) > 12
    for plot in plots:
        svg = redrawn(plot, PlotWish(width=width), language=language)
        wide, high = size_of(svg)
        assert wide == width
        assert 0.4 * width < high < 1.1 * width
        for left, right, base, content in words(svg):
            assert left >= 0.0, (plot.title, content)
            assert right <= wide + 0.5, (plot.title, content)
            assert 10.0 < base < high, (plot.title, content)


def test_the_plots_own_width_is_drawn_as_ever(plots: list[Plot]) -> None:
    for plot in plots:
        assert plot.fitted(plot.width) == plot
        assert redrawn(plot, PlotWish()) == plot.render(inline=True)


def test_names_of_a_strip_go_below_the_caption_where_both_have_no_room() -> None:
    names = ("voice coil", "displacement of the cone", "amplifier")
    x = np.geomspace(20.0, 200.0, 50)
    plot = Plot(
        title="loudest",
        x=Axis(label="frequency", unit="Hz", scale="log"),
        y=Axis(label="level", unit="dB"),
        series=(Series(label="level", x=x, y=np.log(x)),),
        spans=tuple(Span(label=n, low=20.0 + 3 * i, high=23.0 + 3 * i) for i, n in enumerate(names)),
    )
    rows = words(redrawn(plot, PlotWish(width=300.0)))
    (caption,) = (row for row in rows if row[3] == "frequency, Hz")
    legend = [row for row in rows if row[3].startswith(("1 ", "2 ", "3 "))]
    assert len(legend) > 1
    for left, right, base, _ in legend:
        apart = base >= caption[2] + 11.0 or right < caption[0] or left > caption[1]
        assert apart


def test_another_builds_long_name_leaves_room_for_the_curve() -> None:
    x = np.array([1.0, 2.0, 3.0])
    plot = Plot(title="p", x=Axis(label="x"), y=Axis(label="y"), series=(Series(label="level", x=x, y=x),))
    svg = redrawn(plot, PlotWish(width=300.0), plot, "The long name of a boat that goes to and fro")
    assert "The long name of\u2026: level" in unescape(svg)


def test_the_page_asks_for_its_width(tmp_path: Path) -> None:
    with workbench(tmp_path) as client:
        assert_fits(client)


def assert_fits(client: TestClient) -> None:
    sheet = client.get(f"{EXAMPLE}/sheet/enclosure?wide=353").text
    assert 'viewBox="0 0 353 ' in sheet
    assert 'viewBox="0 0 353 ' in client.get(f"{EXAMPLE}/plot/response?wide=353").text
    assert 'viewBox="0 0 280 ' in client.get(f"{EXAMPLE}/plot/response?wide=3").text
    assert 'viewBox="0 0 1600 ' in client.get(f"{EXAMPLE}/plot/response?wide=90000").text
    assert 'viewBox="0 0 560 ' in client.get(f"{EXAMPLE}/plot/response").text
    assert client.get(f"{EXAMPLE}/sheet/{'x' * 30}").status_code == 422
    for bad in ("nan", "0", "-5", "inf", "wide"):
        assert client.get(f"{EXAMPLE}/plot/response?wide={bad}").status_code == 422
        assert client.get(f"{EXAMPLE}/sheet/enclosure?wide={bad}").status_code == 422
        assert client.get(f"{EXAMPLE}/sheet/enclosure?emf={bad}").status_code == 422
        assert client.get(f"{EXAMPLE}/now?emf={bad}").status_code == 422
