"""Noise, difference amplifiers, zener nodes, saturation and spread of parts as printed in handbooks."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import pytest
from power_rows import Row, row, rows

from subwright.physics.junctions import saturated_v
from subwright.physics.networks.difference import difference_gains, worst_difference_rejection_db
from subwright.physics.networks.noise import shot_noise_a_per_rthz, thermal_noise_v_per_rthz
from subwright.physics.networks.sallen_key import sallen_key_highpass_f0_q
from subwright.physics.networks.supplies import zener_node_v
from subwright.physics.networks.thermistor import steinhart_hart_ohm
from subwright.physics.networks.tolerance import Array, Parameter, monte_carlo, rss, sensitivities

SEDRA = "sedra-smith"

# Sedra & Smith, exercise 2.15: 2 kΩ and 200 kΩ of 1 %, no resistance of the source.
PAD = (1e-6, 1e-6, 2e3, 200e3, 2e3, 200e3)
WORST_PAD = (1e-6, 1e-6, 2e3 * 1.01, 200e3 * 0.99, 2e3 * 0.99, 200e3 * 1.01)


def sedra_zener(supply_v: float, load_a: float) -> float:
    """Example 3.8: 6.8 V at 5 mA, 20 Ω, from 10 V through 500 Ω (numbers read in a worked solution)."""
    return zener_node_v(supply_v, 500.0, load_a, 6.8, 20.0, 5e-3)


def in_thermal_volts(forced: float) -> float:
    """Collector-emitter voltage in the book's thermal voltage of 25 mV, ours is that of 27 °C; in mV."""
    thermal_mv = 1.380649e-23 * 300.15 / 1.602176634e-19 * 1e3
    return 25.0 * saturated_v(forced * 1e-4, 1e-4, 50.0, reverse_gain=0.1)[1] * 1e3 / thermal_mv


@rows(
    row("1 kΩ at 300 K, nV/√Hz", lambda: thermal_noise_v_per_rthz(1e3) * 1e9, 4.07, 1.3e-3, "nyquist1928"),
    row(
        "100 kΩ over 1 MHz at 300 K, µV",
        lambda: thermal_noise_v_per_rthz(100e3, 300.0) * 1e3 * 1e6,
        40.7,
        1.3e-3,
        "nyquist1928",
    ),
    # Horowitz & Hill, chapter on noise: 1 A has 57 nA of shot noise in 10 kHz, 1 µA has 57 pA (from memory)
    row("shot noise of 1 A", lambda: shot_noise_a_per_rthz(1.0) * 100 * 1e9, 57.0, 0.9e-2, "horowitz-hill"),
    row(
        "shot noise of 1 µA", lambda: shot_noise_a_per_rthz(1e-6) * 100 * 1e12, 57.0, 0.9e-2, "horowitz-hill"
    ),
    row("difference gain", lambda: float(difference_gains(PAD)[0]), 100.0, 1e-6, SEDRA),
    row("worst common gain", lambda: float(difference_gains(WORST_PAD)[1]), 0.04, 0.04, SEDRA),
    row("worst rejection", lambda: worst_difference_rejection_db(PAD, 0.01), 68.0, 0.5 / 68, SEDRA),
    row("zener, no load", lambda: sedra_zener(10.0, 0.0), 6.83, 0.8e-3, SEDRA),
    row("zener, supply", lambda: 1e3 * (sedra_zener(11, 0) - sedra_zener(10, 0)), 38.5, 1.3e-3, SEDRA),
    row(
        "zener, load regulation by the book's 20 Ω alone",
        lambda: 1e3 * (sedra_zener(10, 1e-3) - sedra_zener(10, 0)),
        -20.0,
        0.04,  # the 500 Ω beside it
        SEDRA,
    ),
    row("zener out of breakdown", lambda: zener_node_v(10, 500, 10e-3, 6.8, 20, 5e-3), 5.0, 1e-9, SEDRA),
    # the table of V_CE(sat) over forced gain for gains of 50 and 0.1, in mV (from memory)
    row("saturated, forced to 48", lambda: in_thermal_volts(48.0), 235.0, 2.2e-3, SEDRA),
    row("saturated, forced to 45", lambda: in_thermal_volts(45.0), 211.0, 2.4e-3, SEDRA),
    row("saturated, forced to 40", lambda: in_thermal_volts(40.0), 191.0, 2.7e-3, SEDRA),
    row("saturated, forced to 30", lambda: in_thermal_volts(30.0), 166.0, 3.1e-3, SEDRA),
    row("saturated, forced to 20", lambda: in_thermal_volts(20.0), 147.0, 3.5e-3, SEDRA),
    row("saturated, forced to 10", lambda: in_thermal_volts(10.0), 123.0, 4.1e-3, SEDRA),
)
def test_printed(row: Row) -> None:
    row.check()


