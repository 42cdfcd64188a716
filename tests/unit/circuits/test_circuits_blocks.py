"""The netlists of the blocks: sound, the same each time, and made of what the bills say."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.converter_point import quick, settling_probes, settling_run
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import ClampValues, PowerValues, SnubberValues, from_result
from subwright.circuits.enclosure_circuit import PRESSURE_PROBE, enclosure_circuit
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.netlist import Circuit, Steady
from subwright.circuits.protection_circuit import protection_circuit
from subwright.circuits.spice_text import deck
from subwright.parts.library import load_library
from subwright.physics.acoustics.boxes import OpenAir, VentedBox
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.batteries import corner_defaults
from subwright.stages.common import Corner
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter
from subwright.stages.protection import ProtectionInput, ProtectionResult, ProtectionSpec, design_protection

POWER = PowerValues(
    emf_v=12.6,
    source_ohm=0.02,
    positive_a=4.0,
    negative_a=0.2,
    ratio=4.5,
    switching_hz=50e3,
    share=0.92,
    switch_ohm=4e-3,
    primary_winding_ohm=2e-3,
    link_ohm=0.6e-3,
    secondary_winding_ohm=60e-3,
    diode_ohm=20e-3,
    diode_v=0.8,
    leakage_h=50e-9,
    magnetising_h=80e-6,
    avalanche_v=55.0,
    input_f=11e-3,
    input_esr_ohm=5e-3,
    reservoir_f=4.4e-3,
    reservoir_esr_ohm=20e-3,
    switches_per_side=2,
    input_count=5,
    reservoir_count=2,
    bleeder_ohm=4.7e3,
    clamp=ClampValues(resistor_ohm=39.0, capacitor_f=4.7e-6, diode_v=0.8, diode_ohm=0.02),
    switch_snubber=SnubberValues(resistor_ohm=5.6, capacitor_f=4.7e-9),
    rectifier_snubber=SnubberValues(resistor_ohm=68.0, capacitor_f=1.2e-9),
    partner_id="the common-anode twin",
)
DRIVER = DriverModel(
    re_ohm=3.4, bl_tm=14.5, mms_kg=0.14, cms_m_per_n=0.2e-3, rms_kg_per_s=5.0, sd_m2=0.05,
    coil_factor=0.0235, coil_exponent=0.688,
)  # fmt: skip
EXAMPLES = Path(__file__).parents[3] / "examples"
CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)


def protection(**wishes: object) -> ProtectionResult:
    volts = [corner.volts for corner in corner_defaults("lead-acid", 12)]
    data = ProtectionInput(
        battery="lead-acid", system_v=12, corners=dict(zip(CORNERS, volts, strict=True)),
        source_resistance_ohm=0.02, load_step_a=30.0, draws=100,
    )  # fmt: skip
    return design_protection(ProtectionSpec.model_validate(wishes), data, load_library())


def filters(**wishes: object) -> FilterResult:
    data = FilterInput(
        full_input_v=1.0, vented=True, tuning_hz=30.0, rail_low_v=30.0, rail_high_v=45.0,
        battery_low_v=10.8, battery_high_v=15.0, draws=100,
    )  # fmt: skip
    return design_filter(FilterSpec.model_validate(wishes), data, load_library())


def watching(result: ProtectionResult) -> Circuit:
    return protection_circuit(result, load_library(), battery=Steady(value=12.6), thermistor=10e3)


def listening(result: FilterResult) -> Circuit:
    return filter_circuit(result, load_library(), supply_v=35.0)


def texts() -> Iterator[str]:
    """Every block once, as text."""
    sweep, run = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=10), Transient(stop_s=1.0, step_s=0.1)
    for values in (POWER, quick(POWER), replace(POWER, bridge=True)):
        probes = [probe for probe in settling_probes(values) if probe != Voltage("clamp")]
        yield deck(power_circuit(values), settling_run(values), probes).text
    yield deck(watching(protection()), run, [Voltage("inhibit")]).text
    yield deck(listening(filters()), sweep, [Voltage(FILTER_OUTPUT)]).text
    box = VentedBox(volume_m3=0.07, tuning_hz=30.0)
    yield deck(enclosure_circuit(DRIVER, box, source_ohm=0.1), sweep, [PRESSURE_PROBE]).text


def test_every_netlist_is_the_same_in_another_process() -> None:
    """Another seed of Python's hashing: nothing depends on the order of a set."""
    script = "import test_circuits_blocks as t; print('\\n'.join(t.texts()), end='')"
    environment = os.environ | {"PYTHONHASHSEED": "12345", "PYTHONPATH": os.path.dirname(__file__)}
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
        timeout=300,
    )
    assert done.stdout == "\n".join(texts())


