"""Ripple current of the capacitor across a switching leg, and what a film capacitor of its size stands."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from subwright.physics.bounds import require

__all__ = ["film_ripple_limit_a", "leg_capacitor_ripple_a"]

_HARMONICS: Final = 40


def leg_capacitor_ripple_a(
    current_a: ArrayLike,
    duty: ArrayLike,
    switching_hz: float,
    capacitance_f: float,
    path_h: float,
    path_ohm: float,
) -> float:
    """Ripple current of the capacitor across a leg, its leads to the reservoir beside it.

    Parameters
    ----------
    current_a : of the leg's output at each instant of the signal, A, shape (n,) or a number.
    duty : share of the period that the upper switch conducts, 0 to 1, the same shape.
    switching_hz : Hz, > 0.
    capacitance_f : F, > 0.
    path_h : of both leads, H, > 0.
    path_ohm : of both leads, Ω, > 0.

    Returns
    -------
    Root of the mean square over all instants, A.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Fourier series of the pulses ``I`` of width ``D``; each harmonic divides between the capacitor and the
    leads. With leads of any great impedance it is ``I sqrt(D (1 - D))`` [erickson2001].

    >>> round(leg_capacitor_ripple_a(10.0, 0.5, 100e3, 1e-3, 1e-3, 1e-3), 2)
    4.97
    """
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("path inductance", path_h, "H", above=0.0)
    require("path resistance", path_ohm, "Ω", above=0.0)
    amps, share = np.atleast_1d(np.asarray(current_a, float)), np.atleast_1d(np.asarray(duty, float))
    require("least duty", float(np.min(share)), "", at_least=0.0)
    require("greatest duty", float(np.max(share)), "", at_most=1.0)
    order = np.arange(1, _HARMONICS + 1)[:, None]
    omega = 2.0 * math.pi * switching_hz * order
    leads = path_ohm + 1j * omega * path_h
    taken = np.abs(leads / (leads + 1.0 / (1j * omega * capacitance_f))) ** 2
    peak = 2.0 * amps * np.sin(math.pi * order * share) / (math.pi * order)
    return float(np.sqrt(np.mean(np.sum(0.5 * taken * peak**2, axis=0))))


def film_ripple_limit_a(
    capacitance_f: float,
    switching_hz: float,
    loss_factor: float,
    contact_ohm: float,
    case_w_per_k: float,
    rise_k: float,
) -> float:
    """Ripple current at which a film capacitor's own heat reaches an allowed rise.

    Parameters
    ----------
    capacitance_f : F, > 0.
    switching_hz : Hz, > 0.
    loss_factor : tangent of the loss angle, ratio, > 0.
    contact_ohm : of leads and end spray, Ω, >= 0.
    case_w_per_k : that the case gives off, W/K, > 0.
    rise_k : allowed, K, > 0.

    Returns
    -------
    A rms.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``G dT = I² (tan d/(2 pi f C) + R)``: loss angle as IEC 60384-1 defines it. [derived]

    >>> round(film_ripple_limit_a(1e-6, 200e3, 0.03, 5e-3, 15e-3, 10.0), 2)
    2.28
    """
    require("capacitance", capacitance_f, "F", above=0.0)
    require("switching frequency", switching_hz, "Hz", above=0.0)
    require("loss factor", loss_factor, "", above=0.0)
    require("contact resistance", contact_ohm, "Ω", at_least=0.0)
    require("heat given off", case_w_per_k, "W/K", above=0.0)
    require("temperature rise", rise_k, "K", above=0.0)
    inner_ohm = loss_factor / (2.0 * math.pi * switching_hz * capacitance_f) + contact_ohm
    return math.sqrt(case_w_per_k * rise_k / inner_ohm)
