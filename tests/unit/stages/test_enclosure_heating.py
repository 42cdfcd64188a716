"""The coil's course against the two-store closed form and against its own steady end."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.parts.library import load_library
from subwright.physics.acoustics.thermal import CoilThermal, step_rise_k
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureSpec, design_enclosure
from subwright.stages.enclosure_heating import _integrated, coil_course

THERMAL = CoilThermal(coil_k_per_w=1.2, coil_j_per_k=12.0, magnet_k_per_w=0.8, magnet_j_per_k=2000.0)
TIMES = np.array([1.0, 5.0, 20.0, 100.0, 1000.0, 20000.0])


def test_constant_power_is_the_closed_form() -> None:
    coil, magnet = _integrated(THERMAL, lambda _rise: 50.0, TIMES)
    exact_coil, exact_magnet = step_rise_k(THERMAL, 50.0, TIMES)
    np.testing.assert_allclose(coil, exact_coil, rtol=1e-9)
    np.testing.assert_allclose(magnet, exact_magnet, rtol=1e-9)


def test_falling_power_matches_a_fine_time_march() -> None:
    def power(rise: float) -> float:
        return 80.0 / (1.0 + 0.00393 * rise)

    coil, magnet = _integrated(THERMAL, power, TIMES[:5])
    step, state = 0.01, np.zeros(2)
    found = []
    for n in range(1, 100_001):
        flow = (state[0] - state[1]) / THERMAL.coil_k_per_w
        out = state[1] / THERMAL.magnet_k_per_w
        state = state + step * np.array(
            [(power(state[0]) - flow) / THERMAL.coil_j_per_k, (flow - out) / THERMAL.magnet_j_per_k]
        )
        if n in (100, 500, 2000, 10_000, 100_000):
            found.append(state.copy())
    marched = np.array(found)
    np.testing.assert_allclose(coil, marched[:, 0], rtol=2e-3)
    np.testing.assert_allclose(magnet, marched[:, 1], rtol=2e-3, atol=0.01)


def test_the_course_ends_at_the_steady_temperature() -> None:
    driver = design_driver(DriverSpec(part="Harbour 10"), load_library())
    need = EnclosureNeed(drive_v=driver.rated_v, source_ohm=0.1, ambient_c=40.0)
    box = design_enclosure(EnclosureSpec(), driver, design_cabin(CabinSpec()), need)
    assert box.coil_full is not None
    course = coil_course(
        box.system,
        "full sine",
        box.coil_full.frequency_hz,
        need.drive_v,
        ambient_c=40.0,
        crest_factor_db=3.0103,
        time_s=np.array([1.0, 60.0, 3e5]),
    )
    assert course is not None
    assert course.coil_c[-1] == pytest.approx(box.coil_full.temperature_c, abs=0.5)
    assert np.all(np.diff(course.coil_c) > 0.0)
    assert np.all(course.coil_c > course.magnet_c)
    assert np.all(np.diff(course.compression_db) < 0.0)
