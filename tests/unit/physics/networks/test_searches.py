"""Searches in preferred values: the quick way finds what trying everything finds, or says that it can't."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import between
from subwright.physics.networks.biquads import state_variable_lowpass
from subwright.physics.networks.comparator_search import search_inverting, search_ratio, search_sensing
from subwright.physics.networks.comparators import inverting_levels_v, sensing_thresholds_v
from subwright.physics.networks.filter_search import (
    search_equal_component,
    search_sallen_key_highpass,
    search_sallen_key_lowpass,
)
from subwright.physics.networks.sallen_key import sallen_key_highpass, sallen_key_lowpass
from subwright.physics.networks.topology_search import search_state_variable

TOP, BOTTOM, FEEDBACK = (between(a, b, "E12") for a, b in ((10e3, 100e3), (5e3, 100e3), (22e3, 1e6)))
CIRCUIT = {"reference_v": 5.0, "pullup_v": 5.0, "pullup_ohm": 10e3, "low_v": 0.15, "bias_a": 25e-9}


@given(trip=st.floats(8.0, 12.0), gap=st.floats(0.4, 2.5))
@settings(max_examples=25, deadline=None)
def test_sensing_search_is_as_good_as_trying_everything(trip: float, gap: float) -> None:
    def best(exhaustive: bool) -> float:
        rows = search_sensing(
            trip,
            trip + gap,
            top_ohm=TOP,
            bottom_ohm=BOTTOM,
            feedback_ohm=FEEDBACK,
            reference_v=5.0,
            pullup_v=5.0,
            pullup_ohm=10e3,
            low_v=0.15,
            bias_a=25e-9,
            error_limit=1.0,
            keep=400,
            exhaustive=exhaustive,
        )
        return min(r.error for r in rows)

    assert best(False) == pytest.approx(best(True), rel=1e-9)


def test_sensing_choice_says_what_the_forward_formula_says() -> None:
    for choice in search_sensing(
        10.5, 12.0, top_ohm=TOP, bottom_ohm=BOTTOM, feedback_ohm=FEEDBACK, keep=20, **CIRCUIT
    ):
        falling, rising = sensing_thresholds_v(
            top_ohm=choice.top_ohm, bottom_ohm=choice.bottom_ohm, feedback_ohm=choice.feedback_ohm, **CIRCUIT
        )
        assert (choice.falling_v, choice.rising_v) == pytest.approx(
            (float(falling), float(rising)), rel=1e-12
        )
        assert choice.error == pytest.approx(max(abs(falling / 10.5 - 1), abs(rising / 12.0 - 1)))
        assert choice.distinct == len({choice.top_ohm, choice.bottom_ohm, choice.feedback_ohm})
        for value, series in (
            (choice.top_ohm, TOP),
            (choice.bottom_ohm, BOTTOM),
            (choice.feedback_ohm, FEEDBACK),
        ):
            assert value in series


def test_spread_is_the_sum_of_the_sensitivities() -> None:
    """By finite differences of the forward formula."""
    choice = search_sensing(
        10.5, 12.0, top_ohm=TOP, bottom_ohm=BOTTOM, feedback_ohm=FEEDBACK, keep=1, **CIRCUIT
    )[0]
    base = {k: getattr(choice, k) for k in ("top_ohm", "bottom_ohm", "feedback_ohm")}
    sums = np.zeros(2)
    for name in base:
        up, down = (
            np.array(sensing_thresholds_v(**{**base, name: base[name] * (1 + d)}, **CIRCUIT))
            for d in (1e-5, -1e-5)
        )
        sums += np.abs((up - down) / 2e-5 / np.array([choice.falling_v, choice.rising_v]))
    assert choice.spread == pytest.approx(sums.max(), rel=2e-3)


def test_ranking_prefers_fewer_values_among_equals() -> None:
    rows = search_sensing(
        10.5, 12.0, top_ohm=TOP, bottom_ohm=BOTTOM, feedback_ohm=FEEDBACK, keep=400, **CIRCUIT
    )
    first = int(rows[0].error / 1e-3 + 1e-9)
    assert first == min(int(r.error / 1e-3 + 1e-9) for r in rows)
    peers = [
        r
        for r in rows
        if int(r.error / 1e-3 + 1e-9) == first and int(r.spread / 0.02) == int(rows[0].spread / 0.02)
    ]
    assert rows[0].distinct == min(r.distinct for r in peers)


def test_a_stock_that_cannot_do_it_is_refused() -> None:
    few = np.array([10e3, 100e3])
    with pytest.raises(NoSolutionError, match="trip and release") as caught:
        search_sensing(10.5, 12.0, top_ohm=few, bottom_ohm=few, feedback_ohm=few, **CIRCUIT)
    assert caught.value.limit == "5.00 %"


def test_thresholds_in_the_wrong_order_are_refused() -> None:
    with pytest.raises(RangeError, match="hysteresis"):
        search_sensing(12.0, 10.5, top_ohm=TOP, bottom_ohm=BOTTOM, feedback_ohm=FEEDBACK, **CIRCUIT)
    with pytest.raises(RangeError, match="reference"):
        search_sensing(4.0, 10.5, top_ohm=TOP, bottom_ohm=BOTTOM, feedback_ohm=FEEDBACK, **CIRCUIT)


@given(high=st.floats(2.0, 4.2), gap=st.floats(0.1, 0.8))
@settings(max_examples=25, deadline=None)
def test_inverting_search_is_as_good_as_trying_everything(high: float, gap: float) -> None:
    def best(exhaustive: bool) -> float:
        rows = search_inverting(
            high,
            high - gap,
            r1_ohm=TOP,
            r2_ohm=between(1e3, 1e6, "E12"),
            r3_ohm=FEEDBACK,
            supply_v=5.0,
            pullup_v=5.0,
            pullup_ohm=10e3,
            low_v=0.15,
            error_limit=1.0,
            keep=400,
            exhaustive=exhaustive,
        )
        return min(r.error for r in rows)

    assert best(False) == pytest.approx(best(True), rel=1e-9)


def test_inverting_choice_and_left_out_resistor() -> None:
    rows = search_inverting(
        5.0,
        4.7,
        r1_ohm=TOP,
        r2_ohm=np.array([np.inf]),
        r3_ohm=FEEDBACK,
        supply_v=5.0,
        pullup_v=5.0,
        pullup_ohm=10e3,
        low_v=0.15,
    )
    high, low = inverting_levels_v(
        r1_ohm=rows[0].r1_ohm,
        r2_ohm=np.inf,
        r3_ohm=rows[0].r3_ohm,
        supply_v=5.0,
        pullup_v=5.0,
        pullup_ohm=10e3,
        low_v=0.15,
    )
    assert math.isinf(rows[0].r2_ohm)
    assert (rows[0].high_v, rows[0].low_v) == pytest.approx((float(high), float(low)))


@given(ratio=st.floats(0.2, 20.0))
@settings(max_examples=40, deadline=None)
def test_ratio_search_finds_the_nearest_pair(ratio: float) -> None:
    upper, lower = between(1e3, 1e6, "E12"), between(10e3, 100e3, "E12")
    best = search_ratio(ratio, upper_ohm=upper, lower_ohm=lower)[0]
    brute = np.min(np.abs(upper[:, None] / lower[None, :] / ratio - 1))
    assert best.error == pytest.approx(brute, abs=1e-12)


CAPS, RESISTORS = between(10e-9, 470e-9, "E6"), between(4.7e3, 100e3, "E24")


@given(f0=st.floats(40.0, 200.0), q=st.sampled_from([0.5, 0.5412, 0.7071, 1.3066]))
@example(f0=185.0, q=1.3066)  # the best capacitors reach only 99.9 % of this Q
@settings(max_examples=25, deadline=None)
def test_low_pass_search_against_brute_force(f0: float, q: float) -> None:
    """All pairs of E6 capacitors with all pairs of E24 resistors: nothing within reach is missed by much."""
    best = min(
        r.error
        for r in search_sallen_key_lowpass(
            f0, q, capacitors_f=CAPS, resistors_ohm=RESISTORS, keep=500, error_limit=0.5
        )
    )
    r1, r2, cf, cg = np.meshgrid(RESISTORS, RESISTORS, CAPS, CAPS, indexing="ij", sparse=True)
    product = np.sqrt(r1 * r2 * cf * cg)
    f, quality = 1 / (2 * np.pi * product), product / ((r1 + r2) * cg)
    brute = float(np.min(np.maximum(np.abs(f / f0 - 1), np.abs(quality / q - 1))))
    assert brute <= best + 1e-12
    assert best < brute + 0.01


def test_low_pass_choice_passes_its_own_corner() -> None:
    for c in search_sallen_key_lowpass(80.0, 0.7071, capacitors_f=CAPS, resistors_ohm=RESISTORS):
        gain = abs(complex(sallen_key_lowpass(*c.resistors_ohm, *c.capacitors_f).at(c.f0_hz)))
        assert gain == pytest.approx(c.q, rel=1e-9)
        assert set(c.capacitors_f) <= set(CAPS)
        assert set(c.resistors_ohm) <= set(RESISTORS)


def test_high_pass_choice_passes_its_own_corner() -> None:
    values = between(8.2e3, 220e3, "E24")
    for c in search_sallen_key_highpass(
        22.4, 0.7071, capacitors_f=CAPS, resistors_ohm=values, error_step=0.01
    ):
        gain = abs(complex(sallen_key_highpass(*c.capacitors_f, *c.resistors_ohm).at(c.f0_hz)))
        assert gain == pytest.approx(c.q, rel=1e-9)
        assert c.error < 0.06


def test_equal_component_choice() -> None:
    for c in search_equal_component(
        80.0, 1.3066, capacitors_f=CAPS, resistors_ohm=RESISTORS, gain_resistors_ohm=RESISTORS
    ):
        if c.resistor_ohm == c.second_ohm:
            assert c.q == pytest.approx(1 / (3 - c.gain))
        r, f = (c.resistor_ohm, c.second_ohm), c.capacitor_f
        gain = abs(complex(sallen_key_lowpass(*r, f, f, gain=c.gain).at(c.f0_hz)))
        assert gain == pytest.approx(c.gain * c.q, rel=1e-9)


@pytest.mark.parametrize("corner_hz", [52.0, 71.0, 80.0, 97.0, 118.0])
@pytest.mark.parametrize("q", [0.6, 0.9, 1.31, 2.94])
def test_near_equal_resistors_hit_the_pole(corner_hz: float, q: float) -> None:
    """R1 = R2 alone left E24 and E6 up to 2.5 % off a pole: a hump of 0.8 dB in a Chebyshev low-pass."""
    caps, values = between(10e-9, 1e-6, "E6"), between(4.7e3, 68e3, "E24")
    stage = search_equal_component(
        corner_hz, q, capacitors_f=caps, resistors_ohm=values, gain_resistors_ohm=values
    )[0]
    assert stage.error <= 0.0075
    variable = search_state_variable(
        corner_hz, q, capacitors_f=caps, resistors_ohm=values, divider_ohm=between(4.7e3, 47e3, "E24")
    )[0]
    assert variable.error <= 0.0075
    made = state_variable_lowpass(
        (1e4, 1e4, 1e4),
        (variable.upper_ohm, variable.lower_ohm),
        (variable.resistor_ohm, variable.second_ohm),
        (variable.capacitor_f, variable.capacitor_f),
    )
    assert abs(complex(made.at(variable.f0_hz))) == pytest.approx(variable.q, rel=1e-9)


def test_filter_searches_refuse() -> None:
    one = np.array([100e-9])
    with pytest.raises(NoSolutionError, match="filter stage"):
        search_sallen_key_lowpass(80.0, 0.7071, capacitors_f=one, resistors_ohm=RESISTORS)
    with pytest.raises(NoSolutionError, match="filter stage"):
        search_sallen_key_highpass(20.0, 0.7071, capacitors_f=one, resistors_ohm=np.array([10e3]))
    with pytest.raises(RangeError, match="Q"):
        search_equal_component(
            80.0, 0.5, capacitors_f=one, resistors_ohm=RESISTORS, gain_resistors_ohm=RESISTORS
        )
