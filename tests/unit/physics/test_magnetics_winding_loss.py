"""Copper: the split of Dowell's solution, exact round wires, thin-wire limits, waveforms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import jve

from subwright.base.errors import RangeError
from subwright.physics.leakage import mean_square_field_share
from subwright.physics.magnetics import MU_0
from subwright.physics.winding_loss import (
    copper_resistivity,
    dowell_factor,
    dowell_thickness,
    porosity,
    proximity_loss_per_metre,
    push_pull_harmonics,
    round_wire_proximity,
    skin_depth,
    skin_factor,
    strand_factor,
    wire_resistance,
)


def dowell_as_printed(x: float, p: float) -> float:
    """Dowell's expression as books print it, without the split."""
    first = (math.sinh(2 * x) + math.sin(2 * x)) / (math.cosh(2 * x) - math.cos(2 * x))
    second = (math.sinh(x) - math.sin(x)) / (math.cosh(x) + math.cos(x))
    return x * (first + 2.0 * (p * p - 1.0) / 3.0 * second)


@given(x=st.floats(0.06, 20.0), p=st.sampled_from([0.5, 1, 1.5, 2, 3, 7, 20]))
def test_split_is_the_printed_expression(x: float, p: float) -> None:
    assert float(dowell_factor(x, p)) == pytest.approx(dowell_as_printed(x, p), rel=1e-9)


@given(x=st.floats(0.03, 0.08))
def test_series_meets_the_closed_form(x: float) -> None:
    extra = float(dowell_factor(x, 5)) - 1.0
    assert extra == pytest.approx((5 * 25 - 1) / 45 * x**4, rel=1e-3)


@given(p=st.integers(1, 30))
def test_thin_layers_have_no_ac_resistance(p: int) -> None:
    assert float(dowell_factor(0.0, p)) == 1.0
    assert float(dowell_factor(1e-3, p)) == pytest.approx(1.0, rel=1e-9)


def test_very_thick_layers_do_not_overflow() -> None:
    # one layer of foil far thicker than the skin depth: resistance of one skin depth on one face
    assert float(dowell_factor(1000.0, 1)) == pytest.approx(1000.0, rel=1e-9)


@given(x=st.floats(0.1, 5.0), p=st.integers(1, 10))
def test_more_layers_and_thicker_ones_lose_more(x: float, p: int) -> None:
    assert dowell_factor(x, p + 1) > dowell_factor(x, p)
    assert dowell_factor(1.1 * x, p) > dowell_factor(x, p)


@settings(deadline=None)
@given(ratio=st.floats(0.02, 900.0))
def test_round_wire_against_library_bessel_functions(ratio: float) -> None:
    rho, f = 2.2e-8, 50e3
    depth = float(skin_depth(f, rho))
    z = (1.0 - 1.0j) * ratio / 2.0
    quotient = jve(0, z) / jve(1, z)  # both scaled by e^-|Im z|, which cancels
    assert float(skin_factor(ratio * depth, f, rho)) == pytest.approx((z * quotient / 2).real, rel=1e-9)
    field = abs(2 * math.pi * rho * (z / quotient).real)
    assert float(proximity_loss_per_metre(ratio * depth, f, rho, 1.0)) == pytest.approx(field, rel=1e-7)


def test_thick_round_wire_carries_current_in_its_skin() -> None:
    rho, f = 2.2e-8, 50e3
    d = 40.0 * float(skin_depth(f, rho))
    # d/(4δ) + 1/4 for the own current; surface field 2H sin θ over the circumference for the outer one
    assert float(skin_factor(d, f, rho)) == pytest.approx(10.25, rel=1e-3)
    surface = math.pi * d * rho / float(skin_depth(f, rho))
    assert float(proximity_loss_per_metre(d, f, rho, 1.0)) == pytest.approx(surface, rel=0.06)


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 1.5])
def test_equal_square_of_dowell_against_the_round_wire(ratio: float) -> None:
    """Up to one and a half skin depths the layer picture costs 5 % of the proximity loss."""
    rho, f = 2.2e-8, 50e3
    depth = float(skin_depth(f, rho))
    x = float(dowell_thickness(ratio * depth, depth))
    square = rho * 6.0 / (4.0 * 9.0 - 4.0) * (float(dowell_factor(x, 3)) - float(dowell_factor(x, 1)))
    assert square == pytest.approx(float(proximity_loss_per_metre(ratio * depth, f, rho, 1.0)), rel=0.055)


