"""The filter stage's response against the whole circuit, part by part, op-amps with their bandwidth."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.simulate import Complex, Engine, Traces, simulate
from subwright.parts.library import load_library
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter

pytestmark = pytest.mark.spice

LEVEL_DB, PHASE_DEG = 0.01, 0.1
SWEEP = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40)
OUTPUT = Voltage(FILTER_OUTPUT)
SPECS: dict[str, dict[str, object]] = {
    "as it comes": {},
    "equal parts": {"order": 2, "alignment": "butterworth", "topology": "equal"},
    "mono, bessel": {"inputs": "mono", "alignment": "bessel", "phase_switch": False},
    "multiple feedback": {"topology": "multiple-feedback", "alignment": "chebyshev"},
    "state variable": {"topology": "state-variable", "order": 2, "alignment": "butterworth"},
    "state variable, swept": {"topology": "state-variable", "sweep_low": "50 Hz", "sweep_high": "120 Hz"},
    "swept": {"sweep_low": "50 Hz", "sweep_high": "120 Hz"},
    "every control": {"phase_control": True, "sensitivity_most": "5 V", "boost": "4 dB"},
    "biquad": {"transform": "28 Hz", "infrasonic_filter": "on"},
    "no level, no coupling": {"level_control": False, "output_coupling": "none"},
}
SUPPLIES = ("zener", "regulator", "follower", "battery")


def design(spec: dict[str, object], *, vented: bool = False) -> FilterResult:
    box = {"vented": True, "tuning_hz": 30.0} if vented else {"box_hz": 45.0, "box_q": 0.8}
    data = FilterInput(
        full_input_v=1.0, rail_low_v=30.0, rail_high_v=45.0, battery_low_v=10.8, battery_high_v=15.0,
        draws=100, **box,
    )  # fmt: skip
    return design_filter(FilterSpec.model_validate(spec), data, load_library())


def swept(result: FilterResult, engine: Engine, phase_deg: int = 0) -> Traces:
    supply_v = 12.6 if result.op_amp_supply.kind == "battery" else 35.0
    circuit = filter_circuit(result, load_library(), supply_v=supply_v, phase_deg=phase_deg)
    return simulate(circuit, SWEEP, [OUTPUT], engine)


def assert_agree(traces: Traces, expected: Complex) -> None:
    ratio = traces.phasor(OUTPUT) / expected
    assert np.max(np.abs(20 * np.log10(np.abs(ratio)))) < LEVEL_DB
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) < PHASE_DEG


POSITIONS = [
    pytest.param(spec, phase_deg, id=f"{name}, {phase_deg}°")
    for name, spec in SPECS.items()
    for phase_deg in ((0, 180) if spec.get("phase_switch", True) else (0,))
]


@pytest.mark.parametrize(("spec", "phase_deg"), POSITIONS)
def test_response(spec: dict[str, object], phase_deg: Literal[0, 180], reference_engine: Engine) -> None:
    result = design(spec)
    traces = swept(result, reference_engine, phase_deg)
    assert_agree(traces, result.transfer(traces.axis, phase_deg=phase_deg))


@pytest.mark.parametrize("supply", SUPPLIES)
def test_response_on_every_supply(supply: str, reference_engine: Engine) -> None:
    """What feeds the op-amps, and where the signal's ground lies, is not heard."""
    result = design({"op_amp_supply": supply}, vented=True)
    assert result.op_amp_supply.kind == supply
    traces = swept(result, reference_engine)
    assert_agree(traces, result.transfer(traces.axis))


@pytest.mark.parametrize("spec", ["as it comes", "state variable, swept"])
def test_every_engine_gives_the_same_response(spec: str, engine: Engine) -> None:
    result = design(SPECS[spec])
    traces = swept(result, engine)
    assert_agree(traces, result.transfer(traces.axis))


def test_the_agreement_is_no_accident(reference_engine: Engine) -> None:
    """One capacitor a tenth larger in the circuit alone, and both limits are broken."""
    result = design({})
    block = next(b for b in result.blocks if b.kind == "low-pass")
    other = {**block.capacitors_f, "C to ground": 1.1 * block.capacitors_f["C to ground"]}
    blocks = tuple(replace(b, capacitors_f=other) if b is block else b for b in result.blocks)
    traces = swept(replace(result, blocks=blocks), reference_engine)
    ratio = traces.phasor(OUTPUT) / result.transfer(traces.axis)
    assert np.max(np.abs(20 * np.log10(np.abs(ratio)))) > 10 * LEVEL_DB
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) > 10 * PHASE_DEG
