"""Active filters against printed tables and worked values; 0.1 % unless a row's own digits say less."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics.networks.filters import (
    all_pass,
    all_pass_phase_deg,
    mfb_lowpass,
    mfb_lowpass_least_c2_f,
    mfb_lowpass_resistors_ohm,
    op_amp_bandwidth_hz,
)
from subwright.physics.networks.levels import inverting_sum_v, slew_rate_v_per_s
from subwright.physics.networks.prototypes import (
    bessel,
    butterworth,
    butterworth_attenuation_db,
    cascade,
    chebyshev,
    chebyshev_half_power_ratio,
    coefficients,
    from_coefficients,
    linkwitz_riley,
)
from subwright.physics.networks.sallen_key import (
    equal_component_gain,
    sallen_key_highpass,
    sallen_key_highpass_resistors_ohm,
    sallen_key_lowpass,
    sallen_key_lowpass_f0_q,
    sallen_key_lowpass_resistors_ohm,
)

ROOT_HALF = math.sqrt(0.5)


def db(gain: complex) -> float:
    return float(20 * np.log10(abs(gain)))


@pytest.mark.parametrize(
    ("order", "q"),
    [
        (2, [0.7071]),
        (3, [1.0000]),
        (4, [0.5412, 1.3066]),
        (5, [0.6180, 1.6180]),
        (6, [0.5176, 0.7071, 1.9319]),
        (7, [0.5550, 0.8019, 2.2470]),
        (8, [0.5098, 0.6013, 0.9000, 2.5629]),
    ],
)
def test_butterworth_q(order: int, q: list[float]) -> None:
    """Op Amps for Everyone, 5th ed., table 16.7; four decimals from the closed form."""
    sections = butterworth(order)
    assert [s.q for s in sections if s.q] == pytest.approx(q, abs=5e-5)
    assert sum(s.order for s in sections) == order


@pytest.mark.parametrize(
    ("order", "pairs"),
    [
        (2, [(1.2720, 0.5774)]),
        (3, [(1.3227, None), (1.4476, 0.6910)]),
        (4, [(1.4302, 0.5219), (1.6034, 0.8055)]),
        (5, [(1.5023, None), (1.5563, 0.5635), (1.7554, 0.9165)]),
        (6, [(1.6039, 0.5103), (1.6892, 0.6112), (1.9047, 1.0233)]),
        (7, [(1.6844, None), (1.7164, 0.5324), (1.8224, 0.6608), (2.0495, 1.1263)]),
        (8, [(1.7785, 0.5060), (1.8321, 0.5596), (1.9532, 0.7109), (2.1887, 1.2257)]),
    ],
)
def test_bessel_half_power(order: int, pairs: list[tuple[float, float | None]]) -> None:
    """Roots of the Bessel polynomials normalised to -3 dB; classical table, ±0.0005."""
    for section, (ratio, q) in zip(bessel(order), pairs, strict=True):
        assert section.ratio == pytest.approx(ratio, abs=5e-4)
        assert (section.q is None) if q is None else section.q == pytest.approx(q, abs=5e-4)


@pytest.mark.parametrize(
    ("order", "printed"),
    [
        (2, [(1.3617, 0.6180)]),
        (3, [(0.7560, 0.0), (0.9996, 0.4772)]),
        (4, [(1.3397, 0.4889), (0.7743, 0.3890)]),
    ],
)
def test_bessel_coefficients(order: int, printed: list[tuple[float, float]]) -> None:
    """Op Amps for Everyone, 5th ed., table 16.6: four printed decimals."""
    for section, (a, b) in zip(bessel(order), printed, strict=True):
        assert coefficients(section) == pytest.approx((a, b), abs=6e-5)


def test_table_conversion() -> None:
    """Op Amps for Everyone, table 16.6, third order: a 0.9996, b 0.4772 is f0/fc 1.4476, Q 0.6911."""
    section = from_coefficients(0.9996, 0.4772)
    assert (section.ratio, section.q) == pytest.approx((1.4476, 0.6911), abs=5e-5)


@pytest.mark.parametrize(
    ("ripple", "order", "pairs"),
    [
        (0.5, 2, [(1.2313, 0.8637)]),
        (0.5, 3, [(0.6265, None), (1.0689, 1.7062)]),
        (0.5, 4, [(0.5970, 0.7051), (1.0313, 2.9406)]),
        (0.5, 5, [(0.3623, None), (0.6905, 1.1778), (1.0177, 4.5450)]),
        (1.0, 2, [(1.0500, 0.9565)]),
        (1.0, 3, [(0.4942, None), (0.9971, 2.0177)]),
        (1.0, 4, [(0.5286, 0.7845), (0.9932, 3.5590)]),
        (1.0, 5, [(0.2895, None), (0.6552, 1.3988), (0.9941, 5.5564)]),
    ],
)
def test_chebyshev_ripple_edge(ripple: float, order: int, pairs: list[tuple[float, float | None]]) -> None:
    """Classical table (Zverev, Handbook of Filter Synthesis), normalised to the ripple edge."""
    for section, (ratio, q) in zip(chebyshev(order, ripple), pairs, strict=True):
        assert section.ratio == pytest.approx(ratio, abs=6e-5)
        assert (section.q is None) if q is None else section.q == pytest.approx(q, abs=6e-5)


@pytest.mark.parametrize(
    ("ripple", "order", "ratio"),
    [
        (0.5, 2, 1.3897),
        (0.5, 3, 1.1675),
        (0.5, 4, 1.0931),
        (1.0, 2, 1.2176),
        (1.0, 3, 1.0949),
        (1.0, 4, 1.0530),
    ],
)
def test_ripple_edge_to_half_power(ripple: float, order: int, ratio: float) -> None:
    """Closed form cosh(acosh(1/ε)/n); four decimals."""
    assert chebyshev_half_power_ratio(order, ripple) == pytest.approx(ratio, rel=0, abs=6e-5)


@pytest.mark.parametrize(
    ("order", "q"), [(2, [0.5]), (4, [0.7071, 0.7071]), (8, [0.5412, 0.5412, 1.3066, 1.3066])]
)
def test_linkwitz_riley(order: int, q: list[float]) -> None:
    """Linkwitz, JAES 1976: the square of a Butterworth, -6.02 dB at the corner."""
    assert [s.q for s in linkwitz_riley(order)] == pytest.approx(q, abs=5e-5)
    assert db(complex(cascade(linkwitz_riley(order), 1.0))) == pytest.approx(-6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("ratio", "level", "last_digit"),
    [
        (0.25, -0.034, 1e-3),
        (0.5, -0.53, 1e-2),
        (1.0, -6.02, 1e-2),
        (2.0, -24.6, 1e-1),
        (4.0, -48.2, 1e-1),
    ],
)
def test_linkwitz_riley_24_db_per_octave(ratio: float, level: float, last_digit: float) -> None:
    """Linkwitz 1976; Linkwitz & Riley: level of the fourth-order low-pass, as rounded there."""
    found = db(complex(cascade(linkwitz_riley(4), ratio)))
    assert found == pytest.approx(level, rel=0, abs=0.5 * last_digit)


def test_linkwitz_riley_adds_to_an_all_pass() -> None:
    """Linkwitz 1976: |low + high| = 1 at every frequency; -180° at the corner."""
    ratio = np.geomspace(0.05, 20, 101)
    total = cascade(linkwitz_riley(4), ratio) + cascade(linkwitz_riley(4), ratio, "high-pass")
    assert np.abs(total) == pytest.approx(np.ones(101), abs=1e-12)
    assert abs(np.degrees(np.angle(complex(cascade(linkwitz_riley(4), 1.0))))) == pytest.approx(180.0)


def test_second_order_linkwitz_riley_needs_one_output_inverted() -> None:
    """Linkwitz 1976: low minus high is the all-pass; their sum has a null at the corner."""
    low, high = cascade(linkwitz_riley(2), 1.0), cascade(linkwitz_riley(2), 1.0, "high-pass")
    assert abs(complex(low - high)) == pytest.approx(1.0)
    assert abs(complex(low + high)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("order", "half", "at_07"), [(2, -12.3, -7.13), (3, -18.1, -9.78), (4, -24.1, -12.6)]
)
def test_butterworth_high_pass(order: int, half: float, at_07: float) -> None:
    """Theory, three digits: infrasonic high-pass at half and at 0.7 of its corner."""
    assert db(complex(cascade(butterworth(order), 0.5, "high-pass"))) == pytest.approx(half, abs=0.06)
    assert db(complex(cascade(butterworth(order), 0.7, "high-pass"))) == pytest.approx(at_07, abs=0.06)
    assert db(complex(cascade(butterworth(order), 1.0, "high-pass"))) == pytest.approx(-3.01, abs=5e-3)


@pytest.mark.parametrize(("order", "level"), [(2, 12.30), (4, 24.10)])
def test_attenuation_an_octave_up(order: int, level: float) -> None:
    """Closed form, four digits; and the sections agree."""
    assert butterworth_attenuation_db(order, 2.0) == pytest.approx(level, abs=5e-3)
    assert -db(complex(cascade(butterworth(order), 2.0))) == pytest.approx(level, abs=5e-3)


def test_sallen_key_f0_and_q() -> None:
    """TI SLOA049: R 10k, Cf 200n, Cg 100n, unity gain: 112.54 Hz, Q 0.7071."""
    assert sallen_key_lowpass_f0_q(10e3, 10e3, 200e-9, 100e-9) == pytest.approx((112.54, 0.7071), rel=1e-4)


@pytest.mark.parametrize(("q", "gain"), [(ROOT_HALF, 1.5858), (1 / math.sqrt(3), 1.2679), (1.3049, 2.234)])
def test_equal_component_gain(q: float, gain: float) -> None:
    """Op Amps for Everyone, ch. 16: 3 - 1/Q for Butterworth, Bessel and Chebyshev 3 dB of order 2."""
    assert equal_component_gain(q) == pytest.approx(gain, rel=0, abs=5e-4)


def test_equal_component_at_80_hz() -> None:
    """Op Amps for Everyone, ch. 16: C 100n needs 19.894k; -3.01 dB from the passband at 80 Hz."""
    r = 1 / (2 * math.pi * 80.0 * 100e-9)
    assert r == pytest.approx(19894, abs=1)
    stage = sallen_key_lowpass(r, r, 100e-9, 100e-9, gain=1.5858)
    assert db(complex(stage.at(80.0)) / 1.5858) == pytest.approx(-3.01, abs=5e-3)
    assert sallen_key_lowpass_f0_q(20e3, 20e3, 100e-9, 100e-9, 1.5858)[0] == pytest.approx(79.58, abs=5e-3)


def test_fourth_order_butterworth_gains() -> None:
    """From the tabulated Qs 0.5412 and 1.3066: K 1.1523 and 2.2347, together 2.5749 = 8.22 dB."""
    gains = [float(equal_component_gain(q)) for q in (0.5412, 1.3066)]
    assert gains == pytest.approx([1.1523, 2.2347], rel=0, abs=5.1e-5)
    assert gains[0] * gains[1] == pytest.approx(2.5749, rel=0, abs=5e-5)
    assert db(complex(gains[0] * gains[1])) == pytest.approx(8.22, rel=0, abs=5e-3)


def test_unity_gain_low_pass_from_chosen_capacitors() -> None:
    """Op Amps for Everyone, ch. 16: 80 Hz Butterworth with 220n and 100n: 9.826k and 18.309k."""
    r1, r2 = sallen_key_lowpass_resistors_ohm(80.0, ROOT_HALF, 220e-9, 100e-9)
    assert (float(r1), float(r2)) == pytest.approx((9826, 18309), rel=1e-4)
    stage = sallen_key_lowpass(r1, r2, 220e-9, 100e-9)
    assert db(complex(stage.at(80.0))) == pytest.approx(-3.010, abs=1e-3)
    assert db(complex(stage.at(160.0))) == pytest.approx(-12.30, abs=5e-3)


def test_linkwitz_riley_sub_woofer_low_pass() -> None:
    """Two identical stages, R = 1/(2π f C √2), Cf = 2C: 14.067k and -6.02 dB at 80 Hz."""
    r = 1 / (2 * math.pi * 80.0 * 100e-9 * math.sqrt(2))
    assert r == pytest.approx(14067, abs=1)
    stage = sallen_key_lowpass(r, r, 200e-9, 100e-9)
    assert db(complex((stage * stage).at(80.0))) == pytest.approx(-6.02, abs=1e-3)


def test_infrasonic_high_pass() -> None:
    """Op Amps for Everyone, ch. 16: 20 Hz with 220n: 51.15k to ground, 25.58k to the output."""
    rf, rg = sallen_key_highpass_resistors_ohm(20.0, ROOT_HALF, 220e-9, 220e-9)
    assert (float(rf), float(rg)) == pytest.approx((25580, 51150), rel=2e-4)
    stage = sallen_key_highpass(220e-9, 220e-9, rf, rg)
    assert db(complex(stage.at(20.0))) == pytest.approx(-3.01, abs=1e-3)
    assert db(complex(stage.at(10.0))) == pytest.approx(-12.30, abs=5e-3)


def test_multiple_feedback_low_pass() -> None:
    """Op Amps for Everyone, ch. 16: 80 Hz, gain -1, 47n, 220n: 18.516k twice, 20.673k; C2 at least 188n."""
    assert mfb_lowpass_least_c2_f(ROOT_HALF, 1.0, 47e-9) == pytest.approx(188e-9, rel=1e-3)
    r = [float(x) for x in mfb_lowpass_resistors_ohm(80.0, ROOT_HALF, 1.0, 47e-9, 220e-9)]
    assert r == pytest.approx([18516, 18516, 20673], rel=1e-4)
    stage = mfb_lowpass(r[0], r[1], r[2], 47e-9, 220e-9)
    assert db(complex(stage.at(80.0))) == pytest.approx(-3.010, abs=1e-3)
    assert complex(stage.at(1e-3)).real == pytest.approx(-1.0, rel=1e-6)


def test_op_amp_bandwidth_rule() -> None:
    """Op Amps for Everyone, ch. 16 (from memory): 100 · 1.586 · 80 Hz = 12.7 kHz."""
    assert op_amp_bandwidth_hz(80.0, ROOT_HALF, 1.586) == pytest.approx(12.7e3, rel=2e-3)


def test_slew_rate() -> None:
    """Terrell, p. 234: 8.4 kHz at 26 V peak to peak needs 0.686 V/µs, so 0.5 V/µs fails."""
    assert slew_rate_v_per_s(8.4e3, 26.0) == pytest.approx(0.686e6, rel=1e-3)
    assert slew_rate_v_per_s(8.4e3, 26.0) > 0.5e6


@pytest.mark.parametrize(
    ("ratio", "phase"), [(0.1, -11.42), (0.5, -53.13), (1.0, -90.0), (2.0, -126.87), (10.0, -168.58)]
)
def test_all_pass_phase(ratio: float, phase: float) -> None:
    """-2 atan(f/f0), two decimals; and the circuit does the same with magnitude 1."""
    assert all_pass_phase_deg(ratio) == pytest.approx(phase, abs=5e-3)
    gain = complex(all_pass(10e3, 100e-9).at(ratio / (2 * math.pi * 10e3 * 100e-9)))
    assert np.degrees(np.angle(gain)) == pytest.approx(phase, abs=5e-3)
    assert abs(gain) == pytest.approx(1.0, abs=1e-12)


def test_all_pass_as_phase_control() -> None:
    """10k and 100n at 80 Hz: corner 159.15 Hz, -53.4°, low-frequency delay 2 R C = 2.0 ms."""
    stage = all_pass(10e3, 100e-9)
    assert np.degrees(np.angle(complex(stage.at(80.0)))) == pytest.approx(-53.4, abs=0.05)
    delay = -np.angle(complex(stage.at(0.01))) / (2 * math.pi * 0.01)
    assert delay == pytest.approx(2.0e-3, rel=1e-6)


def test_inverting_summer() -> None:
    """Textbook: 22k over 10k, 10k, 47k with 0.5, 0.5, 1 V gives -2.668 V."""
    assert inverting_sum_v((0.5, 0.5, 1.0), (10e3, 10e3, 47e3), 22e3) == pytest.approx(-2.668, abs=5e-4)


def test_state_variable_integrator() -> None:
    """TI UAF42 data: 1000 pF at 10 kHz needs 15.915k; 15.8k gives 10.073 kHz."""
    assert 1 / (2 * math.pi * 10e3 * 1e-9) == pytest.approx(15915, abs=1)
    from subwright.physics.networks.dividers import rc_corner_hz

    assert rc_corner_hz(15.8e3, 1e-9) == pytest.approx(10073, abs=1)
