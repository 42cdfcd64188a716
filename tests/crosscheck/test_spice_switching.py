"""Fast comparator, Schmitt inverter, half-bridge driver, limits of an op-amp: models do as they say."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.models import (
    GroundedComparatorModel,
    HalfBridgeDriverModel,
    Model,
    OpAmpModel,
    SchmittInverterModel,
)
from subwright.circuits.netlist import GROUND, Circuit, Part, PartKind, Pulse, Ramp, Steady, Value
from subwright.circuits.simulate import Array, Engine, Traces, simulate

pytestmark = pytest.mark.spice

INVERTER = SchmittInverterModel(
    name="INVERTER", low_share=0.3, high_share=0.5, output_ohm=50.0, delay_s=12e-9, input_f=4e-12
)
DRIVER = HalfBridgeDriverModel(
    name="DRIVER",
    input_share=0.5,
    on_s=120e-9,
    off_s=94e-9,
    source_ohm=6.0,
    sink_ohm=5.0,
    uvlo_on_v=8.6,
    uvlo_off_v=8.2,
    logic_a=15e-6,
    lower_a=180e-6,
    upper_a=125e-6,
)
GATE_F = 4e-9


def element(name: str, kind: PartKind, nets: tuple[str, ...], value: Value = None, model: str = "") -> Part:
    return Part(
        designator=name,
        kind=kind,
        nets=nets,
        value=value,
        model=model,
        standing="bench",
        initial_v=0.0 if kind == "capacitor" else None,
    )


def source(net: str, value: Value, foot: str = GROUND) -> Part:
    return element(f"BENCH_{net.upper()}", "voltage source", (net, foot), value)


def run(
    parts: tuple[Part, ...], model: Model, stop_s: float, engine: Engine, nets: tuple[str, ...]
) -> Traces:
    circuit = Circuit(name="one part", parts=parts, models=(model,))
    analysis = Transient(stop_s=stop_s, step_s=stop_s / 500.0, from_initial=True)
    return simulate(circuit, analysis, [Voltage(net) for net in nets], engine)


def crossings(time_s: Array, course: Array, level: float, *, up: bool) -> Array:
    """Times at which a course passes a level in a direction, between the points."""
    above = course > level
    at = np.flatnonzero(~above[:-1] & above[1:] if up else above[:-1] & ~above[1:])
    share = (level - course[at]) / (course[at + 1] - course[at])
    return time_s[at] + share * (time_s[at + 1] - time_s[at])


def test_a_schmitt_inverter_turns_at_its_thresholds_after_its_delay(engine: Engine) -> None:
    saw = Ramp(points=((0.0, 0.0), (10e-6, 5.0), (20e-6, 0.0), (25e-6, 0.0)))
    parts = (
        source("supply", Steady(value=5.0)),
        source("input", saw),
        element("BENCH_U", "schmitt inverter", ("input", "output", "supply", GROUND), model="INVERTER"),
        element("BENCH_R", "resistor", ("output", GROUND), 1e5),
    )
    seen = run(parts, INVERTER, 25e-6, engine, ("output",))
    fall = crossings(seen.axis, seen.voltage("output"), 2.5, up=False)[-1]
    rise = crossings(seen.axis, seen.voltage("output"), 2.5, up=True)[-1]
    assert fall == pytest.approx(5e-6 + 12e-9, abs=0.25e-6)
    assert rise == pytest.approx(10e-6 + 7e-6 + 12e-9, abs=0.25e-6)


def test_a_fast_comparator_pulls_to_its_ground_pin_after_its_delay(engine: Engine) -> None:
    model = GroundedComparatorModel(
        name="FAST", offset_v=0.0, bias_a=2.5e-7, saturation_ohm=30.0, delay_s=80e-9, supply_a=4e-3
    )
    wave = Pulse(first=-0.1, then=0.1, delay_s=1e-6, edge_s=1e-9, then_s=1e-6, period_s=1.0)
    parts = (
        source("positive", Steady(value=12.0)),
        source("negative", Steady(value=-12.0)),
        source("input", wave),
        element(
            "BENCH_U",
            "grounded comparator",
            ("input", GROUND, "output", "positive", "negative", GROUND),
            model="FAST",
        ),
        element("BENCH_R", "resistor", ("positive", "output"), 1e3),
    )
    seen = run(parts, model, 3e-6, engine, ("output",))
    out = seen.voltage("output")
    assert 0.0 < float(np.interp(0.9e-6, seen.axis, out)) < 0.5
    assert float(np.interp(1.9e-6, seen.axis, out)) == pytest.approx(12.0, rel=1e-3)
    rise = crossings(seen.axis, out, 6.0, up=True)[-1]
    fall = crossings(seen.axis, out, 6.0, up=False)[-1]
    assert rise - 1e-6 == pytest.approx(80e-9, abs=25e-9)
    assert fall - 2e-6 == pytest.approx(80e-9, abs=25e-9)


def driven(high: Value, low: Value, stop: Value, lower: Value, lifted: Value) -> tuple[Part, ...]:
    """A driver with a gate's charge on each output; the upper one stands on ground."""
    pins = (
        "logic", "high", "stop", "low", GROUND, "supply", GROUND, "lower_gate", "boost", GROUND, "upper_gate",
    )  # fmt: skip
    return (
        source("logic", Steady(value=5.0)),
        source("high", high),
        source("low", low),
        source("stop", stop),
        source("supply", lower),
        source("boost", lifted),
        element("BENCH_U", "half-bridge driver", pins, model="DRIVER"),
        element("BENCH_UPPER", "capacitor", ("upper_gate", GROUND), GATE_F),
        element("BENCH_LOWER", "capacitor", ("lower_gate", GROUND), GATE_F),
    )