def test_unity_gain_high_pass_of_a_third_order_bessel_filter() -> None:
    # Op Amps for Everyone, ch. 16, third-order Bessel high-pass at 1 kHz with 100 nF: 3.18 kΩ and 1.67 kΩ
    # in the second stage; its table gives that a Q of 0.69 and b = 0.4772 (from memory)
    f0, q = sallen_key_highpass_f0_q(100e-9, 100e-9, 1.67e3, 3.18e3)
    assert f0 == pytest.approx(1e3 * math.sqrt(0.4772), rel=3e-3)
    assert q == pytest.approx(0.69, abs=5e-3)


def test_thermistor_of_ten_kilohms() -> None:
    # Constants that instrument makers print for the common bead of 10 kΩ, and rows of its table: 32.65 kΩ
    # at 0 °C, 10 kΩ at 25 °C, 3.603 kΩ at 50 °C, 0.679 kΩ at 100 °C (from memory)
    constants = (1.129148e-3, 2.34125e-4, 8.76741e-8)
    for celsius, ohm, rel in (
        (0.0, 32650.0, 3e-3),
        (25.0, 1e4, 1e-4),
        (50.0, 3603.0, 3e-3),
        (100.0, 679.0, 6e-3),
    ):
        assert steinhart_hart_ohm(celsius, constants) == pytest.approx(ohm, rel=rel)


class TestGuide:
    """JCGM 100:2008, annex H, and JCGM 101:2008, clause 9.2 (numbers from memory)."""

    def test_end_gauge(self) -> None:
        # H.1.4: 25, 9.7, 2.9 and 16.6 nm make 32 nm
        parts = [Parameter(name="u", nominal=0.0, low=-u, high=u) for u in (25.0, 9.7, 2.9, 16.6)]
        low, high = rss(lambda x: x.sum(axis=0)[None, :], parts)
        assert (-low[0], high[0]) == pytest.approx((32.0, 32.0), abs=0.5)

    def test_resistance_and_reactance_with_correlation(self) -> None:
        # H.2, tables H.2 to H.4: sensitivities weighed with the correlations of the input means
        def model(x: Array) -> Array:
            ratio = x[0] / x[1]
            return np.stack([ratio * np.cos(x[2]), ratio * np.sin(x[2]), ratio])

        means = ((4.9990, 0.0032), (19.661e-3, 0.0095e-3), (1.04446, 0.00075))
        parts = [Parameter(name="x", nominal=mean, low=mean - u, high=mean + u) for mean, u in means]
        shift = sensitivities(model, parts)
        correlation = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
        combined = np.sqrt(np.einsum("ri,ij,rj->r", shift, correlation, shift))
        nominal = model(np.array([[mean] for mean, _ in means]))[:, 0]
        assert nominal == pytest.approx((127.732, 219.847, 254.260), abs=2e-3)
        assert combined == pytest.approx((0.071, 0.295, 0.236), rel=0.015)  # correlations to two digits

    @pytest.mark.parametrize(
        ("distribution", "deviations", "reach", "tolerance"),
        [
            ("normal", (1.0, 1.0, 1.0, 1.0), 3.92, 0.03),  # 9.2.2; our tails end at three deviations
            ("uniform", (1.0, 1.0, 1.0, 1.0), 3.88, 0.02),  # 9.2.3
            ("uniform", (1.0, 1.0, 1.0, 10.0), 17.0, 0.06),  # 9.2.4
        ],
    )
    def test_additive_model(
        self,
        distribution: Literal["normal", "uniform"],
        deviations: tuple[float, ...],
        reach: float,
        tolerance: float,
    ) -> None:
        half = 3.0 if distribution == "normal" else math.sqrt(3.0)
        parts = [
            Parameter(name="x", nominal=0.0, low=-half * u, high=half * u, distribution=distribution)
            for u in deviations
        ]
        interval = monte_carlo(lambda x: x.sum(axis=0)[None, :], parts, count=400_000, percent=(2.5, 97.5))[0]
        assert interval == pytest.approx((-reach, reach), abs=tolerance)
