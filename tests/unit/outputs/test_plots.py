"""The pack's plots: units as a reader expects them, limits on the right side, names in runs."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from subwright.outputs import plots
from subwright.outputs.svg import Plot

F = np.geomspace(10.0, 500.0, 200)
V = np.linspace(10.5, 15.0, 30)
ONE = np.ones(200)

EVERY: dict[str, Plot] = {
    "response": plots.response_plot(
        F, 90 * ONE, cabin_db=95 * ONE, maximum_db=110 * ONE, limited_by=["amplifier"] * 200, f3_hz=35.0
    ),
    "excursion": plots.excursion_plot(F, 0.005 * ONE, xmax_m=0.009, xdamage_m=0.015, lowest_note_hz=30.0),
    "port": plots.port_speed_plot(F, 12 * ONE, limit_m_per_s=17.0),
    "impedance": plots.impedance_plot(F, (3 + 4j) * ONE, least_ohm=3.2),
    "delay": plots.group_delay_plot(F, 0.008 * ONE),
    "filter": plots.filter_plot(F, 0 * ONE, low_db=-ONE, high_db=ONE, corner_hz=80.0),
    "power": plots.clipping_power_plot(V, 10 * V, target_w=150.0, corners=[("nominal", 12.6)]),
    "efficiency": plots.efficiency_plot(V, 0.8 + 0 * V, corners=[("nominal", 12.6)]),
    "current": plots.battery_current_plot(V, V, fuse_a=40.0),
    "rail": plots.rail_plot(V, 3 * V, 3.3 * V, limit_v=50.0, needed_v=37.0),
    "load": plots.rail_load_plot(np.linspace(0, 150, 20), np.linspace(41, 38, 20), needed_v=37.0),
}


@pytest.mark.parametrize("name", EVERY)
def test_draws_well_formed_and_the_same_twice(name: str) -> None:
    text = EVERY[name].render()
    ET.fromstring(text)
    assert text == EVERY[name].render()


@pytest.mark.parametrize("name", EVERY)
def test_every_curve_and_limit_is_named(name: str) -> None:
    drawn = EVERY[name]
    text = drawn.render()
    for label in [s.label for s in drawn.series] + [v.label for v in drawn.limits]:
        assert f">{label}</text>" in text


def test_units_of_the_reader() -> None:
    excursion = EVERY["excursion"]
    assert excursion.y.unit == "mm"
    assert float(excursion.series[0].y[0]) == pytest.approx(5.0)
    assert float(EVERY["delay"].series[0].y[0]) == pytest.approx(8.0)
    assert float(EVERY["impedance"].series[0].y[0]) == pytest.approx(5.0)
    assert float(EVERY["efficiency"].series[0].y[0]) == pytest.approx(80.0)


def test_limits_forbid_the_side_that_harms() -> None:
    assert [v.forbidden for v in EVERY["excursion"].limits] == ["above", "above", "none"]
    assert EVERY["impedance"].limits[0].forbidden == "below"
    assert EVERY["current"].limits[0].forbidden == "above"


def test_limit_spans_cover_the_axis_without_gaps() -> None:
    names = ["excursion"] * 50 + ["port"] * 10 + ["amplifier"] * 140
    spans = plots.limit_spans(F, names)
    assert [s.label for s in spans] == ["excursion", "port", "amplifier"]
    assert spans[0].low == F[0]
    assert spans[-1].high == F[-1]
    assert [s.high for s in spans[:-1]] == [s.low for s in spans[1:]]
    assert F[49] < spans[0].high < F[50]
