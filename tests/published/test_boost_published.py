"""Boost converters worked out in handbooks, data sheets and application notes, from memory where so marked.

[hart2011] examples 6-4 and 6-9, [erickson2001] ch. 3 and 8, [onsemi-an920] step-up example, [ti-slus772] duty
estimate, [ti-slus223] oscillator, [ridley1990] and [unitrode-u97] on the slope.
"""

from __future__ import annotations

from math import pi, sqrt

import pytest

from subwright.base.sources import bibliography
from subwright.parts.library import load_library
from subwright.physics.boost import (
    boost_conduction,
    diode_share,
    duty_for_efficiency,
    greatest_rail_v,
    mean_square,
    output_capacitor_rms_a,
    right_half_plane_zero_hz,
)
from subwright.physics.chokes import boost_duty, boost_ripple_a
from subwright.physics.current_mode import ramp_times, sampling_quality, slope_needed
from subwright.stages.converter_boost import BoostValues, boost_crest

SOURCES = (
    *("hart2011", "erickson2001", "onsemi-an920", "ti-slus772", "ti-slus223", "ridley1990", "unitrode-u97"),
)


def test_every_source_is_in_the_bibliography() -> None:
    assert set(SOURCES) <= set(bibliography())


# Hart, example 6-4: 12 V to 30 V into 50 Ω at 25 kHz with 120 µH
HART = {"emf": 12.0, "rail": 30.0, "load": 50.0, "hertz": 25e3, "henry": 120e-6}


@pytest.mark.parametrize(
    ("what", "printed", "digits"),
    [
        ("duty", 0.6, 3),
        ("least inductance, µH", 96.0, 1),
        ("choke current, A", 1.5, 3),
        ("half its ripple, A", 1.2, 3),
        ("greatest, A", 2.7, 3),
        ("least, A", 0.3, 3),
        ("capacitance for 1 % ripple, µF", 48.0, 1),
    ],
)
def test_hart_6_4(what: str, printed: float, digits: int) -> None:
    duty = float(boost_duty(HART["emf"], HART["rail"]))
    rail_a = HART["rail"] / HART["load"]
    choke = rail_a / float(diode_share(HART["emf"], HART["rail"], rail_a, 0.0, 0.0, 0.0, 0.0))
    half = 0.5 * float(boost_ripple_a(HART["emf"], duty, HART["hertz"], HART["henry"]))
    at = boost_conduction(choke, 2.0 * half)
    found = {
        "duty": duty,
        # the inductance at which the current just touches zero: half the ripple is the mean
        "least inductance, µH": 1e6 * HART["henry"] * half / choke,
        "choke current, A": choke,
        "half its ripple, A": half,
        "greatest, A": float(at.mean_a + 0.5 * at.ripple_a),
        "least, A": float(at.mean_a - 0.5 * at.ripple_a),
        "capacitance for 1 % ripple, µF": 1e6 * rail_a * duty / (HART["hertz"] * 0.01 * HART["rail"]),
    }
    assert float(at.share) == 1.0
    assert round(found[what], digits) == printed


# Hart, example 6-9: 20 V, duty 0.6, 100 µH, 50 Ω, 15 kHz: discontinuous, 60 V
@pytest.mark.parametrize(("what", "printed"), [("duty", 0.6), ("falling share", 0.3), ("peak, A", 8.0)])
def test_hart_6_9_discontinuous(what: str, printed: float) -> None:
    share = 20.0 / 60.0
    rail_a = 60.0 / 50.0
    full = float(boost_ripple_a(20.0, 1.0 - share, 15e3, 100e-6))
    at = boost_conduction(rail_a / share, full)
    found = {
        "duty": float(at.share) * (1.0 - share),
        "falling share": float(at.share) * share,
        "peak, A": float(at.mean_a + 0.5 * at.ripple_a),
    }
    assert found[what] == pytest.approx(printed, rel=1e-9)


def test_hart_6_9_by_the_whole_closed_form() -> None:
    lossless = BoostValues(
        inductance_h=100e-6, switching_hz=15e3, choke_ohm=0.0, choke_ripple_ohm=0.0, switch_ohm=1e-9,
        link_ohm=0.0, diode_v=0.0, diode_ohm=0.0, input_esr_ohm=0.0, rail_esr_ohm=0.0, turn_on_s=0.0,
        turn_off_s=0.0, recovery_s=0.0, node_f=0.0, gate_w=0.0,
    )  # fmt: skip
    at = boost_crest(lossless, 20.0, 0.0, 60.0, 1.2)
    assert at.duty == pytest.approx(0.6, rel=1e-6)
    assert at.peak_a == pytest.approx(8.0, rel=1e-6)


# ON Semiconductor AN920: 6.75 V to 28 V, 50 mA, 50 kHz, saturation 0.3 V, diode 0.8 V
def test_an920_step_up() -> None:
    mean_a = 0.5 * 0.442
    share = float(diode_share(6.75, 28.0, 0.050, 0.0, 0.3 / mean_a, 0.8, 0.0))
    assert (1.0 - share) / share == pytest.approx(3.42, abs=0.005)  # t_on over t_off, as printed
    on_s = (1.0 - share) / 50e3
    assert on_s * 1e6 == pytest.approx(15.5, abs=0.05)
    assert 2.0 * 0.050 / share == pytest.approx(0.442, abs=0.0005)  # peak switch current
    assert (6.75 - 0.3) / 0.442 * on_s * 1e6 == pytest.approx(226.0, abs=0.5)  # least inductance
    touching = boost_conduction(0.050 / share, 0.442)
    assert float(touching.share) == pytest.approx(1.0, abs=0.001)


