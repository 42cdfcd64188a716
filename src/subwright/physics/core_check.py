"""Bench checks of a core: a voltage pulse until the current bends up, and heat against direct current."""

from __future__ import annotations

import math

import numpy as np

from subwright.physics.bounds import Floats, require_that
from subwright.physics.magnetics import MU_0

__all__ = [
    "core_loss_by_substitution",
    "field_current",
    "pulse_current",
    "pulse_flux",
    "sine_drive_voltage",
    "turns_for_pulse_current",
]


def field_current(flux_t: Floats, path_m: Floats, permeability: Floats, turns: Floats) -> Floats:
    """Current that makes a flux density in a core that is not saturated, ``B l_e/(μ0 μ N)``.

    Parameters
    ----------
    flux_t : flux density, T, >= 0.
    path_m : effective length, m, > 0.
    permeability : relative, > 0. Above some 50 mT a ferrite's amplitude permeability is up to twice its
        initial one, so that the true current is between half of this and all of it.
    turns : > 0.

    Returns
    -------
    current, A.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Ampère's law. [derived]

    >>> round(float(field_current(0.2, 89.65e-3, 2200, 10)), 3)
    0.649
    """
    require_that(np.asarray(flux_t) >= 0, "flux density, T", flux_t, ">= 0 T")
    for name, value in (("path, m", path_m), ("permeability", permeability), ("turns", turns)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    return flux_t * path_m / (MU_0 * permeability * turns)


def turns_for_pulse_current(flux_t: float, path_m: float, permeability: float, limit_a: float) -> int:
    """Fewest turns with which a flux density needs no more than a current.

    Parameters
    ----------
    flux_t, path_m : as for ``field_current``, T and m.
    permeability : relative, dimensionless.
    limit_a : current limit, A, > 0.

    Returns
    -------
    whole turns, >= 1.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    ``field_current`` turned round. [derived]

    >>> turns_for_pulse_current(0.3, 89.65e-3, 2200, 2.0)
    5
    """
    require_that(limit_a > 0, "current limit, A", limit_a, "> 0 A")
    return max(1, math.ceil(float(field_current(flux_t, path_m, permeability, 1.0)) / limit_a - 1e-9))


def pulse_current(volts_v: Floats, inductance_h: Floats, resistance_ohm: Floats, time_s: Floats) -> Floats:
    """Current in a winding some time after a voltage is switched on, ``V/R (1 - e^(-tR/L))``.

    Parameters
    ----------
    volts_v : voltage, V, >= 0.
    inductance_h : inductance, H, > 0.
    resistance_ohm : of the whole loop, ohm, >= 0.
    time_s : time since the voltage came on, s, >= 0.

    Returns
    -------
    current, A; ``V t/L`` where the loop has no resistance.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Step response of a resistance and an inductance in series. [derived]

    >>> round(float(pulse_current(12.0, 250e-6, 0.1, 50e-6)), 3)
    2.376
    """
    require_that(np.asarray(volts_v) >= 0, "voltage, V", volts_v, ">= 0 V")
    require_that(np.asarray(inductance_h) > 0, "inductance, H", inductance_h, "> 0 H")
    require_that(np.asarray(resistance_ohm) >= 0, "resistance, ohm", resistance_ohm, ">= 0 ohm")
    require_that(np.asarray(time_s) >= 0, "time, s", time_s, ">= 0 s")
    exponent = np.asarray(resistance_ohm) * time_s / inductance_h
    # (1 - e^-x)/x, -> 1 for x -> 0
    share = np.where(exponent < 1e-9, 1.0, -np.expm1(-exponent) / np.where(exponent < 1e-9, 1.0, exponent))
    current: Floats = volts_v * time_s / inductance_h * share
    return current


def pulse_flux(
    volts_v: float, drop_v: float, time_s: float, turns: int, area_m2: float, relative: tuple[float, ...] = ()
) -> tuple[float, float]:
    """Flux swing that a winding has taken from a pulse, with its uncertainty.

    Parameters
    ----------
    volts_v : supply during the pulse, V, > 0.
    drop_v : mean drop in switch, leads and winding, V, >= 0.
    time_s : length of the pulse until the current bends up, s, > 0.
    turns : whole, >= 1.
    area_m2 : smallest section, m², > 0.
    relative : standard uncertainties of voltage, time, section … over their values, dimensionless, >= 0.

    Returns
    -------
    (swing ``(V - V_drop) t/(N A)``, its standard uncertainty), T. Pulses of one polarity start from the
    remanence, so that the flux density reached is this or more: the safe side.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Faraday's law; propagation of independent uncertainties [jcgm100]. [derived]

    >>> [round(x, 4) for x in pulse_flux(12.0, 0.2, 24e-6, 10, 95.9e-6, (0.01, 0.01, 0.013))]
    [0.2953, 0.0057]
    """
    require_that(volts_v > 0, "voltage, V", volts_v, "> 0 V")
    require_that(0 <= drop_v < volts_v, "drop, V", drop_v, "0 V to the supply voltage")
    require_that(time_s > 0, "time, s", time_s, "> 0 s")
    require_that(turns >= 1, "number of turns", turns, ">= 1")
    require_that(area_m2 > 0, "section, m²", area_m2, "> 0 m²")
    for one in relative:
        require_that(one >= 0, "relative uncertainty", one, ">= 0")
    swing = (volts_v - drop_v) * time_s / (turns * area_m2)
    return swing, swing * math.sqrt(sum(one * one for one in relative))


def sine_drive_voltage(flux_peak_t: Floats, frequency_hz: Floats, turns: Floats, area_m2: Floats) -> Floats:
    """RMS sine voltage that drives a core to a peak flux density, ``√2 π f N A B``.

    Parameters
    ----------
    flux_peak_t : peak flux density, T, >= 0.
    frequency_hz : frequency, Hz, > 0.
    turns : of the winding, > 0.
    area_m2 : effective section, m², > 0.

    Returns
    -------
    voltage, V rms.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Faraday's law for a sine; the handbook's 4.44 f N A B. [mclyman-handbook]

    >>> round(float(sine_drive_voltage(0.1, 50e3, 10, 95.9e-6)), 2)
    21.3
    """
    require_that(np.asarray(flux_peak_t) >= 0, "flux density, T", flux_peak_t, ">= 0 T")
    for name, value in (("frequency, Hz", frequency_hz), ("turns", turns), ("section, m²", area_m2)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    return math.sqrt(2.0) * math.pi * frequency_hz * turns * area_m2 * flux_peak_t


def core_loss_by_substitution(direct_v: float, direct_a: float, copper_w: float = 0.0) -> float:
    """Core loss from the direct current that made the same winding just as warm.

    Parameters
    ----------
    direct_v, direct_a : voltage across the winding and current through it, V and A, > 0.
    copper_w : loss of the winding's copper during the test with the generator, W, >= 0.

    Returns
    -------
    ``V I - P_copper``, W.

    Raises
    ------
    RangeError : the copper's share is all of it or more.

    Source
    ------
    Calorimetric substitution: equal rise, equal loss; it spreads differently between core and copper, so
    allow 15 %. Common practice, no source. [common-practice]

    >>> round(core_loss_by_substitution(0.45, 4.2, 0.05), 2)
    1.84
    """
    require_that(direct_v > 0, "voltage, V", direct_v, "> 0 V")
    require_that(direct_a > 0, "current, A", direct_a, "> 0 A")
    heat = direct_v * direct_a
    require_that(0 <= copper_w < heat, "copper loss, W", copper_w, f"0 to {heat:.3g} W", "Read both again.")
    return heat - copper_w
