"""The burst plot: what it says of the trips, and that both thresholds are inside the frame."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from subwright.outputs.plots_control import burst_plot
from subwright.physics.networks.chatter import Burst, BurstTrace, SenseNetwork, burst_trace

NETWORK = SenseNetwork(
    upper_each_ohm=33e3,
    lower_ohm=68e3,
    feedback_ohm=330e3,
    pullup_ohm=10e3,
    filter_f=1e-6,
    reference_v=5.0,
    low_v=0.1,
)


def trace(source_ohm: float) -> BurstTrace:
    hit = Burst(
        emf_v=11.0,
        source_ohm=source_ohm,
        idle_a=1.0,
        step_a=30.0,
        note_hz=30.0,
        start_s=0.1,
        stop_s=0.9,
        restart_s=0.2,
    )
    return burst_trace(NETWORK, hit, 1.0)


@pytest.mark.parametrize(("source_ohm", "said"), [(0.05, "3 times"), (0.04, "times")])
def test_says_how_often_it_trips(source_ohm: float, said: str) -> None:
    found = trace(source_ohm)
    plot = burst_plot(found, trip_v=9.85, release_v=10.83)
    text = plot.render()
    ET.fromstring(text)
    assert (said if found.trips > 1 else "once") in text
    assert "trip 9.85" in text
    assert plot.y.low is not None
    assert plot.y.high is not None
    assert plot.y.low < 9.85 < 10.83 < plot.y.high


def test_one_trip_is_once() -> None:
    single = replace(trace(0.05), trips=1)
    assert "it trips once" in burst_plot(single, trip_v=9.85, release_v=10.83).render()
