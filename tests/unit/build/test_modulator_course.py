"""Courses of the modulator that are plotted: crossings where they must be, by a second route."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.modulator_course import clocked_course, frequency_over_modulation
from subwright.stages.amplifier_modulator_records import Modulator

EXAMPLE = Path(__file__).parents[3] / "examples" / "storyteller-van.build.toml"


def modulator(form: str) -> Modulator:
    spec = service.open_build(EXAMPLE).spec
    amplifier = spec.amplifier.model_copy(update={"modulator": form})
    found = service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=EXAMPLE.parent)
    assert found.design.amplifier.modulator is not None
    return found.design.amplifier.modulator


@pytest.fixture(scope="module")
def clocked() -> Modulator:
    return modulator("clocked")


@pytest.mark.parametrize("modulation", [-0.8, -0.5, 0.0, 0.3, 0.8])
def test_the_node_is_high_for_the_modulation_s_share(clocked: Modulator, modulation: float) -> None:
    """Counted sample by sample on a grid of its own: where the integrator lies above the carrier."""
    course = clocked_course(clocked, modulation)
    grid = np.linspace(0.0, course.time_s[-1], 200_001)
    above = np.interp(grid, course.time_s, course.integrator_v) > np.interp(
        grid, course.time_s, course.carrier_v
    )
    assert float(np.mean(above)) == pytest.approx(0.5 * (1.0 + modulation), abs=0.004)


def test_the_integrator_follows_the_error_of_the_node(clocked: Modulator) -> None:
    """Its slopes are those of an integrator between modulation and node, and it comes back to its start."""
    m, modulation = clocked, 0.4
    course = clocked_course(m, modulation)
    slopes = np.diff(course.integrator_v) / np.diff(course.time_s)
    ripple = m.feedback_slope_v_per_s * m.rail_nominal_v / m.rail_high_v
    assert np.max(slopes) == pytest.approx(ripple * (1.0 + modulation), rel=1e-6)
    assert np.min(slopes) == pytest.approx(-ripple * (1.0 - modulation), rel=1e-6)
    period = 1.0 / m.switching_hz
    later = np.interp(0.3 * period + period, course.time_s, course.integrator_v)
    assert later == pytest.approx(np.interp(0.3 * period, course.time_s, course.integrator_v), rel=1e-9)


def test_the_carrier_turns_where_the_design_says(clocked: Modulator) -> None:
    course = clocked_course(clocked, 0.0)
    assert float(course.carrier_v.min()) == pytest.approx(clocked.clock_low_v, rel=1e-3)
    assert float(course.carrier_v.max()) == pytest.approx(clocked.clock_high_v, rel=5e-3)
    assert float(course.time_s[-1]) == pytest.approx(2.0 / clocked.switching_hz)


def test_a_loop_of_its_own_slows_by_the_square_of_the_modulation() -> None:
    m = modulator("self-oscillating")
    share, hertz = frequency_over_modulation(m)
    middle = hertz[len(hertz) // 2]
    assert middle == pytest.approx(m.switching_hz, rel=0.02)
    assert hertz / middle == pytest.approx(1.0 - share**2, rel=1e-9)
    with pytest.raises(SubwrightError, match="no carrier"):
        clocked_course(m, 0.0)
