"""How wire lies on a core: bundles of strands, layers in a ring's hole and on a bobbin, length of wire.

A winding is a number of turns of one round thing, a single wire or a twisted bundle, or of several that lie
side by side. Each layer holds whole turns of whole strands only. All functions broadcast over arrays, so that
a search can lay every candidate at once.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import Floats, require_that

__all__ = [
    "MOST_LAYERS",
    "Lay",
    "bobbin_lay",
    "bobbin_layer_capacity",
    "bundle_diameter",
    "ring_lay",
    "ring_layer_capacity",
    "ring_outer_build",
    "ring_turn_length",
    "ring_wound_size",
    "twist_length_factor",
    "window_fill",
]

MOST_LAYERS = 12

# Radius of the smallest circle round n equal circles, over their radius, n = 1 to 20.
_CIRCLES_IN_CIRCLE = np.array(
    [
        1.0, 2.0, 2.1547, 2.4142, 2.7013, 3.0, 3.0, 3.3048, 3.6131, 3.8130,
        3.9238, 4.0296, 4.2361, 4.3284, 4.5214, 4.6154, 4.7920, 4.8637, 4.8637, 5.1223,
    ]
)  # fmt: skip
_BUNDLE_PACKING = 0.75  # share of the circle filled by more than 20 strands; the optimum is 0.76 to 0.82


class Lay(NamedTuple):
    """How a winding lies.

    layers : whole number of layers, shape of the inputs.
    build_m : height from the core's surface (or the former) to the top of this winding, m.
    wire_m : length of all passes together, m.
    fits : whether every pass found its place.
    """

    layers: NDArray[np.int64]
    build_m: NDArray[np.float64]
    wire_m: NDArray[np.float64]
    fits: NDArray[np.bool_]


def bundle_diameter(strands: Floats, overall_m: Floats) -> Floats:
    """Diameter of the circle that holds a bundle of round strands.

    Parameters
    ----------
    strands : number of strands, whole, 1 to 400.
    overall_m : diameter of one strand over its enamel, m, > 0.

    Returns
    -------
    diameter, m. Up to 20 strands by the densest known packing; above, by a packing share of 0.75,
    which leaves 1 to 4 % for a lay that is not the densest.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Densest packings of equal circles in a circle: S. Kravitz, Mathematics Magazine 40, 1967 (to 19), and
    R. L. Graham and others, Discrete Mathematics 181, 1998 (radii as a later survey tabulates them).
    [kravitz1967] [graham1998]

    Seven strands lie as one in the middle and six round it:

    >>> round(float(bundle_diameter(7, 1e-3)) * 1e3, 3)
    3.0
    """
    n = np.asarray(strands)
    require_that((n >= 1) & (n <= 400) & (n == np.floor(n)), "number of strands", strands, "whole, 1 to 400")
    require_that(np.asarray(overall_m) > 0, "strand diameter, m", overall_m, "> 0 m")
    few = _CIRCLES_IN_CIRCLE[np.minimum(n, 20).astype(int) - 1]
    ratio = np.where(n <= 20, few, np.sqrt(n / _BUNDLE_PACKING))
    diameter: Floats = ratio * overall_m
    return diameter


def twist_length_factor(bundle_m: Floats, pitch_m: Floats) -> Floats:
    """Mean length of the strands of a twisted bundle over the length of the bundle.

    Parameters
    ----------
    bundle_m : diameter of the bundle, m, >= 0.
    pitch_m : length in which the bundle turns once, m, > 0.

    Returns
    -------
    factor, dimensionless: mean over the section of ``√(1 + (2πr/p)²)`` with r up to half the bundle.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Helix length averaged over a circle, in closed form. [derived]

    >>> round(float(twist_length_factor(3e-3, 40e-3)), 4)
    1.0138
    """
    require_that(np.asarray(bundle_m) >= 0, "bundle diameter, m", bundle_m, ">= 0 m")
    require_that(np.asarray(pitch_m) > 0, "pitch, m", pitch_m, "> 0 m")
    edge = np.square(math.pi * np.asarray(bundle_m) / pitch_m)
    # (2/3)((1+e)^1.5 - 1)/e loses its digits for a small e; the series is exact there
    safe = np.where(edge < 1e-4, 1.0, edge)
    closed = 2.0 / 3.0 * ((1.0 + safe) ** 1.5 - 1.0) / safe
    factor: Floats = np.where(edge < 1e-4, 1.0 + edge / 4.0, closed)
    return factor


def ring_layer_capacity(
    hole_m: Floats, build_m: Floats, pass_m: Floats, usable_share: Floats = 1.0
) -> NDArray[np.float64]:
    """Passes that one layer holds along the wall of a ring's hole.

    Parameters
    ----------
    hole_m : inner diameter of the ring over its coating, m, > 0.
    build_m : thickness of what already lies on the wall, m, >= 0.
    pass_m : diameter of the wire or bundle, m, > 0.
    usable_share : share of the circumference that is wound, 0 to 1.

    Returns
    -------
    whole number of circles of that diameter, side by side, whose outermost points touch the wall; zero
    where not even one fits.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Circles on a circle: one spans the angle ``2 arcsin(d / (2 r))`` at the radius r of their
    centres. [derived]

    >>> float(ring_layer_capacity(22e-3, 0.0, 1e-3))
    65.0
    """
    require_that(np.asarray(hole_m) > 0, "hole diameter, m", hole_m, "> 0 m")
    require_that(np.asarray(build_m) >= 0, "build, m", build_m, ">= 0 m")
    require_that(np.asarray(pass_m) > 0, "wire diameter, m", pass_m, "> 0 m")
    share = np.asarray(usable_share)
    require_that((share > 0) & (share <= 1), "usable share", usable_share, "0 to 1")
    centre = np.asarray(hole_m) / 2.0 - build_m - np.asarray(pass_m) / 2.0
    ratio = pass_m / (2.0 * np.where(centre > 0, centre, 1.0))
    several = np.floor(share * math.pi / np.arcsin(np.minimum(ratio, 1.0)) * (1 + 1e-12))
    capacity: NDArray[np.float64] = np.where(
        centre < 0, 0.0, np.where((centre == 0) | (ratio > 1), 1.0, np.maximum(several, 1.0))
    )
    return capacity


def ring_outer_build(hole_m: Floats, outer_m: Floats, build_m: Floats) -> Floats:
    """Thickness on the outside of a ring of wire that has the build ``b`` in its hole.

    Parameters
    ----------
    hole_m, outer_m : inner and outer diameter of the ring over its coating, m, > 0.
    build_m : build in the hole, m, >= 0.

    Returns
    -------
    thickness, m, from equal area: ``t(D + t) = b(d - b)``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    The same passes cross the wall of the hole and the outer wall. [derived]

    >>> round(float(ring_outer_build(22e-3, 37e-3, 3e-3)) * 1e3, 3)
    1.481
    """
    require_that(np.asarray(hole_m) > 0, "hole diameter, m", hole_m, "> 0 m")
    require_that(np.asarray(outer_m) > np.asarray(hole_m), "outer diameter, m", outer_m, "above the hole's")
    b = np.asarray(build_m)
    require_that((b >= 0) & (2 * b <= np.asarray(hole_m)), "build, m", build_m, "0 to the hole's radius")
    half = np.asarray(outer_m) / 2.0
    thickness: Floats = np.sqrt(half * half + b * (hole_m - b)) - half
    return thickness


def ring_turn_length(
    hole_m: Floats, outer_m: Floats, height_m: Floats, inside_m: Floats, outside_m: Floats
) -> Floats:
    """Length of one turn round the rectangular section of a ring.

    Parameters
    ----------
    hole_m, outer_m, height_m : size of the ring over its coating, m, > 0.
    inside_m, outside_m : distance of the wire's centre from the wall of the hole and from the outer
        wall, m, >= 0.

    Returns
    -------
    length, m: the perimeter and quarter circles round the corners, ``D - d + 2h + π(t_i + t_o)``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Parallel curve of a rectangle. [derived]

    >>> round(float(ring_turn_length(22e-3, 37e-3, 16e-3, 0.5e-3, 0.5e-3)) * 1e3, 2)
    50.14
    """
    for name, value in (("hole diameter, m", hole_m), ("height, m", height_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0 m")
    for name, value in (("distance inside, m", inside_m), ("distance outside, m", outside_m)):
        require_that(np.asarray(value) >= 0, name, value, ">= 0 m")
    return outer_m - hole_m + 2.0 * height_m + math.pi * (inside_m + outside_m)


def _wires(turns: Floats, side_by_side: Floats) -> NDArray[np.float64]:
    """Number of wires that a layer cross-section shows, turns times wires per turn; both must be whole."""
    for name, value in (("number of turns", turns), ("number of wires per turn", side_by_side)):
        n = np.asarray(value, dtype=float)
        require_that((n >= 1) & (n == np.floor(n)), name, n, "whole, >= 1")
    return np.asarray(turns, dtype=float) * side_by_side


def _whole_groups(room: NDArray[np.float64], turns: Floats, side_by_side: Floats) -> NDArray[np.float64]:
    """Wires of one layer, cut to whole turns of all strands or to all turns of some strands."""
    by_turn = side_by_side * np.floor(room / side_by_side)
    by_strand = turns * np.floor(room / turns)
    larger: NDArray[np.float64] = np.maximum(by_turn, by_strand)
    return larger


def ring_lay(
    turns: Floats,
    side_by_side: Floats,
    pass_m: Floats,
    hole_m: Floats,
    outer_m: Floats,
    height_m: Floats,
    start_build_m: Floats = 0.0,
    usable_share: Floats = 1.0,
) -> Lay:
    """Lay a winding on a ring, layer by layer.

    Parameters
    ----------
    turns : turns of the winding, whole, >= 1, any shape.
    side_by_side : wires or bundles per turn that lie beside each other, whole, >= 1.
    pass_m : their diameter, m, > 0.
    hole_m, outer_m, height_m : size of the ring over its coating, m.
    start_build_m : what already lies on the core, insulation included, m, >= 0.
    usable_share : share of the circumference that is wound, 0 to 1.

    Returns
    -------
    Lay. Each layer takes as many whole turns, or as many strands through all turns, as it has room for
    before the next begins, and each wire has the length that its own layer gives it. ``fits`` is false where
    the hole closes, or where it would take more than MOST_LAYERS layers.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Geometry of ``ring_layer_capacity`` and ``ring_turn_length``. [derived]

    >>> lay = ring_lay(6, 8, 1e-3, 22e-3, 37e-3, 16e-3)
    >>> int(lay.layers), round(float(lay.build_m) * 1e3, 3), round(float(lay.wire_m), 3)
    (1, 1.0, 2.407)
    """
    columns = (turns, side_by_side, pass_m, hole_m, outer_m, height_m, start_build_m, usable_share)
    shape = np.broadcast_shapes(*(np.shape(column) for column in columns))
    n, m, d, hole, outer, height, start, share = (
        np.broadcast_to(np.asarray(column, dtype=float), shape).reshape(-1) for column in columns
    )
    left, build = _wires(n, m), start.copy()
    wire_m, layers = np.zeros(left.size), np.zeros(left.size, dtype=np.int64)
    at = np.arange(left.size)
    for _ in range(MOST_LAYERS):
        room = _whole_groups(ring_layer_capacity(hole[at], build[at], d[at], share[at]), n[at], m[at])
        at, room = at[room > 0], room[room > 0]
        if not at.size:
            break
        here = np.minimum(left[at], room)
        inside = build[at] + d[at] / 2.0
        outside = np.maximum(ring_outer_build(hole[at], outer[at], inside), d[at] / 2.0)
        wire_m[at] += here * ring_turn_length(hole[at], outer[at], height[at], inside, outside)
        build[at] += d[at]
        layers[at] += 1
        left[at] -= here
        at = at[left[at] > 0]
    return Lay(layers.reshape(shape), build.reshape(shape), wire_m.reshape(shape), (left == 0).reshape(shape))


def ring_wound_size(
    hole_m: Floats, outer_m: Floats, height_m: Floats, build_m: Floats
) -> tuple[Floats, Floats, Floats]:
    """Outer diameter, height and remaining hole of a wound ring.

    Parameters
    ----------
    hole_m, outer_m, height_m : size of the ring over its coating, m.
    build_m : build in the hole, m, >= 0.

    Returns
    -------
    (outer diameter, height, diameter of the hole that is left), m. On the end faces the build is taken as
    thick as in the hole.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Geometry. [derived]

    >>> [round(float(x) * 1e3, 2) for x in ring_wound_size(22e-3, 37e-3, 16e-3, 3e-3)]
    [39.96, 22.0, 16.0]
    """
    outside = ring_outer_build(hole_m, outer_m, build_m)
    return outer_m + 2.0 * outside, height_m + 2.0 * build_m, hole_m - 2.0 * build_m


def bobbin_layer_capacity(
    width_m: Floats, pass_m: Floats, turns: Floats = math.inf, side_by_side: Floats = 1.0
) -> NDArray[np.float64]:
    """Wires in one layer of a bobbin.

    Parameters
    ----------
    width_m : winding width between the flanges, margins taken off, m, > 0.
    pass_m : diameter of the wire or bundle, m, > 0.
    turns : turns of the whole winding, > 0.
    side_by_side : wires or bundles per turn that lie beside each other, >= 1.

    Returns
    -------
    whole number of wires: either whole turns of all strands, one turn less than there is room for because
    the helix starts and ends beside itself (but one where a single turn fits); or all turns of as many
    strands as fit, with the same seam. The larger of both; zero where neither fits.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    A helix of N turns shows N + 1 wires at its seam. [derived]

    >>> float(bobbin_layer_capacity(25e-3, 1e-3)), float(bobbin_layer_capacity(25e-3, 1e-3, 4, 12))
    (24.0, 20.0)
    """
    require_that(np.asarray(width_m) > 0, "winding width, m", width_m, "> 0 m")
    require_that(np.asarray(pass_m) > 0, "wire diameter, m", pass_m, "> 0 m")
    require_that(np.asarray(turns) > 0, "number of turns", turns, "> 0")
    require_that(np.asarray(side_by_side) >= 1, "number of wires per turn", side_by_side, ">= 1")
    beside = np.floor(np.asarray(width_m) / np.asarray(pass_m) * (1 + 1e-12))
    ribbons = np.floor(beside / side_by_side)
    by_turn = side_by_side * np.where(ribbons >= 2, ribbons - 1.0, ribbons)
    finite = np.where(np.isfinite(turns), turns, 0.0)
    by_strand = finite * np.floor(beside / (finite + 1.0))
    capacity: NDArray[np.float64] = np.maximum(by_turn, by_strand)
    return capacity


def bobbin_lay(
    turns: Floats,
    side_by_side: Floats,
    pass_m: Floats,
    width_m: Floats,
    height_m: Floats,
    mean_turn_m: Floats,
    start_build_m: Floats = 0.0,
) -> Lay:
    """Lay a winding on a bobbin, layer by layer.

    Parameters
    ----------
    turns : turns of the winding, whole, >= 1, any shape.
    side_by_side : wires or bundles per turn that lie beside each other, whole, >= 1.
    pass_m : their diameter, m, > 0.
    width_m, height_m : winding width and height of the coil former, m, > 0.
    mean_turn_m : length of a turn at half the winding height, m, > 0.
    start_build_m : what already lies on the former, insulation included, m, >= 0.

    Returns
    -------
    Lay. ``fits`` is false where the build passes the winding height, or where it would take more than
    MOST_LAYERS layers. Layers don't nest.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    A turn at the height t round any convex former is ``l_m + 2π(t - h/2)`` long. [derived]

    >>> lay = bobbin_lay(40, 1, 1e-3, 25e-3, 7e-3, 69e-3)
    >>> int(lay.layers), round(float(lay.build_m) * 1e3, 3), round(float(lay.wire_m), 3)
    (2, 2.0, 2.107)
    """
    n = _wires(turns, side_by_side)
    require_that(np.asarray(height_m) > 0, "winding height, m", height_m, "> 0 m")
    require_that(np.asarray(mean_turn_m) > 0, "mean turn, m", mean_turn_m, "> 0 m")
    room = bobbin_layer_capacity(width_m, pass_m, turns, side_by_side)
    full, rest = np.divmod(n, np.where(room > 0, room, 1.0))
    layers = full + (rest > 0)
    build = start_build_m + layers * pass_m
    base = np.asarray(mean_turn_m) + 2.0 * math.pi * (
        start_build_m + np.asarray(pass_m) / 2.0 - height_m / 2.0
    )
    # full layers 0 … full-1, then the rest in the layer above them
    wire = room * full * (base + math.pi * pass_m * (full - 1.0))
    wire = wire + rest * (base + 2.0 * math.pi * pass_m * full)
    fits = (room > 0) & (build <= np.asarray(height_m) * (1 + 1e-12)) & (layers <= MOST_LAYERS)
    return Lay(layers.astype(np.int64), np.asarray(build), np.asarray(wire), np.asarray(fits))


def window_fill(section_m2: Floats, window_m2: Floats) -> Floats:
    """Copper section over window area, the utilisation factor k_u.

    Parameters
    ----------
    section_m2 : copper section of all turns of all windings, m², >= 0.
    window_m2 : window area, m², > 0.

    Returns
    -------
    share, dimensionless.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    McLyman, AN109, definition of K_u. [mclyman-an109]

    >>> round(float(window_fill(70e-6, 177e-6)), 3)
    0.395
    """
    require_that(np.asarray(section_m2) >= 0, "copper section, m²", section_m2, ">= 0 m²")
    require_that(np.asarray(window_m2) > 0, "window area, m²", window_m2, "> 0 m²")
    return section_m2 / window_m2
