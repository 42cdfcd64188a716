"""Windings as printed: bundles of round wire, leakage between windings, eddy currents in layers."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from subwright.base.sources import get
from subwright.physics.dowell import dowell_factor, field_term, self_term
from subwright.physics.leakage import concentric_leakage, mean_square_field_share
from subwright.physics.winding_loss import copper_resistivity, skin_depth, strand_factor
from subwright.physics.windings import bundle_diameter

INCH = 25.4e-3

# Radius of the smallest circle known to hold n unit circles, cut off after three decimals: n = 1 to 19 after
# Kravitz 1967, 20 after Graham and others 1998, both as a later survey tabulates them.
PACKINGS = (
    (1, 1.0), (2, 2.0), (3, 2.154), (4, 2.414), (5, 2.701), (6, 3.0), (7, 3.0), (8, 3.304), (9, 3.613),
    (10, 3.813), (11, 3.923), (12, 4.029), (13, 4.236), (14, 4.328), (15, 4.521), (16, 4.615), (17, 4.792),
    (18, 4.863), (19, 4.863), (20, 5.122),
)  # fmt: skip


@pytest.mark.parametrize(("strands", "radius"), PACKINGS)
def test_circles_in_a_circle(strands: int, radius: float) -> None:
    assert get("graham1998").status == get("kravitz1967").status
    # our table is rounded to four decimals, the printed one cut off after three
    assert radius - 5e-5 <= float(bundle_diameter(strands, 1.0)) < radius + 1e-3


@pytest.mark.parametrize(
    ("strands", "radius"),
    # above twenty a share of 0.75 stands for the densest packing, which is to leave 1 to 4 % for a loose lay:
    # radii of 1998's table (from memory)
    [(30, 6.197), (37, 6.758), (50, 7.947), (61, 8.661), (65, 9.017)],
)
def test_many_circles_leave_room_for_a_loose_lay(strands: int, radius: float) -> None:
    assert 1.0 < float(bundle_diameter(strands, 1.0)) / radius < 1.045


@pytest.mark.parametrize("layers", [1, 2, 3, 8])
@pytest.mark.parametrize("x", [0.1, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 30.0])
def test_layers_in_complex_form(x: float, layers: int) -> None:
    # Dowell 1966: Re(z coth z) + (m² - 1)/3 Re(2 z tanh(z/2)) with z = (1 + j) x for m layers
    z = (1 + 1j) * x
    printed = (z / cmath.tanh(z)).real + (layers**2 - 1) / 3 * (2 * z * cmath.tanh(z / 2)).real
    ours, place = np.asarray(x), mean_square_field_share(float(layers))
    assert float(dowell_factor(ours, float(layers))) == pytest.approx(printed, rel=1e-7)
    # regrouped: every layer's own current, and the mean square of the field that it lies in
    parts = self_term(ours) + 2 * layers**2 * place * field_term(ours)
    assert float(parts) == pytest.approx(printed, rel=1e-7)


@pytest.mark.parametrize(
    ("turns", "turn", "breadth", "copper", "gap", "interfaces"),
    [(100, 8.0, 1.5, 0.4, 0.01, 1), (40, 3.2, 0.9, 0.25, 0.02, 2), (600, 12.0, 2.75, 0.8, 0.12, 2)],
)
def test_leakage_in_inches(
    turns: int, turn: float, breadth: float, copper: float, gap: float, interfaces: int
) -> None:
    # Lee, Electronic Transformers and Circuits, after Fortescue: 10.6 N² T (2 n c + a)/(n² b) · 1e-9 H,
    # lengths in inches, a the height of the windings with n insulations of c between them (from memory);
    # 10.6 is cut off
    printed = 10.6e-9 * turns**2 * turn * (3 * interfaces * gap + copper) / (interfaces**2 * breadth)
    ours = concentric_leakage(
        turns, turn * INCH, breadth * INCH, copper * INCH, interfaces * gap * INCH, interfaces
    )
    assert get("lee1955").key == "lee1955"
    assert float(ours) == pytest.approx(printed, rel=4e-3)


def test_field_of_many_layers() -> None:
    # Dowell 1966: the mean square of a field that rises from nought is a third of its peak's square
    assert float(mean_square_field_share(200.0)) == pytest.approx(1 / 3, rel=1e-5)


@pytest.mark.parametrize(("strands", "turns"), [(1, 40), (7, 20), (60, 10)])
def test_strands_against_square_wires_of_dowell(strands: int, turns: int) -> None:
    # Sullivan 1999, appendix: in many layers, square wires (π √3/8)^(1/3) d wide lose as much as round ones
    # of d; his factor against the first terms of Dowell's series (the width from memory)
    strand, breadth, frequency = 0.2e-3, 20e-3, 20e3
    rho = copper_resistivity(60.0)
    side = strand * (math.pi * math.sqrt(3.0) / 8) ** (1 / 3)
    layers = 100.0
    porosity = strands * turns * side / (layers * breadth)
    ratio = side * math.sqrt(porosity) / float(skin_depth(frequency, rho))
    printed = (5 * layers**2 - 1) / 45 * ratio**4
    ours = float(strand_factor(strands, turns, strand, breadth, frequency, rho)) - 1
    assert ours == pytest.approx(printed, rel=1e-4)
