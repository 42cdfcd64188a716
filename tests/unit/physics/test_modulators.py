"""The modulators' closed forms against a simulation of their events, which knows none of them."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics import modulators as mod

PERIOD = 5e-6


@dataclass
class Loop:
    """Integrator, comparator and a bridge of ±1 behind a delay, from event to event.

    ``slope`` is the integrator's at an input of 1; the comparator sees it against a triangle of the slope
    ``carrier``, or with ``hysteresis`` times the bridge. ``error`` is added to the bridge's voltage.
    """

    slope: float
    carrier: float = 0.0
    hysteresis: float = 0.0
    delay: float = 0.0
    wanted: Callable[[float], float] = lambda t: 0.0
    error: Callable[[float], float] = lambda t: 0.0
    kick: tuple[float, float] = (math.inf, 0.0)
    start: float = 0.0
    edges: list[tuple[float, bool]] = field(default_factory=list)  # of the comparator
    node: list[tuple[float, float]] = field(default_factory=list)  # (time, level from then on)

    def triangle(self, t: float) -> tuple[float, float]:
        """Carrier and its slope at a time; it turns at multiples of half a period."""
        if not self.carrier:
            return 0.0, 0.0
        half = 0.5 * PERIOD
        index = math.floor(t / half + 1e-9)
        into = t - index * half
        sign = 1.0 if index % 2 == 0 else -1.0
        return sign * self.carrier * (into - 0.5 * half), sign * self.carrier

    def run(self, until: float, step: float) -> None:
        """Simulate; wanted output and error stand still between multiples of ``step``."""
        t, y, level, high = 0.0, self.start, 1.0, True
        pending: list[tuple[float, float]] = []
        self.node.append((0.0, level))
        half = 0.5 * PERIOD
        kicked = False
        while t < until:
            carrier, climb = self.triangle(t)
            bridge = level + self.error(t)
            rate = self.slope * (self.wanted(t) - bridge)
            gap, closing = y + self.hysteresis * bridge - carrier, rate - climb
            ends = [step * (math.floor(t / step + 1e-9) + 1), until]
            if self.carrier:
                ends.append(half * (math.floor(t / half + 1e-9) + 1))
            if pending:
                ends.append(pending[0][0])
            if not kicked:
                ends.append(max(self.kick[0], t))
            crossing = math.inf
            if (gap > 0.0) != high:
                crossing = t
            elif closing != 0.0 and -gap / closing > 1e-15:
                crossing = t - gap / closing
            following = min(crossing, *ends)
            y += rate * (following - t)
            t = following
            if t == crossing:
                high = not high
                self.edges.append((t, high))
                heapq.heappush(pending, (t + self.delay, 1.0 if high else -1.0))
                y += 1e-12 * self.slope * PERIOD * (1.0 if high else -1.0)  # well past it
            if not kicked and t >= self.kick[0]:
                y, kicked = y + self.kick[1], True
            while pending and pending[0][0] <= t:
                level = heapq.heappop(pending)[1]
                self.node.append((t, level))

    def mean(self, start: float, end: float) -> float:
        """Average of the bridge, its error left out, under a raised cosine: no whole pulses needed."""
        turn = 2.0 * math.pi / (end - start)

        def weight(t: float) -> float:
            into = min(max(t, start), end) - start
            return into - math.sin(turn * into) / turn

        points = [*self.node, (end, 0.0)]
        parts = [level * (weight(b) - weight(a)) for (a, level), (b, _) in pairwise(points)]
        return math.fsum(parts) / (end - start)


def settled(loop: Loop, periods: int = 60, step: float = PERIOD) -> Loop:
    loop.run(periods * PERIOD, step)
    return loop


def late(loop: Loop, after: float) -> np.ndarray:
    return np.array([t for t, _ in loop.edges if t > after])


@pytest.mark.parametrize("delay", [0.0, 0.06 * PERIOD])
@pytest.mark.parametrize("modulation", [0.0, 0.3, 0.6])
def test_a_shifted_edge_dies_away_as_the_slopes_say(delay: float, modulation: float) -> None:
    def loop(kick: float) -> Loop:
        made = Loop(
            slope=1.0, carrier=2.2, delay=delay, wanted=lambda t: modulation, start=0.4 * PERIOD * modulation
        )
        made.kick = (40.26 * PERIOD, kick)
        return settled(made)

    calm, shaken = late(loop(0.0), 40.26 * PERIOD), late(loop(0.01 * PERIOD), 40.26 * PERIOD)
    shifts = shaken[:8] - calm[:8]
    # every other edge is of the same kind: one whole period
    ratios = shifts[2:6] / shifts[0:4]
    assert ratios == pytest.approx(mod.clocked_edge_ratio(2.2, 1.0, modulation), rel=1e-4)


def test_without_output_two_edges_in_a_row_shrink_by_the_plain_ratio() -> None:
    calm, shaken = (
        late(settled(Loop(slope=1.0, carrier=3.0, kick=(40.26 * PERIOD, kick))), 40.26 * PERIOD)
        for kick in (0.0, 0.01 * PERIOD)
    )
    shifts = np.abs(shaken[:4] - calm[:4])
    assert shifts[1:] / shifts[:-1] == pytest.approx((3.0 - 1.0) / (3.0 + 1.0), rel=1e-4)
    decay = 2.0 * math.pi * mod.clocked_settling_hz(1.0 / PERIOD, 3.0, 1.0)
    assert math.exp(-0.5 * PERIOD * decay) == pytest.approx(0.5)


@pytest.mark.parametrize("modulation", [0.0, 0.5, 0.8, 0.9])
def test_a_carrier_twice_as_steep_makes_one_pulse_each_period(modulation: float) -> None:
    loop = settled(Loop(slope=1.0, carrier=2.05, wanted=lambda t: modulation))
    assert len(late(loop, 30.0 * PERIOD)) == pytest.approx(2 * 30, abs=1)


def test_a_flatter_carrier_crosses_again() -> None:
    loop = Loop(slope=1.0, carrier=1.5, delay=1e-3 * PERIOD, wanted=lambda t: 0.8)
    loop.run(20.0 * PERIOD, PERIOD)
    assert len(late(loop, 10.0 * PERIOD)) > 3 * 10


@pytest.mark.parametrize("delay", [0.0, 0.06 * PERIOD])
@pytest.mark.parametrize("modulation", [-0.7, 0.0, 0.45])
def test_the_mean_output_is_the_input(delay: float, modulation: float) -> None:
    for kind in ({"carrier": 2.2}, {"hysteresis": 0.15 * PERIOD}):
        loop = settled(Loop(slope=1.0, delay=delay, wanted=lambda t: modulation, **kind), 200)
        assert loop.mean(40.0 * PERIOD, 200.0 * PERIOD) == pytest.approx(modulation, abs=2e-5)


@pytest.mark.parametrize("modulation", [0.0, 0.4, -0.8, 0.9])
def test_a_self_oscillating_loop_slows_down_with_its_output(modulation: float) -> None:
    hysteresis, delay = 0.19 * PERIOD, 0.06 * PERIOD  # of an integrator with 1 s
    loop = settled(Loop(slope=1.0, hysteresis=hysteresis, delay=delay, wanted=lambda t: modulation), 100)
    rising = [t for t, high in loop.edges if high and t > 40.0 * PERIOD]
    expected = mod.self_oscillating_hz(hysteresis, 1.0, delay, modulation)
    assert 1.0 / float(np.mean(np.diff(rising))) == pytest.approx(expected, rel=1e-6)
    pulses = np.diff([t for t, _ in loop.edges if t > 40.0 * PERIOD])
    duration = mod.self_oscillating_duration_s(hysteresis, 1.0, delay)
    assert float(np.min(pulses)) == pytest.approx(
        mod.self_oscillating_pulse_s(duration, modulation), rel=1e-6
    )


def test_the_rail_drops_out_of_a_self_oscillating_loop() -> None:
    """Slope and threshold both go with the bus: the simulation on a bus of 3 has the same edges."""
    kinds = [
        settled(Loop(slope=1.0, hysteresis=0.2 * PERIOD, delay=0.05 * PERIOD), 30),
        settled(Loop(slope=3.0, hysteresis=3.0 * 0.2 * PERIOD, delay=0.05 * PERIOD), 30),
    ]
    first, second = (late(loop, 10.0 * PERIOD) for loop in kinds)
    assert first == pytest.approx(second)


@pytest.mark.parametrize("delay", [0.0, 0.06 * PERIOD])
def test_an_error_that_grows_steadily_is_left_by_the_loops_lag(delay: float) -> None:
    """A ramp of r a second leaves r over the angular frequency at which the loop's gain is 1."""
    growth, span = 0.2 / (400.0 * PERIOD), (100.0 * PERIOD, 300.0 * PERIOD)
    step = PERIOD / 40.0

    def ramp(t: float) -> float:
        """In steps, each at the middle of its own."""
        return growth * (step * (math.floor(t / step + 1e-9) + 0.5) - 200.0 * PERIOD)

    for kind, loop_hz in (
        ({"carrier": 2.2}, mod.clocked_loop_hz(1.0 / PERIOD, 2.2, 1.0, delay)),
        (
            {"hysteresis": 0.19 * PERIOD},
            mod.self_oscillating_loop_hz(mod.self_oscillating_duration_s(0.19 * PERIOD, 1.0, delay)),
        ),
    ):
        loop = Loop(slope=1.0, delay=delay, error=ramp, **kind)
        loop.run(300.0 * PERIOD, step)
        middle = 0.5 * (span[0] + span[1])
        left = loop.mean(*span) + growth * (middle - 200.0 * PERIOD)
        assert left == pytest.approx(growth / (2.0 * math.pi * loop_hz), rel=0.01)


