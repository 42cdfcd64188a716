"""The averaged pulse against a numerical integration of the same loop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.push_pull import conduction_share, pulse_shape, turns_ratio_needed


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
