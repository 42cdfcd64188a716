"""A burst against the trip: the closed-form stretches against a small-step integration, and the formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.networks.chatter import Burst, SenseNetwork, burst_trace
from subwright.physics.networks.comparators import least_hysteresis_v, residual_ripple, sensing_thresholds_v

NETWORK = SenseNetwork(
    upper_each_ohm=33e3,
    lower_ohm=68e3,
    feedback_ohm=330e3,
    pullup_ohm=10e3,
    filter_f=1e-6,
    reference_v=5.0,
    low_v=0.1,
    bias_a=25e-9,
)
HIT = Burst(
    emf_v=10.8,
    source_ohm=0.03,
    idle_a=1.0,
    step_a=30.0,
    note_hz=30.0,
    start_s=0.1,
    stop_s=0.9,
    restart_s=0.15,
)


def thresholds(network: SenseNetwork) -> tuple[float, float]:
    falling, rising = sensing_thresholds_v(
        top_ohm=2 * network.upper_each_ohm,
        bottom_ohm=network.lower_ohm,
        feedback_ohm=network.feedback_ohm,
        reference_v=network.reference_v,
        pullup_v=network.reference_v,
        pullup_ohm=network.pullup_ohm,
        low_v=network.low_v,
        bias_a=network.bias_a,
    )
    return float(falling), float(rising)


def integrated(
    network: SenseNetwork, hit: Burst, end_s: float, step_s: float = 40e-6
) -> tuple[int, list[float]]:
    """Trips and their times by stepping the node equations; nothing is shared with the module."""
    vm = None
    stopped, load_from, trips, times = False, 0.0, 0, []
    for n in range(round(end_s / step_s)):
        t = n * step_s
        current = 0.0
        if not stopped and t >= load_from:
            current = hit.idle_a
            if hit.start_s <= t < hit.stop_s:  # twice the mean at the crests of a sine's square
                current += 2 * hit.step_a * np.sin(2 * np.pi * hit.note_hz * (t - hit.start_s)) ** 2
        battery = hit.emf_v - hit.source_ohm * current
        back_v, back_ohm = (
            (network.low_v, network.feedback_ohm)
            if stopped
            else (network.reference_v, network.feedback_ohm + network.pullup_ohm)
        )
        g = 1 / network.upper_each_ohm, 1 / network.lower_ohm, 1 / back_ohm

        def plus(v: float, g: tuple[float, float, float] = g, back: float = back_v) -> float:
            return (v * g[0] + back * g[2] + network.bias_a) / sum(g)

        if vm is None:
            vm = battery * 0.75
            for _ in range(200):
                vm = 0.5 * (battery + plus(vm))
        slope = (battery - 2 * vm + plus(vm)) * g[0] / network.filter_f
        vm += step_s * slope
        node = plus(vm)
        if not stopped and node < network.reference_v:
            stopped, trips = True, trips + 1
            times.append(t)
        elif stopped and node > network.reference_v:
            stopped, load_from = False, t + hit.restart_s
    return trips, times


@pytest.mark.parametrize(
    ("source_ohm", "emf_v"), [(0.03, 10.6), (0.03, 12.0), (0.05, 11.2), (0.08, 11.4), (0.08, 12.2)]
)
def test_closed_form_against_small_steps(source_ohm: float, emf_v: float) -> None:
    hit = replace(HIT, source_ohm=source_ohm, emf_v=emf_v)
    trace = burst_trace(NETWORK, hit, 1.0, points=40_000)  # a crest may only just reach the trip
    trips, times = integrated(NETWORK, hit, 1.0)
    assert trace.trips == trips
    fell = trace.time_s[1:][(np.diff(trace.running) < 0)]
    for ours, theirs in zip(fell, times, strict=True):
        assert ours == pytest.approx(theirs, abs=1e-3)


def test_sensed_meets_the_thresholds_when_it_changes() -> None:
    trip, release = thresholds(NETWORK)
    trace = burst_trace(NETWORK, replace(HIT, source_ohm=0.06, emf_v=11.3), 1.0, points=8_000)
    assert trace.trips > 1
    fell = np.nonzero(np.diff(trace.running) < 0)[0]
    assert trace.sensed_v[fell] == pytest.approx(trip, abs=0.01)
    assert np.max(trace.sensed_v[trace.running == 0]) > release - 0.01


def test_the_least_hysteresis_is_where_chatter_begins() -> None:
    """Bisect the source resistance at which the worst battery makes it chatter: the formula's need is met."""
    trip, release = thresholds(NETWORK)
    hysteresis = release - trip
    tau = NETWORK.filter_f * NETWORK.upper_each_ohm / 1.5
    share = float(residual_ripple(HIT.note_hz, tau))

    def chatters(ohm: float) -> bool:
        need = float(least_hysteresis_v(ohm, HIT.step_a, share))
        emfs = trip + ohm * HIT.idle_a + need * np.linspace(0.5, 1.0, 12)
        return any(
            burst_trace(NETWORK, replace(HIT, source_ohm=ohm, emf_v=float(e)), 1.0).trips > 1 for e in emfs
        )

    low, high = 0.01, 0.2
    assert not chatters(low)
    assert chatters(high)
    for _ in range(14):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if chatters(middle) else (middle, high)
    need = float(least_hysteresis_v(high, HIT.step_a, share))
    assert need == pytest.approx(hysteresis, rel=0.06)
    assert need >= 0.98 * hysteresis  # the formula is on the safe side


def test_no_load_no_trip_and_wrong_numbers_are_refused() -> None:
    assert burst_trace(NETWORK, replace(HIT, step_a=0.0, emf_v=12.0), 1.0).trips == 0
    with pytest.raises(RangeError):
        burst_trace(NETWORK, HIT, -1.0)
    with pytest.raises(RangeError):
        burst_trace(replace(NETWORK, filter_f=0.0), HIT, 1.0)
