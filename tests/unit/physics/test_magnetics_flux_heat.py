"""Flux, leakage and heat: scaling, limits, independent routes, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.flux_start import flux_at_switch_on
from subwright.physics.leakage import (
    concentric_leakage,
    interwinding_capacitance,
    ring_breadth,
    ring_leakage_spread,
    twisted_pair_inductance_per_metre,
)
from subwright.physics.magnetic_thermal import (
    ring_surface,
    rise_from_surface_load,
    rise_from_surface_power,
    rise_spread,
    thermal_resistance_from_volume,
)
from subwright.physics.magnetics import (
    MU_0,
    area_product_power,
    flat_top_current,
    flux_after_lost_pulse,
    flux_peak_square_wave,
    flux_swing,
    half_winding_rms,
    inductance,
    magnetising_peak_current,
    on_time,
    saturation_flux,
    turns_for_flux,
    turns_square_wave,
)

VOLTS = st.floats(5.0, 60.0)
HERTZ = st.floats(20e3, 150e3)
AREA = st.floats(20e-6, 500e-6)
SHARE = st.floats(0.3, 1.0)


@given(v=VOLTS, f=HERTZ, a=AREA, d=SHARE, b=st.floats(0.05, 0.3), up=st.floats(1.1, 3.0))
def test_turns_go_as_one_over_flux_frequency_and_area(
    v: float, f: float, a: float, d: float, b: float, up: float
) -> None:
    n = float(turns_square_wave(v, d, f, b, a))
    assert float(turns_square_wave(v, d, f, up * b, a)) == pytest.approx(n / up, rel=1e-12)
    assert float(turns_square_wave(v, d, up * f, b, a)) == pytest.approx(n / up, rel=1e-12)
    assert float(turns_square_wave(v, d, f, b, up * a)) == pytest.approx(n / up, rel=1e-12)
    assert float(turns_square_wave(up * v, d, f, b, a)) == pytest.approx(n * up, rel=1e-12)
    assert float(flux_peak_square_wave(v, d, f, n, a)) == pytest.approx(b, rel=1e-12)
    assert float(turns_for_flux(v, on_time(f, d), 2 * b, a)) == pytest.approx(n, rel=1e-12)


@given(v=VOLTS, f=HERTZ, d=SHARE, n=st.integers(1, 30), al=st.floats(0.5e-6, 8e-6), a=AREA)
def test_flux_by_volt_seconds_and_by_current(
    v: float, f: float, d: float, n: int, al: float, a: float
) -> None:
    """B = V t/(N A) and B = L i/(N A) are the same flux."""
    on = on_time(f, d)
    current = float(magnetising_peak_current(v, on, inductance(n, al)))
    assert current * n * al / a == pytest.approx(float(flux_swing(v, on, n, a)) / 2, rel=1e-12)


def test_one_lost_pulse() -> None:
    """Volt-seconds added up over a drive with one pulse missing."""

    def peak(held: bool) -> float:
        flux, history = 0.0, []
        flux = -1.0  # steady state in units of the peak: each pulse moves it by 2
        for step in (2.0, -2.0, 2.0, None, 2.0, -2.0):
            if step is None:
                flux = flux if held else 0.0
            else:
                flux += step
            history.append(abs(flux))
        return max(history)

    assert peak(held=True) == float(flux_after_lost_pulse(1.0, held=True)) == 3.0
    assert peak(held=False) == float(flux_after_lost_pulse(1.0, held=False)) == 2.0


def test_saturation_line_meets_both_points() -> None:
    assert float(saturation_flux(25.0, 0.49, 0.39)) == pytest.approx(0.49, rel=1e-12)
    assert float(saturation_flux(100.0, 0.49, 0.39)) == pytest.approx(0.39, rel=1e-12)


@given(power=st.floats(1.0, 2000.0), v=VOLTS, d=SHARE, eta=st.floats(0.5, 1.0))
def test_two_halves_pass_the_input_current(power: float, v: float, d: float, eta: float) -> None:
    flat = float(flat_top_current(power, v, eta, d))
    assert flat * d * v == pytest.approx(power / eta, rel=1e-12)
    rms = float(half_winding_rms(flat, d))
    assert 2 * rms**2 == pytest.approx(flat**2 * d, rel=1e-12)


@given(f=HERTZ, d=SHARE, eta=st.floats(0.5, 1.0), ku=st.floats(0.1, 0.5))
def test_area_product_by_winding_it(f: float, d: float, eta: float, ku: float) -> None:
    """Turns from the flux, wire from the window, current from the wire, power from the current."""
    b, a_e, a_w, j, v = 0.16, 125e-6, 177e-6, 4e6, 12.0
    turns = float(turns_square_wave(v, d, f, b, a_e))
    wire = ku * a_w / 2 / (2 * turns)  # half of the copper for two half-primaries
    flat = j * wire / math.sqrt(d / 2)
    assert float(area_product_power(b, f, a_e, a_w, j, ku, d, eta)) == pytest.approx(
        eta * v * flat * d, rel=1e-12
    )


@given(
    n=st.integers(1, 20), h1=st.floats(0.2e-3, 5e-3), h2=st.floats(0.2e-3, 5e-3), gap=st.floats(0.05e-3, 2e-3)
)
def test_leakage_against_the_field_energy(n: int, h1: float, h2: float, gap: float) -> None:
    """½ L I² against the energy of a field that rises over one winding and falls over the other."""
    turn, breadth, current = 0.07, 0.025, 3.0
    peak = n * current / breadth
    x1, x2 = (np.arange(4000) + 0.5) / 4000, (np.arange(4000) + 0.5) / 4000
    squares = np.mean((peak * x1) ** 2) * h1 + peak**2 * gap + np.mean((peak * (1 - x2)) ** 2) * h2
    energy = 0.5 * MU_0 * squares * turn * breadth
    value = float(concentric_leakage(n, turn, breadth, h1 + h2, gap))
    assert value == pytest.approx(2 * energy / current**2, rel=1e-6)
    # split into two halves round the other, with a gap on either side
    assert float(concentric_leakage(n, turn, breadth, h1 + h2, 2 * gap, 2)) == pytest.approx(
        float(concentric_leakage(n, turn, breadth, h1 + h2, 2 * gap)) / 4, rel=1e-12
    )


def test_ring_breadth_against_a_walk_along_the_turn() -> None:
    inner, outer, height, build = 11e-3, 18.5e-3, 16e-3, 2e-3
    radii = np.concatenate(
        [
            np.full(16000, inner - build),
            np.full(16000, outer),
            np.repeat(np.linspace(inner - build, outer, 9500), 2),
        ]
    )
    mean = np.mean(1.0 / (2 * math.pi * radii) ** 2)
    assert float(ring_breadth(2 * inner, 2 * outer, height, build)) == pytest.approx(mean**-0.5, rel=1e-3)


def test_sparse_rings_are_less_certain() -> None:
    low, high = ring_leakage_spread(np.array([0.1, 0.5, 1.0]))
    assert np.all(np.asarray(low) == 0.7)
    assert list(np.asarray(high)) == sorted(np.asarray(high), reverse=True)
    assert float(np.asarray(high)[0]) == 4.0


def test_pair_inductance_far_apart() -> None:
    # arcosh(s/d) -> ln(2 s/d)
    assert float(twisted_pair_inductance_per_metre(1e-3, 1.0)) == pytest.approx(
        4e-7 * math.log(2000.0), rel=1e-6
    )
    assert float(twisted_pair_inductance_per_metre(1e-3, 1e-3)) == 0.0


@given(p=st.floats(0.1, 50.0), up=st.floats(1.1, 4.0))
def test_rise_goes_with_power(p: float, up: float) -> None:
    assert float(rise_from_surface_load(up * p, 0.01)) / float(
        rise_from_surface_load(p, 0.01)
    ) == pytest.approx(up**0.826, rel=1e-9)
    assert float(rise_from_surface_power(up * p, 0.01)) / float(
        rise_from_surface_power(p, 0.01)
    ) == pytest.approx(up**0.833, rel=1e-9)
    spread = rise_spread(p, 11.5e-6, 70e-4)
    three = (spread.volume_rule_k, spread.load_rule_k, spread.power_rule_k)
    assert spread.low_k == min(three)
    assert spread.high_k == max(three)


def test_larger_cores_shed_more_heat() -> None:
    r = np.asarray(thermal_resistance_from_volume(np.array([1e-6, 10e-6, 100e-6])))
    assert np.all(np.diff(r) < 0)
    assert r[0] == pytest.approx(53.0, rel=1e-12)


def test_ring_surface_is_a_closed_cylinder() -> None:
    assert float(ring_surface(0.04, 0.02)) == pytest.approx(
        2 * math.pi * 0.02**2 + math.pi * 0.04 * 0.02, rel=1e-12
    )


@pytest.mark.parametrize(
    "call",
    [
        lambda: on_time(0.0, 0.9),
        lambda: on_time(5e4, 1.01),
        lambda: flux_swing(-1.0, 1e-5, 3, 1e-4),
        lambda: flux_swing(12.0, 1e-5, 0, 1e-4),
        lambda: flux_swing(12.0, 1e-5, 3, math.nan),
        lambda: turns_for_flux(12.0, 1e-5, 0.0, 1e-4),
        lambda: saturation_flux(180.0, 0.49, 0.39),
        lambda: inductance(3, 0.0),
        lambda: half_winding_rms(-1.0, 0.9),
        lambda: flat_top_current(100.0, 12.0, 1.2, 0.9),
        lambda: concentric_leakage(4, 0.07, 0.0, 1e-3, 1e-4),
        lambda: concentric_leakage(4, 0.07, 0.02, 1e-3, 1e-4, 0.5),
        lambda: ring_breadth(0.022, 0.037, 0.016, 0.011),
        lambda: ring_leakage_spread(0.0),
        lambda: twisted_pair_inductance_per_metre(1e-3, 0.9e-3),
        lambda: interwinding_capacitance(1e-3, 0.0),
        lambda: thermal_resistance_from_volume(0.0),
        lambda: rise_from_surface_load(-1.0, 0.01),
        lambda: rise_from_surface_power(1.0, 0.0),
        lambda: ring_surface(0.0, 0.02),
    ],
)
def test_out_of_range_is_refused(call: object) -> None:
    with pytest.raises(RangeError):
        call()  # type: ignore[operator]


@pytest.mark.parametrize("pulses", [1, 2, 3, 10, 11, 400, 2001])
def test_flux_at_switch_on_is_the_alternating_sum(pulses: int) -> None:
    peak = 0.15
    grown = 2.0 * peak * np.arange(1, pulses + 1) / pulses
    settled = 2.0 * peak * np.ones(4)
    flux = np.cumsum(np.concatenate([grown, settled]) * (-1.0) ** np.arange(pulses + 4))
    assert np.max(np.abs(flux)) == pytest.approx(float(flux_at_switch_on(peak, pulses)), rel=1.0 / pulses)
    assert np.max(np.abs(flux)) <= float(flux_at_switch_on(peak, pulses)) * (1 + 1e-12)
    assert flux_at_switch_on(peak, 0) == pytest.approx(2 * peak)
