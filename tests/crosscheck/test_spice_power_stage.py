"""The averaged converter in ``build.chain`` against the switched circuit, cycle by cycle.

Loads are steady currents, so that ``solve_chain`` and the circuit see the same thing. Core, gate, control and
overlap losses are not in the circuit and are nought in the model.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from subwright.build.chain import solve_chain
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, Source
from subwright.build.waveform import Waveform
from subwright.circuits.converter_point import (
    PowerPoint,
    averaged_point,
    quick,
    settling_probes,
    settling_run,
    simulated_point,
)
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import ClampValues, PowerValues, from_model
from subwright.circuits.simulate import Engine, simulate
from subwright.physics.clamps import clamp_resistance_ohm

pytestmark = pytest.mark.spice

RAIL, INPUT, SWITCH_RMS = 0.02, 0.03, 0.05
DROP = 0.12  # of what the rail loses under load: the sharper question, for the rail itself hardly moves
STEADY = Waveform(in_phase=np.ones(2), quadrature=np.zeros(2), weight=np.array([1.0, 0.0]), crest=1)


@dataclass(frozen=True)
class SteadyCurrents:
    """A stage that takes one current from the working rail and another from the idling one."""

    working_a: float
    idling_a: float
    from_battery: bool = False
    recirculates: bool = False

    def input_power_w(self, v, i, rail):
        return rail * (2 * self.idling_a + np.where(v > 0, self.working_a - self.idling_a, 0.0))

    def loss_split_w(self, v, i, rail):
        return {"all of it": self.input_power_w(v, i, rail)}

    def clip_peak_v(self, rail, load_ohm):
        return rail


def chain_point(model: ConverterModel, values: PowerValues) -> ChainPoint:
    return solve_chain(
        np.array([values.emf_v]),
        np.array([1e-9]),
        STEADY,
        LoadPoint(conductance_s=1e-12),
        Source(battery_ohm=values.source_ohm, cable_ohm=0.0, contact_ohm=0.0),
        SteadyCurrents(working_a=values.positive_a, idling_a=values.negative_a),
        replace(model, avalanche_v=values.avalanche_v),
    )


@dataclass(frozen=True)
class Case:
    """A converter with what its averaged model leaves out."""

    model: ConverterModel
    emf_v: float
    source_ohm: float
    magnetising_h: float
    full_a: float  # both rails together


def random_case(seed: int) -> Case:
    """A converter of 100 to 600 W; its magnetising ripple is 2 to 7 % of the full primary current."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    emf = float(rng.choice([12.6, 25.2, 50.4]))
    seen = emf**2 / between(100.0, 600.0)  # the load as the battery sees it, ohm
    ratio, share, hertz = between(1.0, 5.0), float(rng.uniform(0.85, 0.96)), between(25e3, 100e3)
    path, on_s = seen * between(0.002, 0.02), share / (2 * hertz)
    model = ConverterModel(
        ratio=ratio,
        switching_hz=hertz,
        share=share,
        switch_ohm=0.6 * path,
        primary_winding_ohm=0.3 * path,
        link_ohm=0.1 * path,
        secondary_winding_ohm=0.4 * path * ratio**2,
        diode_ohm=0.3 * path * ratio**2,
        diode_v=between(0.4, 1.0),
        leakage_h=between(0.02, 0.6) * on_s * 2.0 * path,
        input_esr_ohm=seen * between(0.001, 0.01),
        reservoir_esr_ohm=seen * ratio**2 * between(0.0005, 0.003),
        turn_off_s=0.0,
        gate_w=0.0,
        control_w=0.0,
        core_w=0.0,
        core_v=emf,
        core_exponent=2.6,
        shunt_s=0.0,
    )
    return Case(
        model=model,
        emf_v=emf,
        source_ohm=seen * between(0.01, 0.05),
        magnetising_h=seen * on_s * between(15.0, 50.0),
        full_a=emf / seen / ratio,
    )


