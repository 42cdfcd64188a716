"""Trips and releases of the protection stage against the whole circuit, ramped slowly both ways."""

from __future__ import annotations

from dataclasses import replace

import pytest

from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.protection_ramp import heat_run, run_thresholds, thermistor_ohm, voltage_run
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import load_library
from subwright.physics.batteries import BatteryKind, corner_defaults
from subwright.stages.common import Corner
from subwright.stages.protection import (
    ProtectionInput,
    ProtectionResult,
    ProtectionSpec,
    design_protection,
)

pytestmark = pytest.mark.spice

AGREEMENT = 0.002  # the step of the ramp and the lag of the sense filter are a quarter of it
CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
SPECS = {
    "as a builder finds it": ProtectionSpec(),
    "controller's reference": ProtectionSpec(reference="controller", resistor_series="E96"),
    "trimmers": ProtectionSpec(trimmer=True),
}
BATTERIES: tuple[tuple[BatteryKind, int], ...] = (("lead-acid", 12), ("lfp", 24), ("agm", 48))


def design(battery: BatteryKind, system_v: int, spec: ProtectionSpec) -> ProtectionResult:
    volts = [corner.volts for corner in corner_defaults(battery, system_v)]
    data = ProtectionInput(
        battery=battery,
        system_v=system_v,
        corners=dict(zip(CORNERS, volts, strict=True)),
        source_resistance_ohm=0.02 * system_v / 12,
        load_step_a=360.0 / system_v,
    )
    return design_protection(spec, data, load_library())


@pytest.mark.parametrize("spec", SPECS.values(), ids=SPECS)
@pytest.mark.parametrize(("battery", "system_v"), BATTERIES)
def test_battery_thresholds(
    battery: BatteryKind, system_v: int, spec: ProtectionSpec, reference_engine: Engine
) -> None:
    result = design(battery, system_v, spec)
    found = run_thresholds(voltage_run(result, load_library()), reference_engine)
    assert len(found) == 4
    for name, volts in found.items():
        assert volts == pytest.approx(result.thresholds[name].nominal, rel=AGREEMENT), name


@pytest.mark.parametrize("spec", SPECS.values(), ids=SPECS)
def test_heatsink_thresholds(spec: ProtectionSpec, reference_engine: Engine) -> None:
    result = design("lead-acid", 12, spec)
    found = run_thresholds(heat_run(result, load_library()), reference_engine)
    assert len(found) == 2
    for name, celsius in found.items():
        assert celsius == pytest.approx(result.thresholds[name].nominal, rel=AGREEMENT), name


def test_the_engines_agree_on_every_threshold(engine: Engine) -> None:
    result, library = design("lead-acid", 12, ProtectionSpec()), load_library()
    found = {
        **run_thresholds(voltage_run(result, library), engine),
        **run_thresholds(heat_run(result, library), engine),
    }
    assert found.keys() == result.thresholds.keys()
    for name, value in found.items():
        assert value == pytest.approx(result.thresholds[name].nominal, rel=AGREEMENT), name


@pytest.mark.parametrize(
    ("from_trip_k", "runs"), [(-30.0, True), (3.0, False), (10.0, False)], ids=["cold", "just above", "hot"]
)
def test_heatsink_at_rest(from_trip_k: float, runs: bool, reference_engine: Engine) -> None:
    """Held at a temperature, with the battery in order: only heat decides, and the inhibit line obeys."""
    result, library = design("lead-acid", 12, ProtectionSpec()), load_library()
    celsius = result.thresholds["thermal trip"].nominal + from_trip_k
    circuit = protection_circuit(
        result, library, battery=Steady(value=13.0), thermistor=thermistor_ohm(result, library, celsius)
    )
    nets = [PROTECTION_NETS[name] for name in ("thermal", "inhibit", "under-voltage", "over-voltage")]
    traces = simulate(
        circuit,
        Transient(stop_s=1.0, step_s=0.01, accuracy=1e-5),
        [Voltage(n) for n in nets],
        reference_engine,
    )
    thermal, inhibit, under, over = (float(traces.voltage(net)[-1]) for net in nets)
    volts = result.reference.nominal_v
    assert (thermal > 0.9 * volts) is runs
    assert (inhibit < 0.1 * volts) is runs
    assert min(under, over) > 0.9 * volts


def test_the_agreement_is_no_accident(reference_engine: Engine) -> None:
    """Swapping one resistor for its E24 neighbour moves a threshold by more than the limit."""
    result = design("lead-acid", 12, ProtectionSpec())
    network = result.under_voltage
    other = replace(result, under_voltage=replace(network, lower_ohm=network.lower_ohm * 1.1))
    found = run_thresholds(voltage_run(other, load_library()), reference_engine)
    nominal = result.thresholds["under-voltage trip"].nominal
    assert abs(found["under-voltage trip"] / nominal - 1.0) > 10 * AGREEMENT
