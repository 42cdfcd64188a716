"""Class G, class H and lateral pairs: the loss model against the circuits, comparator, diodes and all."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_drive import bridge_ramps, sine_ramp
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_values import class_ab_values
from subwright.circuits.analysis import Current, Transient, Voltage
from subwright.circuits.measure import crossings, last_periods, mean_of, rms_of
from subwright.circuits.simulate import Array, Engine, Traces, simulate
from subwright.parts.library import load_library
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.amplifier_rails import lifted_threshold_v
from subwright.stages.supply import SupplySpec, supply_corners

pytestmark = pytest.mark.spice

LIBRARY = load_library()
TWELVE = supply_corners(SupplySpec())[0]
LOAD, LEAD, NOTE_HZ = 4.0, 0.05, 40.0
LOSS = 0.03
SINE = np.sin((np.arange(4000) + 0.5) * (np.pi / 8000))


@cache
def design(kind: str, power_w: float | None, ab_output: str = "auto") -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, "ab_output": ab_output})
    return design_amplifier(
        spec, power_w, LOAD, TWELVE, LIBRARY, source_resistance_ohm=0.02, speaker_cable_ohm=LEAD
    )


def drawn_w(result: AmplifierResult, peak_v: float, rail_v: float) -> float:
    v = peak_v * SINE
    return float(np.mean(result.model.input_power_w(v, v / LOAD, rail_v)))


def last(traces: Traces, course: Array) -> tuple[Array, Array]:
    return last_periods(traces.axis, course, 1.0 / NOTE_HZ, 1)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.75, 1.0])
def test_class_g_draws_from_each_pair_what_the_model_says(share: float, reference_engine: Engine) -> None:
    result = design("class_g", 150.0)
    values, rails = class_ab_values(result, switched=True), result.rail_switching
    assert rails is not None
    peak, points = share * result.peak_v, 240
    wanted = sine_ramp(peak * (LOAD + LEAD) / LOAD, NOTE_HZ, cycles=2, points=points)
    circuit = class_g_circuit(values, rails, LIBRARY, load_ohm=LOAD, signal=wanted)
    sources = {"RAIL": values.rail_v, "INNER": rails.inner_ratio * values.rail_v}
    names = [f"BENCH_{pair}_{side}" for pair in sources for side in ("POSITIVE", "NEGATIVE")]
    run = Transient(stop_s=2.0 / NOTE_HZ, step_s=1.0 / NOTE_HZ / points, accuracy=1e-4)
    traces = simulate(
        circuit, run, [*map(Current, names), Voltage("terminal")], reference_engine, timeout_s=120.0
    )
    by_pair = {
        pair: sum(volts * mean_of(*last(traces, -traces.current(name))) for name in names if pair in name)
        for pair, volts in sources.items()
    }
    load_w = rms_of(*last(traces, traces.voltage("terminal"))) ** 2 / LOAD
    assert load_w == pytest.approx(peak**2 / (2.0 * LOAD), rel=2e-3)
    assert sum(by_pair.values()) == pytest.approx(drawn_w(result, peak, values.rail_v), rel=LOSS)
    heat = sum(by_pair.values()) - load_w
    assert heat == pytest.approx(drawn_w(result, peak, values.rail_v) - load_w, rel=LOSS)
    # below the takeover the outer rails feed nothing but the driving
    model = result.model
    assert isinstance(model, ClassABModel)
    if share == 0.2:
        assert by_pair["RAIL"] < 1.2 * model.driver_a * 2.0 * values.rail_v
    if share == 1.0:
        assert by_pair["RAIL"] > 3.0 * by_pair["INNER"]


def test_a_class_g_without_its_inner_rails_would_be_noticed() -> None:
    result = design("class_g", 150.0)
    model = result.model
    assert isinstance(model, ClassABModel)
    v = 0.25 * result.peak_v * SINE
    rail = result.rail_needed_v
    plain = float(np.mean(model.plain().input_power_w(v, v / LOAD, rail)))
    assert drawn_w(result, 0.25 * result.peak_v, rail) < (1.0 - 10.0 * LOSS) * plain


@pytest.mark.parametrize("share", [0.4, 0.7, 1.0])
def test_class_h_takes_each_lifted_charge_twice(share: float, reference_engine: Engine) -> None:
    result = design("bridge_class_h", None)
    values, rails = class_ab_values(result, switched=True), result.rail_switching
    assert rails is not None
    peak, points, cycles = share * result.peak_v, 240, 3
    signals = bridge_ramps(
        values.rail_v, 3.0, peak * (LOAD + LEAD) / LOAD, NOTE_HZ, cycles=cycles, points=points
    )
    circuit = class_h_circuit(
        values, rails, LIBRARY, lift_f=result.lift_f, cans=result.lift_count, load_ohm=LOAD, signals=signals
    )
    run = Transient(
        stop_s=cycles / NOTE_HZ, step_s=1.0 / NOTE_HZ / points / 8.0, accuracy=1e-4, from_initial=True
    )
    nets = ("terminal", "out_a", "out_b", "feed_a", "lift_a")
    probes = [Current("BENCH_RAIL_POSITIVE"), *map(Voltage, nets)]
    traces = simulate(circuit, run, probes, reference_engine, timeout_s=120.0)
    drawn = values.rail_v * mean_of(*last(traces, -traces.current("BENCH_RAIL_POSITIVE")))
    load_w = rms_of(*last(traces, traces.voltage("terminal") - traces.voltage("out_b"))) ** 2 / LOAD
    assert load_w == pytest.approx(peak**2 / (2.0 * LOAD), rel=2e-3)
    assert drawn == pytest.approx(drawn_w(result, peak, values.rail_v), rel=LOSS)
    heat = drawn_w(result, peak, values.rail_v) - load_w
    assert drawn - load_w == pytest.approx(heat, rel=LOSS)
    # the comparator moves where its network says
    time_s, lift = last(traces, traces.voltage("lift_a"))
    _, out = last(traces, traces.voltage("out_a"))
    moves = crossings(time_s, lift, 0.5 * values.rail_v)
    assert [rising for _, rising in moves] == [True, False]
    (up, _), (down, _) = moves
    reference = LIBRARY.reference(rails.reference_id).vref_v
    for time, lifted in ((up, False), (down, True)):
        trip = float(lifted_threshold_v(rails.resistors_ohm, values.rail_v, reference, lifted=lifted))
        assert float(np.interp(time, time_s, out)) == pytest.approx(trip, abs=0.05)
    # the rail stands where the lift was reckoned, to the end of the crest
    _, feed = last(traces, traces.voltage("feed_a"))
    while_up = feed[(time_s > up + 2e-5) & (time_s < down - 2e-5)]
    assert np.min(while_up) / values.rail_v - 1.0 > result.lift_reached - 0.01


def test_both_lifting_switches_never_conduct_at_once(reference_engine: Engine) -> None:
    """Without the gates' own charge nothing holds the one back until the other has let go, and it costs."""
    result = design("bridge_class_h", None)
    values, rails = class_ab_values(result, switched=True), result.rail_switching
    assert rails is not None
    signals = bridge_ramps(values.rail_v, 3.0, 0.5 * result.peak_v, NOTE_HZ, cycles=2)
    circuit = class_h_circuit(
        values, rails, LIBRARY, lift_f=result.lift_f, cans=result.lift_count, load_ohm=LOAD, signals=signals
    )
    bare = replace(circuit, parts=tuple(p for p in circuit.parts if p.role != "gate charge"))
    run = Transient(stop_s=2.0 / NOTE_HZ, step_s=1.0 / NOTE_HZ / 2000.0, accuracy=1e-4, from_initial=True)
    drawn = []
    for tried in (circuit, bare):
        traces = simulate(tried, run, [Current("BENCH_RAIL_POSITIVE")], reference_engine, timeout_s=120.0)
        drawn.append(values.rail_v * mean_of(*last(traces, -traces.current("BENCH_RAIL_POSITIVE"))))
    assert drawn[1] > drawn[0] + 0.3


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_lateral_pairs_idle_and_heat_as_the_model_says(share: float, reference_engine: Engine) -> None:
    """A square law hands over more gently than junctions do: the model's is an upper bound in between."""
    result = design("class_ab", 60.0, "lateral")
    values = class_ab_values(result)
    assert values.lateral
    peak, points = share * result.peak_v, 240
    wanted = sine_ramp(max(peak, 1e-6) * (LOAD + LEAD) / LOAD, NOTE_HZ, points=points)
    circuit = class_ab_circuit(values, load_ohm=LOAD, signal=wanted)
    run = Transient(stop_s=1.0 / NOTE_HZ, step_s=1.0 / NOTE_HZ / points, accuracy=1e-4)
    rails = ("BENCH_RAIL_POSITIVE", "BENCH_RAIL_NEGATIVE")
    traces = simulate(circuit, run, list(map(Current, rails)), reference_engine, timeout_s=120.0)
    drawn = values.rail_v * sum(-mean_of(traces.axis, traces.current(rail)) for rail in rails)
    assert drawn == pytest.approx(drawn_w(result, peak, values.rail_v), rel=LOSS)
