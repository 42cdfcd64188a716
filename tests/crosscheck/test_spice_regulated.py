"""The regulated converter's closed form against the switched circuit with its coupled choke, cycle by cycle.

The circuit runs at the duty that the closed form finds, as the loop would; where the choke's current has gaps
the duty is put right once, and must then lie near the closed form's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_spice_power_stage import STEADY

from subwright.base.preferred import nearest
from subwright.build.bridged import shared_model
from subwright.build.chain import solve_chain
from subwright.build.chain_model import ConverterModel, LoadPoint, Source
from subwright.circuits.converter_point import averaged_point, quick
from subwright.circuits.converter_regulated import regulated_point
from subwright.circuits.converter_settle import Settled, settled_point
from subwright.circuits.converter_values import ChokeValues, ClampValues, PowerValues, SnubberValues
from subwright.circuits.simulate import Engine
from subwright.physics.clamps import clamp_resistance_ohm

pytestmark = pytest.mark.spice

RAIL, INPUT, SWITCH_RMS, CLAMPED = 0.02, 0.03, 0.05, 0.05
HELD = 0.005  # of the rail while the choke's current is continuous: the sharper question
DUTY = 0.08  # with gaps in it: magnetising current and snubbers feed the rail in the gaps


def case(seed: int, load: float, split: float, corner: float, *, bridge: bool = False) -> PowerValues:
    """A converter of 100 to 500 W; its duty is about 0.75 at the nominal battery, its ripple 20 to 40 %."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    emf = float(rng.choice([12.6, 25.2, 50.4]))
    watts, set_v, hertz = between(100.0, 500.0), between(30.0, 60.0), between(30e3, 80e3)
    full_a, seen = watts / set_v, emf**2 / watts
    ratio = set_v / (0.75 * emf)
    choke_h = set_v * 0.25 / (2.0 * hertz * between(0.2, 0.4) * full_a)
    path, on_s = seen * between(0.005, 0.02), 0.75 / (2.0 * hertz)
    leakage_h = between(0.01, 0.03) * emf / (ratio * full_a) * on_s
    stored_w = hertz * leakage_h * (1.1 * ratio * full_a) ** 2
    clamp_ohm = nearest(clamp_resistance_ohm(stored_w, 3.0 * emf, emf, driving_v=emf), "E12")
    return PowerValues(
        emf_v=corner * emf,
        source_ohm=0.02 * seen,
        positive_a=split * load * full_a,
        negative_a=(1.0 - split) * load * full_a,
        ratio=ratio,
        switching_hz=hertz,
        share=0.93,
        switch_ohm=0.6 * path,
        primary_winding_ohm=0.3 * path,
        link_ohm=0.1 * path,
        secondary_winding_ohm=0.4 * path * ratio**2,
        diode_ohm=0.3 * path * ratio**2,
        diode_v=0.8,
        leakage_h=leakage_h,
        magnetising_h=seen * on_s * 40.0,
        avalanche_v=8.0 * emf,
        input_f=1.0,
        input_esr_ohm=0.003 * seen,
        reservoir_f=1.0,
        reservoir_esr_ohm=0.001 * seen * ratio**2,
        bridge=bridge,
        clamp=None
        if bridge
        else ClampValues(resistor_ohm=clamp_ohm, capacitor_f=1e-3, diode_v=0.8, diode_ohm=0.01),
        choke=ChokeValues(inductance_h=choke_h, resistance_ohm=0.01 * set_v / full_a, set_v=set_v),
        rectifier_snubber=SnubberValues(resistor_ohm=100.0, capacitor_f=470e-12),
    )


def run(values: PowerValues, engine: Engine) -> tuple[Settled, PowerValues]:
    small = quick(values)
    return settled_point(small, engine, timeout_s=120.0), small