def values_at(case: Case, corner: float, load: float, split: float) -> PowerValues:
    return from_model(
        case.model,
        emf_v=corner * case.emf_v,
        source_ohm=case.source_ohm,
        positive_a=split * load * case.full_a,
        negative_a=(1 - split) * load * case.full_a,
        magnetising_h=case.magnetising_h,
    )


def simulated(values: PowerValues, engine: Engine) -> PowerPoint:
    small = quick(values)
    traces = simulate(
        power_circuit(small), settling_run(small), settling_probes(small), engine, timeout_s=120.0
    )
    return simulated_point(small, traces)


FULL_DROP = 0.03  # the same under full load, where the legs' exponential doesn't blur it


def assert_agree(point: PowerPoint, model: ConverterModel, values: PowerValues, drop: float = DROP) -> None:
    chain = chain_point(model, values)
    open_v = model.ratio * values.emf_v - model.diode_v
    assert open_v - point.positive_v == pytest.approx(open_v - chain.rail_crest_v[0], rel=drop)
    assert open_v - point.negative_v == pytest.approx(open_v - chain.rail_other_v[0], rel=drop)
    assert point.positive_v == pytest.approx(chain.rail_crest_v[0], rel=RAIL)
    assert point.negative_v == pytest.approx(chain.rail_other_v[0], rel=RAIL)
    assert point.battery_a == pytest.approx(chain.battery_a[0], rel=INPUT)
    assert point.switch_rms_a == pytest.approx(chain.primary_rms_a[0], rel=SWITCH_RMS)


CASES = [random_case(seed) for seed in range(5)]


@pytest.mark.parametrize("load", [0.1, 1.0])
@pytest.mark.parametrize("corner", [0.85, 1.0, 1.2])
@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_averaged_model_agrees_with_the_switched_circuit(
    case: Case,
    corner: float,
    load: float,
    reference_engine: Engine,
) -> None:
    values = values_at(case, corner, load, 0.5)
    assert_agree(simulated(values, reference_engine), case.model, values, FULL_DROP if load == 1.0 else DROP)


@pytest.mark.parametrize("case", CASES[:3], ids=range(3))
def test_it_agrees_with_one_rail_loaded_and_the_other_at_rest(case: Case, engine: Engine) -> None:
    """The half cycle of a bass note: everything comes from one rail."""
    values = values_at(case, 1.0, 1.0, 0.95)
    assert_agree(simulated(values, engine), case.model, values)


@pytest.mark.parametrize("case", CASES[:3], ids=range(3))
def test_a_full_bridge_gives_the_same_rails(case: Case, engine: Engine) -> None:
    """Its leakage energy returns to the battery through the body diodes; the model counts it as lost."""
    values = replace(values_at(case, 1.0, 1.0, 0.95), bridge=True)
    point = simulated(values, engine)
    assert_agree(point, case.model, values)
    assert point.battery_a < 1.001 * chain_point(case.model, values).battery_a[0]


CLAMPED = 0.08  # of the clamp's voltage


@pytest.mark.parametrize("load", [0.1, 1.0])
@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_the_clamp_holds_and_returns_what_the_model_says(
    case: Case, load: float, reference_engine: Engine
) -> None:
    """Working: one rail loaded, the clamp at about three times the battery. Resting: charged to twice."""
    clamp = clamp_for(case)
    values = replace(values_at(case, 1.0, load, 0.95), avalanche_v=8 * case.emf_v, clamp=clamp)
    point = simulated(values, reference_engine)
    model = replace(case.model, clamp_ohm=clamp.resistor_ohm, clamp_diode_v=clamp.diode_v)
    chain = chain_point(model, values)
    assert_agree(point, model, values)
    assert point.battery_a == pytest.approx(chain.battery_a[0], rel=0.005)
    assert point.clamp_v == pytest.approx(averaged_point(values).clamp_v, rel=CLAMPED)
    through = (point.clamp_v - chain.terminal_v[0]) / clamp.resistor_ohm
    heat = (point.clamp_v - chain.terminal_v[0] + clamp.diode_v) * through
    assert heat == pytest.approx(chain.losses_w["leakage clamp"][0], rel=3 * CLAMPED)


