"""Inputs and filter together against the product of their closed forms; what a clamp lets through."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT
from subwright.circuits.input_circuit import INPUT_OUTPUTS, InputPlace, input_circuit
from subwright.circuits.measure import last_periods
from subwright.circuits.signal_circuit import input_place, signal_circuit, summing_ohm
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import load_library
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter
from subwright.stages.input import InputNeed, InputResult, InputSpec, design_input, takes_op_amps

pytestmark = pytest.mark.spice

LIBRARY = load_library()
LEVEL_DB, PHASE_DEG = 0.05, 0.5
SWEEP = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=30)
INPUTS = {
    "line": InputSpec(),
    "difference": InputSpec(receiver="difference"),
    "speaker": InputSpec(source="speaker"),
}
SUPPLIES = ("zener", "battery")


def joined(spec: InputSpec, supply: str, **wishes: object) -> tuple[InputResult, FilterResult]:
    battery = supply == "battery"
    data = FilterInput(
        full_input_v=1.0,
        rail_low_v=None if battery else 30.0,
        rail_high_v=None if battery else 45.0,
        battery_low_v=10.8,
        battery_high_v=15.0,
        box_hz=45.0,
        box_q=0.8,
        receiver_op_amps=takes_op_amps(spec, 2),
        draws=100,
    )
    filters = design_filter(FilterSpec.model_validate({"op_amp_supply": supply, **wishes}), data, LIBRARY)
    need = InputNeed(
        channels=2,
        sensitivity_v=filters.levels.sensitivity_v,
        summing_ohm=summing_ohm(filters),
        side_v=0.5 * filters.op_amp_supply.low_v,
        battery_max_v=15.0,
        reference_v=7.5 if battery else 0.0,
        draws=100,
    )
    return design_input(spec, need, LIBRARY), filters


@pytest.mark.parametrize("supply", SUPPLIES)
@pytest.mark.parametrize("name", INPUTS)
def test_from_the_radio_to_the_power_stage(name: str, supply: str, reference_engine: Engine) -> None:
    entry, filters = joined(INPUTS[name], supply)
    circuit = signal_circuit(entry, filters, LIBRARY, supply_v=12.6 if supply == "battery" else 35.0)
    assert not any(part.designator.startswith("BENCH_LINE") for part in circuit.parts)
    traces = simulate(circuit, SWEEP, [Voltage(FILTER_OUTPUT)], reference_engine, timeout_s=120.0)
    expected = filters.transfer(traces.axis) * entry.gain
    ratio = traces.phasor(Voltage(FILTER_OUTPUT)) / expected
    assert np.max(np.abs(20.0 * np.log10(np.abs(ratio)))) < LEVEL_DB
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) < PHASE_DEG


@pytest.mark.parametrize("name", ["difference", "speaker"])
def test_what_both_leads_share_stays_outside(name: str, reference_engine: Engine) -> None:
    """With equal resistors nothing of it comes through but what the op-amps' own gain leaves."""
    entry, filters = joined(INPUTS[name], "zener")
    circuit = signal_circuit(entry, filters, LIBRARY, supply_v=35.0, mode="common")
    traces = simulate(circuit, SWEEP, [Voltage(FILTER_OUTPUT)], reference_engine, timeout_s=120.0)
    leak = np.abs(traces.phasor(Voltage(FILTER_OUTPUT))) / np.abs(filters.transfer(traces.axis))
    assert np.max(leak) < 10.0 ** (-70.0 / 20.0)


def heard_peak(entry: InputResult, place: InputPlace, volts: float, engine: Engine) -> float:
    """Lowest voltage behind the clamps over the wanted one, with a sine of ``volts`` rms at 50 Hz."""
    wave = sine_ramp(2.0**0.5 * volts, 50.0, cycles=2)
    circuit = input_circuit(
        entry, LIBRARY.op_amps["TL072"], side_v=5.5, summing_ohm=22e3, place=place, signal=wave
    )
    run = Transient(stop_s=0.04, step_s=1e-4, accuracy=1e-4)
    traces = simulate(circuit, run, [Voltage(INPUT_OUTPUTS[0])], engine, timeout_s=120.0)
    _, course = last_periods(traces.axis, traces.voltage(INPUT_OUTPUTS[0]), 0.02, 1)
    return -float(course.min()) / (2.0**0.5 * volts * entry.gain)


def test_a_line_level_passes_where_op_amps_run_from_the_battery(reference_engine: Engine) -> None:
    """Diodes to the supplies would cut every negative half wave at ground; back to back nothing does."""
    entry, filters = joined(INPUTS["line"], "battery")
    place = input_place(filters, LIBRARY, 0)
    assert place.battery
    assert heard_peak(entry, place, 1.0, reference_engine) == pytest.approx(1.0, abs=0.01)
    parts = tuple(replace(part, role=part.role.replace("clamp zener", "clamp diode")) for part in entry.parts)
    before = replace(entry, parts=parts, clamp_id="1N4148", clamp_v=0.6)
    assert heard_peak(before, place, 1.0, reference_engine) < 0.6


def test_a_fault_on_the_input_is_held(reference_engine: Engine) -> None:
    entry, filters = joined(INPUTS["line"], "battery")
    place = input_place(filters, LIBRARY, 0)
    held = heard_peak(entry, place, 16.0, reference_engine) * 2.0**0.5 * 16.0 * entry.gain
    assert held == pytest.approx(entry.clamp_v, abs=0.5)
    assert entry.clamp_a < entry.clamp_limit_a


def test_receivers_share_the_filters_cases() -> None:
    """No amplifier is bought twice, and every case has its capacitors."""
    for supply in SUPPLIES:
        for topology in ("unity", "state-variable"):
            entry, filters = joined(INPUTS["difference"], supply, topology=topology)
            circuit = signal_circuit(entry, filters, LIBRARY, supply_v=12.6 if supply == "battery" else 35.0)
            amplifiers = [p for p in circuit.parts if p.kind == "op-amp"]
            assert len({p.designator for p in amplifiers}) == len(amplifiers)
            bought = {p.case for p in amplifiers if p.standing == "bought"}
            assert len(bought) == filters.op_amp_count
            assert {p.case for p in amplifiers} == bought
            rails = 1 if supply == "battery" else 2
            assert len(circuit.by_role("op-amp decoupling")) == rails * filters.op_amp_count