def assert_agree(settled: Settled, small: PowerValues) -> None:
    expected, found, averages = regulated_point(small), settled.found, averaged_point(small)
    rail = HELD if expected.continuous else RAIL
    assert found.positive_v == pytest.approx(expected.positive_v, rel=rail)
    assert found.negative_v == pytest.approx(expected.negative_v, rel=rail)
    assert found.battery_a == pytest.approx(expected.battery_a, rel=INPUT)
    assert found.switch_rms_a == pytest.approx(expected.switch_rms_a, rel=SWITCH_RMS)
    assert settled.gate_share == pytest.approx(expected.gate_share, rel=DUTY)
    if averages.clamp_v is not None and found.clamp_v is not None:
        assert found.clamp_v == pytest.approx(averages.clamp_v, rel=CLAMPED)


@pytest.mark.parametrize(("load", "split"), [(1.0, 0.5), (1.0, 0.95), (0.1, 0.5)])
@pytest.mark.parametrize("corner", [0.85, 1.2])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_closed_form_agrees_with_the_switched_circuit(
    seed: int, corner: float, load: float, split: float, reference_engine: Engine
) -> None:
    assert_agree(*run(case(seed, load, split, corner), reference_engine))


@pytest.mark.parametrize("load", [0.1, 1.0])
def test_a_full_bridge_agrees(load: float, reference_engine: Engine) -> None:
    """Its body diodes lead the leakage energy back to the battery."""
    assert_agree(*run(case(3, load, 0.5, 1.0, bridge=True), reference_engine))


def test_it_agrees_in_either_engine(engine: Engine) -> None:
    assert_agree(*run(case(1, 1.0, 0.5, 1.0), engine))


def test_a_clamp_reckoned_as_behind_peak_charged_rails_would_be_noticed(reference_engine: Engine) -> None:
    """The battery drives the leakage current on: the clamp sits higher than the stored energy alone asks."""
    values = case(1, 1.0, 0.5, 1.0)
    settled, small = run(values, reference_engine)
    clamp, expected = small.clamp, regulated_point(small)
    assert clamp is not None
    assert settled.found.clamp_v is not None
    assert expected.clamp_v is not None
    stored_w = (expected.clamp_v - small.emf_v) ** 2 / clamp.resistor_ohm
    alone_v = 0.5 * (small.emf_v + np.sqrt(small.emf_v**2 + 4.0 * clamp.resistor_ohm * stored_w))
    assert settled.found.clamp_v > 1.08 * alone_v


def test_a_wrong_duty_would_be_noticed(reference_engine: Engine) -> None:
    values = quick(case(2, 1.0, 0.5, 1.0))
    expected = regulated_point(values)
    bare = regulated_point(replace(values, leakage_h=1e-12))  # without the commutation's share
    short = settled_point(replace(values, gate_share=bare.gate_share), reference_engine)
    assert short.found.positive_v < (1.0 - HELD) * expected.positive_v


class SteadyCurrents:
    """A stage that takes steady currents: one from the working rail, another from the idling one."""

    from_battery = recirculates = False

    def __init__(self, working_a: float, idling_a: float) -> None:
        self.working_a, self.idling_a = working_a, idling_a

    def input_power_w(self, v, i, rail):
        return rail * (2 * self.idling_a + np.where(v > 0, self.working_a - self.idling_a, 0.0))

    def loss_split_w(self, v, i, rail):
        return {"all of it": self.input_power_w(v, i, rail)}

    def clip_peak_v(self, rail, load_ohm):
        return rail


