"""Every closed form against the nodal solver, with real values, finite bandwidth and loading."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.physics.networks.comparators import (
    divider_sense_v,
    inverting_levels_v,
    output_high_v,
    sensing_thresholds_v,
    shunt_reference_v,
    sink_current_a,
)
from subwright.physics.networks.dividers import divider_ratio, parallel, rc_gain
from subwright.physics.networks.filters import (
    all_pass,
    first_order_lowpass,
    follower,
    inverting_summer,
    mfb_lowpass,
    phase_switch,
)
from subwright.physics.networks.nodal import GROUND, Network
from subwright.physics.networks.rational import Rational
from subwright.physics.networks.sallen_key import sallen_key_highpass, sallen_key_lowpass

F = np.geomspace(1.0, 200e3, 61)
OHM = st.floats(1e3, 1e6)
FARAD = st.floats(1e-9, 1e-6)
GBW = st.sampled_from([1e5, 3e6, np.inf])


def same(closed: Rational, net: Network, out: str = "out") -> None:
    assert closed.at(F) == pytest.approx(net.solve(F).at(out), rel=1e-7, abs=1e-13)


def op_amp_with_gain(net: Network, plus: str, gain: float, gbw_hz: float) -> Network:
    if gain == 1.0:
        return net.op_amp(plus, "out", "out", gbw_hz)
    net.resistor("out", "m", (gain - 1.0) * 10e3).resistor("m", GROUND, 10e3)
    return net.op_amp(plus, "m", "out", gbw_hz)


@given(r1=OHM, r2=OHM, cf=FARAD, cg=FARAD, gain=st.sampled_from([1.0, 1.586]), gbw=GBW)
@settings(max_examples=40, deadline=None)
def test_sallen_key_low_pass(r1: float, r2: float, cf: float, cg: float, gain: float, gbw: float) -> None:
    net = Network().source("in").resistor("in", "x", r1).resistor("x", "p", r2)
    net.capacitor("x", "out", cf).capacitor("p", GROUND, cg)
    same(sallen_key_lowpass(r1, r2, cf, cg, gain=gain, gbw_hz=gbw), op_amp_with_gain(net, "p", gain, gbw))


@given(c1=FARAD, c2=FARAD, rf=OHM, rg=OHM, gain=st.sampled_from([1.0, 1.586]), gbw=GBW)
@settings(max_examples=40, deadline=None)
def test_sallen_key_high_pass(c1: float, c2: float, rf: float, rg: float, gain: float, gbw: float) -> None:
    net = Network().source("in").capacitor("in", "x", c1).capacitor("x", "p", c2)
    net.resistor("x", "out", rf).resistor("p", GROUND, rg)
    same(sallen_key_highpass(c1, c2, rf, rg, gain=gain, gbw_hz=gbw), op_amp_with_gain(net, "p", gain, gbw))


@given(r1=OHM, r2=OHM, r3=OHM, c1=FARAD, c2=FARAD, gbw=GBW)
@settings(max_examples=40, deadline=None)
def test_multiple_feedback(r1: float, r2: float, r3: float, c1: float, c2: float, gbw: float) -> None:
    net = Network().source("in").resistor("in", "x", r1).resistor("x", "out", r2).resistor("x", "m", r3)
    net.capacitor("m", "out", c1).capacitor("x", GROUND, c2).op_amp(GROUND, "m", "out", gbw)
    same(mfb_lowpass(r1, r2, r3, c1, c2, gbw), net)


@given(r=OHM, c=FARAD, ra=OHM, rb=OHM, gbw=GBW)
@settings(max_examples=30, deadline=None)
def test_all_pass(r: float, c: float, ra: float, rb: float, gbw: float) -> None:
    net = Network().source("in").resistor("in", "p", r).capacitor("p", GROUND, c)
    net.resistor("in", "m", ra).resistor("m", "out", rb).op_amp("p", "m", "out", gbw)
    same(all_pass(r, c, input_ohm=ra, feedback_ohm=rb, gbw_hz=gbw), net)


@given(ra=OHM, rb=OHM, gbw=GBW, inverted=st.booleans())
@settings(max_examples=30, deadline=None)
def test_phase_switch(ra: float, rb: float, gbw: float, inverted: bool) -> None:
    net = Network().source("in").resistor("in", "m", ra).resistor("m", "out", rb)
    net.op_amp(GROUND if inverted else "in", "m", "out", gbw)
    same(phase_switch(ra, rb, inverted, gbw), net)


@given(ri=st.lists(OHM, min_size=1, max_size=3), c=FARAD, rf=OHM, gbw=GBW)
@settings(max_examples=30, deadline=None)
def test_inverting_summer(ri: list[float], c: float, rf: float, gbw: float) -> None:
    net = Network().source("in").resistor("m", "out", rf).op_amp(GROUND, "m", "out", gbw)
    inputs: list[tuple[float, float]] = []
    for k, ohm in enumerate(ri):
        coupled = k % 2 == 0
        inputs.append((ohm, c * (k + 1) if coupled else np.inf))
        if coupled:
            net.capacitor("in", f"i{k}", c * (k + 1)).resistor(f"i{k}", "m", ohm)
        else:
            net.resistor("in", "m", ohm)
    same(inverting_summer(tuple(inputs), rf, gbw), net)


def test_followers_and_rc() -> None:
    net = op_amp_with_gain(Network().source("in"), "in", 5.0, 1e6)
    same(follower(5.0, 1e6), net)
    rc = Network().source("in").resistor("in", "out", 22e3).capacitor("out", GROUND, 47e-9)
    same(first_order_lowpass(22e3, 47e-9), rc)
    assert rc_gain(F, 22e3, 47e-9) == pytest.approx(np.abs(rc.solve(F).at("out")), rel=1e-12)


@given(r1=OHM, r2=OHM, load=OHM)
@settings(max_examples=30, deadline=None)
def test_loaded_divider(r1: float, r2: float, load: float) -> None:
    net = Network().source("in").resistor("in", "out", r1).resistor("out", GROUND, r2)
    net.resistor("out", GROUND, load)
    assert divider_ratio(r1, r2, load) == pytest.approx(net.solve(0.0).at("out")[0].real, rel=1e-9)
    assert divider_ratio(r1, parallel(r2, load)) == pytest.approx(divider_ratio(r1, r2, load), rel=1e-12)


def watched_voltage_at(node_v: float, build: Callable[[float], Network], node: str) -> float:
    """Watched voltage that brings a node of a linear circuit to a level, from two solutions."""
    at = [build(v).solve(0.0).at(node)[0].real for v in (0.0, 1.0)]
    return float((node_v - at[0]) / (at[1] - at[0]))


@given(
    top=OHM,
    bottom=OHM,
    feedback=OHM,
    pullup=st.floats(1e3, 20e3),
    reference=st.floats(1.0, 6.0),
    pull_v=st.floats(2.0, 15.0),
    low=st.floats(0.05, 0.7),
    offset=st.floats(-9e-3, 9e-3),
    bias=st.floats(0.0, 400e-9),
)
@settings(max_examples=40, deadline=None)
def test_sensing_comparator(
    top: float,
    bottom: float,
    feedback: float,
    pullup: float,
    reference: float,
    pull_v: float,
    low: float,
    offset: float,
    bias: float,
) -> None:
    def circuit(watched: float, output_low: bool) -> Network:
        net = Network().source("battery", watched).resistor("battery", "n", top).resistor("n", GROUND, bottom)
        net.resistor("n", "o", feedback).current("n", bias)
        if output_low:
            return net.source("o", low)
        return net.source("pull", pull_v).resistor("pull", "o", pullup)

    falling, rising = sensing_thresholds_v(
        top_ohm=top,
        bottom_ohm=bottom,
        feedback_ohm=feedback,
        reference_v=reference,
        pullup_v=pull_v,
        pullup_ohm=pullup,
        low_v=low,
        offset_v=offset,
        bias_a=bias,
    )
    node = reference + offset
    assert falling == pytest.approx(
        watched_voltage_at(node, lambda v: circuit(v, False), "n"), rel=1e-7, abs=1e-7
    )
    assert rising == pytest.approx(
        watched_voltage_at(node, lambda v: circuit(v, True), "n"), rel=1e-7, abs=1e-7
    )


@given(r1=OHM, r2=OHM, r3=OHM, pullup=st.floats(1e3, 20e3), low=st.floats(0.05, 0.7), bias=st.floats(0, 4e-7))
@settings(max_examples=40, deadline=None)
def test_inverting_comparator(
    r1: float, r2: float, r3: float, pullup: float, low: float, bias: float
) -> None:
    def circuit(output_low: bool) -> Network:
        net = Network().source("s", 12.0).resistor("s", "n", r1).resistor("n", GROUND, r2)
        net.resistor("n", "o", r3).current("n", bias)
        return net.source("o", low) if output_low else net.resistor("s", "o", pullup)

    levels = inverting_levels_v(
        r1_ohm=r1, r2_ohm=r2, r3_ohm=r3, supply_v=12.0, pullup_ohm=pullup, low_v=low, bias_a=bias
    )
    for level, output_low in zip(levels, (False, True), strict=True):
        assert level == pytest.approx(circuit(output_low).solve(0.0).at("n")[0].real, rel=1e-9)


def test_plain_divider_sense() -> None:
    def circuit(watched: float) -> Network:
        net = Network().source("b", watched).resistor("b", "n", 43e3).resistor("n", GROUND, 18e3)
        return net.current("n", 100e-9)

    sensed = divider_sense_v(5.0, 43e3, 18e3, offset_v=2e-3, bias_a=100e-9)
    assert sensed == pytest.approx(watched_voltage_at(5.0 - 2e-3, circuit, "n"), rel=1e-9)


def test_output_high_and_sink() -> None:
    net = Network().source("p", 12.0).source("n", 2.5).resistor("p", "o", 10e3).resistor("o", "n", 270e3)
    assert output_high_v(12.0, 10e3, 270e3, 2.5) == pytest.approx(net.solve(0.0).at("o")[0].real)
    assert sink_current_a(0.2, ((5.0, 10e3), (3.2, 3.3e3), (0.1, 1e3))) == pytest.approx(4.8e-4 + 3.0 / 3.3e3)


def test_shunt_reference_as_an_amplifier() -> None:
    """The shunt is an op-amp that holds its reference pin; the pin draws I_ref."""
    net = Network().source("ref", 2.495).resistor("k", "pin", 2.2e3).resistor("pin", GROUND, 2.2e3)
    net.current(GROUND, 2e-6, "pin").op_amp("ref", "pin", "k")
    assert shunt_reference_v(2.495, 2.2e3, 2.2e3, 2e-6) == pytest.approx(net.solve(0.0).at("k")[0].real)
