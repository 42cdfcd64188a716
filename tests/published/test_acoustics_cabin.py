"""Cabin gain and modes; textbook and derived rows, from secondary pages where a comment says so."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.physics.acoustics.cabin import (
    axial_mode_hz,
    corner_from_length_hz,
    corner_from_volume_hz,
    first_modes_hz,
    gain_db,
    sharp_gain_db,
)


@pytest.mark.parametrize(
    ("length_m", "printed_hz"),
    [(2.2, 78.0), (2.5, 68.6), (3.0, 57.2), (4.0, 42.9), (110 * 0.0254, 61.0)],
)
def test_first_axial_mode(length_m: float, printed_hz: float) -> None:
    # f = c/(2L); the last row is a worked case on a public page (110 in, 61 Hz)
    assert float(axial_mode_hz(length_m)) == pytest.approx(printed_hz, rel=8e-3)
    assert corner_from_length_hz(length_m) == pytest.approx(printed_hz, rel=8e-3)


@pytest.mark.parametrize(("frequency_hz", "printed_db"), [(20.0, 20.5), (30.0, 13.4), (40.0, 8.4)])
def test_one_parameter_gain(frequency_hz: float, printed_db: float) -> None:
    # +40 lg(65/f), derived
    assert float(sharp_gain_db(frequency_hz, 65.0)) == pytest.approx(printed_db, abs=0.05)


@pytest.mark.parametrize(
    ("frequency_hz", "printed_db"), [(20.0, 20.5), (30.0, 13.6), (40.0, 9.0), (60.0, 3.8)]
)
def test_smoothed_gain(frequency_hz: float, printed_db: float) -> None:
    # 10 lg[1 + (65/f)^4], derived
    assert float(gain_db(frequency_hz, 65.0)) == pytest.approx(printed_db, abs=0.06)


def test_gain_rises_by_12_db_per_octave() -> None:
    # Public restatements: twelve decibels per octave in an ideal sealed cabin
    assert float(gain_db(2.0, 65.0) - gain_db(4.0, 65.0)) == pytest.approx(12.04, abs=0.01)


@pytest.mark.parametrize("volume_m3", [2.5, 3.0, 4.0])
def test_corner_of_passenger_cars(volume_m3: float) -> None:
    # Practice (public restatements): about 50 to 90 Hz for passenger cars
    assert 50.0 <= corner_from_volume_hz(volume_m3) <= 90.0


def test_corner_is_where_zone_and_half_space_agree() -> None:
    # Second route: pressures of both models for the same displacement at the corner
    corner = corner_from_volume_hz(3.0)
    omega = 2.0 * np.pi * corner
    rho, c = 1.2041, 343.24
    assert rho * omega**2 / (2.0 * np.pi) == pytest.approx(rho * c**2 / 3.0, rel=1e-4)


def test_modes_of_a_box() -> None:
    # Textbook: f = c/2 sqrt(sum (n/L)^2)
    modes = first_modes_hz((2.5, 1.4, 1.1), count=4)
    assert modes[0][1] == (1, 0, 0)
    assert modes[0][0] == pytest.approx(68.6, rel=3e-3)
    assert [f for f, _ in modes] == sorted(f for f, _ in modes)
    assert modes[2][1] == (2, 0, 0) or modes[2][1] == (1, 1, 0)
