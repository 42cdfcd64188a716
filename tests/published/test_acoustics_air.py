"""Air, levels and radiation against printed values.

Tolerances are the rounding of the printed value, unless a comment says otherwise.
"""

from __future__ import annotations

import pytest

from subwright.physics.acoustics.air import (
    AIR_20C,
    SMALL_AIR,
    air_at,
    speed_of_sound_linear_m_per_s,
    tuning_drift_ratio,
)
from subwright.physics.acoustics.radiation import (
    air_load_kg,
    displacement_for_level_m3,
    level_from_displacement_db,
    level_from_power_db,
)


def test_density_at_20_c() -> None:
    # Beranek and Mellow, Acoustics (2012), ch. 1, from memory: 1.204 kg/m3
    assert AIR_20C.density_kg_per_m3 == pytest.approx(1.204, rel=1e-3)


@pytest.mark.parametrize(
    ("temperature_c", "printed"),
    [(0.0, 331.5), (20.0, 343.42), (25.0, 346.34)],
)
def test_speed_of_sound(temperature_c: float, printed: float) -> None:
    # Encyclopaedic table, read in a secondary page; it takes gamma 1.402, ours is 1.400: 0.7 parts per
    # thousand
    assert air_at(temperature_c).speed_m_per_s == pytest.approx(printed, rel=1.0e-3)


def test_speed_of_sound_by_the_linear_rule() -> None:
    # Encyclopaedic rule, read in a secondary page: 331.3 + 0.606 t, about 0.6 m/s per kelvin
    assert speed_of_sound_linear_m_per_s(20.0) == pytest.approx(343.4, abs=0.05)
    exact = air_at(21.0).speed_m_per_s - air_at(20.0).speed_m_per_s
    assert exact == pytest.approx(0.6, rel=0.03)
    for temperature_c in (-20.0, 0.0, 20.0, 40.0):
        exact = air_at(temperature_c).speed_m_per_s
        assert speed_of_sound_linear_m_per_s(temperature_c) == pytest.approx(exact, rel=2.5e-3)


def test_characteristic_impedance() -> None:
    # Acoustics texts, from memory: 413.3 Pa s/m at 20 C
    assert AIR_20C.impedance_pa_s_per_m == pytest.approx(413.3, rel=2e-3)


def test_stiffness_is_gamma_p0() -> None:
    # Acoustical Society terminology 7.02 (read): gamma p0; 141.9 kPa
    assert AIR_20C.stiffness_pa == pytest.approx(1.4 * 101_325.0, rel=1e-12)
    assert AIR_20C.stiffness_pa == pytest.approx(141.9e3, rel=2e-3)


@pytest.mark.parametrize(
    ("space", "air", "printed"),
    [
        # Small, Direct-Radiator Loudspeaker System Analysis (1972), from memory
        ("half", AIR_20C, 112.2),
        ("half", SMALL_AIR, 112.1),
        ("full", AIR_20C, 109.1),
    ],
)
def test_level_of_one_acoustic_watt(space: str, air: object, printed: float) -> None:
    level = level_from_power_db(1.0, air=air, space=space)  # type: ignore[arg-type]
    assert float(level) == pytest.approx(printed, abs=0.1)


def test_constant_of_level_from_displacement() -> None:
    # Derived from the low-frequency limit in Beranek and Mellow, ch. 4: 108.55 dB for 1 m3 peak at 1 Hz
    assert float(level_from_displacement_db(1.0, 1.0)) == pytest.approx(108.55, abs=0.1)
    full = float(level_from_displacement_db(1.0, 1.0, space="full"))
    assert float(level_from_displacement_db(1.0, 1.0)) - full == pytest.approx(6.02, abs=0.005)


@pytest.mark.parametrize(("frequency_hz", "printed_cm3"), [(20.0, 935.0), (40.0, 234.0)])
def test_displacement_for_100_db(frequency_hz: float, printed_cm3: float) -> None:
    # Derived from the same limit
    assert 1e6 * float(displacement_for_level_m3(100.0, frequency_hz)) == pytest.approx(printed_cm3, rel=1e-2)


def test_an_octave_up_takes_a_quarter_of_the_displacement() -> None:
    # Twelve decibels per octave at constant displacement, exact
    ratio = displacement_for_level_m3(100.0, 20.0) / displacement_for_level_m3(100.0, 40.0)
    assert float(ratio) == pytest.approx(4.0, rel=1e-12)


def test_tuning_drift_with_heat() -> None:
    # Derived: c goes with the root of absolute temperature, 20 to 40 C +3.4 %
    assert tuning_drift_ratio(20.0, 40.0) - 1.0 == pytest.approx(0.034, abs=1e-3)


@pytest.mark.parametrize(("sides", "printed_g"), [(2, 12.9), (1, 6.45)])
def test_air_load(sides: int, printed_g: float) -> None:
    # Beranek and Mellow, ch. 4, from memory: 16/3 rho a^3 for both sides of 0.0500 m2
    assert 1e3 * float(air_load_kg(0.05, sides=sides)) == pytest.approx(printed_g, rel=1e-2)
