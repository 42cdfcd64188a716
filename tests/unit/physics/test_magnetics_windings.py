"""How wire lies: layer counts against a slow wire-by-wire loop, lengths, bundles, fill."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.windings import (
    MOST_LAYERS,
    bobbin_lay,
    bobbin_layer_capacity,
    bundle_diameter,
    ring_lay,
    ring_layer_capacity,
    ring_outer_build,
    ring_turn_length,
    ring_wound_size,
    twist_length_factor,
    window_fill,
)

MM = 1e-3


def slow_ring(
    turns: int, strands: int, d: float, hole: float, outer: float, height: float, share: float
) -> tuple[int, float, float] | None:
    """Lay a ring wire by wire, placing each on its circle and asking whether it still fits."""
    left, build, length, layers = turns * strands, 0.0, 0.0, 0
    while left:
        radius = hole / 2 - build - d / 2
        if layers == MOST_LAYERS or radius < 0:
            return None
        room, angle = 0, 0.0
        step = 2 * math.asin(min(d / (2 * radius), 1.0)) if radius > d / 2 else 2 * math.pi
        while angle + step <= share * 2 * math.pi * (1 + 1e-12):
            angle, room = angle + step, room + 1
        room = max(room, 1) if radius >= 0 else 0
        room = max(strands * (room // strands), turns * (room // turns))
        if room == 0:
            return None
        here = min(left, room)
        inside = build + d / 2
        t = math.sqrt((outer / 2) ** 2 + inside * (hole - inside)) - outer / 2
        length += here * (outer - hole + 2 * height + math.pi * (inside + max(t, d / 2)))
        left, build, layers = left - here, build + d, layers + 1
    return layers, build, length


@settings(deadline=None)
@given(
    turns=st.integers(1, 40),
    strands=st.integers(1, 12),
    d=st.floats(0.3, 4.0),
    hole=st.floats(10.0, 40.0),
    width=st.floats(4.0, 20.0),
    height=st.floats(5.0, 30.0),
    share=st.floats(0.5, 1.0),
)
def test_ring_against_wire_by_wire(
    turns: int, strands: int, d: float, hole: float, width: float, height: float, share: float
) -> None:
    size = (hole * MM, (hole + width) * MM, height * MM)
    slow = slow_ring(turns, strands, d * MM, *size, share)
    lay = ring_lay(turns, strands, d * MM, *size, 0.0, share)
    assert bool(lay.fits) == (slow is not None)
    if slow is not None:
        assert int(lay.layers) == slow[0]
        assert float(lay.build_m) == pytest.approx(slow[1], rel=1e-9)
        assert float(lay.wire_m) == pytest.approx(slow[2], rel=1e-9)


@given(n=st.integers(1, 300), width=st.floats(10.0, 40.0), d=st.floats(0.3, 3.0), height=st.floats(4.0, 12.0))
def test_bobbin_against_layer_by_layer(n: int, width: float, d: float, height: float) -> None:
    lay = bobbin_lay(n, 1, d * MM, width * MM, height * MM, 70 * MM)
    beside = math.floor(width / d * (1 + 1e-12))
    room = beside - 1 if beside >= 2 else beside
    assume(room > 0)
    left, layers, length = n, 0, 0.0
    while left:
        here = min(left, room)
        length += here * (70.0 + 2 * math.pi * ((layers + 0.5) * d - height / 2))
        left, layers = left - here, layers + 1
    assert int(lay.layers) == layers
    assert float(lay.wire_m) == pytest.approx(length * MM, rel=1e-9)
    assert bool(lay.fits) == (layers * d <= height * (1 + 1e-12) and layers <= MOST_LAYERS)


def test_arrays_and_single_values_agree() -> None:
    turns, d = np.array([3.0, 10.0, 30.0]), np.array([[0.5e-3], [1.0e-3]])
    many = ring_lay(turns, 2, d, 22 * MM, 37 * MM, 16 * MM)
    assert many.layers.shape == (2, 3)
    for i in range(2):
        for j in range(3):
            one = ring_lay(float(turns[j]), 2, float(d[i, 0]), 22 * MM, 37 * MM, 16 * MM)
            assert int(one.layers) == many.layers[i, j]
            assert float(one.wire_m) == pytest.approx(many.wire_m[i, j], rel=1e-12)
            assert bool(one.fits) == many.fits[i, j]


@given(n=st.integers(1, 399))
def test_bundles_grow_and_hold_their_strands(n: int) -> None:
    ratio, larger = float(bundle_diameter(n, 1.0)), float(bundle_diameter(n + 1, 1.0))
    assert larger >= ratio - 1e-12
    assert ratio**2 >= n  # the circle's area holds the strands'
    assert n / ratio**2 <= math.pi / math.sqrt(12) + 1e-9 or n == 1  # never denser than the hexagonal packing


@pytest.mark.parametrize(
    ("n", "ratio"),
    # closed forms: 2, 3, 4, 7 and 19 circles (1 + 2/√3, 1 + √2, 3, 1 + √2 + √6)
    [
        (2, 2.0),
        (3, 1 + 2 / math.sqrt(3)),
        (4, 1 + math.sqrt(2)),
        (7, 3.0),
        (19, 1 + math.sqrt(2) + math.sqrt(6)),
    ],
)
def test_bundles_of_closed_form(n: int, ratio: float) -> None:
    assert float(bundle_diameter(n, 1.0)) == pytest.approx(ratio, rel=2e-5)


@given(bundle=st.floats(0.5e-3, 6e-3), pitch=st.floats(5e-3, 100e-3))
def test_twist_against_the_mean_over_the_section(bundle: float, pitch: float) -> None:
    r = (np.arange(2000) + 0.5) / 2000 * bundle / 2
    mean = float(np.average(np.sqrt(1 + (2 * math.pi * r / pitch) ** 2), weights=r))
    assert float(twist_length_factor(bundle, pitch)) == pytest.approx(mean, rel=1e-6)


@given(build=st.floats(0.0, 10e-3))
def test_outer_build_keeps_the_area(build: float) -> None:
    t = float(ring_outer_build(22 * MM, 37 * MM, build))
    inside = (11 * MM) ** 2 - (11 * MM - build) ** 2
    assert (18.5 * MM + t) ** 2 - (18.5 * MM) ** 2 == pytest.approx(inside, rel=1e-9, abs=1e-15)
    outer, height, hole = ring_wound_size(22 * MM, 37 * MM, 16 * MM, build)
    assert float(outer) == pytest.approx(37 * MM + 2 * t, rel=1e-12)
    assert float(height) == pytest.approx(16 * MM + 2 * build, rel=1e-12)
    assert float(hole) == pytest.approx(22 * MM - 2 * build, abs=1e-12)


def test_capacity_at_the_edges() -> None:
    assert float(ring_layer_capacity(4 * MM, 0.0, 4 * MM)) == 1.0  # one wire fills the hole
    assert float(ring_layer_capacity(4 * MM, 0.0, 4.1 * MM)) == 0.0
    assert float(ring_layer_capacity(3 * MM, 0.0, 1 * MM)) == 6.0  # six round one
    assert float(bobbin_layer_capacity(2.9 * MM, 3 * MM)) == 0.0
    assert float(bobbin_layer_capacity(3.0 * MM, 3 * MM)) == 1.0
    assert float(bobbin_layer_capacity(6.0 * MM, 3 * MM)) == 1.0


def test_a_turn_that_touches_the_core() -> None:
    assert float(ring_turn_length(22 * MM, 37 * MM, 16 * MM, 0.0, 0.0)) == pytest.approx(47 * MM, rel=1e-12)


def test_fill() -> None:
    assert window_fill(50e-6, 200e-6) == pytest.approx(0.25, rel=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: ring_lay(2.5, 1, 1e-3, 0.02, 0.03, 0.01),
        lambda: ring_lay(0, 1, 1e-3, 0.02, 0.03, 0.01),
        lambda: ring_lay(4, 1, -1e-3, 0.02, 0.03, 0.01),
        lambda: ring_lay(4, 1, 1e-3, 0.02, 0.03, 0.01, 0.0, 1.2),
        lambda: bobbin_lay(4, 0.5, 1e-3, 0.02, 0.006, 0.05),
        lambda: bobbin_lay(4, 1, 1e-3, 0.0, 0.006, 0.05),
        lambda: bundle_diameter(0, 1e-3),
        lambda: bundle_diameter(401, 1e-3),
        lambda: bundle_diameter(math.nan, 1e-3),
        lambda: ring_outer_build(0.02, 0.01, 0.001),
        lambda: ring_outer_build(0.02, 0.03, 0.011),
        lambda: window_fill(1e-6, 0.0),
        lambda: twist_length_factor(1e-3, 0.0),
    ],
)
def test_out_of_range_is_refused(call: object) -> None:
    with pytest.raises(RangeError):
        call()  # type: ignore[operator]
