"""Starting profiles and the sense filter's answer to them, against a step-by-step integration."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.cranking import CRANKING, CUT, CrankingProfile, least_filtered_v
from subwright.physics.transients import CRANKING_V

PROFILES = [(v, profile) for v, profiles in CRANKING.items() for profile in profiles]


@pytest.mark.parametrize(("system_v", "profile"), PROFILES, ids=lambda p: getattr(p, "level", p))
@pytest.mark.parametrize("tau_s", [2e-3, 22e-3, 0.4])
def test_the_least_voltage_by_steps(system_v: int, profile: CrankingProfile, tau_s: float) -> None:
    points = profile.points(float(system_v))
    times, volts = np.array(points).T
    step = 50e-6
    y = least = float(system_v)
    for u in np.interp(np.arange(0.0, profile.length_s, step), times, volts):
        y += step * (float(u) - y) / (tau_s + step)
        least = min(least, y)
    found, when = least_filtered_v(points, tau_s)
    assert found == pytest.approx(least, rel=2e-3)
    assert 0.0 < when <= profile.length_s


@pytest.mark.parametrize("tau_s", [2e-3, 22e-3, 0.2])
def test_the_plateaus_ripple_by_steps(tau_s: float) -> None:
    """The filter settles on the plateau; what is left of the sine lies on it."""
    profile = CRANKING[12][3]  # ten seconds long
    times, volts = np.array(profile.rippled(12.0)).T
    step, y, least = 1e-3, 12.0, 12.0
    for now, u in zip(
        np.arange(0.0, 8.0, step), np.interp(np.arange(0.0, 8.0, step), times, volts), strict=True
    ):
        y += step * (float(u) - y) / (tau_s + step)
        if now > 4.0:
            least = min(least, y)
    assert profile.plateau_v - profile.filtered_ripple_v(tau_s) == pytest.approx(least, abs=0.02)


def test_a_cut_supply_leaves_nothing_behind_a_short_filter() -> None:
    least, _ = least_filtered_v(CUT.points(12.0), 20e-3)
    assert least == pytest.approx(12.0 * np.exp(-0.2 / 20e-3), abs=0.01)
    assert CUT.length_s == pytest.approx(0.2, abs=5e-3)


def test_profiles_carry_the_standards_levels() -> None:
    for system_v, profiles in CRANKING.items():
        assert tuple((p.dip_v, p.plateau_v) for p in profiles) == CRANKING_V[system_v]
    assert [p.level for p in CRANKING[12]] == ["I", "II", "III", "IV"]


def test_a_steady_supply_stays_where_it_is() -> None:
    assert least_filtered_v([(0.0, 12.0), (1.0, 12.0)], 0.02) == (12.0, 0.0)


def test_time_must_run_forwards() -> None:
    with pytest.raises(RangeError):
        least_filtered_v([(0.0, 12.0), (0.0, 8.0)], 0.02)
    with pytest.raises(RangeError):
        least_filtered_v([(0.0, 12.0), (1.0, 8.0)], 0.0)
