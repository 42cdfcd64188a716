"""Trips and releases of the protection stage against the whole circuit, ramped slowly both ways."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from subwright import service
from subwright.base.errors import NoSolutionError
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.protection_ramp import (
    current_run,
    heat_run,
    run_thresholds,
    thermistor_ohm,
    voltage_run,
)
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library, load_library
from subwright.physics.batteries import BatteryKind, corner_defaults
from subwright.physics.cranking import CRANKING
from subwright.stages.common import Corner
from subwright.stages.protection import (
    ProtectionInput,
    ProtectionResult,
    ProtectionSpec,
    design_protection,
)
from subwright.stages.protection_records import CurrentInput

pytestmark = pytest.mark.spice

AGREEMENT = 0.002  # the step of the ramp and the lag of the sense filter are a quarter of it
CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
SPECS = {
    "as a builder finds it": ProtectionSpec(),
    "controller's reference": ProtectionSpec(reference="controller", resistor_series="E96"),
    "trimmers": ProtectionSpec(trimmer=True),
}
BATTERIES: tuple[tuple[BatteryKind, int], ...] = (("lead-acid", 12), ("lfp", 24), ("agm", 48))


EXAMPLES = Path(__file__).parents[2] / "examples"
WITHIN = 0.01  # asked of every design, whatever its values
RANDOM_DESIGNS = 20


@pytest.fixture(scope="module")
def deviations() -> Iterator[list[tuple[float, str]]]:
    """Relative deviations of simulated from calculated thresholds; the largest is printed at the end."""
    found: list[tuple[float, str]] = []
    yield found
    if found:
        share, name = max(found)
        print(f"\n{len(found)} thresholds simulated; largest deviation {100 * share:.3f} %: {name}")


def compare(
    name: str, result: ProtectionResult, library: Library, engine: Engine, found: list[tuple[float, str]]
) -> None:
    """Ramp battery and heatsink up and down: all six thresholds within ``WITHIN`` of the closed forms."""
    simulated = {
        **run_thresholds(voltage_run(result, library), engine),
        **run_thresholds(heat_run(result, library), engine),
    }
    assert simulated.keys() == result.thresholds.keys()
    for threshold, value in simulated.items():
        nominal = result.thresholds[threshold].nominal
        found.append((abs(value / nominal - 1.0), f"{name}, {threshold}"))
        assert value == pytest.approx(nominal, rel=WITHIN), f"{name}, {threshold}"


def design(
    battery: BatteryKind, system_v: int, spec: ProtectionSpec, current: CurrentInput | None = None
) -> ProtectionResult:
    volts = [corner.volts for corner in corner_defaults(battery, system_v)]
    data = ProtectionInput(
        battery=battery,
        system_v=system_v,
        corners=dict(zip(CORNERS, volts, strict=True)),
        source_resistance_ohm=0.02 * system_v / 12,
        load_step_a=360.0 / system_v,
        current=current,
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


def test_over_current_through_a_shunt(reference_engine: Engine) -> None:
    """No hysteresis here: the hold-off on the run line takes its place, so trip and release coincide."""
    result = design("lead-acid", 12, ProtectionSpec(over_current="shunt"), CurrentInput(
        crest_a=40.0, rms_a=25.0, fault_a=600.0
    ))  # fmt: skip
    assert result.over_current is not None
    found = run_thresholds(current_run(result, load_library()), reference_engine)
    for amperes in found.values():
        assert amperes == pytest.approx(result.over_current.nominal_a, rel=0.005)


def hold_off_s(result: ProtectionResult, engine: Engine) -> float:
    """Simulated time from the release of an under-voltage to the end of the inhibit, s."""
    names = result.thresholds
    good, bad = names["under-voltage release"].nominal + 1.0, names["under-voltage trip"].nominal - 0.5
    battery = Ramp(
        points=((0.0, good), (1.0, good), (1.001, bad), (3.0, bad), (3.001, good), (3.0 + 5.0, good))
    )
    circuit = protection_circuit(result, load_library(), battery=battery, thermistor=10e3)
    watch, inhibit = (PROTECTION_NETS[name] for name in ("under-voltage", "inhibit"))
    run = Transient(stop_s=8.0, step_s=2e-3, accuracy=1e-5)
    traces = simulate(circuit, run, [Voltage(watch), Voltage(inhibit)], engine)
    half = 0.5 * result.reference.nominal_v
    (_, released), (_, freed) = (
        crossings(traces.axis, traces.voltage(net), half) for net in (watch, inhibit)
    )
    assert (released[1], freed[1]) == (True, False)
    return freed[0] - released[0]


def test_hold_off_lies_in_its_window(reference_engine: Engine) -> None:
    result = design("lead-acid", 12, ProtectionSpec())
    assert result.hold_off.low_s < hold_off_s(result, reference_engine) < result.hold_off.high_s


def test_hold_off_is_the_nominal_one(reference_engine: Engine) -> None:
    result = design("lead-acid", 12, ProtectionSpec())
    assert hold_off_s(result, reference_engine) == pytest.approx(result.hold_off.nominal_s, rel=0.03)


@pytest.mark.parametrize("link_closed", [True, False])
def test_an_open_link_lets_it_run_and_the_lamps_show_the_trip(
    link_closed: bool, reference_engine: Engine
) -> None:
    result, library = design("lead-acid", 12, ProtectionSpec()), load_library()
    low_v = result.thresholds["under-voltage trip"].nominal - 1.0
    circuit = protection_circuit(
        result, library, battery=Steady(value=low_v), thermistor=10e3, link_closed=link_closed
    )
    nets = [PROTECTION_NETS[name] for name in ("under-voltage", "inhibit")]
    run = Transient(stop_s=0.5, step_s=0.01, accuracy=1e-5)
    traces = simulate(circuit, run, [Voltage(net) for net in nets], reference_engine)
    under, inhibit = (float(traces.voltage(net)[-1]) for net in nets)
    assert under < 0.5  # the lamp is lit either way
    assert (inhibit > 0.9 * result.reference.nominal_v) is link_closed


def test_the_agreement_is_no_accident(reference_engine: Engine) -> None:
    """Swapping one resistor for its E24 neighbour moves a threshold by more than the limit."""
    result = design("lead-acid", 12, ProtectionSpec())
    run = voltage_run(result, load_library())
    parts = tuple(
        replace(part, value=1.1 * result.under_voltage.lower_ohm)
        if part.role == "under-voltage sense lower"
        else part
        for part in run.circuit.parts
    )
    found = run_thresholds(replace(run, circuit=replace(run.circuit, parts=parts)), reference_engine)
    nominal = result.thresholds["under-voltage trip"].nominal
    assert abs(found["under-voltage trip"] / nominal - 1.0) > 10 * AGREEMENT


@pytest.mark.parametrize("name", sorted(path.name.split(".")[0] for path in EXAMPLES.glob("*.build.toml")))
def test_thresholds_of_every_example(
    name: str, reference_engine: Engine, deviations: list[tuple[float, str]]
) -> None:
    library = load_library().with_drawer(service.open_drawer(EXAMPLES / f"{name}.drawer.toml"))
    result = service.solve(EXAMPLES / f"{name}.build.toml").design.protection
    compare(name, result, library, reference_engine, deviations)


def random_design(seed: int) -> tuple[str, ProtectionResult]:
    """One of the builds that a builder may ask for: battery, series, reference and trimmers drawn.

    A wish that the stage refuses (no E12 values come within 5 %) is drawn again.
    """
    draw = Random(seed)
    batteries: tuple[BatteryKind, ...] = ("lead-acid", "agm", "lfp")
    while True:
        battery, system_v = draw.choice(batteries), draw.choice((12, 24, 36))
        trip_c = draw.uniform(65.0, 105.0)
        spec = ProtectionSpec(
            resistor_series=draw.choice(("E12", "E24", "E96")),
            resistor_tolerance=draw.choice((0.01, 0.05)),
            trimmer=draw.random() < 0.5,
            reference=draw.choice(("shunt", "controller")),
            thermal_trip_c=trip_c,
            thermal_release_c=trip_c - draw.uniform(10.0, 25.0),
            lamp_a=draw.uniform(0.5e-3, 2e-3),
            sense_filter_s=draw.uniform(5e-3, 50e-3),
        )
        trimmed = " trimmed" if spec.trimmer else ""
        try:
            result = design(battery, system_v, spec)
        except NoSolutionError:
            continue
        return f"{battery} {system_v} V {spec.resistor_series}{trimmed}, seed {seed}", result


@pytest.mark.parametrize("seed", range(RANDOM_DESIGNS))
def test_thresholds_of_random_designs(
    seed: int, reference_engine: Engine, deviations: list[tuple[float, str]]
) -> None:
    name, result = random_design(seed)
    compare(name, result, load_library(), reference_engine, deviations)


def test_random_designs_are_of_every_kind() -> None:
    """Else the seeds have left out what they are to try."""
    names = " ".join(random_design(seed)[0] for seed in range(RANDOM_DESIGNS))
    for word in ("lead-acid", "agm", "lfp", "12 V", "24 V", "36 V", "E12", "E24", "E96", "trimmed"):
        assert word in names


@pytest.mark.parametrize("trip_c", [70.0, 85.0, 100.0])
def test_thermal_thresholds_at_three_temperatures(
    trip_c: float, reference_engine: Engine, deviations: list[tuple[float, str]]
) -> None:
    spec = ProtectionSpec(thermal_trip_c=trip_c, thermal_release_c=trip_c - 15.0)
    result, library = design("lead-acid", 12, spec), load_library()
    found = run_thresholds(heat_run(result, library), reference_engine)
    for name, celsius in found.items():
        nominal = result.thresholds[name].nominal
        assert celsius == pytest.approx(nominal, rel=WITHIN), name
        # The closed form holds itself to what was asked for, so the simulation does too.
        assert celsius == pytest.approx(result.thresholds[name].target, abs=2.0), name
        deviations.append((abs(celsius / nominal - 1.0), f"{trip_c:.0f} °C, {name}"))


@pytest.mark.parametrize("level", range(4), ids=["I", "II", "III", "IV"])
@pytest.mark.parametrize(
    ("trip_v", "release_v", "filter_s"), [(10.5, 12.0, 20e-3), (8.1, 10.5, 20e-3), (8.9, 10.5, 2e-3)]
)
def test_engine_start_rides_through_or_stops(
    level: int, trip_v: float, release_v: float, filter_s: float, reference_engine: Engine
) -> None:
    """The whole circuit on the starting profile's first second does what the closed form says."""
    spec = ProtectionSpec(
        under_voltage_trip_v=trip_v, under_voltage_release_v=release_v, sense_filter_s=filter_s
    )
    result, library = design("lead-acid", 12, spec), load_library()
    ride, profile = result.cranking[level], CRANKING[12][level]
    rest = corner_defaults("lead-acid", 12)[2].volts
    points = [(t, v) for t, v in profile.rippled(rest) if t < 1.0]
    battery = Ramp(points=((0.0, rest), *((1.0 + t, v) for t, v in points[1:]), (2.0, points[-1][1])))
    battery = replace(battery, points=(battery.points[0], (1.0, rest), *battery.points[1:]))
    circuit = protection_circuit(result, library, battery=battery, thermistor=10e3)
    nets = [PROTECTION_NETS["under-voltage"], "under_filter"]
    run = Transient(stop_s=2.0, step_s=0.5e-3, accuracy=1e-5)
    traces = simulate(circuit, run, [Voltage(net) for net in nets], reference_engine)
    started = traces.axis > 0.9
    tripped = float(traces.voltage(nets[0])[started].min()) < 0.5 * result.reference.nominal_v
    # The dip reaches the filter only in part; the simulated trip must be on the side that the numbers say.
    assert tripped is (ride.sensed_v < result.thresholds["under-voltage trip"].nominal)
    if ride.outcome == "rides through":
        assert not tripped
    if ride.outcome.startswith("stops") and not ride.locked_out:
        assert tripped


def test_some_engine_start_rides_through() -> None:
    """Else the comparison above would never see one."""
    quick, slow = (
        design(
            "lead-acid",
            12,
            ProtectionSpec(under_voltage_trip_v=8.1, under_voltage_release_v=10.5, sense_filter_s=filter_s),
        ).cranking[0]
        for filter_s in (2e-3, 20e-3)
    )
    assert slow.outcome == "rides through"
    assert slow.off_s == 0.0
    assert quick.outcome != "rides through"
