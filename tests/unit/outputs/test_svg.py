"""Plots: well-formed, deterministic, labels clear of each other, refuses what can't be drawn."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patience import assert_within, own_s
from subwright.base.errors import SubwrightError
from subwright.outputs.drawing import num, wrap
from subwright.outputs.labels import Wanted, place
from subwright.outputs.svg import Axis, Band, Limit, Mark, Plot, Series, Span
from subwright.outputs.ticks import linear_ticks, log_ticks, nice_range, tick_texts

NS = "{http://www.w3.org/2000/svg}"
F = np.geomspace(10.0, 500.0, 200)
HZ = Axis(label="frequency", unit="Hz", scale="log", low=10, high=500)
DB = Axis(label="level", unit="dB")


def plot(**changes: object) -> Plot:
    args: dict[str, object] = {
        "title": 'Response <of> "it" & more',
        "x": HZ,
        "y": DB,
        "series": [
            Series(label="half space", x=F, y=-20 * np.log10(1 + (30 / F) ** 4)),
            Series(label="in cabin", x=F, y=-10 * np.log10(1 + (30 / F) ** 4), style="dashed"),
        ],
        "bands": [Band(label="tolerance", x=F, low=np.full(200, -3.0), high=np.full(200, 3.0))],
        "limits": [Limit(label="ceiling", value=10.0), Limit(label="lowest", value=30.0, axis="x")],
        "marks": [Mark(label="f3", x=40.0, y=-3.0)],
        "spans": [Span(label="displacement", low=10, high=40), Span(label="heat", low=40, high=42)],
    }
    args.update(changes)
    return Plot(**args)  # type: ignore[arg-type]


def test_well_formed_with_title_description_and_real_text() -> None:
    root = ET.fromstring(plot().render())
    assert root.find(f"{NS}title").text == 'Response <of> "it" & more'  # type: ignore[union-attr]
    assert "half space" in root.find(f"{NS}desc").text  # type: ignore[operator,union-attr]
    texts = [t.text for t in root.iter(f"{NS}text")]
    for expected in ("half space", "in cabin", "ceiling", "f3", "frequency, Hz", "level, dB", "100"):
        assert expected in texts


def test_no_reference_leaves_the_file_and_no_id_can_clash() -> None:
    text = plot().render(inline=True)
    assert "url(" not in text
    assert "href" not in text
    assert ' id="' not in text
    assert "<style" not in text


def test_dark_mode_is_in_the_file() -> None:
    assert "prefers-color-scheme:dark" in plot().render()


def test_same_bytes_every_time() -> None:
    assert plot().render() == plot().render()


def test_a_point_lands_where_the_axes_say() -> None:
    """Second route: read the pixel of a point back through the tick positions drawn beside it."""
    p = Plot(
        title="t",
        x=Axis(label="x", low=0, high=10),
        y=Axis(label="y", low=0, high=100),
        series=[Series(label="s", x=np.array([0.0, 5.0, 10.0]), y=np.array([0.0, 50.0, 100.0]))],
    )
    root = ET.fromstring(p.render())
    frame = next(r for r in root.iter(f"{NS}rect") if r.get("class") == "frame")
    left, top = float(frame.get("x", "")), float(frame.get("y", ""))
    width, height = float(frame.get("width", "")), float(frame.get("height", ""))
    curve = next(root.iter(f"{NS}polyline")).get("points", "").split()
    x, y = (float(v) for v in curve[1].split(","))
    assert x == pytest.approx(left + width / 2, abs=0.11)
    assert y == pytest.approx(top + height / 2, abs=0.11)


@pytest.mark.parametrize(
    "series",
    [
        Series(label="bad", x=F, y=np.full(200, np.nan)),
        Series(label="bad", x=F, y=np.full(200, np.inf)),
        Series(label="bad", x=F, y=F[:10]),
        Series(label="bad", x=F[:0], y=F[:0]),
    ],
)
def test_refuses_what_it_cannot_draw(series: Series) -> None:
    with pytest.raises(SubwrightError, match="bad"):
        plot(series=[series])


def test_log_axis_refuses_zero() -> None:
    with pytest.raises(SubwrightError, match="above zero"):
        plot(x=Axis(label="frequency", scale="log", low=0.0, high=10.0)).render()


def test_forbidden_side_is_shaded_on_the_right_side() -> None:
    series = [Series(label="s", x=np.array([0.0, 1.0]), y=np.array([0.0, 10.0]))]
    box: dict[str, tuple[float, float]] = {}
    for side in ("above", "below"):
        p = Plot(
            title="t",
            x=Axis(label="x"),
            y=Axis(label="y", low=0, high=10),
            series=series,
            limits=[Limit(label="l", value=8.0, forbidden=side)],  # type: ignore[arg-type]
        )
        wash = next(r for r in ET.fromstring(p.render()).iter(f"{NS}rect") if r.get("class") == "wash")
        box[side] = (float(wash.get("y", "")), float(wash.get("height", "")))
    assert box["above"][0] < box["below"][0]
    assert box["below"][1] == pytest.approx(4 * box["above"][1], rel=0.01)


def test_labels_do_not_overlap_and_stay_inside() -> None:
    frame = (50.0, 40.0, 540.0, 300.0)
    x = np.linspace(50, 540, 100)
    wanted = [Wanted(content=f"curve {i}", x=x, y=np.full(100, 100.0 + 8 * i)) for i in range(6)]
    placed = place(wanted, frame=frame)
    for p in placed:
        assert frame[0] <= p.box[0] < p.box[2] <= frame[2]
        assert frame[1] <= p.box[1] < p.box[3] <= frame[3]
    for a, b in itertools.combinations(placed, 2):
        apart = a.box[2] <= b.box[0] or b.box[2] <= a.box[0] or a.box[3] <= b.box[1] or b.box[3] <= a.box[1]
        assert apart, (a.wanted.content, b.wanted.content)


def test_label_sits_off_its_own_curve() -> None:
    x = np.linspace(50, 540, 100)
    y = np.full(100, 150.0)
    (placed,) = place([Wanted(content="curve", x=x, y=y)], frame=(50.0, 40.0, 540.0, 300.0))
    assert not placed.box[1] < 150.0 < placed.box[3]


def test_fast_enough() -> None:
    p = plot()
    p.render()
    assert_within(0.010, lambda: own_s(p.render))  # about 3 ms


@settings(deadline=None)
@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_nice_range_encloses_and_ticks_are_evenly_spaced(low: float, span: float, count: int) -> None:
    high = low + span
    a, b = nice_range(low, high, count=count)
    slack = 1e-6 * max(abs(low), abs(high), span)
    assert a <= low + slack
    assert b >= high - slack
    ticks = linear_ticks(a, b, count=count).major
    assert 2 <= len(ticks) <= count + 3
    steps = np.diff(ticks)
    assert np.allclose(steps, steps[0], rtol=1e-6)


@settings(deadline=None)
@given(st.floats(1e-3, 1e5), st.floats(2.0, 1e6))
def test_log_ticks_lie_within_and_never_repeat(low: float, factor: float) -> None:
    ticks = log_ticks(low, low * factor)
    every = sorted([*ticks.major, *ticks.minor])
    assert len(ticks.major) >= 2
    assert every[0] >= low * (1 - 1e-6)
    assert every[-1] <= low * factor * (1 + 1e-6)
    texts = tick_texts(ticks.major, log=True)
    assert len(set(texts)) == len(texts)


def test_audio_ticks_are_those_of_a_frequency_chart() -> None:
    assert tick_texts(log_ticks(20, 20000, count=10).major, log=True) == (
        ["20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"]
    )
    assert tick_texts(linear_ticks(-20, 10, count=4).major) == ["\u221220", "\u221210", "0", "10"]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-1e9, 1e9), min_size=1, max_size=30), st.sampled_from(["linear", "log"]))
def test_any_finite_data_draws_well_formed(values: list[float], scale: str) -> None:
    y = np.abs(np.array(values)) + 1e-3 if scale == "log" else np.array(values)
    x = np.arange(len(values), dtype=float)
    p = Plot(
        title="t",
        x=Axis(label="x"),
        y=Axis(label="y", scale=scale),  # type: ignore[arg-type]
        series=[Series(label="s", x=x, y=y)],
    )
    text = p.render()
    ET.fromstring(text)
    assert not re.search(r"\b(nan|inf)\b", text)


def test_numbers_and_wrapping() -> None:
    assert [num(v) for v in (1.0, -0.04, 2.25, 10.96)] == ["1", "0", "2.2", "11"]
    assert wrap("one two three", 7) == ["one two", "three"]
