"""Controller, gate drive and soft start of designs against their closed forms, by the named experiments."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from subwright import service
from subwright.build.experiments import experiment_named
from subwright.build.experiments.record import Outcome
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits import auxiliary_loaded, converter_closed
from subwright.circuits.analysis import Current, Transient, Voltage
from subwright.circuits.controller_circuit import controller_circuit
from subwright.circuits.converter_point import quick, settling_run
from subwright.circuits.converter_values import from_result
from subwright.circuits.gate_drive_circuit import gate_circuit_of
from subwright.circuits.measure import last_periods, mean_of
from subwright.circuits.netlist import Circuit, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import load_library
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_bill import GATE_PULL_OHM

pytestmark = pytest.mark.spice

LIBRARY = load_library()
EXAMPLES = Path(__file__).parents[2] / "examples"
WISHES: dict[str, tuple[int, dict[str, object]]] = {
    "494": (12, {"controller": "TL494", "dead_time": "1.5 us"}),
    "bridge": (48, {}),
    "buffer": (24, {"topology": "push-pull", "gate_drive": "buffer"}),
    "regulated": (12, {"output": "regulated"}),
    "494 regulated": (12, {"controller": "TL494", "output": "regulated"}),
    "3524": (12, {"controller": "SG3524"}),
    "3524 regulated": (48, {"controller": "SG3524", "output": "regulated"}),
    "3846": (12, {"controller": "UC3846"}),
    "no clamp": (12, {"clamp": "none"}),
    "small winding": (12, {"auxiliary_feed": "winding"}),
    "small winding, regulated": (48, {"auxiliary_feed": "winding", "output": "regulated"}),
}


@cache
def design(name: str) -> Design:
    if name not in WISHES:
        found = service.solve(EXAMPLES / f"{name}.build.toml").design
        assert found is not None
        return found
    system, wishes = WISHES[name]
    spec = {
        "format_version": 1,
        "name": name,
        "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
        "driver": {"part": "Harbour 10"},
        "goal": {"power": "150 W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": "class_d_half_bridge"},
        "enclosure": {"kind": "sealed"},
        "converter": wishes,
    }
    return solve_build(BuildSpec.model_validate(spec), LIBRARY)


def run(experiment: str, name: str, engine: Engine, number: int = 0) -> Outcome:
    return experiment_named(experiment).cases(design(name), LIBRARY)[number].run(engine, 120.0)


def broken(outcome: Outcome) -> list[str]:
    return [
        f"{check.quantity}: {check.closed:.4g} against {check.simulated:.4g}"
        for check in outcome.checks
        if not check.holds
    ]


@pytest.mark.parametrize("case", [0, 2], ids=["pulses", "soft start"])
def test_the_timing_parts_do_what_they_were_chosen_for(case: int, engine: Engine) -> None:
    assert broken(run("controller-timing", "storyteller-van", engine, case)) == []


@pytest.mark.parametrize(
    "name", ["494", "bridge", "regulated", "494 regulated", "3524", "3524 regulated", "3846"]
)
def test_other_controllers_keep_time(name: str, reference_engine: Engine) -> None:
    assert broken(run("controller-timing", name, reference_engine)) == []
    assert broken(run("controller-timing", name, reference_engine, 2)) == []


def test_the_gates_follow_their_drivers(engine: Engine) -> None:
    assert broken(run("gate-drive", "storyteller-van", engine)) == []


@pytest.mark.parametrize("name", ["canal-workboat", "494", "bridge", "3524 regulated", "buffer"])
def test_gates_behind_other_drivers_follow(name: str, reference_engine: Engine) -> None:
    assert broken(run("gate-drive", name, reference_engine)) == []


def test_a_bridges_rails_fill_as_reckoned(reference_engine: Engine) -> None:
    assert broken(run("converter-soft-start", "bridge", reference_engine)) == []


def test_a_load_step_dips_as_reckoned(engine: Engine) -> None:
    assert broken(run("converter-load-step", "storyteller-van", engine)) == []


def test_the_steady_state_holds(engine: Engine) -> None:
    """Lowest battery, a tenth of the load: where the clamp rests and the choke's current may have gaps."""
    for name in ("storyteller-van", "regulated"):
        assert broken(run("converter-steady-state", name, engine)) == []


def test_the_rails_fill_as_reckoned_and_not_evenly(reference_engine: Engine) -> None:
    """Spread evenly over the soft start the current would be a fraction of the peak."""
    converter = design("storyteller-van").converter
    assert converter is not None
    charge = 2.0 * converter.reservoir_bank.capacitance_f * converter.rail_unloaded_v * converter.ratio
    outcome = run("converter-soft-start", "storyteller-van", reference_engine)
    assert (
        max(check.simulated for check in outcome.checks) > 2.0 * charge / converter.plan.timing.soft_start_s
    )


@pytest.mark.parametrize(
    ("wrong", "factor", "limit"), [("rt_ohm", 1.1, "rate of one output"), ("rd_ohm", 1.5, "dead time")]
)
def test_a_wrong_timing_part_would_be_noticed(
    wrong: str, factor: float, limit: str, reference_engine: Engine
) -> None:
    found = design("storyteller-van")
    assert found.converter is not None
    plan = found.converter.plan
    timing = replace(plan.timing, **{wrong: factor * getattr(plan.timing, wrong)})
    changed = replace(found, converter=replace(found.converter, plan=replace(plan, timing=timing)))
    outcome = experiment_named("controller-timing").cases(changed, LIBRARY)[0].run(reference_engine, 120.0)
    assert any(line.startswith(limit) for line in broken(outcome))


def test_without_a_clamp_the_leakage_current_falls_against_the_avalanche(reference_engine: Engine) -> None:
    assert broken(run("converter-soft-start", "no clamp", reference_engine)) == []


