"""Voice-coil heat: copper, compression, time constants, crest factors."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.acoustics.thermal import (
    COPPER_PER_K,
    NEODYMIUM_FLUX_PER_K,
    CoilThermal,
    coil_rise_from_resistance_k,
    compression_db,
    crest_ratio,
    efficiency_loss_db,
    heat_capacity_j_per_k,
    resistance_ratio,
    step_rise_k,
    time_constants_s,
)


def test_copper() -> None:
    # IEC 60028 coefficient; an encyclopaedia prints 72 % for 20 to 200 °C (secondary page)
    assert float(resistance_ratio(180.0)) == pytest.approx(1.707, abs=5e-4)
    assert float(resistance_ratio(180.0)) == pytest.approx(1.72, rel=1e-2)


def test_level_loss_at_constant_voltage() -> None:
    # The same page prints 4.7 dB
    assert float(compression_db(180.0)) == pytest.approx(-4.65, abs=0.005)
    assert float(compression_db(180.0)) == pytest.approx(-4.7, abs=0.06)


def test_efficiency_loss_is_half_of_it() -> None:
    # Theory: −2.32 dB
    assert float(efficiency_loss_db(180.0)) == pytest.approx(-2.32, abs=0.005)


@pytest.mark.parametrize(("rise_k", "printed_db"), [(50, 1.56), (100, 2.88), (150, 4.03), (200, 5.04)])
def test_level_loss(rise_k: float, printed_db: float) -> None:
    # Derived
    assert -float(compression_db(rise_k)) == pytest.approx(printed_db, abs=0.02)


def test_temperature_from_resistance() -> None:
    # Derived: 3.4 to 4.6 Ω is 89.8 K, and Qes 0.42 becomes 0.568
    rise = float(coil_rise_from_resistance_k(4.6, 3.4))
    assert rise == pytest.approx(89.8, abs=0.5)
    assert 0.42 * float(resistance_ratio(rise)) == pytest.approx(0.568, abs=5e-4)


def test_time_constant_of_a_coil() -> None:
    # Derived: 25 g of copper, 1.2 K/W: 9.6 J/K, 11.6 s, 35 % after 5 s
    capacity = heat_capacity_j_per_k(0.025)
    assert capacity == pytest.approx(9.6, rel=1e-2)
    assert 1.2 * capacity == pytest.approx(11.6, rel=1e-2)
    # A magnet of endless capacity leaves the coil's own time constant
    thermal = CoilThermal(coil_k_per_w=1.2, coil_j_per_k=capacity, magnet_k_per_w=1.0, magnet_j_per_k=1e9)
    assert time_constants_s(thermal)[0] == pytest.approx(11.6, rel=1e-2)
    coil, _ = step_rise_k(thermal, 1.0, np.array([5.0]))
    assert coil[0] / 1.2 == pytest.approx(0.35, abs=0.005)


def test_neodymium_loses_a_tenth_of_its_flux() -> None:
    # Chapman 1998 (opening read): 10 % for about 90 °C
    assert pytest.approx(-0.10, abs=0.01) == NEODYMIUM_FLUX_PER_K * 90.0


@pytest.mark.parametrize(
    ("crest_db", "ratio"),
    [
        (6.02, 2.0),  # IEC 60268-5, nominal crest of the test noise, from memory
        (20.0 * math.log10(math.sqrt(2.0)), math.sqrt(2.0)),  # a sine
    ],
)
def test_crest(crest_db: float, ratio: float) -> None:
    assert crest_ratio(crest_db) == pytest.approx(ratio, rel=1e-3)


def test_coefficient_is_that_of_annealed_copper() -> None:
    assert COPPER_PER_K == 0.00393
