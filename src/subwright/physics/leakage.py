"""Leakage inductance and capacitance between windings: estimates, with their spread stated.

The concentric-winding result is a one-dimensional field solution and holds within some 20 % on a full-width
bobbin. On a hand-wound ring the turns don't cover the circumference evenly, and between the strands of a
twisted bundle the answer depends on which strand touches which: there the functions name a range.
"""

from __future__ import annotations

import math

import numpy as np

from subwright.physics.bounds import Floats, require_that
from subwright.physics.magnetics import MU_0

__all__ = [
    "EPSILON_0",
    "concentric_leakage",
    "flat_pair_inductance_per_metre",
    "interwinding_capacitance",
    "mean_square_field_share",
    "ring_breadth",
    "ring_leakage_spread",
    "twisted_pair_inductance_per_metre",
    "winding_self_capacitance",
]

EPSILON_0 = 8.8541878e-12  # electric constant, F/m


def concentric_leakage(
    turns: Floats,
    turn_m: Floats,
    breadth_m: Floats,
    windings_build_m: Floats,
    gaps_build_m: Floats,
    interfaces: Floats = 1.0,
) -> Floats:
    """Leakage inductance of concentric windings, referred to ``turns``.

    Parameters
    ----------
    turns : turns of the winding it is referred to, > 0.
    turn_m : mean length of a turn, m, > 0.
    breadth_m : breadth of the windings along the leakage field, m, > 0.
    windings_build_m : sum of the builds of all winding portions, m, >= 0.
    gaps_build_m : sum of the insulation thicknesses between portions, m, >= 0.
    interfaces : number of boundaries between primary and secondary portions, >= 1; 1 for one on the other,
        2 for one split into two halves below and above the other.

    Returns
    -------
    ``μ0 N² l / (M² b) (Σh/3 + Σg)``, H.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    E. C. Snelling, Soft Ferrites, 2nd ed. 1988, ch. 11 (from memory); also McLyman, Transformer and
    Inductor Design Handbook, ch. 17 (from memory). [snelling1988] [mclyman-handbook]

    >>> round(float(concentric_leakage(4, 69e-3, 25e-3, 5e-3, 0.2e-3)) * 1e9, 1)
    103.6
    """
    for name, value in (("turns", turns), ("turn length, m", turn_m), ("breadth, m", breadth_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    for name, value in (("build, m", windings_build_m), ("insulation, m", gaps_build_m)):
        require_that(np.asarray(value) >= 0, name, value, ">= 0 m")
    require_that(np.asarray(interfaces) >= 1, "number of interfaces", interfaces, ">= 1")
    height = windings_build_m / 3.0 + gaps_build_m
    return MU_0 * turns * turns * turn_m / (interfaces * interfaces * breadth_m) * height


def mean_square_field_share(layers: Floats, interfaces: Floats = 1.0) -> Floats:
    """Mean square field across the layers of a winding over the square of N·I/b.

    Parameters
    ----------
    layers : layers of wire of the whole winding, >= 1; a single layer stands in half the field.
    interfaces : boundaries between primary and secondary portions, 1 or 2. With 2 the middle winding is
        counted from its zero outwards and the field peaks at half.

    Returns
    -------
    share, dimensionless: ``(4p² - 1)/(12 p²)/M²`` with p = layers/M layers per portion; a third for
    many layers.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Sum over layers in which the field rises by equal steps; the sum in Dowell 1966. [dowell1966]

    >>> [round(float(mean_square_field_share(p)), 3) for p in (1, 2, 10)]
    [0.25, 0.312, 0.333]
    """
    require_that(np.asarray(layers) >= 1, "number of layers", layers, ">= 1")
    require_that(np.asarray(interfaces) >= 1, "number of interfaces", interfaces, ">= 1")
    p = np.maximum(np.asarray(layers) / np.asarray(interfaces, dtype=float), 1.0)
    share: Floats = (4.0 * p * p - 1.0) / (12.0 * p * p) / np.square(interfaces)
    return share


def ring_breadth(hole_m: Floats, outer_m: Floats, height_m: Floats, build_m: Floats) -> Floats:
    """Breadth that stands for the circumference of a ring in leakage and proximity formulas.

    Parameters
    ----------
    hole_m, outer_m, height_m : size of the ring over its coating, m, > 0.
    build_m : height in the hole at which the field is wanted, m, below half of the hole.

    Returns
    -------
    breadth, m: the leakage field runs round the ring, N·I over the local circumference; its square is
    averaged along a turn (two walls and two end faces), and the breadth that gives the same mean is
    returned.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Ampère's law, averaged along the turn. [derived]

    >>> round(float(ring_breadth(22e-3, 37e-3, 16e-3, 0.0)) * 1e3, 1)
    85.7
    """
    inner = np.asarray(hole_m) / 2.0 - build_m
    outer = np.asarray(outer_m) / 2.0
    require_that(inner > 0, "radius left in the hole, m", inner, "> 0 m")
    require_that(outer > inner, "outer diameter, m", outer_m, "above the hole's")
    require_that(np.asarray(height_m) > 0, "height, m", height_m, "> 0 m")
    path = 2.0 * height_m + 2.0 * (outer - inner)
    inverse_square = height_m / inner**2 + height_m / outer**2 + 2.0 * (1.0 / inner - 1.0 / outer)
    breadth: Floats = 2.0 * math.pi * np.sqrt(path / inverse_square)
    return breadth


def ring_leakage_spread(covered_share: Floats) -> tuple[Floats, Floats]:
    """Range in which the leakage of a hand-wound ring lies, over the concentric estimate.

    Parameters
    ----------
    covered_share : share of the circumference that the sparser winding covers when its turns lie side by
        side, 0 to 1.

    Returns
    -------
    (low, high) factors, dimensionless: 0.7 and ``1.5/√share``, the latter held between 1.5 and 4. A winding
    bunched over part of the ring leaves field that the other one doesn't enclose.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Common practice, no source: measure the first sample. [common-practice]

    >>> [round(float(x), 2) for x in ring_leakage_spread(0.5)]
    [0.7, 2.12]
    """
    share = np.asarray(covered_share)
    require_that((share > 0) & (share <= 1), "covered share", covered_share, "0 to 1")
    return 0.7 + 0.0 * share, np.clip(1.5 / np.sqrt(share), 1.5, 4.0)


def twisted_pair_inductance_per_metre(conductor_m: Floats, spacing_m: Floats) -> Floats:
    """Inductance of a pair of parallel round wires that carry opposite currents, per metre of the pair.

    Parameters
    ----------
    conductor_m : diameter of the conductor, m, > 0.
    spacing_m : distance of the centres, m, >= the diameter; enamelled wires that touch: overall diameter.

    Returns
    -------
    ``μ0/π · arcosh(s/d)``, H/m, current at the surface as at high frequency.

    Raises
    ------
    RangeError : the wires overlap.

    Source
    ------
    Two-wire line, external inductance; for instance Snelling, Soft Ferrites (from memory). [snelling1988]

    >>> round(float(twisted_pair_inductance_per_metre(1.0e-3, 1.062e-3)) * 1e9, 0)
    140.0
    """
    require_that(np.asarray(conductor_m) > 0, "conductor diameter, m", conductor_m, "> 0 m")
    ratio = np.asarray(spacing_m) / conductor_m
    require_that(ratio >= 1, "spacing, m", spacing_m, "at least the conductor diameter")
    value: Floats = MU_0 / math.pi * np.arccosh(ratio)
    return value


def interwinding_capacitance(
    area_m2: Floats, insulation_m: Floats, relative_permittivity: Floats = 3.3
) -> Floats:
    """Capacitance between two windings that face each other through insulation: order of magnitude.

    Parameters
    ----------
    area_m2 : area over which they face each other, m², > 0.
    insulation_m : thickness of tape and enamel between them, m, > 0.
    relative_permittivity : of the insulation, dimensionless; polyester film about 3.3.

    Returns
    -------
    ``ε0 ε_r A / g``, F. Round wires with air between them give a third of it to all of it.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Parallel-plate capacitor. [derived]

    >>> round(float(interwinding_capacitance(17e-4, 0.2e-3)) * 1e12, 0)
    248.0
    """
    require_that(np.asarray(area_m2) > 0, "facing area, m²", area_m2, "> 0 m²")
    require_that(np.asarray(insulation_m) > 0, "insulation, m", insulation_m, "> 0 m")
    require_that(
        np.asarray(relative_permittivity) >= 1, "relative permittivity", relative_permittivity, ">= 1"
    )
    return EPSILON_0 * relative_permittivity * area_m2 / insulation_m


def flat_pair_inductance_per_metre(width_m: Floats, thickness_m: Floats, insulation_m: Floats) -> Floats:
    """Inductance of two flat conductors face to face that carry opposite currents, per metre of the pair.

    Parameters
    ----------
    width_m, thickness_m : of one conductor, m, > 0; at least four times as wide as thick.
    insulation_m : between them, m, >= 0.

    Returns
    -------
    ``μ0 (g + 2t/3) / w``, H/m: an upper estimate, because the field that fringes at the edges is left out.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Parallel-plate line with current spread over the thickness. [derived]

    >>> round(float(flat_pair_inductance_per_metre(8e-3, 0.5e-3, 0.2e-3)) * 1e9, 0)
    84.0
    """
    require_that(np.asarray(thickness_m) > 0, "conductor thickness, m", thickness_m, "> 0 m")
    require_that(np.asarray(insulation_m) >= 0, "insulation, m", insulation_m, ">= 0 m")
    require_that(
        np.asarray(width_m) >= 4.0 * np.asarray(thickness_m),
        "conductor width, m",
        width_m,
        "at least four times the thickness",
    )
    return MU_0 * (insulation_m + 2.0 * thickness_m / 3.0) / width_m


def winding_self_capacitance(layer_capacitance_f: Floats, layers: Floats) -> Floats:
    """Capacitance between the ends of a layered winding: order of magnitude.

    Parameters
    ----------
    layer_capacitance_f : between two neighbouring layers, as of a parallel-plate capacitor, F, >= 0.
    layers : layers p, >= 1; every layer wound back over the one below.

    Returns
    -------
    ``4 C (p - 1)/(3 p²)``, F; zero for a single layer.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Energy of the voltage that rises linearly from zero to twice a layer's between neighbouring layers;
    Snelling, Soft Ferrites (from memory). [snelling1988] [derived]

    >>> round(float(winding_self_capacitance(300e-12, 3)) * 1e12, 1)
    88.9
    """
    require_that(np.asarray(layer_capacitance_f) >= 0, "capacitance, F", layer_capacitance_f, ">= 0 F")
    p = np.asarray(layers, dtype=float)
    require_that(p >= 1, "number of layers", p, ">= 1")
    capacitance: Floats = 4.0 * layer_capacitance_f * (p - 1.0) / (3.0 * p * p)
    return capacitance