def square(first: float, then: float, delay_s: float, for_s: float) -> Pulse:
    return Pulse(first=first, then=then, delay_s=delay_s, edge_s=2e-9, then_s=for_s, period_s=1.0)


TWELVE = Steady(value=12.0)
REST = Steady(value=0.0)


def test_a_driver_delays_either_edge_and_charges_through_its_resistance(engine: Engine) -> None:
    parts = driven(square(0.0, 5.0, 2e-6, 1e-6), REST, REST, TWELVE, TWELVE)
    seen = run(parts, DRIVER, 5e-6, engine, ("upper_gate", "lower_gate"))
    gate = seen.voltage("upper_gate")
    half = 0.5 * 12.0
    (on,) = crossings(seen.axis, gate, half, up=True)
    (off,) = crossings(seen.axis, gate, half, up=False)
    halving = GATE_F * float(np.log(2.0))
    assert on - 2e-6 == pytest.approx(120e-9 + 6.0 * halving, abs=12e-9)
    assert off - 3e-6 == pytest.approx(94e-9 + 5.0 * halving, abs=12e-9)
    assert float(np.max(seen.voltage("lower_gate"))) < 0.1


def test_a_stop_ends_a_pulse_and_waits_for_the_next_edge(engine: Engine) -> None:
    """Two pulses; a stop in the middle of the first ends it for good, the second comes."""
    twice = Pulse(first=0.0, then=5.0, delay_s=2e-6, edge_s=2e-9, then_s=4e-6, period_s=6e-6)
    parts = driven(REST, twice, square(0.0, 5.0, 3e-6, 1e-6), TWELVE, TWELVE)
    seen = run(parts, DRIVER, 10e-6, engine, ("lower_gate",))
    at = np.interp([2.8e-6, 3.6e-6, 5.5e-6, 9.5e-6], seen.axis, seen.voltage("lower_gate"))
    assert at[0] > 11.5
    assert at[3] > 11.5
    assert max(at[1], at[2]) < 0.5


def test_a_low_floating_supply_holds_the_upper_gate_off(engine: Engine) -> None:
    """It falls below the lockout during a pulse and comes back; the next edge counts."""
    twice = Pulse(first=0.0, then=5.0, delay_s=4e-6, edge_s=2e-9, then_s=8e-6, period_s=12e-6)
    dip = square(12.0, 7.9, 6e-6, 3e-6)
    seen = run(driven(twice, REST, REST, TWELVE, dip), DRIVER, 20e-6, engine, ("upper_gate",))
    at = np.interp([5.5e-6, 8.5e-6, 11.5e-6, 19e-6], seen.axis, seen.voltage("upper_gate"))
    assert at[0] > 11.5
    assert at[3] > 11.5
    assert max(at[1], at[2]) < 0.5


def test_a_low_supply_holds_both_gates_off(engine: Engine) -> None:
    wave = square(0.0, 5.0, 2e-6, 1e-6)
    seen = run(
        driven(wave, wave, REST, Steady(value=8.0), TWELVE),
        DRIVER,
        4e-6,
        engine,
        ("upper_gate", "lower_gate"),
    )
    assert float(np.max(seen.voltage("upper_gate"))) < 0.1
    assert float(np.max(seen.voltage("lower_gate"))) < 0.1


def test_an_op_amp_slews_no_faster_and_swings_no_further(engine: Engine) -> None:
    model = OpAmpModel(name="LIMITED", gbw_hz=10e6, dc_gain=1e5, slew_v_per_s=5e6, swing_v=(-9.0, 8.0))
    wave = square(-20.0, 20.0, 10e-6, 10e-6)
    parts = (
        source("input", wave),
        element("BENCH_U", "op-amp", ("input", "output", "output", "input", GROUND), model="LIMITED"),
        element("BENCH_R", "resistor", ("output", GROUND), 1e4),
    )
    seen = run(parts, model, 20e-6, engine, ("output",))
    out = seen.voltage("output")
    assert float(np.interp(9.9e-6, seen.axis, out)) == pytest.approx(-9.0, abs=0.02)
    assert float(np.interp(19.9e-6, seen.axis, out)) == pytest.approx(8.0, abs=0.02)
    (rise,) = crossings(seen.axis, out, 0.0, up=True)
    assert rise - 10e-6 == pytest.approx(9.0 / 5e6, rel=0.03)
