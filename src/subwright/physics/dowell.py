"""Dowell's layers: skin and proximity effect of conductors packed side by side across a winding's width."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import Floats, require_that

__all__ = ["dowell_factor", "dowell_thickness", "field_term", "porosity", "self_term"]


def self_term(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Skin part of a layer's resistance over its direct-current resistance.

    Parameters
    ----------
    x : layer thickness over skin depth, dimensionless, >= 0, any shape.

    Returns
    -------
    ``(x/2)(sinh x + sin x)/(cosh x - cos x)``, dimensionless, >= 1; scaled by e^-x against overflow.

    Raises
    ------
    RangeError : x is negative.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, regrouped; Ferreira 1994. [dowell1966] [ferreira1994]

    >>> round(float(self_term(np.asarray(2.0))), 4)
    1.0856
    """
    require_that(x >= 0, "layer thickness over skin depth", x, ">= 0")
    small = x < 0.05
    y = np.where(small, 1.0, x)
    e, ee = np.exp(-y), np.exp(-2.0 * y)
    full = 0.5 * y * ((1.0 - ee) + 2.0 * e * np.sin(y)) / ((1.0 + ee) - 2.0 * e * np.cos(y))
    return np.where(small, 1.0 + x**4 / 180.0, full)


def field_term(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Proximity part of a layer's resistance, before it is weighed with the field's place.

    Parameters
    ----------
    x : layer thickness over skin depth, dimensionless, >= 0, any shape.

    Returns
    -------
    ``x (sinh x - sin x)/(cosh x + cos x)``, dimensionless; x⁴/6 for a small x.

    Raises
    ------
    RangeError : x is negative.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, regrouped; Ferreira 1994. [dowell1966] [ferreira1994]

    >>> round(float(field_term(np.asarray(2.0))), 4)
    1.6243
    """
    require_that(x >= 0, "layer thickness over skin depth", x, ">= 0")
    small = x < 0.05
    y = np.where(small, 1.0, x)
    e, ee = np.exp(-y), np.exp(-2.0 * y)
    full = y * ((1.0 - ee) - 2.0 * e * np.sin(y)) / ((1.0 + ee) + 2.0 * e * np.cos(y))
    return np.where(small, x**4 / 6.0, full)


def dowell_factor(thickness_over_depth: Floats, layers: Floats) -> Floats:
    """Resistance of a layered winding at a frequency over its direct-current resistance.

    Parameters
    ----------
    thickness_over_depth : layer thickness over skin depth x (see ``dowell_thickness``), dimensionless, >= 0.
    layers : layers p between zero and full magnetomotive force, >= 0.5, any shape. Halves are meant for a
        layer split by the field's zero.

    Returns
    -------
    ``x [(sinh 2x + sin 2x)/(cosh 2x - cos 2x) + 2(p²-1)/3 (sinh x - sin x)/(cosh x + cos x)]``,
    dimensionless, >= 1.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, eq. 10 (the number from memory). Evaluated as ``self_term`` and
    (4p²-1)/6 times ``field_term``, which is the same expression. [dowell1966]

    >>> [round(float(dowell_factor(1.0, p)), 3) for p in (1, 2, 3, 10)]
    [1.086, 1.406, 1.94, 11.658]
    """
    x = np.asarray(thickness_over_depth, dtype=float)
    p = np.asarray(layers, dtype=float)
    require_that(x >= 0, "layer thickness over skin depth", x, ">= 0")
    require_that(p >= 0.5, "number of layers", p, ">= 0.5")
    factor: Floats = self_term(x) + (4.0 * p * p - 1.0) / 3.0 * field_term(x) / 2.0
    return factor


def porosity(turns_per_layer: Floats, wire_m: Floats, width_m: Floats) -> Floats:
    """Share of the winding width that conductors of one layer cover, Dowell's porosity.

    Parameters
    ----------
    turns_per_layer : wires side by side in a layer, dimensionless, > 0.
    wire_m : bare diameter of the round wire, m, > 0.
    width_m : winding width, m, > 0.

    Returns
    -------
    ``η = N_l (√π/2) d / b``, dimensionless, <= 1.

    Raises
    ------
    RangeError : a quantity out of range, or the layer is wider than the winding.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, equal-area square conductor. [dowell1966]

    >>> round(float(porosity(20, 1.0e-3, 25e-3)), 3)
    0.709
    """
    for name, value in (("turns per layer", turns_per_layer), ("wire, m", wire_m), ("width, m", width_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    share = turns_per_layer * (math.sqrt(math.pi) / 2.0) * wire_m / width_m
    require_that(np.asarray(share) <= 1, "porosity", share, "<= 1", "Put fewer turns in a layer.")
    return share


def dowell_thickness(wire_m: Floats, depth_m: Floats, layer_porosity: Floats = 1.0) -> Floats:
    """Layer thickness over skin depth of round wires, ``(√π/2) d √η / δ``.

    Parameters
    ----------
    wire_m : bare wire diameter, m, > 0.
    depth_m : skin depth, m, > 0.
    layer_porosity : Dowell's porosity η, 0 < eta <= 1.

    Returns
    -------
    x, dimensionless.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966. [dowell1966]

    >>> round(float(dowell_thickness(0.5e-3, 0.24e-3, 0.8)), 3)
    1.651
    """
    require_that(np.asarray(wire_m) > 0, "wire diameter, m", wire_m, "> 0 m")
    require_that(np.asarray(depth_m) > 0, "skin depth, m", depth_m, "> 0 m")
    eta = np.asarray(layer_porosity)
    require_that((eta > 0) & (eta <= 1), "porosity", layer_porosity, "0 to 1")
    x: Floats = (math.sqrt(math.pi) / 2.0) * wire_m * np.sqrt(eta) / depth_m
    return x