@pytest.mark.parametrize("case", CASES[:3], ids=range(3))
def test_a_resting_clamp_lives_on_the_conducting_switch(case: Case, reference_engine: Engine) -> None:
    """At rest the clamp charges through the other half-primary: the conducting switch carries that too."""
    clamp = clamp_for(case)
    resting_a = 0.25 * case.model.ratio * 0.1 * case.full_a  # a quarter of what the load takes
    clamp = replace(clamp, resistor_ohm=float(f"{case.emf_v / resting_a:.2g}"))
    values = replace(values_at(case, 1.0, 0.1, 0.5), avalanche_v=8 * case.emf_v, clamp=clamp)
    point, expected = simulated(values, reference_engine), averaged_point(values)
    assert point.switch_rms_a == pytest.approx(expected.switch_rms_a, rel=SWITCH_RMS)
    assert point.clamp_v == pytest.approx(expected.clamp_v, rel=0.01)
    assert point.battery_a == pytest.approx(expected.battery_a, rel=0.01)


@pytest.mark.parametrize("case", CASES[:2], ids=range(2))
def test_the_clamp_holds_with_both_rails_loaded_alike(case: Case, reference_engine: Engine) -> None:
    """Two half-secondaries side by side: half the resistance, longer pulses, more left in the leakage."""
    clamp = clamp_for(case)
    values = replace(values_at(case, 1.0, 1.0, 0.5), avalanche_v=8 * case.emf_v, clamp=clamp)
    point = simulated(values, reference_engine)
    assert point.clamp_v == pytest.approx(averaged_point(values).clamp_v, rel=0.055)


def clamp_for(case: Case) -> ClampValues:
    """A clamp that full load on one rail lifts to about three times the battery."""
    values, model = values_at(case, 1.0, 1.0, 0.95), case.model
    point = averaged_point(values)
    end_a = point.battery_a * model.shape().end / model.averaging
    power = model.leakage_h * end_a**2 * model.switching_hz
    ohm = float(f"{clamp_resistance_ohm(power, 3.0 * case.emf_v, case.emf_v):.2g}")
    return ClampValues(resistor_ohm=ohm, capacitor_f=1e-3, diode_v=0.8, diode_ohm=0.01)


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_the_chain_and_the_circuits_own_closed_form_are_one(
    case: Case,
) -> None:
    clamp = clamp_for(case)
    clamped = replace(case.model, clamp_ohm=clamp.resistor_ohm, clamp_diode_v=clamp.diode_v)
    for split, model in ((0.5, case.model), (0.9, case.model), (0.9, clamped)):
        values = values_at(case, 1.0, 0.7, split)
        if model is clamped:
            values = replace(values, clamp=clamp)
        own, chain = averaged_point(values), chain_point(model, values)
        found = (own.positive_v, own.negative_v, own.battery_a, own.switch_rms_a)
        expected = (chain.rail_crest_v, chain.rail_other_v, chain.battery_a, chain.primary_rms_a)
        np.testing.assert_allclose(found, np.concatenate(expected), rtol=1e-9)


@pytest.mark.parametrize("wrong", ["switch_ohm", "leakage_h", "diode_v", "ratio"])
def test_a_wrong_closed_form_would_be_noticed(wrong: str, reference_engine: Engine) -> None:
    """The limits can be broken: by a path without switch or leakage, and by a wrong ratio or diode."""
    case = CASES[0]
    values = values_at(case, 1.0, 1.0, 0.5)
    point = simulated(values, reference_engine)
    assert_agree(point, case.model, values, FULL_DROP)
    changed = 1.02 * case.model.ratio if wrong == "ratio" else 0.0
    with pytest.raises(AssertionError):
        assert_agree(point, replace(case.model, **{wrong: changed}), values, FULL_DROP)
