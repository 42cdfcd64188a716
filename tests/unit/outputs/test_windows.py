"""Threshold charts: marks where the axis says, names apart, bad numbers refused."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from subwright.base.errors import SubwrightError
from subwright.outputs.windows import Window, WindowChart

NS = "{http://www.w3.org/2000/svg}"


def window(label: str, nominal: float, spread: float = 0.2) -> Window:
    return Window(
        label=label,
        nominal=nominal,
        rss_low=nominal - spread / 2,
        rss_high=nominal + spread / 2,
        worst_low=nominal - spread,
        worst_high=nominal + spread,
        text=f"{nominal:.1f} V",
    )


CHART = WindowChart(
    title="thresholds",
    unit="V",
    windows=(window("under-voltage trip", 10.5), window("over-voltage trip", 15.5)),
    references=(("low", 11.0), ("nominal", 12.6), ("charging", 14.2), ("max", 14.4)),
)


def test_strokes_lie_where_the_ticks_say() -> None:
    """Second route: interpolate between two tick labels."""
    root = ET.fromstring(CHART.render())
    ticks = {
        t.text: float(t.get("x", ""))
        for t in root.iter(f"{NS}text")
        if t.get("text-anchor") == "middle" and re.fullmatch(r"\d+", t.text or "")
    }
    low, high = ticks["10"], ticks["16"]
    strokes = [p.get("d", "") for p in root.iter(f"{NS}path") if p.get("class") == "s1"]
    at = [float(re.match(r"M([\d.]+)", d).group(1)) for d in strokes]  # type: ignore[union-attr]
    assert at[0] == pytest.approx(low + 0.5 / 6 * (high - low), abs=0.15)
    assert at[1] == pytest.approx(low + 5.5 / 6 * (high - low), abs=0.15)


def test_close_reference_names_take_different_rows() -> None:
    root = ET.fromstring(CHART.render())
    y = {t.text: t.get("y") for t in root.iter(f"{NS}text")}
    assert y["charging"] != y["max"]


def test_refuses_numbers_that_are_not_finite() -> None:
    with pytest.raises(SubwrightError, match="finite"):
        WindowChart(title="t", unit="V", windows=(window("x", float("nan")),)).render()


def test_same_bytes() -> None:
    assert CHART.render() == CHART.render()
