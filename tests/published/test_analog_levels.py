"""Tolerances, delays, small supplies and line levels against printed values."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.physics.networks.dividers import (
    divider_ratio,
    divider_rss,
    divider_uniform_sigma,
    divider_worst_case,
    rc_charge_time_s,
    rc_corner_hz,
    rc_corner_spread,
    rc_gain,
    temperature_shift,
)
from subwright.physics.networks.levels import (
    cmrr_worst_db,
    db,
    dbu,
    dbv,
    from_dbu,
    from_dbv,
    pad_lower_ohm,
    sine_rms_v,
)
from subwright.physics.networks.supplies import (
    adjustable_regulator_v,
    junction_c,
    linear_dissipation_w,
    zener_series_ohm,
    zener_shunt,
)


def test_equal_divider_worst_case() -> None:
    """Closed form: 10k/10k at 5 % puts 0.475 to 0.525 of the input out."""
    low, high = divider_worst_case(10e3, 10e3, 0.05)
    assert (0.5 * (1 + low), 0.5 * (1 + high)) == pytest.approx((0.475, 0.525), abs=1e-12)


def test_small_ratio_divider() -> None:
    """Lacoste, "Accuracy Unmasked": the 1/100 divider of 1 % resistors is off by nearly 2 %."""
    low, high = divider_worst_case(9.9e3, 100.0, 0.01)
    assert (100 * low, 100 * high) == pytest.approx((-1.961, 1.9996), abs=5e-4)


def test_divider_root_sum_square() -> None:
    """JCGM 100:2008 eq. 10: 0.707 % for 1 % resistors."""
    assert 100 * divider_rss(10e3, 10e3, 0.01) == pytest.approx(0.707, abs=5e-4)


def test_divider_uniform_sigma() -> None:
    """JCGM 100:2008 4.3.7: 0.408 %."""
    assert 100 * divider_uniform_sigma(10e3, 10e3, 0.01) == pytest.approx(0.408, abs=5e-4)


def test_rc_corner_tolerance() -> None:
    """Closed form: 1 % and 5 % move a corner by -5.70 to +6.33 %, root-sum-square 5.10 %."""
    assert [100 * x for x in rc_corner_spread(0.01, 0.05)] == pytest.approx([-5.70, 6.33, 5.10], abs=5e-3)


def test_temperature_coefficient() -> None:
    """Resistor maker's note: 100 ppm/K over 60 K is 0.6 %."""
    assert temperature_shift(100e-6, 60.0) == pytest.approx(0.006)


@pytest.mark.parametrize(
    ("ohm", "farad", "threshold", "supply", "seconds"),
    [(47e3, 100e-6, 2.5, 5.0, 3.258), (220e3, 22e-6, 8.0, 12.0, 5.317)],
)
def test_turn_on_delay(ohm: float, farad: float, threshold: float, supply: float, seconds: float) -> None:
    """RC charge curve, four digits."""
    assert rc_charge_time_s(ohm, farad, threshold, supply) == pytest.approx(seconds, abs=6e-4)


@pytest.mark.parametrize(("volts", "seconds"), [(2.0, 0.393), (5.0, 0.139), (20.0, 0.0330), (35.0, 0.0187)])
def test_dc_detector_trip_time(volts: float, seconds: float) -> None:
    """RC detector of 100k and 10 µF with a 0.65 V transistor; three digits."""
    assert rc_charge_time_s(100e3, 10e-6, 0.65, volts) == pytest.approx(seconds, rel=3e-3)


def test_dc_detector_ignores_bass() -> None:
    """The same detector: corner 0.159 Hz, 40 V at 20 Hz leaves 0.318 V, below 0.65 V."""
    assert rc_corner_hz(100e3, 10e-6) == pytest.approx(0.159, abs=5e-4)
    assert 40 * rc_gain(20.0, 100e3, 10e-6) == pytest.approx(0.318, abs=5e-4)


@pytest.mark.parametrize(
    ("supply", "volts"), [(4.5, 1.35), (6.0, 1.8), (12.0, 3.6), (18.0, 5.4), (14.4, 4.32)]
)
def test_dc_detect_share_of_an_amplifier_chip(supply: float, volts: float) -> None:
    """TI TPA3128D2 data, table 5: 30 % of the supply, as a divider of 7 to 3."""
    assert supply * divider_ratio(7.0, 3.0) == pytest.approx(volts)


