"""Foil windings: loss against Dowell, layers against the wire model, capacitance and leads at their ends."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.dowell import dowell_factor
from subwright.physics.foil import foil_factors, foil_lay
from subwright.physics.leakage import (
    flat_pair_inductance_per_metre,
    twisted_pair_inductance_per_metre,
    winding_self_capacitance,
)
from subwright.physics.magnetics import MU_0
from subwright.physics.winding_loss import skin_depth
from subwright.physics.windings import bobbin_lay

RHO = 2.2e-8


@pytest.mark.parametrize("thickness_mm", [0.05, 0.1, 0.2, 0.3, 0.5, 1.0])
@pytest.mark.parametrize("layers", [1, 2, 5, 12])
def test_skin_and_field_together_make_dowells_factor(thickness_mm: float, layers: int) -> None:
    """Foil as wide as the field, one turn a layer: the sum over layers is Dowell's factor, porosity 1."""
    f, width, length, peak_a = 50e3, 25e-3, 1.0, 10.0
    thickness = thickness_mm * 1e-3
    skin, eddy = foil_factors(thickness, width, f, RHO)
    direct = RHO * length / (thickness * width)
    own = layers * 0.5 * peak_a**2 * direct * float(skin)
    fields = (np.arange(layers) + 0.5) * peak_a / width  # middle of each layer
    total = own + float(eddy) * length * float(np.sum(fields**2))
    factor = total / (layers * 0.5 * peak_a**2 * direct)
    assert factor == pytest.approx(
        float(dowell_factor(thickness / float(skin_depth(f, RHO)), layers)), rel=1e-9
    )


def test_thin_foil_loses_as_the_classical_formula_says() -> None:
    """Lamination of thickness h across B: π² f² B² h³ w/(6 ρ) per metre, B the peak."""
    f, h, w = 20e3, 0.05e-3, 25e-3
    _, eddy = foil_factors(h, w, f, RHO)
    assert float(eddy) == pytest.approx(math.pi**2 * f**2 * MU_0**2 * h**3 * w / (6.0 * RHO), rel=2e-3)


def test_foil_lies_as_wire_of_one_a_layer() -> None:
    foil = foil_lay(5, 2, 0.26e-3, 6.9e-3, 69e-3, 0.5e-3)
    wire = bobbin_lay(10, 1, 0.26e-3, 0.3e-3, 6.9e-3, 69e-3, 0.5e-3)  # a bobbin one wire wide
    assert int(foil.layers) == int(wire.layers) == 10
    assert float(foil.build_m) == pytest.approx(float(wire.build_m), rel=1e-12)
    assert float(foil.wire_m) == pytest.approx(float(wire.wire_m), rel=1e-12)
    assert bool(foil.fits)


def test_foil_that_is_too_high_does_not_fit() -> None:
    assert not bool(foil_lay(20, 2, 0.26e-3, 6.9e-3, 69e-3).fits)
    assert bool(foil_lay(13, 2, 0.26e-3, 6.9e-3, 69e-3).fits)


@pytest.mark.parametrize("bad", [(0, 1, 1e-4), (2.5, 1, 1e-4), (2, 1, 0.0)])
def test_impossible_foils(bad: tuple[float, float, float]) -> None:
    with pytest.raises(RangeError):
        foil_lay(*bad, 6.9e-3, 69e-3)
    with pytest.raises(RangeError):
        foil_factors(20e-3, 25e-3, 100e3, RHO)


def test_flat_leads_leak_less_than_round_ones_that_touch() -> None:
    flat = flat_pair_inductance_per_metre(8e-3, 1e-3, 0.2e-3)
    side = math.sqrt(4 * 8e-6 / math.pi)  # round wire of the same section
    assert flat < twisted_pair_inductance_per_metre(side, side + 1e-3)
    with pytest.raises(RangeError):
        flat_pair_inductance_per_metre(2e-3, 1e-3, 0.2e-3)


def test_self_capacitance_counts_the_energy_between_layers() -> None:
    """Voltage between neighbouring layers rises from 0 to 2 V/p along them: mean square 4/3 (V/p)²."""
    c, volts = 100e-12, 10.0
    for p in (2, 3, 7):
        along = np.linspace(0.0, 2.0 * volts / p, 20001)
        energy = (p - 1) * 0.5 * c * float(np.mean(along**2))
        assert 2.0 * energy / volts**2 == pytest.approx(float(winding_self_capacitance(c, p)), rel=1e-3)
    assert winding_self_capacitance(c, 1) == 0.0