def test_designators_are_unique_in_a_whole_build() -> None:
    circuits = (power_circuit(POWER), watching(protection()), listening(filters()))
    names = [part.designator for made in circuits for part in made.parts if part.standing != "bench"]
    names += [point.designator for made in circuits for point in made.test_points]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("wishes", [{}, {"reference": "controller"}, {"trimmer": True}], ids=str)
def test_the_protection_is_made_of_its_bill(wishes: dict[str, object]) -> None:
    result = protection(**wishes)
    assert watching(result).bought() == {use.role: use.quantity for use in result.parts}


ONE_LINE_FOR_A_PAIR = {"op-amp supply follower": 2}


@pytest.mark.parametrize(
    "wishes",
    [
        {},
        {"op_amp_supply": "zener"},
        {"op_amp_supply": "regulator"},
        {"op_amp_supply": "battery"},
        {"topology": "state-variable", "sweep_low": "50 Hz", "sweep_high": "120 Hz"},
        {"phase_control": True, "sensitivity_most": "5 V"},
        {"inputs": "mono", "phase_switch": False, "level_control": False},
    ],
    ids=str,
)
def test_the_filter_is_made_of_its_bill(wishes: dict[str, object]) -> None:
    result = filters(**wishes)
    bill = {
        use.role: use.quantity * ONE_LINE_FOR_A_PAIR.get(use.role, 1)
        for use in result.parts
        if use.letter != "W"
    }
    assert listening(result).bought() == bill


def test_values_are_those_of_the_design() -> None:
    result = protection()
    made = watching(result)
    (lower,) = made.by_role("under-voltage sense lower")
    assert lower.value == result.under_voltage.lower_ohm
    assert [part.value for part in made.by_role("run line pull-up")] == [result.run_ohm]


def test_the_power_stage_counts_its_cans_and_switches() -> None:
    bought = power_circuit(POWER).bought()
    assert bought["push-pull switch"] == 4
    assert bought["input capacitor"] == 5
    assert bought["rail capacitor"] == 4
    assert bought["clamp diode"] == 1  # two in one case
    assert bought["rail rectifier"] == bought["rail rectifier, negative side"] == 1
    assert power_circuit(replace(POWER, partner_id="")).bought()["rail rectifier"] == 4
    bridge = power_circuit(replace(POWER, bridge=True)).bought()
    assert bridge["push-pull switch"] == 8
    assert "clamp diode" not in bridge


def test_banks_keep_their_totals() -> None:
    cans = power_circuit(POWER).by_role("input capacitor")
    assert sum(can.value for can in cans) == pytest.approx(POWER.input_f)
    assert 1.0 / sum(1.0 / can.series_ohm for can in cans) == pytest.approx(POWER.input_esr_ohm)


def test_a_quick_stage_is_no_larger_than_the_real_one() -> None:
    small = quick(POWER)
    assert small.reservoir_f < POWER.reservoir_f
    assert small.input_f < POWER.input_f
    tiny = replace(POWER, reservoir_f=1e-6, input_f=1e-6)
    assert quick(tiny).reservoir_f == tiny.reservoir_f


def test_a_collapsing_rail_is_refused() -> None:
    with pytest.raises(SubwrightError, match="A rail collapses"):
        power_circuit(replace(POWER, positive_a=100.0))


def test_a_box_without_a_circuit_is_refused() -> None:
    with pytest.raises(SubwrightError, match=r"no circuit for this kind of box.*OpenAir"):
        enclosure_circuit(DRIVER, OpenAir())


@pytest.mark.parametrize("name", ["storyteller-van", "canal-workboat"])
def test_the_power_stage_is_made_of_its_bill(name: str) -> None:
    """Every part in the netlist of a real design is on the converter's bill, as often as there."""
    design = service.solve(EXAMPLES / f"{name}.build.toml").design
    converter = design.converter
    assert converter is not None
    values = from_result(converter, emf_v=12.6, source_ohm=0.02, positive_a=2.0, negative_a=2.0)
    bill = {use.role: use.quantity for use in converter.parts}
    bought = power_circuit(values).bought()
    assert len(bought) >= 9
    assert bought == {role: bill.get(role) for role in bought}
