"""A gate transformer's magnetising current against its own differential equation, step by step."""

from __future__ import annotations

import pytest

from subwright.base.errors import RangeError
from subwright.physics.gate_drive import gate_magnetising


@pytest.mark.parametrize(
    ("driven_v", "returned_v", "resting_v", "rest_s"),
    [(9.3, 13.1, 1.2, 0.84e-6), (8.3, 11.0, 1.5, 1.6e-6)],
)
def test_the_current_closes_on_itself(
    driven_v: float, returned_v: float, resting_v: float, rest_s: float
) -> None:
    """Many half cycles of small steps, from any start, end where the closed form says."""
    inductance_h, on_s, steps = 300e-6, 9.2e-6, 4000
    closed = gate_magnetising(inductance_h, driven_v, returned_v, resting_v, on_s, rest_s)
    current, given, back = 0.7 * closed.peak_a, 0.0, 0.0
    for _ in range(60):
        current -= resting_v * rest_s / inductance_h
        current, given, back = -current, 0.0, 0.0  # the next pulse's way round
        for _ in range(steps):
            current += (returned_v if current < 0.0 else driven_v) * on_s / steps / inductance_h
            given += max(current, 0.0) * on_s / steps
            back += max(-current, 0.0) * on_s / steps
    cycle = 2.0 * (on_s + rest_s)
    assert current == pytest.approx(closed.peak_a, rel=2e-3)
    assert 2.0 * given / cycle == pytest.approx(closed.drawn_a, rel=2e-3)
    assert 2.0 * back / cycle == pytest.approx(closed.returned_a, rel=5e-3)


def test_a_pause_longer_than_the_current_lasts_is_bounded() -> None:
    course = gate_magnetising(300e-6, 9.0, 12.0, 2.0, 1e-6, 50e-6)
    assert course.drawing_s == 1e-6
    assert course.returned_a == 0.0


@pytest.mark.parametrize("wrong", range(6))
def test_bad_figures_are_refused(wrong: int) -> None:
    figures = [300e-6, 9.0, 12.0, 1.0, 9e-6, 1e-6]
    figures[wrong] = -1.0
    with pytest.raises(RangeError):
        gate_magnetising(*figures)
