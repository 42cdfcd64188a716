"""Differential pairs, Miller compensation and slew rate as printed in textbooks."""

from __future__ import annotations

import math

import pytest

from subwright.physics import voltage_stage as vs

# [sedra-smith], the 741: 9.5 µA in each half, 30 pF; its first stage is a pair in series with a second one,
# whose emitters' resistances add: four times r_e, 1/5.26 kΩ with a mirror.
HALF_A, MILLER_F = 9.5e-6, 30e-12
FIRST_S = 1.0 / 5.26e3


def test_slew_rate_of_the_741() -> None:
    """[sedra-smith]: SR = 2 I/C = 0.63 V/µs."""
    assert vs.slew_v_per_s(2.0 * HALF_A, MILLER_F) == pytest.approx(0.63e6, abs=0.005e6)


def test_unity_frequency_of_the_741() -> None:
    """[sedra-smith]: f_t = G_m1/(2π C_C) = 1 MHz."""
    assert vs.unity_loop_hz(FIRST_S, MILLER_F, 1.0) == pytest.approx(1.0e6, rel=0.01)


def test_transconductance_of_the_741() -> None:
    """[sedra-smith]: 4 r_e = 10.5 kΩ and a mirror's factor two: 1/5.26 kΩ, with V_T = 25 mV.

    The second pair of emitters acts on the first as a degeneration of one r_e more in each half.
    """
    r_e = 25e-3 / HALF_A
    ours = vs.pair_transconductance_s(2.0 * HALF_A * vs.THERMAL_V / 25e-3, r_e)
    assert ours == pytest.approx(FIRST_S, rel=2e-3)


def test_slew_rate_and_unity_frequency_go_together() -> None:
    """[sedra-smith]: SR = 4 V_T ω_t for the 741; [gray-meyer]: 2 V_T ω_t of a plain pair."""
    tail = 2.0 * HALF_A
    omega = 2.0 * math.pi * vs.unity_loop_hz(vs.pair_transconductance_s(tail), MILLER_F, 1.0)
    assert vs.slew_v_per_s(tail, MILLER_F) == pytest.approx(2.0 * vs.THERMAL_V * omega, rel=1e-12)
    doubled = 2.0 * math.pi * vs.unity_loop_hz(FIRST_S, MILLER_F, 1.0)
    assert 4.0 * 25e-3 * doubled == pytest.approx(vs.slew_v_per_s(tail, MILLER_F), rel=0.01)


def test_exercise_of_a_compensated_amplifier() -> None:
    """[sedra-smith], exercise on Miller compensation: 10 mA/V, 50 pF, 100 MΩ: 31.8 Hz and 31.8 MHz."""
    gain = vs.steady_gain(10e-3, 1e8, 1.0, 1.0)
    unity = vs.unity_loop_hz(10e-3, 50e-12, 1.0)
    assert unity == pytest.approx(31.8e6, rel=2e-3)
    # the corner lies where the integrator's line meets the steady gain
    assert unity / gain == pytest.approx(31.8, rel=2e-3)
    assert vs.loop_gain(unity / gain, unity, gain) == pytest.approx(gain / math.sqrt(2.0), rel=1e-9)


def test_gain_of_a_resistor_loaded_pair() -> None:
    """[razavi-lectures], lecture 11, example 1: 1 mA, 1 kΩ: gain 19.2, with V_T = 26 mV."""
    ours = 1e3 * vs.pair_transconductance_s(1e-3) * vs.THERMAL_V / 26e-3
    assert ours == pytest.approx(19.2, abs=0.05)


def test_full_power_bandwidth_of_the_741() -> None:
    """[terrell-opamps]: 0.5 V/µs and 10 V peak reach 8 kHz."""
    assert vs.sine_slew_v_per_s(10.0, 7.96e3) == pytest.approx(0.5e6, rel=2e-3)
