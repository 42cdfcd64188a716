"""The nodal solver against circuits that can be solved by hand."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError, SubwrightError
from subwright.physics.networks.nodal import BOLTZMANN_J_PER_K, GROUND, Network
from subwright.physics.networks.noise import integrated_noise_v

F = np.geomspace(1.0, 1e5, 41)


def test_follower_without_load_is_one_pole() -> None:
    """A node that first appears twice in one element must still be one node."""
    net = Network().source("in").op_amp("in", "out", "out", 1e6)
    assert net.solve(F).at("out") == pytest.approx(1.0 / (1.0 + 1j * F / 1e6), rel=1e-12)


def test_divider_and_superposition() -> None:
    net = Network().source("a", 12.0).resistor("a", "m", 30e3).resistor("m", GROUND, 10e3)
    assert net.solve(0.0).at("m")[0] == pytest.approx(3.0)
    net.current("m", 1e-4)
    assert net.solve(0.0).at("m")[0] == pytest.approx(3.0 + 1e-4 * 7.5e3)
    assert net.solve(0.0).at(GROUND)[0] == 0.0


def test_series_resonance() -> None:
    net = Network().source("in").inductor("in", "m", 10e-3).capacitor("m", "out", 1e-6)
    net.resistor("out", GROUND, 50.0)
    w = 2 * np.pi * F
    expected = 50.0 / (50.0 + 1j * w * 10e-3 + 1.0 / (1j * w * 1e-6))
    assert net.solve(F).at("out") == pytest.approx(expected, rel=1e-9)


def test_dc_opens_capacitors_and_shorts_inductors() -> None:
    net = Network().source("in", 5.0).inductor("in", "a", 1e-3).resistor("a", "b", 1e3)
    net.capacitor("b", GROUND, 1e-6)
    assert net.solve(0.0).at("b")[0] == pytest.approx(5.0)


def test_finite_open_loop_gain() -> None:
    net = Network().source("in").op_amp("in", "out", "out", np.inf, open_loop_gain=99.0)
    assert net.solve(0.0).at("out")[0].real == pytest.approx(0.99)


def test_floating_node_is_refused() -> None:
    net = Network().source("in").capacitor("in", "x", 1e-9).capacitor("x", GROUND, 1e-9)
    with pytest.raises(RangeError, match="no unique solution"):
        net.solve(0.0)


def test_unknown_node_and_double_name_are_refused() -> None:
    net = Network().source("in").resistor("in", GROUND, 1e3, "R1")
    with pytest.raises(SubwrightError, match="no node"):
        net.solve(1.0).at("nowhere")
    with pytest.raises(SubwrightError, match="two elements"):
        net.resistor("in", GROUND, 1e3, "R1")


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_parts_must_be_positive(value: float) -> None:
    for add in (Network().resistor, Network().capacitor, Network().inductor):
        with pytest.raises(RangeError):
            add("a", "b", value)


def test_total_noise_of_rc_is_kt_over_c() -> None:
    """kT/C holds for any resistor: a closed form that the adjoint solution doesn't know."""
    for ohm in (1e3, 47e3):
        net = Network().source("in").resistor("in", "out", ohm).capacitor("out", GROUND, 1e-9)
        corner = 1.0 / (2 * np.pi * ohm * 1e-9)
        grid = np.geomspace(corner * 1e-5, corner * 1e5, 4001)
        noise = integrated_noise_v(net.noise_density_v2_per_hz("out", grid), grid)
        assert noise == pytest.approx((BOLTZMANN_J_PER_K * 300.0 / 1e-9) ** 0.5, rel=1e-4)


def test_noise_of_a_non_inverting_amplifier() -> None:
    """Textbook sum: e_n and R_g gain up, R_f doesn't, the noise current meets R_f and the source."""
    rf, rg, rs, en, i_n = 9e3, 1e3, 5e3, 5e-9, 1e-12
    net = Network().source("in").resistor("in", "p", rs, "Rs").resistor("out", "m", rf, "Rf")
    net.resistor("m", GROUND, rg, "Rg")
    net.op_amp("p", "m", "out", noise_v_per_rthz=en, noise_a_per_rthz=i_n, name="U")
    found = net.noise_density_v2_per_hz("out", 1e3)
    four_kt = 4 * BOLTZMANN_J_PER_K * 300.0
    assert found["Rf"][0] == pytest.approx(four_kt * rf)
    assert found["Rg"][0] == pytest.approx(four_kt * rg * 9.0**2)
    assert found["Rs"][0] == pytest.approx(four_kt * rs * 10.0**2)
    assert found["U"][0] == pytest.approx((10 * en) ** 2 + (i_n * rf) ** 2 + (i_n * rs * 10) ** 2)
