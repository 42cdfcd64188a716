"""Loss in a ferrite core: the Steinmetz power law, its temperature factor, and iGSE for square-wave drive.

All functions broadcast over numpy arrays. Flux density ``B`` is the peak value, half of the swing.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError
from subwright.physics.bounds import Floats, require_that

__all__ = [
    "FACTOR_FLUX_T",
    "fit_power_law",
    "igse_coefficient",
    "igse_coefficient_approximate",
    "igse_piecewise",
    "igse_trapezoid",
    "loss_factor",
    "steinmetz",
    "temperature_factor",
    "trapezoid_over_sine",
]

FACTOR_FLUX_T: Final = 0.2
"""Flux density at which the temperature factors of grades with a moving exponent are stated, T."""


def steinmetz(frequency_hz: Floats, flux_peak_t: Floats, k: Floats, alpha: Floats, beta: Floats) -> Floats:
    """Core loss per volume under sinusoidal flux, ``k f^α B^β``.

    Parameters
    ----------
    frequency_hz : frequency, Hz, > 0, any shape.
    flux_peak_t : peak flux density, T, >= 0, any shape.
    k, alpha, beta : power-law fit in SI (W/m³ from Hz and T), any shape.

    Returns
    -------
    loss density, W/m³, broadcast shape.

    Raises
    ------
    RangeError : frequency not positive or flux negative.

    Source
    ------
    C. P. Steinmetz, AIEE Trans. 9, 1892; in this form Li, Abdallah, Sullivan, IAS 2001, eq. 1.
    [steinmetz1892] [li2001]

    A maker's R-grade fit, 0.074 f^1.43 B^2.85 mW/cm³ (kHz, kG), gives 53.2 at 25 kHz and 2 kG:

    >>> k = 0.074e3 * 1e-3**1.43 * 10**2.85
    >>> round(float(steinmetz(25e3, 0.2, k, 1.43, 2.85)) / 1e3, 1)
    53.2
    """
    require_that(np.asarray(frequency_hz) > 0, "frequency, Hz", frequency_hz, "> 0 Hz")
    require_that(np.asarray(flux_peak_t) >= 0, "flux density, T", flux_peak_t, ">= 0 T")
    return k * np.power(frequency_hz, alpha) * np.power(flux_peak_t, beta)


def temperature_factor(temperature_c: Floats, ct0: Floats, ct1: Floats, ct2: Floats) -> Floats:
    """Core loss at a temperature over the loss at 100 °C, ``ct0 - ct1 T + ct2 T²``.

    Parameters
    ----------
    temperature_c : core temperature, °C, any shape.
    ct0, ct1, ct2 : coefficients of the quadratic (1, 1/K, 1/K²), normalised to 1 at 100 °C;
        ``ct1`` is counted positive for loss that falls with temperature.

    Returns
    -------
    factor, dimensionless.

    Raises
    ------
    RangeError : the quadratic is not positive at this temperature (far outside its fit).

    Source
    ------
    Ferrite makers' application notes on power loss, C_T = ct2 T² - ct1 T + ct0; form from
    memory. [ferroxcube2008]

    >>> round(float(temperature_factor(25.0, 1.97, 0.0226, 1.29e-4)), 2)
    1.49
    >>> round(float(temperature_factor(100.0, 1.97, 0.0226, 1.29e-4)), 6)
    1.0
    """
    factor = ct0 - ct1 * temperature_c + ct2 * np.square(temperature_c)
    require_that(factor > 0, "temperature, °C", temperature_c, "inside the fit of the loss over temperature")
    return factor


def loss_factor(
    temperature_c: Floats,
    flux_peak_t: Floats,
    ct0: Floats,
    ct1: Floats,
    ct2: Floats,
    beta_per_k: Floats = 0.0,
) -> Floats:
    """Core loss at a temperature over the loss at 100 °C, where the exponent of B moves with temperature too.

    Parameters
    ----------
    temperature_c : core temperature, °C; shapes broadcast.
    flux_peak_t : peak flux density, T, > 0.
    ct0, ct1, ct2 : as for :func:`temperature_factor`, taken at 200 mT where ``beta_per_k`` isn't 0.
    beta_per_k : rise of the exponent of B per kelvin, 1/K; curves of loss over B are flatter when cold.

    Returns
    -------
    ``C_T(T) · (B / 200 mT)^(s (T - 100 °C))``, dimensionless; 1 at 100 °C whatever the flux density.

    Raises
    ------
    RangeError : as :func:`temperature_factor`, or no flux density.

    Source
    ------
    Power law in B at either temperature, the exponent taken as straight between them. [derived]

    >>> round(float(loss_factor(25.0, 0.1, 2.5, 0.03, 1.5e-4)), 3)
    1.844
    >>> round(float(loss_factor(25.0, 0.1, 2.5, 0.03, 1.5e-4, 0.006)), 3)
    2.519
    """
    require_that(np.asarray(flux_peak_t) > 0, "flux density, T", flux_peak_t, "> 0 T")
    flatter = np.power(
        np.asarray(flux_peak_t) / FACTOR_FLUX_T, beta_per_k * (np.asarray(temperature_c) - 100.0)
    )
    return np.asarray(temperature_factor(temperature_c, ct0, ct1, ct2) * flatter)


def fit_power_law(
    frequency_hz: tuple[float, float, float],
    flux_peak_t: tuple[float, float, float],
    loss_w_per_m3: tuple[float, float, float],
) -> tuple[float, float, float]:
    """Steinmetz coefficients through three loss points.

    Parameters
    ----------
    frequency_hz, flux_peak_t, loss_w_per_m3 : the points in Hz, T and W/m³, each > 0. Points 1 and 2
        differ in frequency only, points 2 and 3 in flux only.

    Returns
    -------
    ``(k, alpha, beta)``, W/m³ from Hz and T.

    Raises
    ------
    RangeError : the points don't vary one quantity at a time, or one isn't positive.

    Source
    ------
    G. Orenchak, Predicting temperature rise of ferrite cored transformers, equations for x, y and k.
    [orenchak2004]

    >>> fit = fit_power_law((25e3, 100e3, 100e3), (0.2, 0.2, 0.1), (57e3, 375e3, 60e3))
    >>> round(fit[1], 3)
    1.359
    """
    for name, values in (("frequency, Hz", frequency_hz), ("flux", flux_peak_t), ("loss", loss_w_per_m3)):
        require_that(np.asarray(values) > 0, name, values, "> 0")
    (f1, f2, f3), (b1, b2, b3), (p1, p2, p3) = frequency_hz, flux_peak_t, loss_w_per_m3
    if b1 != b2 or f2 != f3 or f1 == f2 or b2 == b3:
        raise RangeError(
            message="Three points fix a power law only if the first pair differs in frequency alone and the "
            "second pair in flux alone.",
            quantity="loss points",
            value=f"f {frequency_hz} Hz, B {flux_peak_t} T",
            limit="f1 ≠ f2 = f3, B1 = B2 ≠ B3",
        )
    alpha = math.log(p1 / p2) / math.log(f1 / f2)
    beta = math.log(p2 / p3) / math.log(b2 / b3)
    return p2 / (f2**alpha * b2**beta), alpha, beta


def _cosine_integral(alpha: float) -> float:
    """Integral of |cos θ|^α over one turn, by the gamma function."""
    return 2.0 * math.sqrt(math.pi) * math.gamma((alpha + 1.0) / 2.0) / math.gamma(alpha / 2.0 + 1.0)


def igse_coefficient(k: float, alpha: float, beta: float) -> float:
    """Coefficient k_i of the improved generalised Steinmetz equation, integral evaluated exactly.

    Parameters
    ----------
    k, alpha, beta : Steinmetz fit, W/m³ from Hz and T; 0 < alpha < 10.

    Returns
    -------
    ``k / ((2π)^(α-1) ∫|cos θ|^α 2^(β-α) dθ)``, W/m³ from T/s and T.

    Raises
    ------
    RangeError : alpha out of range.

    Source
    ------
    Venkatachalam, Sullivan, Abdallah, Tacca, COMPEL 2002, eq. for k_i (from memory); the integral over
    one turn is 2√π Γ((α+1)/2)/Γ(α/2+1). [venkatachalam2002]

    >>> round(igse_coefficient(1.0, 2.0, 2.0) * 2 * math.pi**2, 9)
    1.0
    """
    require_that(0 < alpha < 10, "Steinmetz exponent alpha", alpha, "0 to 10")
    return float(k / ((2.0 * math.pi) ** (alpha - 1.0) * _cosine_integral(alpha) * 2.0 ** (beta - alpha)))


def igse_coefficient_approximate(k: Floats, alpha: Floats, beta: Floats) -> Floats:
    """Coefficient k_i by the published closed form; within 0.1 % of the integral for alpha 1 to 2.

    Parameters
    ----------
    k, alpha, beta : Steinmetz fit, W/m³ from Hz and T, any shape; 0.5 <= alpha <= 3.

    Returns
    -------
    ``k / (2^(β+1) π^(α-1) (0.2761 + 1.7061/(α + 1.354)))``, W/m³ from T/s and T.

    Raises
    ------
    RangeError : alpha out of range.

    Source
    ------
    Venkatachalam, Sullivan, Abdallah, Tacca, COMPEL 2002 (from memory). [venkatachalam2002]

    >>> ratio = igse_coefficient_approximate(1.0, 1.5, 2.5) / igse_coefficient(1.0, 1.5, 2.5)
    >>> abs(ratio - 1.0) < 1e-3
    True
    """
    exponent = np.asarray(alpha)
    require_that((exponent >= 0.5) & (exponent <= 3.0), "Steinmetz exponent alpha", alpha, "0.5 to 3")
    return k / (2.0 ** (beta + 1.0) * math.pi ** (alpha - 1.0) * (0.2761 + 1.7061 / (alpha + 1.354)))


def igse_trapezoid(
    frequency_hz: Floats,
    flux_peak_t: Floats,
    duty: Floats,
    k_i: Floats,
    alpha: Floats,
    beta: Floats,
) -> Floats:
    """Core loss per volume when voltage is applied for a share of the period and the flux rests between.

    Parameters
    ----------
    frequency_hz : frequency of the full push-pull cycle, Hz, > 0.
    flux_peak_t : peak flux density (half of the swing), T, >= 0.
    duty : share d of the period in which either switch conducts, 0 < d <= 1. At d = 1 the flux is a
        triangle (full square voltage).
    k_i, alpha, beta : iGSE coefficients, W/m³ from T/s and T.

    Returns
    -------
    loss density, W/m³: ``k_i 2^α f^α (2B)^β d^(1-α)``, broadcast shape.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    iGSE of Venkatachalam et al. 2002 integrated over two ramps of slope 2·2B f/d; the rests add no loss
    (relaxation is neglected). [venkatachalam2002]

    At the same peak flux a shorter pulse costs more, by d^(1-α):

    >>> full = igse_trapezoid(50e3, 0.16, 1.0, 1.0, 1.4, 2.5)
    >>> round(float(igse_trapezoid(50e3, 0.16, 0.8, 1.0, 1.4, 2.5) / full), 3)
    1.093
    """
    share = np.asarray(duty)
    require_that(np.asarray(frequency_hz) > 0, "frequency, Hz", frequency_hz, "> 0 Hz")
    require_that(np.asarray(flux_peak_t) >= 0, "flux density, T", flux_peak_t, ">= 0 T")
    require_that((share > 0) & (share <= 1), "conduction share", duty, "0 < d <= 1")
    ramp = np.power(2.0 * np.asarray(frequency_hz), alpha) * np.power(2.0 * np.asarray(flux_peak_t), beta)
    loss: Floats = k_i * ramp * np.power(share, 1.0 - alpha)
    return loss


def igse_piecewise(
    time_s: NDArray[np.float64],
    flux_t: NDArray[np.float64],
    k_i: float,
    alpha: float,
    beta: float,
) -> float:
    """Core loss per volume for one period of a piecewise-linear flux without minor loops.

    Parameters
    ----------
    time_s : corner times of one whole period, s, rising, shape (n,), n >= 3.
    flux_t : flux density at the corners, T, shape (n,); last equals first.
    k_i, alpha, beta : iGSE coefficients, W/m³ from T/s and T.

    Returns
    -------
    loss density, W/m³: ``(k_i/T) Σ |ΔB/Δt|^α B_pp^(β-α) Δt``.

    Raises
    ------
    RangeError : the period isn't closed, times don't rise, or the flux turns more than twice per
        period (a minor loop needs splitting first, which this form leaves out).

    Source
    ------
    Venkatachalam, Sullivan, Abdallah, Tacca, COMPEL 2002, iGSE (from memory). [venkatachalam2002]

    >>> t = np.array([0.0, 10e-6, 20e-6])
    >>> triangle = igse_piecewise(t, np.array([-0.1, 0.1, -0.1]), 1.0, 1.4, 2.5)
    >>> round(triangle / float(igse_trapezoid(50e3, 0.1, 1.0, 1.0, 1.4, 2.5)), 9)
    1.0
    """
    step_s, step_t = np.diff(time_s), np.diff(flux_t)
    require_that(step_s.size >= 2 and np.all(step_s > 0), "corner times", time_s, "rising, at least three")
    swing = float(np.ptp(flux_t))
    require_that(swing > 0, "flux swing", swing, "> 0 T")
    require_that(abs(flux_t[-1] - flux_t[0]) <= 1e-9 * swing, "flux over one period", flux_t, "closed")
    moves = step_t[step_t != 0]
    turns = int(np.count_nonzero(np.sign(moves) != np.sign(np.roll(moves, 1))))
    require_that(
        turns == 2, "number of flux reversals per period", turns, "2", "Split minor loops off first."
    )
    period_s = float(time_s[-1] - time_s[0])
    slopes = np.abs(step_t / step_s)
    return float(k_i * swing ** (beta - alpha) * np.sum(slopes**alpha * step_s) / period_s)


def trapezoid_over_sine(alpha: float, duty: float = 1.0) -> float:
    """Core loss under square-wave voltage over the loss under a sine of the same frequency and peak flux.

    Parameters
    ----------
    alpha : Steinmetz frequency exponent, dimensionless, 0 < alpha < 10.
    duty : share d of the period with voltage applied, 0 < d <= 1.

    Returns
    -------
    ratio, dimensionless: ``4^α d^(1-α) / ((2π)^(α-1) ∫|cos θ|^α dθ)``, independent of beta.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Derived from the iGSE. [venkatachalam2002] [derived]

    >>> round(trapezoid_over_sine(2.0), 4)  # 8/π²
    0.8106
    """
    return float(igse_trapezoid(1.0, 1.0, duty, igse_coefficient(1.0, alpha, 2.0), alpha, 2.0))
