"""The voltage stage's sums against laws, limits and networks solved another way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.physics import voltage_stage as vs
from subwright.physics.junctions import base_emitter_v

ohms = st.floats(10.0, 1e5)
amps = st.floats(1e-4, 2e-2)


@given(tail=amps, degeneration=st.floats(0.0, 2e3))
def test_transconductance_is_the_slope_of_the_pair(tail: float, degeneration: float) -> None:
    """Against the exponential law of two transistors, solved numerically."""
    step = 1e-6

    def difference(output: float) -> float:
        """Input that steers ``output``, A, from one half to the other."""
        upper, lower = 0.5 * (tail + output), 0.5 * (tail - output)
        return vs.THERMAL_V * math.log(upper / lower) + degeneration * output

    slope = 2.0 * step * tail / (difference(step * tail) - difference(-step * tail))
    assert vs.pair_transconductance_s(tail, degeneration) == pytest.approx(slope, rel=1e-6)


@given(lag=st.floats(1.0, 80.0), poles=st.lists(st.floats(1e5, 1e8), min_size=1, max_size=5))
def test_the_greatest_unity_frequency_lags_as_asked(lag: float, poles: list[float]) -> None:
    assert vs.lag_deg(vs.greatest_unity_hz(poles, lag), poles) == pytest.approx(lag, rel=1e-6)


@given(drop=st.floats(0.95, 3.0), ohm=st.floats(5.0, 1e4))
def test_current_of_a_source_closes_its_loop(drop: float, ohm: float) -> None:
    current = vs.junction_current_a(drop, ohm)
    assert base_emitter_v(current) + current * ohm == pytest.approx(drop, rel=1e-9)


def test_second_pole_is_that_of_the_network() -> None:
    """Against the roots of the two-node network with a Miller capacitor, first node driven by a current."""
    g, c, c1, c2, r1, r2 = 34e-3, 100e-12, 20e-12, 150e-12, 30e3, 3e3
    # (1/R1 + s(C1 + C)) (1/R2 + s(C2 + C)) - sC (sC - g) = 0
    square = (c1 + c) * (c2 + c) - c * c
    linear = (c1 + c) / r2 + (c2 + c) / r1 + g * c
    roots = np.roots([square, linear, 1.0 / (r1 * r2)])
    assert vs.second_pole_hz(g, c, c1, c2) == pytest.approx(max(abs(roots)) / (2.0 * math.pi), rel=0.02)
    # and the lower one is that of the integrator
    corner = min(abs(roots)) / (2.0 * math.pi)
    assert corner == pytest.approx(1.0 / (2.0 * math.pi * r1 * g * r2 * c), rel=0.05)


@given(series=ohms, shunt=st.floats(1.0, 1e4), load=ohms)
def test_a_shunt_takes_away(series: float, shunt: float, load: float) -> None:
    share = vs.shunted_share(series, shunt, load)
    assert 0.0 < share < 1.0
    assert vs.shunted_share(series, 2.0 * shunt, load) > share
    # Thévenin: the divider's source resistance against the shunt
    source = vs.parallel_ohm(series, load)
    assert share == pytest.approx(shunt / (shunt + source), rel=1e-9)


@given(gain=st.floats(1.0, 50.0), ohm=st.floats(1e3, 1e6), farad=st.floats(1e-11, 1e-6))
def test_the_difference_s_loop_is_one_at_its_frequency(gain: float, ohm: float, farad: float) -> None:
    """A volt of difference drives 1/(R C) volts a second, and both legs move by the leg's gain."""
    hz = vs.difference_unity_hz(gain, ohm, farad)
    loop = 2.0 * gain / (2j * math.pi * hz * ohm * farad)
    assert abs(loop) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("wrong", [(0.0, 1e5, 1e-9), (10.0, -1.0, 1e-9), (10.0, 1e5, 0.0)])
def test_a_difference_s_loop_out_of_range_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(RangeError):
        vs.difference_unity_hz(*wrong)


def test_noise_of_resistors_alone() -> None:
    """A huge gain and current leave the resistors: 4 kT R."""
    ours = vs.pair_noise_v_per_rthz(1.0, 0.0, 1e9, 1e3, 1e3)
    assert ours == pytest.approx(math.sqrt(4.0 * 1.380649e-23 * 300.15 * 2e3), rel=1e-3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: vs.pair_transconductance_s(0.0),
        lambda: vs.unity_loop_hz(1e-3, 0.0, 10.0),
        lambda: vs.unity_loop_hz(1e-3, 1e-10, 0.5),
        lambda: vs.slew_v_per_s(-1.0, 1e-10),
        lambda: vs.greatest_unity_hz([1e6], 90.0),
        lambda: vs.second_pole_hz(1e-2, 1e-10, 0.0, 0.0),
        lambda: vs.stray_pole_hz(0.0, 1e-9),
        lambda: vs.junction_current_a(0.5, 100.0),
        lambda: vs.pair_noise_v_per_rthz(1e-3, 0.0, 0.0, 1.0, 1.0),
    ],
)
def test_values_out_of_range_are_refused(call: object) -> None:
    with pytest.raises(RangeError):
        call()  # type: ignore[operator]