@given(ratio=st.floats(0.02, 0.5), f=st.floats(20e3, 500e3), h=st.floats(1.0, 1e5))
def test_low_frequency_proximity(ratio: float, f: float, h: float) -> None:
    rho = 2.2e-8
    d = ratio * float(skin_depth(f, rho))
    exact = float(proximity_loss_per_metre(d, f, rho, h))
    assert exact == pytest.approx(float(round_wire_proximity(d, f, rho, h)), rel=5e-3)
    omega = 2 * math.pi * f
    assert exact == pytest.approx(math.pi * MU_0**2 * omega**2 * d**4 * h**2 / (128 * rho), rel=5e-3)


@given(
    strands=st.integers(2, 60),
    turns=st.integers(1, 20),
    d=st.floats(0.05e-3, 0.3e-3),
    b=st.floats(15e-3, 60e-3),
)
def test_strands_are_dowell_layers_of_low_porosity(strands: int, turns: int, d: float, b: float) -> None:
    """Sullivan's strand formula and Dowell's many thin layers are the same up to the square-wire 4.7 %."""
    rho, f = 2.2e-8, 50e3
    extra = float(strand_factor(strands, turns, d, b, f, rho)) - 1.0
    # n·N strands as p layers of m each: p large enough that the -1 in 5p²-1 is gone
    layers = 200.0
    per_layer = strands * turns / layers
    eta = per_layer * math.sqrt(math.pi) / 2 * d / b
    x = math.sqrt(math.pi) / 2 * d * math.sqrt(eta) / float(skin_depth(f, rho))
    dowell = 5 * layers**2 / 45 * x**4
    assert dowell == pytest.approx(extra * math.pi / 3, rel=1e-3)


@given(layers=st.integers(1, 40), turns=st.integers(1, 60))
def test_field_share_is_the_sum_over_layers(layers: int, turns: int) -> None:
    steps = (2 * np.arange(1, layers + 1) - 1) / (2 * layers)
    assert float(mean_square_field_share(layers)) == pytest.approx(float(np.mean(steps**2)), rel=1e-12)
    # halving the peak field by interleaving quarters the mean square, and halves the layers per portion
    if layers % 2 == 0:
        half = (2 * np.arange(1, layers // 2 + 1) - 1) / layers / 2
        assert float(mean_square_field_share(layers, 2)) == pytest.approx(float(np.mean(half**2)), rel=1e-12)


@settings(deadline=None, max_examples=25)
@given(share=st.floats(0.2, 1.0), edge=st.floats(0.002, 0.05))
def test_harmonics_carry_the_whole_mean_square(share: float, edge: float) -> None:
    amplitude = push_pull_harmonics(share, edge, 20000)
    at = np.linspace(0.0, 1.0, 400001)[:-1]
    wave = np.zeros_like(at)
    for centre, sign in ((0.25, 1.0), (0.75, -1.0)):
        distance = np.abs((at - centre + 0.5) % 1.0 - 0.5)
        ramp = np.clip((share / 4 + edge / 2 - distance) / edge, 0.0, 1.0)
        wave += sign * ramp
    assert float(np.sum(amplitude**2)) / 2 == pytest.approx(float(np.mean(wave**2)), rel=2e-4)


def test_porosity_of_a_full_layer() -> None:
    assert float(porosity(10, 1e-3, 10e-3 * math.sqrt(math.pi) / 2)) == pytest.approx(1.0, rel=1e-12)
    with pytest.raises(RangeError):
        porosity(12, 1e-3, 10e-3)


def test_resistance_goes_with_temperature() -> None:
    cold, hot = wire_resistance(2.0, 1e-6, 20.0), wire_resistance(2.0, 1e-6, 100.0)
    assert float(hot) / float(cold) == pytest.approx(1 + 0.00393 * 80, rel=1e-12)
    assert float(copper_resistivity(20.0)) == pytest.approx(1 / 58e6, rel=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: skin_depth(0.0),
        lambda: skin_depth(50e3, -1.0),
        lambda: dowell_factor(-1.0, 1),
        lambda: dowell_factor(1.0, 0.2),
        lambda: dowell_factor(math.nan, 1),
        lambda: dowell_thickness(0.0, 1e-4),
        lambda: copper_resistivity(400.0),
        lambda: wire_resistance(1.0, 0.0),
        lambda: round_wire_proximity(2e-3, 50e3, 2.2e-8, 1.0),
        lambda: push_pull_harmonics(0.9, 0.5),
        lambda: push_pull_harmonics(0.0, 0.0),
    ],
)
def test_out_of_range_is_refused(call: object) -> None:
    with pytest.raises(RangeError):
        call()  # type: ignore[operator]
