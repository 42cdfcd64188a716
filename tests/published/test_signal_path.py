"""Published rows on the circuits of the signal path, through the transfer functions that the design uses.

Op Amps for Everyone (5th ed.), chapter 16; Sedra & Smith, difference amplifiers; TI UAF42 data; TI SLAA701B,
section 1.3.3; NXP TFA9812 data sheet rev. 02 (2009), table 58; S. Linkwitz, Wireless World 1978.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.class_d import filter_response
from subwright.physics.networks.biquads import state_variable_lowpass, transform_biquad, transform_values
from subwright.physics.networks.difference import worst_difference_rejection_db
from subwright.physics.networks.filters import mfb_lowpass
from subwright.physics.networks.levels import cmrr_worst_db
from subwright.physics.networks.topology_search import search_mfb_lowpass, search_state_variable


def db(gain: object) -> float:
    return float(20 * np.log10(np.abs(np.asarray(gain))))


@pytest.mark.parametrize(("tolerance", "printed"), [(0.05, 20.0), (0.01, 33.98), (0.001, 53.98)])
def test_difference_amplifier_worst_case(tolerance: float, printed: float) -> None:
    """Sedra & Smith: 20 log((1 + G)/4t), first order in t, against all corners of the exact circuit."""
    assert cmrr_worst_db(1.0, tolerance) == pytest.approx(printed, abs=0.01)
    exact = worst_difference_rejection_db((1e-3, 1e-3, 1e4, 1e4, 1e4, 1e4), tolerance)
    assert exact == pytest.approx(printed, abs=20 * math.log10(1 + tolerance) + 0.02)


@pytest.mark.parametrize("gain", [0.5, 1.0, 10.0])
def test_difference_amplifier_with_gain(gain: float) -> None:
    """Sedra & Smith: rejection grows with 1 + G."""
    exact = worst_difference_rejection_db((1e-3, 1e-3, 1e4, gain * 1e4, 1e4, gain * 1e4), 0.001)
    assert exact == pytest.approx(20 * math.log10((1 + gain) / 0.004), abs=0.02)


@pytest.mark.parametrize(("resistance", "printed"), [(15.915e3, 10.0e3), (15.8e3, 10.073e3)])
def test_state_variable_integrators(resistance: float, printed: float) -> None:
    """UAF42: 1000 pF inside, f0 = 1/(2π R C); at f0 the low-pass output is Q in quadrature."""
    stage = state_variable_lowpass((50e3, 50e3, 50e3), (10e3, 10e3), (resistance, resistance), (1e-9, 1e-9))
    gain = complex(stage.at(printed))
    assert abs(gain) == pytest.approx(2.0 / 3.0, rel=1e-3)
    assert math.degrees(math.atan2(gain.imag, gain.real)) == pytest.approx(90.0, abs=0.1)


def test_multiple_feedback_worked_example_in_preferred_values() -> None:
    """R1 = R2 = 18.516k, R3 = 20.673k with 47n and 220n at 80 Hz: E96 values keep it within 1 %."""
    e96 = np.unique(np.round(10.0 ** (np.arange(97) / 96) * 100) * 100.0)
    best = search_mfb_lowpass(
        80.0, 0.5**0.5, capacitors_f=np.array([47e-9, 220e-9]), resistors_ohm=e96, error_limit=0.02
    )[0]
    assert best.r2_ohm == pytest.approx(18.516e3, rel=0.025)
    assert best.r3_ohm == pytest.approx(20.673e3, rel=0.025)
    built = mfb_lowpass(best.r1_ohm, best.r2_ohm, best.r3_ohm, best.c1_f, best.c2_f)
    assert db(built.at(80.0)) == pytest.approx(-3.01, abs=0.15)
    assert db(built.at(160.0)) == pytest.approx(-12.30, abs=0.25)


@pytest.mark.parametrize(("q", "ratio"), [(0.7071, 1.1213), (0.5412, 0.6236), (1.3066, 2.9198)])
def test_state_variable_divider(q: float, ratio: float) -> None:
    """Op Amps for Everyone: Q = (1 + Ra/Rb)/3 for equal summing resistors."""
    fine = np.geomspace(5e3, 50e3, 2000)
    best = search_state_variable(
        80.0, q, capacitors_f=np.array([100e-9]), resistors_ohm=fine, divider_ohm=fine
    )[0]
    assert best.upper_ohm / best.lower_ohm == pytest.approx(ratio, rel=2e-3)
    assert best.resistor_ohm == pytest.approx(19.894e3, rel=2e-3)


@pytest.mark.parametrize(
    ("load", "inductance", "capacitance"), [(4.0, 22.5e-6, 0.703e-6), (8.0, 45e-6, 0.352e-6)]
)
def test_single_ended_output_filter(load: float, inductance: float, capacitance: float) -> None:
    """SLAA701B: Butterworth at 40 kHz."""
    f = np.array([40e3, 80e3])
    gain = filter_response(f, inductance, capacitance, 1e9, 1e-15, 0.0, load, 1)
    assert db(gain[0]) == pytest.approx(-3.01, abs=0.05)
    assert db(gain[1]) == pytest.approx(-12.30, abs=0.1)


@pytest.mark.parametrize(
    ("load", "inductance", "capacitance", "corner", "q"),
    [
        (6.0, 15e-6, 680e-9, 49.8e3, 0.64),
        (8.0, 18e-6, 560e-9, 50.1e3, 0.71),
        (16.0, 47e-6, 330e-9, 40.4e3, 0.67),
    ],
)
def test_bridged_output_filter(
    load: float, inductance: float, capacitance: float, corner: float, q: float
) -> None:
    """TFA9812 table 58: each leg sees half the load; at the corner the gain is Q."""
    gain = filter_response(np.array([corner]), inductance, capacitance, 1e9, 1e-15, 0.0, load, 2)
    assert float(np.abs(gain[0])) == pytest.approx(q, abs=0.006)


@pytest.mark.parametrize(("box", "wanted"), [(60.0, 30.0), (56.0, 28.0), (80.0, 20.0)])
def test_each_octave_down_costs_twelve_decibels(box: float, wanted: float) -> None:
    """Linkwitz 1978: the lift at zero frequency is 40 log(f0/fp)."""
    v = transform_values(box, 0.9, wanted, 0.707, 100e-9)
    stage = transform_biquad(v.input_ohm, v.input_f, v.feedback_ohm, v.feedback_f, v.bridge_ohm, v.bridge_f)
    assert db(stage.at(1e-3)) == pytest.approx(40 * math.log10(box / wanted), abs=0.01)
