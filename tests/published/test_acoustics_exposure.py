"""Frequency weightings and times of exposure as printed."""

from __future__ import annotations

import pytest

from subwright.base.sources import get
from subwright.physics.acoustics.exposure import a_weighting_db, allowed_time_s, c_weighting_db

# IEC 61672-1, table of design-goal weightings, as acoustics texts reprint it: nominal frequency, exponent n
# of the exact one, 1000 Hz · 10^(n/10), A and C in dB, printed to 0.1 dB.
WEIGHTINGS = (
    (10, -20, -70.4, -14.3),
    (12.5, -19, -63.4, -11.2),
    (16, -18, -56.7, -8.5),
    (20, -17, -50.5, -6.2),
    (25, -16, -44.7, -4.4),
    (31.5, -15, -39.4, -3.0),
    (40, -14, -34.6, -2.0),
    (50, -13, -30.2, -1.3),
    (63, -12, -26.2, -0.8),
    (80, -11, -22.5, -0.5),
    (100, -10, -19.1, -0.3),
    (125, -9, -16.1, -0.2),
    (160, -8, -13.4, -0.1),
    (200, -7, -10.9, 0.0),
    (250, -6, -8.6, 0.0),
    (315, -5, -6.6, 0.0),
    (400, -4, -4.8, 0.0),
    (500, -3, -3.2, 0.0),
    (630, -2, -1.9, 0.0),
    (800, -1, -0.8, 0.0),
    (1000, 0, 0.0, 0.0),
    (1250, 1, 0.6, 0.0),
    (1600, 2, 1.0, -0.1),
    (2000, 3, 1.2, -0.2),
    (2500, 4, 1.3, -0.3),
    (3150, 5, 1.2, -0.5),
    (4000, 6, 1.0, -0.8),
    (5000, 7, 0.5, -1.3),
    (6300, 8, -0.1, -2.0),
    (8000, 9, -1.1, -3.0),
    (10000, 10, -2.5, -4.4),
    (12500, 11, -4.3, -6.2),
    (16000, 12, -6.6, -8.5),
    (20000, 13, -9.3, -11.2),
)

# NIOSH 98-126, table 1-1: level in dB(A), then hours, minutes, seconds a day, rounded to the last one given.
EXPOSURES = (
    (80, 25, 24, None),
    (82, 16, 0, None),
    (83, 12, 42, None),
    (85, 8, 0, None),
    (86, 6, 21, None),
    (88, 4, 0, None),
    (90, 2, 31, None),
    (91, 2, 0, None),
    (94, 1, 0, 0),
    (95, 0, 47, 37),
    (97, 0, 30, 0),
    (98, 0, 23, 49),
    (100, 0, 15, 0),
    (103, 0, 7, 30),
    (104, 0, 5, 57),
    (106, 0, 3, 45),
    (109, 0, 1, 53),
    (114, 0, 0, 35),
)


@pytest.mark.parametrize(("nominal", "exponent", "a", "c"), WEIGHTINGS)
def test_weighting(nominal: float, exponent: int, a: float, c: float) -> None:
    assert get("iec-61672-1").key == "iec-61672-1"
    exact = 1e3 * 10 ** (exponent / 10)
    assert exact == pytest.approx(nominal, rel=0.02)
    assert a_weighting_db(exact) == pytest.approx(a, abs=0.0501)
    assert c_weighting_db(exact) == pytest.approx(c, abs=0.0501)


@pytest.mark.parametrize(("level", "hours", "minutes", "seconds"), EXPOSURES)
def test_time_a_day(level: float, hours: int, minutes: int, seconds: int | None) -> None:
    assert get("niosh-98-126").key == "niosh-98-126"
    printed = 3600 * hours + 60 * minutes + (seconds or 0)
    half = 30.0 if seconds is None else 0.5
    assert float(allowed_time_s(level)) == pytest.approx(printed, abs=half * (1 + 1e-9), rel=0.0)
