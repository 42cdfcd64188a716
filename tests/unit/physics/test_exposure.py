"""Frequency weightings and allowed times against the printed tables (values from memory)."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.acoustics.exposure import a_weighting_db, allowed_time_s, c_weighting_db

# IEC 61672-1, table of weightings: tenths of a decade n (f = 10^(n/10) Hz), A in dB, C in dB.
WEIGHTINGS = [
    (10, -70.4, -14.3),
    (13, -50.5, -6.2),
    (15, -39.4, -3.0),
    (16, -34.6, -2.0),
    (17, -30.2, -1.3),
    (18, -26.2, -0.8),
    (19, -22.5, -0.5),
    (20, -19.1, -0.3),
    (21, -16.1, -0.2),
    (24, -8.6, 0.0),
    (27, -3.2, 0.0),
    (30, 0.0, 0.0),
    (33, 1.2, -0.2),
    (36, 1.0, -0.8),
    (39, -1.1, -3.0),
]


@pytest.mark.parametrize(("tenth", "a_db", "c_db"), WEIGHTINGS)
def test_weightings_of_the_sound_level_meter(tenth: int, a_db: float, c_db: float) -> None:
    frequency = 10.0 ** (tenth / 10)
    assert float(a_weighting_db(frequency)) == pytest.approx(a_db, abs=0.05)
    assert float(c_weighting_db(frequency)) == pytest.approx(c_db, abs=0.05)


@pytest.mark.parametrize(
    ("level_db", "minutes"), [(85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (82, 960)]
)
def test_allowed_times(level_db: float, minutes: float) -> None:
    """NIOSH 98-126, table 1-1."""
    assert float(allowed_time_s(level_db)) == pytest.approx(60.0 * minutes, rel=1e-12)


def test_arrays_keep_their_shape() -> None:
    grid = np.geomspace(10.0, 500.0, 6).reshape(2, 3)
    for function in (a_weighting_db, c_weighting_db):
        assert function(grid).shape == (2, 3)
        assert np.all(np.diff(function(grid).ravel()) > 0)


def test_frequency_must_be_above_zero() -> None:
    for function in (a_weighting_db, c_weighting_db):
        with pytest.raises(RangeError, match="above zero"):
            function(np.array([0.0, 50.0]))
