"""Core loss: the routes to it agree, it scales as it must, and nonsense is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.core_loss import (
    fit_power_law,
    igse_coefficient,
    igse_coefficient_approximate,
    igse_piecewise,
    igse_trapezoid,
    loss_factor,
    steinmetz,
    temperature_factor,
    trapezoid_over_sine,
)

ALPHA = st.floats(1.0, 2.0)
BETA = st.floats(2.0, 3.0)
FLUX = st.floats(0.01, 0.35)
HERTZ = st.floats(20e3, 200e3)
DUTY = st.floats(0.3, 1.0)


@given(f=HERTZ, b=FLUX, alpha=ALPHA, beta=BETA, up=st.floats(1.1, 3.0))
def test_loss_goes_with_powers_of_frequency_and_flux(
    f: float, b: float, alpha: float, beta: float, up: float
) -> None:
    base = steinmetz(f, b, 2.0, alpha, beta)
    assert steinmetz(up * f, b, 2.0, alpha, beta) / base == pytest.approx(up**alpha, rel=1e-9)
    assert steinmetz(f, up * b, 2.0, alpha, beta) / base == pytest.approx(up**beta, rel=1e-9)
    square = igse_trapezoid(f, b, 0.9, 2.0, alpha, beta)
    assert igse_trapezoid(up * f, b, 0.9, 2.0, alpha, beta) / square == pytest.approx(up**alpha, rel=1e-9)
    assert igse_trapezoid(f, up * b, 0.9, 2.0, alpha, beta) / square == pytest.approx(up**beta, rel=1e-9)


@given(f=HERTZ, b=FLUX, duty=DUTY, alpha=ALPHA, beta=BETA)
def test_trapezoid_is_the_piecewise_sum(f: float, b: float, duty: float, alpha: float, beta: float) -> None:
    period, on = 1.0 / f, duty / f / 2.0
    rest = (period - 2.0 * on) / 2.0
    corners = np.cumsum([0.0, on, max(rest, 1e-12), on, max(rest, 1e-12)])
    flux = np.array([-b, b, b, -b, -b])
    piecewise = igse_piecewise(corners, flux, 2.0, alpha, beta)
    assert piecewise == pytest.approx(igse_trapezoid(f, b, duty, 2.0, alpha, beta), rel=1e-5)


@settings(deadline=None)
@given(alpha=ALPHA, beta=BETA)
def test_coefficient_against_the_integral(alpha: float, beta: float) -> None:
    theta = (np.arange(40000) + 0.5) / 40000 * 2 * math.pi
    integral = float(np.mean(np.abs(np.cos(theta)) ** alpha)) * 2 * math.pi
    expected = 1.0 / ((2 * math.pi) ** (alpha - 1) * integral * 2 ** (beta - alpha))
    assert igse_coefficient(1.0, alpha, beta) == pytest.approx(expected, rel=1e-7)
    assert igse_coefficient_approximate(1.0, alpha, beta) == pytest.approx(expected, rel=1.2e-3)


@given(alpha=ALPHA, duty=DUTY)
def test_ratio_to_sine_does_not_depend_on_beta(alpha: float, duty: float) -> None:
    ratios = [
        float(igse_trapezoid(5e4, 0.1, duty, igse_coefficient(1.0, alpha, beta), alpha, beta))
        / float(steinmetz(5e4, 0.1, 1.0, alpha, beta))
        for beta in (2.0, 2.5, 3.0)
    ]
    assert ratios == pytest.approx([trapezoid_over_sine(alpha, duty)] * 3, rel=1e-9)


@given(f=HERTZ, b=FLUX, alpha=ALPHA, beta=BETA, k=st.floats(0.01, 100.0))
def test_fit_recovers_the_law(f: float, b: float, alpha: float, beta: float, k: float) -> None:
    fs, bs = (f, 3.0 * f, 3.0 * f), (b, b, 0.4 * b)
    losses = tuple(float(steinmetz(x, y, k, alpha, beta)) for x, y in zip(fs, bs, strict=True))
    fitted = fit_power_law(fs, bs, (losses[0], losses[1], losses[2]))
    assert fitted == pytest.approx((k, alpha, beta), rel=1e-7)


def test_arrays_broadcast() -> None:
    loss = steinmetz(np.array([[25e3], [100e3]]), np.array([0.1, 0.2, 0.3]), 3.2, 1.46, 2.75)
    assert np.shape(loss) == (2, 3)
    assert np.asarray(loss)[1, 2] == pytest.approx(float(steinmetz(100e3, 0.3, 3.2, 1.46, 2.75)), rel=1e-12)


def test_no_flux_no_loss() -> None:
    assert float(steinmetz(50e3, 0.0, 3.2, 1.46, 2.75)) == 0.0
    assert float(igse_trapezoid(50e3, 0.0, 0.9, 3.2, 1.46, 2.75)) == 0.0


@pytest.mark.parametrize(
    ("call", "quantity"),
    [
        (lambda: steinmetz(0.0, 0.1, 1, 1.4, 2.5), "frequency"),
        (lambda: steinmetz(5e4, -0.1, 1, 1.4, 2.5), "flux density"),
        (lambda: steinmetz(math.nan, 0.1, 1, 1.4, 2.5), "frequency"),
        (lambda: igse_trapezoid(5e4, 0.1, 0.0, 1, 1.4, 2.5), "conduction share"),
        (lambda: igse_trapezoid(5e4, 0.1, 1.1, 1, 1.4, 2.5), "conduction share"),
        (lambda: igse_coefficient(1.0, 0.0, 2.5), "alpha"),
        (lambda: igse_coefficient_approximate(1.0, 3.5, 2.5), "alpha"),
        (lambda: temperature_factor(100.0, -1.0, 0.0, 0.0), "temperature"),
        (lambda: fit_power_law((1e4, 1e5, 1e5), (0.1, 0.2, 0.3), (1.0, 2.0, 3.0)), "loss points"),
        (lambda: fit_power_law((1e4, 1e5, 1e5), (0.2, 0.2, 0.1), (1.0, 0.0, 3.0)), "loss"),
        (
            lambda: igse_piecewise(
                np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([0.0, 0.2, 0.1, 0.3, 0.0]), 1.0, 1.4, 2.5
            ),
            "reversals",
        ),
        (lambda: igse_piecewise(np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.2, 0.1]), 1, 1.4, 2.5), "flux"),
        (lambda: igse_piecewise(np.array([0.0, 2.0, 1.0]), np.array([0.0, 0.2, 0.0]), 1, 1.4, 2.5), "times"),
    ],
)
def test_out_of_range_is_refused(call: object, quantity: str) -> None:
    with pytest.raises(RangeError) as caught:
        call()  # type: ignore[operator]
    assert quantity in caught.value.quantity
    assert "nan" not in caught.value.limit


@pytest.mark.parametrize("temp_c", [25.0, 60.0, 100.0])
def test_exponent_of_flux_moves_with_temperature(temp_c: float) -> None:
    """Loss over B at one temperature is a power law, 0.006 per kelvin flatter below 100 °C."""

    def loss(flux_t: float) -> float:
        factor = loss_factor(temp_c, flux_t, 2.2886, 0.0260286, 1.31429e-4, 0.006)
        return float(steinmetz(50e3, flux_t, 5.91, 1.3589, 2.85) * factor)

    exponent = math.log(loss(0.2) / loss(0.05)) / math.log(4.0)
    assert exponent == pytest.approx(2.85 + 0.006 * (temp_c - 100.0), rel=1e-9)
    plain = float(temperature_factor(temp_c, 2.2886, 0.0260286, 1.31429e-4))
    assert float(loss_factor(temp_c, 0.2, 2.2886, 0.0260286, 1.31429e-4, 0.006)) == pytest.approx(plain)
    assert float(loss_factor(100.0, 0.05, 2.2886, 0.0260286, 1.31429e-4, 0.006)) == pytest.approx(
        1.0, abs=1e-4
    )