# TI SLUS772: 8 V to 14 V in, 24 V out, diode 0.5 V
@pytest.mark.parametrize(("battery", "printed"), [(8.0, 67.3), (14.0, 42.8)])
def test_slus772_duty(battery: float, printed: float) -> None:
    assert 100.0 * float(boost_duty(battery, 24.0, 0.5)) == pytest.approx(printed, abs=0.06)


# Erickson & Maksimović, ch. 3: M(D') = (1/D')/(1 + R_L/(D'² R)); greatest at D' = sqrt(R_L/R)
@pytest.mark.parametrize(("ratio", "greatest"), [(0.01, 5.0), (0.02, 3.54), (0.05, 2.24), (0.1, 1.58)])
def test_erickson_greatest_conversion_ratio(ratio: float, greatest: float) -> None:
    load = 10.0
    assert greatest_rail_v(1.0, load, ratio * load) == pytest.approx(greatest, abs=0.005)
    share = sqrt(ratio)
    rail = (1.0 / share) / (1.0 + ratio / share**2)
    assert rail == pytest.approx(greatest, abs=0.005)
    # the quadratic's two shares meet there: a hair below, the greater root is still on the near side
    found = float(diode_share(1.0, 0.999 * rail, 0.999 * rail / load, ratio * load, 0.0, 0.0, 0.0))
    assert found == pytest.approx(share, rel=0.06)
    assert float(diode_share(1.0, 1.001 * rail, 1.001 * rail / load, ratio * load, 0.0, 0.0, 0.0)) == 0.0


@pytest.mark.parametrize("share", [0.3, 0.5, 0.8])
def test_erickson_conversion_ratio_with_copper(share: float) -> None:
    """The printed formula forwards, ours backwards."""
    load, copper = 10.0, 0.02 * 10.0
    rail = (1.0 / share) / (1.0 + 0.02 / share**2)
    assert float(diode_share(1.0, rail, rail / load, copper, 0.0, 0.0, 0.0)) == pytest.approx(share)


def test_erickson_right_half_plane_zero() -> None:
    """Ch. 8 prints 2.65 kHz for a buck-boost of 10 Ω, D = 0.6, 160 µH: the boost converter's, over D."""
    assert float(right_half_plane_zero_hz(10.0, 0.6, 160e-6)) / 0.6 == pytest.approx(2.65e3, abs=5.0)


def test_erickson_capacitor_current() -> None:
    """Appendix A: pulses of I/D' for D' of the period, less their mean: I sqrt(D/D')."""
    assert float(output_capacitor_rms_a(2.0, 0.6)) == pytest.approx(2.0 * sqrt(1.5))
    at = boost_conduction(5.0, 3.0)  # with ripple, from the diode's own mean square
    diode = 0.4 * float(mean_square(at))
    assert float(output_capacitor_rms_a(2.0, 0.6, 3.0)) == pytest.approx(sqrt(diode - 4.0))


def test_slva372_duty_with_efficiency() -> None:
    """Without loss it is the ideal duty; with 90 % it is as if the input were lower by a tenth."""
    assert float(duty_for_efficiency(12.0, 30.0, 1.0)) == pytest.approx(0.6)
    assert float(duty_for_efficiency(12.0, 30.0, 0.9)) == pytest.approx(1.0 - 10.8 / 30.0)


@pytest.mark.parametrize("duty", [0.2, 0.5, 0.7])
def test_ridley_slope_for_unit_quality(duty: float) -> None:
    """m_c = (1/π + 0.5)/D' as printed gives Q = 1."""
    rising = 1e5
    added = ((1.0 / pi + 0.5) / (1.0 - duty) - 1.0) * rising
    assert float(sampling_quality(duty, max(added, 0.0), rising)) == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("duty", [0.55, 0.7, 0.9])
def test_u97_half_of_the_falling_slope_is_the_least_that_damps(duty: float) -> None:
    rising = 1e5
    falling = rising * duty / (1.0 - duty)
    least = float(slope_needed(falling))
    assert float(sampling_quality(duty, least, rising)) > 0.0
    assert float(sampling_quality(duty, 0.0, rising)) < 0.0
    # an error shrinks from cycle to cycle by (m2 - ma)/(m1 + ma): exactly below 1 from half the slope on
    assert (falling - least) / (rising + least) < 1.0
    assert falling / rising > 1.0


def test_slus223_oscillator() -> None:
    """10 kΩ and 3.3 nF: 52 kHz, 47 to 57 as guaranteed; 1.72/(RT CT) above 5 kΩ."""
    chip = load_library().controller("UC3843")
    low, high, drawn = chip.ramp_low_v, chip.ramp_high_v, chip.discharge_a
    assert low is not None
    assert high is not None
    assert drawn is not None
    times = ramp_times(10e3, 3.3e-9, chip.vref_v, low, high, drawn)
    assert 47e3 < times.frequency_hz < 57e3
    assert times.frequency_hz == pytest.approx(52e3, rel=0.03)
    assert times.frequency_hz == pytest.approx(1.72 / (10e3 * 3.3e-9), rel=0.03)
    assert (chip.uvlo_on_v, chip.uvlo_off_v) == (8.4, 7.6)
    assert times.duty_most > 0.93