def test_a_bridges_gates_take_charge_both_ways(reference_engine: Engine) -> None:
    """A gate that is one capacitor from below its source to above takes its charge twice in a cycle.

    The transformer's magnetising current is made small and its leakage smaller, for neither is the gates'.
    """
    found = design("bridge").converter
    assert found is not None
    circuit = gate_circuit_of(found, corners={})
    stiff = {part.designator: 100.0 * part.value for part in circuit.parts if part.kind == "winding"}
    parts = tuple(
        replace(part, value=stiff[part.designator], initial_a=None) if part.designator in stiff else part
        for part in circuit.parts
    )
    tight = tuple(replace(coupling, factor=1.0 - 1e-6) for coupling in circuit.couplings)
    period = 1.0 / found.plan.timing.switching_hz
    feeds = [part.designator for part in parts if part.kind == "voltage source"]
    run_s = Transient(
        stop_s=6.1 * period, step_s=period / 4000.0, keep_from_s=2.0 * period, from_initial=True
    )
    traces = simulate(
        replace(circuit, parts=parts, couplings=tight),
        run_s,
        [Current(feed) for feed in feeds],
        reference_engine,
    )
    drawn_a = sum(-mean_of(*last_periods(traces.axis, traces.current(feed), period, 3)) for feed in feeds)
    gates, one_way_a = found.switch_count, found.switch_count * found.plan.switch.mosfet.qg_coul / period
    pulled_a = gates * 2.0 * found.plan.timing.duty_each * found.drive.gate_v / GATE_PULL_OHM
    assert drawn_a == pytest.approx(2.0 * one_way_a + pulled_a, rel=0.2)  # transistors' bases besides
    assert drawn_a > 1.6 * (one_way_a + pulled_a)


def test_a_gate_transformer_with_a_turn_too_few_would_be_noticed(reference_engine: Engine) -> None:
    """Its magnetising current goes with the square of its turns: on the bench, and in the drive's supply."""
    found = design("bridge")
    assert found.converter is not None
    gate = found.converter.gate_transformer
    assert gate is not None
    less = (1.0 - 1.0 / gate.turns) ** 2
    wound = replace(gate, turns=gate.turns - 1, inductance_h=less * gate.inductance_h)
    changed = replace(found, converter=replace(found.converter, gate_transformer=wound))
    outcome = experiment_named("gate-drive").cases(changed, LIBRARY)[0].run(reference_engine, 120.0)
    assert any(line.startswith("gate transformer's current") for line in broken(outcome))


@pytest.mark.parametrize("name", ["494 regulated", "3524 regulated"])
def test_a_closed_loop_makes_a_load_step_good_as_reckoned(name: str, reference_engine: Engine) -> None:
    assert broken(run("regulated-load-step", name, reference_engine)) == []


@pytest.mark.parametrize("case", [0, 2], ids=["tired battery", "charging"])
def test_the_small_winding_gives_what_its_regulators_ask(case: int, engine: Engine) -> None:
    assert broken(run("auxiliary-supply", "small winding", engine, case)) == []


def test_the_small_winding_serves_beside_a_choke(reference_engine: Engine) -> None:
    assert broken(run("auxiliary-supply", "small winding, regulated", reference_engine)) == []


def test_a_turn_too_many_on_the_small_winding_would_be_noticed(reference_engine: Engine) -> None:
    found = design("small winding")
    assert found.converter is not None
    aux = found.converter.auxiliary
    real = auxiliary_loaded.auxiliary_v
    wrong = replace(found.converter, auxiliary=replace(aux, turns=aux.turns + 1))
    values = quick(from_result(wrong, emf_v=12.6, source_ohm=0.02, positive_a=2.0, negative_a=2.0))
    circuit = auxiliary_loaded.loaded_auxiliary(wrong, values)
    traces = simulate(circuit, settling_run(values), auxiliary_loaded.AUXILIARY_PROBES, reference_engine)
    small_v = float(traces.voltage("aux_positive")[-1])
    assert small_v == pytest.approx(real(wrong, values), rel=0.03)
    assert small_v != pytest.approx(real(found.converter, values), rel=0.03)


def test_a_loop_twice_as_slow_would_be_noticed(
    reference_engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = converter_closed.controller_circuit

    def slow(result: ConverterResult, **options: Any) -> Circuit:
        return real(replace(result, loop_f=2.0 * result.loop_f), **options)

    monkeypatch.setattr(converter_closed, "controller_circuit", slow)
    outcome = run("regulated-load-step", "494 regulated", reference_engine)
    assert any(line.startswith("time until half") for line in broken(outcome))


@pytest.mark.parametrize("name", ["3525", "494", "3524", "3846"])
def test_a_high_inhibit_stops_every_family(name: str, reference_engine: Engine) -> None:
    """While the soft start is long over. A 494 must empty a capacitor first: within half a millisecond."""
    found = design("storyteller-van" if name == "3525" else name).converter
    assert found is not None
    period = 1.0 / found.plan.timing.switching_hz
    circuit = controller_circuit(found, supply=Steady(value=12.6), corners={}, inhibit_v=4.5, settled=True)
    late_s = 0.5e-3 if name == "494" else 3.0 * period
    run_s = Transient(
        stop_s=late_s + 6.0 * period, step_s=period / 500.0, keep_from_s=late_s, from_initial=True
    )
    probes = (Voltage("out_a"), Voltage("out_b"), Voltage("ct"))
    traces = simulate(circuit, run_s, probes, reference_engine)
    assert float(max(traces.voltage("out_a").max(), traces.voltage("out_b").max())) < 1.0
    assert float(np.ptp(traces.voltage("ct"))) > 1.0  # the ramp runs on: it is the inhibit that stops them
