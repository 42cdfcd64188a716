"""Foil windings: one turn a layer, each foil as wide as the coil former."""

from __future__ import annotations

from typing import Final

import numpy as np

from subwright.physics.bounds import Floats, require_that
from subwright.physics.dowell import field_term, self_term
from subwright.physics.winding_loss import skin_depth
from subwright.physics.windings import Lay

__all__ = ["MOST_FOIL_LAYERS", "foil_factors", "foil_lay"]

MOST_FOIL_LAYERS: Final = 60


def foil_factors(
    thickness_m: Floats, width_m: Floats, frequency_hz: Floats, resistivity_ohm_m: Floats
) -> tuple[Floats, Floats]:
    """Skin factor of a foil with its own current, and its eddy loss in a field along its face.

    Parameters
    ----------
    thickness_m, width_m : of the bare foil, m, > 0; at most 30 skin depths thick.
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.

    Returns
    -------
    (resistance over direct-current resistance, dimensionless; loss per metre in a field of 1 A/m peak, W/m).
    With x = h/δ: ``(x/2)(sinh x + sin x)/(cosh x - cos x)`` and
    ``w ρ/δ (sinh x - sin x)/(cosh x + cos x)``. Together they make Dowell's factor with porosity 1.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, whose layers foil is in truth; split into the two parts that
    don't disturb each other. [dowell1966] [ferreira1994]

    >>> skin, eddy = foil_factors(0.2e-3, 25e-3, 50e3, 2.3e-8)
    >>> round(float(skin), 4), f"{float(eddy):.3g}"
    (1.0007, '5.62e-08')
    """
    for name, value in (("foil thickness, m", thickness_m), ("foil width, m", width_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0 m")
    depth = skin_depth(frequency_hz, resistivity_ohm_m)
    x = np.asarray(thickness_m / np.asarray(depth), dtype=float)
    require_that(x <= 30, "foil thickness over skin depth", x, "<= 30", "Use a thinner foil.")
    eddy: Floats = width_m * resistivity_ohm_m / np.asarray(depth) * field_term(x) / x
    return self_term(x), eddy


def foil_lay(
    turns: Floats,
    foils: Floats,
    pitch_m: Floats,
    height_m: Floats,
    mean_turn_m: Floats,
    start_build_m: Floats = 0.0,
) -> Lay:
    """Lay a foil winding on a bobbin, one foil upon the other.

    Parameters
    ----------
    turns : turns of the winding, whole, >= 1, any shape.
    foils : number of foils wound together, of all halves, whole, >= 1, dimensionless.
    pitch_m : thickness of a foil with its insulation, m, > 0.
    height_m : winding height of the coil former, m, > 0.
    mean_turn_m : length of a turn at half the winding height, m, > 0.
    start_build_m : what already lies on the former, insulation included, m, >= 0.

    Returns
    -------
    Lay; layers are turns times foils. ``fits`` is false where the build passes the winding height, or where
    it would take more than MOST_FOIL_LAYERS layers.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Geometry: each layer is longer by 2π times the pitch. [derived]

    Four turns of two foils, 0.26 mm each, from 1 mm up in a window of 6.9 mm:

    >>> lay = foil_lay(4, 2, 0.26e-3, 6.9e-3, 69e-3, 1e-3)
    >>> int(lay.layers), round(float(lay.build_m) * 1e3, 2), round(float(lay.wire_m), 4)
    (8, 3.08, 0.4811)
    """
    for name, value in (("number of turns", turns), ("number of foils", foils)):
        n = np.asarray(value, dtype=float)
        require_that((n >= 1) & (n == np.floor(n)), name, n, "whole, >= 1")
    for name, value in (("foil pitch, m", pitch_m), ("height, m", height_m), ("mean turn, m", mean_turn_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0 m")
    require_that(np.asarray(start_build_m) >= 0, "build, m", start_build_m, ">= 0 m")
    layers = np.asarray(turns, dtype=float) * foils
    pitch = np.asarray(pitch_m)
    build = start_build_m + layers * pitch
    middle = start_build_m + layers * pitch / 2.0
    wire = layers * (np.asarray(mean_turn_m) + 2.0 * np.pi * (middle - np.asarray(height_m) / 2.0))
    fits = (build <= np.asarray(height_m) * (1 + 1e-12)) & (layers <= MOST_FOIL_LAYERS)
    return Lay(layers.astype(np.int64), np.asarray(build), np.asarray(wire), np.asarray(fits))
