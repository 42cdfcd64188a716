"""The averaged pulse against a numerical integration of the same loop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.chokes import discontinuous_share
from subwright.physics.push_pull import (
    averaged_pulse,
    conduction_share,
    pulse_shape,
    split_loop_ohm,
    turns_ratio_needed,
)


@settings(max_examples=60, deadline=None)
@given(x=st.floats(1e-3, 200.0))
def test_shape_factors_match_numerical_integration(x):
    time = np.linspace(0.0, 1.0, 20001)
    current = 1 - np.exp(-time * x)
    shape = pulse_shape(1.0, 1.0 / x, 1.0)
    assert shape.average == pytest.approx(np.trapezoid(current, time), rel=2e-4)
    assert shape.mean_square == pytest.approx(np.trapezoid(current**2, time), rel=5e-4)
    assert shape.end == pytest.approx(current[-1], rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(x=st.floats(1e-6, 1e6))
def test_energy_dropped_is_heat_and_leakage_energy(x):
    """Drop times charge = R ∫i² + L I²/2, the loop's own energy balance."""
    shape = pulse_shape(1.0, 1.0 / x, 1.0)
    heat = shape.mean_square
    stored = 0.5 / x * shape.end**2
    assert heat + stored == pytest.approx(shape.average, rel=1e-6)
    assert shape.resistive_share == pytest.approx(heat / shape.average, rel=1e-6)


def test_ratio_solves_its_loop_equation():
    n = turns_ratio_needed(40.0, 12.6, 8.0, 0.010, 0.20, 0.8)
    assert n * (12.6 - n * 8.0 * 0.010) - 0.8 - 8.0 * 0.20 == pytest.approx(40.0, rel=1e-12)


def test_impossible_power_is_refused():
    with pytest.raises(RangeError, match="No turns ratio"):
        turns_ratio_needed(60.0, 12.0, 30.0, 0.05, 0.2, 0.8)


@pytest.mark.parametrize(("hz", "dead"), [(0.0, 1e-6), (50e3, -1e-6), (50e3, 12e-6)])
def test_bad_timing_is_refused(hz, dead):
    with pytest.raises(RangeError):
        conduction_share(hz, dead)


@settings(max_examples=40, deadline=None)
@given(x=st.floats(0.2, 20.0), reset_v=st.floats(20.0, 80.0), mean_a=st.floats(2.0, 40.0))
def test_a_pulse_with_its_fall_matches_numerical_integration(x, reset_v, mean_a):
    hertz, share, loop = 50e3, 0.9, 0.01
    on_s = share / (2.0 * hertz)
    leakage = on_s * loop / x
    pulse = averaged_pulse(share, hertz, leakage, loop, mean_a, reset_v)
    final = float(pulse.final) * mean_a
    rise_s = np.linspace(0.0, on_s, 40001)
    rise = final * (1.0 - np.exp(-rise_s * loop / leakage))
    # The fall: L di/dt = R (final - i) - reset, until the current is gone.
    against = reset_v - loop * final * (1.0 - 2.0 / 3.0 * (1.0 - np.exp(-x)))
    fall_s = np.linspace(0.0, leakage * rise[-1] / against, 20001)
    fall = rise[-1] * (1.0 - fall_s / fall_s[-1])
    mean = 2.0 * hertz * (np.trapezoid(rise, rise_s) + np.trapezoid(fall, fall_s))
    square = 2.0 * hertz * (np.trapezoid(rise**2, rise_s) + np.trapezoid(fall**2, fall_s))
    assert mean == pytest.approx(mean_a, rel=1e-6)
    assert float(pulse.mean_square) * mean_a**2 == pytest.approx(square, rel=1e-6)
    assert float(pulse.end) * mean_a == pytest.approx(rise[-1], rel=1e-9)


def test_two_rails_alike_halve_the_secondarys_share_of_the_loop():
    one = split_loop_ohm(0.01, 0.2, 4.0, 5.0, 0.0)
    both = split_loop_ohm(0.01, 0.2, 4.0, 2.5, 2.5)
    assert float(one) == pytest.approx(0.01 + 0.2 / 16.0, rel=1e-12)
    assert float(both) == pytest.approx(0.01 + 0.1 / 16.0, rel=1e-12)
    assert float(split_loop_ohm(0.01, 0.2, 4.0, 0.0, 0.0)) == pytest.approx(float(one), rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(current=st.floats(0.01, 1.0), gain=st.floats(1.2, 3.0))
def test_a_current_with_gaps_has_the_mean_asked_for(current, gain):
    """The triangle integrated: up by the winding less the rail, down by the rail, then nothing."""
    rail, hertz, henry = 45.0, 50e3, 100e-6
    share = discontinuous_share(rail, gain * rail, current, hertz, henry)
    up_s = share / (2.0 * hertz)
    peak = (gain - 1.0) * rail * up_s / henry
    down_s = peak * henry / rail
    assert 0.5 * peak * (up_s + down_s) * 2.0 * hertz == pytest.approx(current, rel=1e-9)
