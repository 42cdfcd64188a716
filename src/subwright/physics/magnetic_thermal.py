"""Temperature rise of a wound core in still air: three published rules, which differ by a third or more.

Take the highest as the one to design for and print the spread: none of them knows about the box, the
heatsink next door or the potting.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from subwright.physics.bounds import Floats, require_that

__all__ = [
    "RiseSpread",
    "ring_surface",
    "rise_from_surface_load",
    "rise_from_surface_power",
    "rise_spread",
    "thermal_resistance_from_volume",
]


class RiseSpread(NamedTuple):
    """Temperature rise by several rules, K: the lowest, the highest, and each rule's own."""

    low_k: Floats
    high_k: Floats
    volume_rule_k: Floats
    load_rule_k: Floats
    power_rule_k: Floats


def thermal_resistance_from_volume(volume_m3: Floats) -> Floats:
    """Thermal resistance of a wound ferrite core from its effective volume.

    Parameters
    ----------
    volume_m3 : effective core volume, m³, 0.1 to 1000 cm³.

    Returns
    -------
    ``53 V^-0.54`` with V in cm³, K/W.

    Raises
    ------
    RangeError : the volume is out of range.

    Source
    ------
    S. A. Mulder, Philips, loss formulas and thermal resistance of power ferrite cores; the formula read in
    a magnetics encyclopaedia. [mulder1994]

    ETD39 (makers measure about 16 K/W):

    >>> round(float(thermal_resistance_from_volume(11.5e-6)), 1)
    14.2
    """
    v = np.asarray(volume_m3) * 1e6
    require_that((v >= 0.1) & (v <= 1000), "core volume, cm³", v, "0.1 to 1000 cm³")
    value: Floats = 53.0 * np.power(v, -0.54)
    return value


def rise_from_surface_load(power_w: Floats, surface_m2: Floats) -> Floats:
    """Temperature rise from the loss per cooling surface, ``450 ψ^0.826``.

    Parameters
    ----------
    power_w : total loss, W, >= 0.
    surface_m2 : surface of the wound part, m², > 0.

    Returns
    -------
    rise, K, with ψ in W/cm².

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    McLyman, Transformer and Inductor Design Handbook, ch. 6 (from memory). [mclyman-handbook]

    >>> round(float(rise_from_surface_load(3.0, 100e-4)), 1)
    24.8
    """
    require_that(np.asarray(power_w) >= 0, "loss, W", power_w, ">= 0 W")
    require_that(np.asarray(surface_m2) > 0, "surface, m²", surface_m2, "> 0 m²")
    rise: Floats = 450.0 * np.power(power_w / (np.asarray(surface_m2) * 1e4), 0.826)
    return rise


def rise_from_surface_power(power_w: Floats, surface_m2: Floats) -> Floats:
    """Temperature rise from loss and surface, ``(P/A)^0.833`` with P in mW and A in cm².

    Parameters
    ----------
    power_w : total loss, W, >= 0.
    surface_m2 : surface of the wound part, m², > 0.

    Returns
    -------
    rise, K.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    G. Orenchak, Estimating temperature rise of transformers, Power Electronics Technology, July 2004; also
    in a maker's powder-core notes (from memory). [orenchak2004]

    >>> round(float(rise_from_surface_power(2.0, 50e-4)), 1)
    21.6
    """
    require_that(np.asarray(power_w) >= 0, "loss, W", power_w, ">= 0 W")
    require_that(np.asarray(surface_m2) > 0, "surface, m²", surface_m2, "> 0 m²")
    rise: Floats = np.power(power_w * 1e3 / (np.asarray(surface_m2) * 1e4), 0.833)
    return rise


def ring_surface(outer_m: Floats, height_m: Floats) -> Floats:
    """Surface of a wound ring that cools, taken as a closed cylinder.

    Parameters
    ----------
    outer_m, height_m : outer diameter and height of the wound ring, m, > 0.

    Returns
    -------
    ``π D (D/2 + h)``, m².

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    McLyman, Transformer and Inductor Design Handbook, surface of toroids (from memory).
    [mclyman-handbook]

    >>> round(float(ring_surface(40e-3, 22e-3)) * 1e4, 1)
    52.8
    """
    require_that(np.asarray(outer_m) > 0, "outer diameter, m", outer_m, "> 0 m")
    require_that(np.asarray(height_m) > 0, "height, m", height_m, "> 0 m")
    return math.pi * outer_m * (outer_m / 2.0 + height_m)


def rise_spread(power_w: Floats, volume_m3: Floats, surface_m2: Floats) -> RiseSpread:
    """Temperature rise by the three rules, with the lowest and the highest.

    Parameters
    ----------
    power_w : total loss, W, >= 0.
    volume_m3 : effective core volume, m³.
    surface_m2 : surface of the wound part, m², > 0.

    Returns
    -------
    RiseSpread, K, broadcast shapes.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    The rules of this module. [mulder1994] [mclyman-handbook] [orenchak2004]

    >>> spread = rise_spread(2.0, 11.5e-6, 70e-4)
    >>> [round(float(k), 1) for k in spread]
    [16.3, 28.3, 28.3, 23.9, 16.3]
    """
    by_volume = power_w * thermal_resistance_from_volume(volume_m3)
    by_load = rise_from_surface_load(power_w, surface_m2)
    by_power = rise_from_surface_power(power_w, surface_m2)
    low = np.minimum(np.minimum(by_volume, by_load), by_power)
    high = np.maximum(np.maximum(by_volume, by_load), by_power)
    return RiseSpread(low, high, by_volume, by_load, by_power)
