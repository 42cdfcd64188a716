"""Heat: inverses, second routes and refusals."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, RangeError
from subwright.physics import surfaces as sf
from subwright.physics import thermal as th


def test_needed_sink_brings_the_junction_to_its_limit() -> None:
    needed = th.sink_rth_needed_k_per_w(125.0, 50.0, 6.0, 1.5, 1.0, sink_power_w=24.0)
    assert th.junction_temperature_c(50.0, 6.0, 1.5, 1.0, needed, sink_power_w=24.0) == pytest.approx(
        125.0, rel=1e-12
    )


def test_no_sink_cools_a_device_past_its_own_resistance() -> None:
    with pytest.raises(NoSolutionError, match="overheats on any heatsink"):
        th.sink_rth_needed_k_per_w(125.0, 50.0, 60.0, 1.5, 1.0)


@pytest.mark.parametrize("finish", list(sf.PLATE_FACTORS))
@pytest.mark.parametrize("rth", [3.0, 4.5])
def test_plate_area_inverts(finish: sf.PlateFinish, rth: float) -> None:
    area = sf.plate_area_m2(rth, 3e-3, finish)
    assert sf.plate_rth_k_per_w(area, 3e-3, finish) == pytest.approx(rth, rel=1e-12)


def test_plate_that_cannot_be_large_enough_is_refused() -> None:
    with pytest.raises(NoSolutionError, match="finned heatsink"):
        sf.plate_area_m2(1.0, 2e-3, "bright horizontal")


def test_plate_rise_inverts_its_heat() -> None:
    watts = sf.plate_heat_w(37.0, 45.0, 0.03, 0.15, 0.85)
    assert sf.plate_rise_k(watts, 45.0, 0.03, 0.15, 0.85) == pytest.approx(37.0, rel=1e-8)
    assert sf.plate_rise_k(0.0, 45.0, 0.03, 0.15, 0.85) == 0.0


def test_radiation_is_the_secant_of_the_fourth_power() -> None:
    hot, cold = 353.15, 298.15
    expected = 0.85 * 5.670374419e-8 * (hot**4 - cold**4) / (hot - cold)
    assert sf.radiation_w_per_m2_k(80.0, 25.0, 0.85) == pytest.approx(expected, rel=1e-12)


def test_time_to_reach_against_stepping() -> None:
    rth, capacity, watts, ambient = 1.2, 300.0, 60.0, 40.0
    sink, time, step = 55.0, 0.0, 0.01
    while sink < 85.0:
        sink += step * (watts - (sink - ambient) / rth) / capacity
        time += step
    assert th.time_to_reach_s(85.0, 55.0, ambient, watts, rth, capacity) == pytest.approx(time, rel=1e-3)


def test_a_sink_that_settles_below_never_gets_there() -> None:
    assert th.time_to_reach_s(85.0, 50.0, 40.0, 10.0, 1.0, 100.0) == math.inf
    assert th.time_to_reach_s(85.0, 90.0, 40.0, 10.0, 1.0, 100.0) == 0.0


def test_wire_current_inverts_wire_rise() -> None:
    diameter = np.array([0.5e-3, 1.0e-3, 2.5e-3])
    ohm_per_m = 1.7241e-8 / (0.25 * math.pi * diameter**2)
    amps = sf.wire_current_a(ohm_per_m, diameter, 30.0, 50.0)
    assert np.allclose(sf.wire_rise_k(amps, ohm_per_m, diameter, 50.0), 30.0, rtol=1e-4)
    assert np.all(np.diff(amps) > 0.0)


def test_wire_that_runs_away_is_infinitely_hot() -> None:
    rise = sf.wire_rise_k(np.array([60.0]), np.array([88e-3]), np.array([0.5e-3]), 25.0)
    assert np.isinf(rise[0])


@pytest.mark.parametrize(("diameter", "rise"), [(0.5e-3, 30.0), (1.5e-3, 50.0), (5e-3, 40.0), (50e-3, 40.0)])
def test_wire_convection_against_the_papers_other_correlation(diameter: float, rise: float) -> None:
    # Churchill & Chu 1975 give a laminar form (used) and one for all Ra; in still air they differ by a tenth.
    film = 25.0 + 273.15 + rise / 2
    conductivity, viscosity = sf.air_film(np.array(film - 273.15))
    prandtl = 0.707
    rayleigh = 9.81 / film * rise * diameter**3 / viscosity**2 * prandtl
    shape = (1 + (0.559 / prandtl) ** (9 / 16)) ** (16 / 9)
    nusselt = (0.60 + 0.387 * (rayleigh / shape) ** (1 / 6)) ** 2
    ours = float(sf.wire_convection_w_per_m2_k(np.array(diameter), np.array(rise), 25.0))
    assert ours == pytest.approx(nusselt * conductivity / diameter, rel=0.15)


@pytest.mark.parametrize(
    ("kelvin", "conductivity", "viscosity"),
    [(250, 22.3e-3, 11.44e-6), (300, 26.3e-3, 15.89e-6), (350, 30.0e-3, 20.92e-6), (400, 33.8e-3, 26.41e-6)],
)
def test_air_against_the_printed_table(kelvin: float, conductivity: float, viscosity: float) -> None:
    # Incropera & DeWitt, table A.4 (from memory); the power laws promise 1 %.
    k, nu = sf.air_film(np.array(kelvin - 273.15))
    assert float(k) == pytest.approx(conductivity, rel=0.01)
    assert float(nu) == pytest.approx(viscosity, rel=0.01)


REFUSALS: list[tuple[str, Callable[[], object]]] = [
    ("sink heat below the device's", lambda: th.junction_temperature_c(25.0, 5.0, 1.0, 1.0, 1.0, 4.0)),
    ("ambient above the limit", lambda: th.sink_rth_needed_k_per_w(100.0, 110.0, 1.0, 1.0, 1.0)),
    ("tiny plate", lambda: sf.plate_rth_k_per_w(1e-4, 2e-3, "black vertical")),
    ("thick plate", lambda: sf.plate_rth_k_per_w(1e-2, 2e-2, "black vertical")),
    ("turbulent plate", lambda: sf.plate_convection_w_per_m2_k(100.0, 1.0)),
    ("emissivity", lambda: sf.radiation_w_per_m2_k(50.0, 20.0, 1.2)),
    ("no mass", lambda: th.thermal_capacity_j_per_k(0.0)),
    ("no resistance", lambda: th.time_to_reach_s(80.0, 20.0, 20.0, 1.0, 0.0, 1.0)),
    ("wire in a furnace", lambda: sf.wire_convection_w_per_m2_k(np.array(1e-3), np.array(10.0), 400.0)),
]


@pytest.mark.parametrize(("name", "call"), REFUSALS, ids=[name for name, _ in REFUSALS])
def test_out_of_range_is_refused_with_a_remedy(name: str, call: Callable[[], object]) -> None:
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.quantity, name
    assert caught.value.limit
    assert caught.value.remedy