def test_zener_shunt() -> None:
    """Textbook: 35 V to 15 V, 10 mA and 5 mA: 1.333k, 0.300 W, 0.225 W."""
    ohm = float(zener_series_ohm(35.0, 15.0, 10e-3, 5e-3))
    assert ohm == pytest.approx(1333, abs=0.5)
    shunt = zener_shunt(35.0, 15.0, ohm, 10e-3)
    assert (shunt.resistor_w, shunt.zener_w) == pytest.approx((0.300, 0.225), abs=1e-9)


def test_zener_shunt_at_a_higher_rail() -> None:
    """The same resistor at 40 V: 18.75 mA, 0.469 W, 0.281 W."""
    shunt = zener_shunt(40.0, 15.0, 4000 / 3, 10e-3)
    assert (1e3 * shunt.resistor_a, shunt.resistor_w, shunt.zener_w) == pytest.approx(
        (18.75, 0.469, 0.281), abs=5e-4
    )


def test_adjustable_regulator() -> None:
    """LM317 data: 240 Ω, 2.7k, 50 µA: 15.45 V."""
    assert adjustable_regulator_v(240.0, 2.7e3, 50e-6) == pytest.approx(15.45, abs=5e-3)


def test_regulator_dissipation() -> None:
    """7805 tutorial example: 16 V to 4.8 V at 50 mA is 0.56 W and 61.4 °C."""
    watts = float(linear_dissipation_w(16.0, 4.8, 50e-3))
    assert watts == pytest.approx(0.56)
    assert junction_c(25.0, watts, 65.0) == pytest.approx(61.4, abs=0.05)


def test_regulator_needs_a_heatsink() -> None:
    """LM317/78xx application hints: 14.4 V to 5 V, 0.2 A, 50 °C, 65 K/W: 1.88 W, 172 °C."""
    watts = float(linear_dissipation_w(14.4, 5.0, 0.2))
    assert watts == pytest.approx(1.88)
    assert junction_c(50.0, watts, 65.0) == pytest.approx(172, abs=0.5)


def test_line_levels() -> None:
    """Self, Small Signal Audio Design: -10 dBV is 0.3162 V, +4 dBu 1.2276 V, 11.78 dB apart."""
    assert from_dbv(-10.0) == pytest.approx(0.3162, abs=5e-5)
    assert from_dbu(4.0) == pytest.approx(1.2276, abs=1e-4)
    assert db(from_dbu(4.0) / from_dbv(-10.0)) == pytest.approx(11.78, abs=5e-3)


@pytest.mark.parametrize(("volts", "in_dbv", "in_dbu"), [(2.0, 6.02, 8.24), (4.0, 12.04, 14.26)])
def test_pre_out_levels(volts: float, in_dbv: float, in_dbu: float) -> None:
    """Derived from the references, two decimals."""
    assert (dbv(volts), dbu(volts)) == pytest.approx((in_dbv, in_dbu), abs=5e-3)


@pytest.mark.parametrize(("peak_to_peak", "rms"), [(9.0 - 2 * 1.7, 1.98), (9.0, 3.18)])
def test_why_pre_outs_give_two_volts(peak_to_peak: float, rms: float) -> None:
    """Mobile-audio tutorial on pre-out voltage: 9 V rail less 1.7 V each side."""
    assert sine_rms_v(peak_to_peak) == pytest.approx(rms, abs=5e-3)


def test_high_level_pad() -> None:
    """Line-level adapter note: 10 V to 1 V with 10k above: 1.111k, -20 dB."""
    assert pad_lower_ohm(0.1, 10e3) == pytest.approx(1111, abs=0.5)
    assert db(divider_ratio(10e3, pad_lower_ohm(0.1, 10e3))) == pytest.approx(-20.0)


@pytest.mark.parametrize(("tolerance", "level"), [(0.05, 20.0), (0.01, 33.98), (0.001, 53.98)])
def test_difference_amplifier_cmrr(tolerance: float, level: float) -> None:
    """Sedra & Smith, problem on difference amplifiers (formula from memory): unity gain."""
    assert cmrr_worst_db(1.0, tolerance) == pytest.approx(level, abs=5e-3)


def test_ground_noise_that_is_left() -> None:
    """100 mV of ground noise with 1 % parts leaves 2.0 mV, 44.0 dB below 0.316 V."""
    left = 0.1 / 10 ** (cmrr_worst_db(1.0, 0.01) / 20)
    assert left == pytest.approx(2.0e-3, rel=1e-3)
    assert 20 * np.log10(left / from_dbv(-10.0)) == pytest.approx(-44.0, abs=0.05)