def chain_model(values: PowerValues) -> ConverterModel:
    """The chain's model of the same stage."""
    own, choke, clamp = regulated_point(values), values.choke, values.clamp
    assert choke is not None
    assert clamp is not None
    return ConverterModel(
        ratio=values.ratio,
        switching_hz=values.switching_hz,
        share=values.share,
        switch_ohm=values.switch_ohm,
        primary_winding_ohm=values.primary_winding_ohm,
        link_ohm=values.link_ohm,
        secondary_winding_ohm=values.secondary_winding_ohm,
        diode_ohm=values.diode_ohm,
        diode_v=values.diode_v,
        leakage_h=values.leakage_h,
        input_esr_ohm=values.input_esr_ohm,
        reservoir_esr_ohm=values.reservoir_esr_ohm,
        turn_off_s=0.0,
        gate_w=0.0,
        control_w=0.0,
        core_w=0.0,
        core_v=values.emf_v,
        core_exponent=2.6,
        shunt_s=0.0,
        clamp_ohm=clamp.resistor_ohm,
        clamp_diode_v=clamp.diode_v,
        set_v=choke.set_v,
        choke_ohm=choke.resistance_ohm,
        choke_ripple_a=own.ripple_a,
    )


@pytest.mark.parametrize("seed", range(1, 7))
def test_the_chain_and_the_circuits_own_closed_form_are_one(seed: int) -> None:
    """Up to the ripple's heat, which the chain leaves out, and the rail that an idle leg holds."""
    values = replace(case(seed, 1.0, 0.8, 1.0), rectifier_snubber=None)
    own, model = regulated_point(values), chain_model(values)
    chain = solve_chain(
        np.array([values.emf_v]),
        np.array([1e-9]),
        STEADY,
        LoadPoint(conductance_s=1e-12),
        Source(battery_ohm=values.source_ohm, cable_ohm=0.0, contact_ohm=0.0),
        SteadyCurrents(values.positive_a, values.negative_a),
        model,
    )
    assert chain.rail_crest_v[0] == pytest.approx(own.positive_v, rel=1e-6)
    assert chain.rail_other_v[0] == pytest.approx(own.negative_v, rel=1e-6)
    assert chain.battery_a[0] == pytest.approx(own.battery_a, rel=1e-6)
    assert chain.primary_rms_a[0] == pytest.approx(own.switch_rms_a, rel=0.01)


def both_rails(seed: int) -> PowerValues:
    """Rails alike, and a choke and half-secondaries whose resistance can't be overlooked."""
    values = replace(case(seed, 1.0, 0.5, 1.0), rectifier_snubber=None)
    choke, secondary_ohm = values.choke, values.secondary_winding_ohm
    assert choke is not None
    return replace(
        values,
        choke=replace(choke, resistance_ohm=4.0 * choke.resistance_ohm),
        secondary_winding_ohm=4.0 * secondary_ohm,
    )


def chained(values: PowerValues, model: ConverterModel) -> float:
    """Battery current of a stage across both rails, by the chain, A."""
    point = solve_chain(
        np.array([values.emf_v]),
        np.array([1e-9]),
        STEADY,
        LoadPoint(conductance_s=1e-12),
        Source(battery_ohm=values.source_ohm, cable_ohm=0.0, contact_ohm=0.0),
        SteadyCurrents(values.positive_a + values.negative_a, 0.0),
        model,
    )
    return float(point.battery_a[0])


@pytest.mark.parametrize("seed", range(1, 7))
def test_the_chain_across_both_rails_and_the_circuits_own_closed_form_are_one(seed: int) -> None:
    values = both_rails(seed)
    own = regulated_point(values)
    assert chained(values, shared_model(chain_model(values))) == pytest.approx(own.battery_a, rel=1e-6)


def test_across_both_rails_the_switched_circuit_agrees(reference_engine: Engine) -> None:
    """With the choke's and the secondary's resistance of one rail instead, the current would be off."""
    values = both_rails(1)
    settled, small = run(values, reference_engine)
    model = chain_model(small)
    shared = chained(small, shared_model(model))
    assert settled.found.battery_a == pytest.approx(shared, rel=0.005)
    halves = replace(shared_model(model), choke_ohm=model.choke_ohm)
    assert settled.found.battery_a != pytest.approx(chained(small, halves), rel=0.005)