def test_the_clock_of_a_stiff_comparator_is_the_textbook_one() -> None:
    clock = mod.relaxation_clock(6.0, 0.0, 1e-3, 10e3, 1e-9, 10e3, 10e3, 20e3, 0.0)
    swing = 5e3 / (5e3 + 20e3)  # of the thresholds over the output's
    assert 1.0 / clock.frequency_hz == pytest.approx(
        2.0 * 10e3 * 1e-9 * math.log((1.0 + swing) / (1.0 - swing))
    )
    assert clock.rise_s == pytest.approx(clock.fall_s)


@pytest.mark.parametrize(
    ("ohm", "farad", "delay"), [(3.3e3, 1e-9, 80e-9), (2.2e3, 330e-12, 60e-9), (22e3, 470e-12, 0.0)]
)
def test_the_clock_agrees_with_its_network_step_by_step(ohm: float, farad: float, delay: float) -> None:
    """Kirchhoff at each step: output and threshold pin solved together, the capacitor by small steps."""
    supply, low, pull, upper, lower, feedback = 4.7, 0.3, 1e3, 10e3, 10e3, 10e3
    clock = mod.relaxation_clock(supply, low, pull, ohm, farad, upper, lower, feedback, delay)

    def nodes(v: float, high: bool) -> tuple[float, float]:
        if not high:
            return low, (supply / upper + low / feedback) / (1 / upper + 1 / lower + 1 / feedback)
        matrix = np.array(
            [
                [1 / pull + 1 / ohm + 1 / feedback, -1 / feedback],
                [-1 / feedback, 1 / upper + 1 / lower + 1 / feedback],
            ]
        )
        out, pin = np.linalg.solve(matrix, [supply / pull + v / ohm, supply / upper])
        return float(out), float(pin)

    step = 1.0 / clock.frequency_hz / 4000.0
    t, v, high, flips = 0.0, clock.low_v, True, []
    lag = round(delay / step)
    waiting = -1
    while len(flips) < 5:
        out, pin = nodes(v, high)
        mid = v + 0.5 * step * (out - v) / ohm / farad
        out, _ = nodes(mid, high)
        v += step * (out - mid) / ohm / farad
        t += step
        if waiting < 0 and (v > pin) == high:
            waiting = lag
        if waiting == 0:
            high = not high
            flips.append(t)
        if waiting >= 0:
            waiting -= 1
    assert 1.0 / (flips[4] - flips[2]) == pytest.approx(clock.frequency_hz, rel=2e-3)


