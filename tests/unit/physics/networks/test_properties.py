"""Laws that hold for any values: scaling, symmetry, monotony, inverse after forward."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics.networks.comparators import (
    divider_sense_v,
    inverting_levels_v,
    least_hysteresis_v,
    residual_ripple,
    sensing_thresholds_v,
)
from subwright.physics.networks.dividers import divider_ratio, divider_worst_case, rc_charge_time_s
from subwright.physics.networks.filters import mfb_lowpass
from subwright.physics.networks.prototypes import bessel, butterworth, cascade, chebyshev
from subwright.physics.networks.rational import Rational, gain_band, level_crossing_hz, power_polynomial
from subwright.physics.networks.sallen_key import (
    sallen_key_highpass,
    sallen_key_highpass_f0_q,
    sallen_key_highpass_resistors_ohm,
    sallen_key_lowpass,
    sallen_key_lowpass_f0_q,
    sallen_key_lowpass_resistors_ohm,
)
from subwright.physics.networks.thermistor import (
    Thermistor,
    steinhart_hart_fit,
    steinhart_hart_ohm,
    steinhart_hart_temperature_c,
)

OHM = st.floats(1e3, 1e6)
FARAD = st.floats(1e-9, 1e-6)
SCALE = st.floats(0.05, 20.0)
F = np.geomspace(5.0, 5e3, 31)
TABLE = ((-20.0, 68104.0), (0.0, 27326.0), (25.0, 10000.0), (70.0, 2227.0), (100.0, 973.0))


@given(r1=OHM, r2=OHM, k=SCALE)
def test_divider_depends_on_the_ratio_only(r1: float, r2: float, k: float) -> None:
    assert divider_ratio(k * r1, k * r2) == pytest.approx(divider_ratio(r1, r2), rel=1e-12)
    assert divider_ratio(r1, r2) + divider_ratio(r2, r1) == pytest.approx(1.0)


@given(r1=OHM, r2=OHM, t=st.floats(1e-4, 0.1))
def test_divider_worst_case_near_its_first_order(r1: float, r2: float, t: float) -> None:
    low, high = divider_worst_case(r1, r2, t)
    first = 2 * t * (1 - divider_ratio(r1, r2))
    assert low < 0 < high
    assert low == pytest.approx(-first, rel=2.1 * t + 1e-9)
    assert high == pytest.approx(first, rel=2.5 * t + 1e-9)


@given(r1=OHM, r2=OHM, cf=FARAD, cg=FARAD, k=SCALE)
@settings(max_examples=30, deadline=None)
def test_impedance_scaling_leaves_a_response_alone(
    r1: float, r2: float, cf: float, cg: float, k: float
) -> None:
    """R times k and C over k change nothing while the op-amp is the same."""
    for one, other in (
        (
            sallen_key_lowpass(r1, r2, cf, cg, gbw_hz=1e6),
            sallen_key_lowpass(k * r1, k * r2, cf / k, cg / k, gbw_hz=1e6),
        ),
        (
            sallen_key_highpass(cf, cg, r1, r2, gbw_hz=1e6),
            sallen_key_highpass(cf / k, cg / k, k * r1, k * r2, gbw_hz=1e6),
        ),
        (
            mfb_lowpass(r1, r2, r1, cf, cg, 1e6),
            mfb_lowpass(k * r1, k * r2, k * r1, cf / k, cg / k, 1e6),
        ),
    ):
        assert one.at(F) == pytest.approx(other.at(F), rel=1e-9)


@given(r1=OHM, r2=OHM, cf=FARAD, cg=FARAD, k=SCALE)
@settings(max_examples=30, deadline=None)
def test_frequency_scaling(r1: float, r2: float, cf: float, cg: float, k: float) -> None:
    """C times k moves the whole response down by k."""
    one, other = sallen_key_lowpass(r1, r2, cf, cg), sallen_key_lowpass(r1, r2, k * cf, k * cg)
    assert one.at(k * F) == pytest.approx(other.at(F), rel=1e-9)


@given(
    top=OHM,
    bottom=OHM,
    feedback=OHM,
    reference=st.floats(1.0, 6.0),
    low=st.floats(0.0, 0.5),
    k=SCALE,
    z=SCALE,
)
def test_thresholds_scale_with_the_reference_not_the_impedance(
    top: float, bottom: float, feedback: float, reference: float, low: float, k: float, z: float
) -> None:
    def thresholds(volts: float, ohms: float) -> tuple[float, float]:
        falling, rising = sensing_thresholds_v(
            top_ohm=top * ohms,
            bottom_ohm=bottom * ohms,
            feedback_ohm=feedback * ohms,
            reference_v=reference * volts,
            pullup_v=reference * volts,
            pullup_ohm=10e3 * ohms,
            low_v=low * volts,
        )
        return float(falling), float(rising)

    base = thresholds(1.0, 1.0)
    assert thresholds(k, 1.0) == pytest.approx((k * base[0], k * base[1]), rel=1e-9)
    assert thresholds(1.0, z) == pytest.approx(base, rel=1e-9)
    assert base[0] <= base[1] or low >= reference


@given(r1=OHM, r2=OHM, r3=OHM, supply=st.floats(2.0, 40.0))
def test_inverting_levels_stay_inside_the_supply(r1: float, r2: float, r3: float, supply: float) -> None:
    high, low = inverting_levels_v(r1_ohm=r1, r2_ohm=r2, r3_ohm=r3, supply_v=supply, pullup_ohm=10e3)
    assert 0.0 < low < high < supply


@given(level=st.floats(1.0, 6.0), top=OHM, bottom=OHM)
def test_divider_sense_undoes_the_divider(level: float, top: float, bottom: float) -> None:
    assert divider_sense_v(level, top, bottom) * divider_ratio(top, bottom) == pytest.approx(level)


@given(f0=st.floats(10.0, 500.0), q=st.floats(0.5, 2.5), cg=FARAD, room=st.floats(1.0, 5.0))
@settings(max_examples=50)
def test_low_pass_design_comes_back(f0: float, q: float, cg: float, room: float) -> None:
    cf = 4 * q * q * cg * room * (1 + 1e-9)
    r1, r2 = sallen_key_lowpass_resistors_ohm(f0, q, cf, cg)
    assert sallen_key_lowpass_f0_q(r1, r2, cf, cg) == pytest.approx((f0, q), rel=1e-6)


@given(f0=st.floats(5.0, 100.0), q=st.floats(0.4, 2.5), c1=FARAD, c2=FARAD)
@settings(max_examples=50)
def test_high_pass_design_comes_back(f0: float, q: float, c1: float, c2: float) -> None:
    rf, rg = sallen_key_highpass_resistors_ohm(f0, q, c1, c2)
    assert sallen_key_highpass_f0_q(c1, c2, rf, rg) == pytest.approx((f0, q), rel=1e-9)


def test_too_small_a_capacitor_ratio_is_refused() -> None:
    with pytest.raises(RangeError, match="Cf over 4 Q² Cg"):
        sallen_key_lowpass_resistors_ohm(80.0, 1.0, 100e-9, 100e-9)


def test_too_much_gain_is_refused() -> None:
    with pytest.raises(RangeError, match="damping"):
        sallen_key_lowpass_f0_q(10e3, 10e3, 100e-9, 100e-9, 3.1)


@pytest.mark.parametrize("order", range(1, 11))
def test_prototypes_pass_their_corner(order: int) -> None:
    assert abs(complex(cascade(butterworth(order), 1.0))) == pytest.approx(0.5**0.5)
    assert abs(complex(cascade(bessel(order), 1.0))) == pytest.approx(0.5**0.5, rel=1e-9)
    edge = abs(complex(cascade(chebyshev(order, 0.5), 1.0)))
    peak = 1.0 if order % 2 else 10 ** (0.5 / 20)  # even orders start at the ripple's valley
    assert edge / peak == pytest.approx(10 ** (-0.5 / 20), rel=1e-9)
    half = abs(complex(cascade(chebyshev(order, 0.5, "half power"), 1.0)))
    assert half / peak == pytest.approx(0.5**0.5, rel=1e-9)


@pytest.mark.parametrize("order", range(2, 9))
def test_bessel_delay_norm(order: int) -> None:
    """The group delay at zero frequency is 1/ω_c: from the sections, Σ 1/(Q k)."""
    delay = sum(1 / (s.ratio * (s.q or 1.0)) for s in bessel(order, "delay"))
    assert delay == pytest.approx(1.0, rel=1e-9)


def test_bessel_matches_scipy() -> None:
    from scipy.signal import besselap

    for order in range(2, 9):
        _, poles, _ = besselap(order, norm="mag")
        ratios = sorted(abs(p) for p in poles if p.imag >= 0)
        assert sorted(s.ratio for s in bessel(order)) == pytest.approx(ratios, rel=1e-6)


@pytest.mark.parametrize("order", [0, 11])
def test_orders_out_of_range_are_refused(order: int) -> None:
    with pytest.raises(RangeError, match="order"):
        butterworth(order)


@given(st.lists(st.floats(-3.0, 3.0), min_size=1, max_size=6))
def test_power_polynomial_is_the_squared_magnitude(coefficients: list[float]) -> None:
    w = np.linspace(0.0, 3.0, 13)
    p = sum(c * (1j * w) ** k for k, c in enumerate(coefficients))
    even = sum(c * w ** (2 * k) for k, c in enumerate(power_polynomial(tuple(coefficients))))
    assert even == pytest.approx(np.abs(p) ** 2, rel=1e-9, abs=1e-9)


def test_band_is_the_percentile_of_single_responses() -> None:
    rng = np.random.default_rng(4)
    r, c = 10e3 * (1 + 0.02 * rng.random(301)), 100e-9 * (1 + 0.1 * rng.random(301))
    crowd = sallen_key_lowpass(r, 12e3, 2.2 * c, c, gbw_hz=1e6)
    single = np.abs(
        [sallen_key_lowpass(a, 12e3, 2.2 * b, b, gbw_hz=1e6).at(F) for a, b in zip(r, c, strict=True)]
    )
    expected = np.percentile(single, [10, 50, 90], axis=0, method="nearest")
    assert gain_band([crowd], F, (10.0, 50.0, 90.0)) == pytest.approx(expected, rel=1e-9)


@given(f0=st.floats(20.0, 300.0), q=st.floats(0.5, 2.0))
@settings(max_examples=30)
def test_level_crossing(f0: float, q: float) -> None:
    w0 = 2 * np.pi * f0
    block = Rational(numerator=(1.0,), denominator=(1.0, 1 / (q * w0), 1 / w0**2))
    found = float(level_crossing_hz([block], 0.3, f0))
    assert abs(complex(block.at(found))) == pytest.approx(0.3, rel=1e-8)


@given(t=st.floats(-19.0, 99.0))
def test_thermistor_table_inverts(t: float) -> None:
    ntc = Thermistor(r25_ohm=10e3, b_k=3435.0, table=TABLE)
    assert ntc.temperature_c(ntc.resistance_ohm(t)) == pytest.approx(t, abs=1e-7)


@given(t=st.floats(-19.0, 100.0), d=st.floats(0.1, 20.0))
def test_thermistor_falls(t: float, d: float) -> None:
    assume(t - d > -20.0)
    for ntc in (Thermistor(r25_ohm=10e3, b_k=3435.0, table=TABLE), Thermistor(r25_ohm=10e3, b_k=3950.0)):
        assert ntc.resistance_ohm(t) < ntc.resistance_ohm(t - d)


@pytest.mark.parametrize("t", [-21.0, 101.0, float("nan")])
def test_outside_the_table_is_refused(t: float) -> None:
    with pytest.raises(RangeError, match="temperature"):
        Thermistor(r25_ohm=10e3, b_k=3435.0, table=TABLE).resistance_ohm(t)


def test_a_disordered_table_is_refused() -> None:
    with pytest.raises(RangeError, match="rise in temperature"):
        Thermistor(r25_ohm=10e3, b_k=3435.0, table=(TABLE[1], TABLE[0]))


@given(t=st.floats(-20.0, 100.0))
def test_steinhart_hart_inverts(t: float) -> None:
    rows = np.array(TABLE)
    fit = steinhart_hart_fit(rows[:, 0], rows[:, 1])
    assert steinhart_hart_temperature_c(steinhart_hart_ohm(t, fit), fit) == pytest.approx(t, abs=1e-6)


def test_steinhart_hart_stays_near_its_table() -> None:
    rows = np.array(TABLE)
    fit = steinhart_hart_fit(rows[:, 0], rows[:, 1])
    assert steinhart_hart_temperature_c(rows[:, 1], fit) == pytest.approx(rows[:, 0], abs=0.5)


def test_threshold_above_the_supply_never_comes() -> None:
    with pytest.raises(RangeError, match="threshold over supply"):
        rc_charge_time_s(10e3, 1e-6, 5.0, 5.0)


@given(r=st.floats(1e-3, 0.2), i=st.floats(1.0, 100.0), note=st.floats(15.0, 80.0), tau=st.floats(1e-3, 0.2))
def test_chatter_need_lies_between_one_and_two_drops(r: float, i: float, note: float, tau: float) -> None:
    share = residual_ripple(note, tau)
    assert 0.0 < share < 1.0
    assert r * i < least_hysteresis_v(r, i, share) < 2 * r * i