def test_difference_offset_is_the_worst_of_all_corners() -> None:
    gain, tolerance, mean, reference = 9.0, 0.01, 24.0, 5.0
    worst = 0.0
    for signs in np.ndindex(2, 2, 2, 2):
        r = [1.0 + tolerance * (2 * s - 1) for s in signs]
        # unknown nodes A and B with a mean, both inputs at the reference
        g1, g2 = gain * r[0] / r[1], gain * r[2] / r[3]
        b = reference + (2.0 * mean - 2.0 * reference) / (1.0 + (1.0 + g2) / (1.0 + g1))
        a = 2.0 * mean - b
        worst = max(worst, abs(a - b))
    assert mod.difference_offset_v(gain, tolerance, mean, reference) == pytest.approx(worst, rel=0.03)


@pytest.mark.parametrize(
    "call",
    [
        lambda: mod.relaxation_clock(5.0, 5.0, 1e3, 1e3, 1e-9, 1e4, 1e4, 1e4, 0.0),
        lambda: mod.clocked_edge_ratio(0.0, 1.0),
        lambda: mod.clocked_settling_hz(2e5, 1.0, 1.0),
        lambda: mod.self_oscillating_hz(0.1, 1e-5, 0.0, 1.5),
        lambda: mod.self_oscillating_duration_s(0.0, 1e-5, 0.0),
        lambda: mod.least_pulse_modulation(3e-6, 200e3),
        lambda: mod.discharge_delay_s(1e3, 1e-10, 1.0, 2.0),
        lambda: mod.difference_offset_v(8.0, 0.5, 12.0, 5.0),
        lambda: mod.loop_suppression_db(0.0, 1e4),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], float]) -> None:
    with pytest.raises(RangeError):
        call()
