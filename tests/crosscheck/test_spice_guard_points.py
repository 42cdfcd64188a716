"""What hangs on the lines between the guards' blocks, each on the circuit that it stands for."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from subwright import service
from subwright.build.experiments import protection
from subwright.build.result import Design
from subwright.build.test_points import protection as points
from subwright.build.test_points.control import control_readings, driver_base_v, mute_load
from subwright.build.test_points.protection import inhibit_high_v
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.controller_circuit import controller_circuit
from subwright.circuits.modulator_circuit import modulator_circuit
from subwright.circuits.modulator_values import modulator_values
from subwright.circuits.netlist import GROUND, Circuit, Part, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.circuits.speaker_guard_circuit import speaker_guard_circuit
from subwright.parts.library import Library
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
FORMS: dict[str, tuple[str, dict[str, dict[str, Any]]]] = {
    "van": ("storyteller-van", {}),
    "bike": ("cargo-bike-cinema", {}),
    "494": (
        "storyteller-van",
        {"converter": {"controller": "TL494", "output": "regulated", "dead_time_s": 1.5e-6}},
    ),
    "3846": ("storyteller-van", {"converter": {"controller": "UC3846", "output": "regulated"}}),
}
STILL = Transient(stop_s=1e-3, step_s=1e-5)


@cache
def made(form: str) -> tuple[Design, Library]:
    example, changes = FORMS[form]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    parts = {name: getattr(spec, name).model_copy(update=new) for name, new in changes.items()}
    spec = spec.model_copy(update=parts)
    return service.solve(spec, folder=EXAMPLES).design, library_for(spec, EXAMPLES)


def source(name: str, net: str, volts: float) -> Part:
    return Part(
        designator=f"BENCH_{name}",
        kind="voltage source",
        nets=(net, GROUND),
        value=Steady(value=volts),
        role="bench",
        standing="bench",
    )


def pull_up(ohm: float, nets: tuple[str, str]) -> Part:
    return Part(
        designator="BENCH_PULL_UP", kind="resistor", nets=nets, value=ohm, role="bench", standing="bench"
    )


def alone(circuit: Circuit, roles: Iterable[str], bench: tuple[Part, ...]) -> Circuit:
    """Parts of some roles with bench parts; nets that nobody else holds lie on 0 V through a megohm."""
    kept = [part for part in circuit.parts if part.role in set(roles)]
    used = {part.model for part in kept}
    nets = [net for part in (*kept, *bench) for net in part.nets]
    loose = [net for net in dict.fromkeys(nets) if nets.count(net) == 1 and net != GROUND]
    ties = tuple(
        Part(
            designator=f"BENCH_TIE_{k}",
            kind="resistor",
            nets=(net, GROUND),
            value=1e6,
            role="bench",
            standing="bench",
        )
        for k, net in enumerate(loose)
    )
    models = tuple(model for model in circuit.models if model.name in used)
    return Circuit(name="alone", parts=(*kept, *bench, *ties), models=models)


def read(circuit: Circuit, net: str, engine: Engine) -> float:
    return float(simulate(circuit, STILL, [Voltage(net)], engine).voltage(net)[-1])


@pytest.mark.parametrize("form", ["van", "bike"])
def test_the_mute_line_carries_what_the_modulator_takes(form: str, reference_engine: Engine) -> None:
    """A transistor's emitter on split rails, a divider on one rail."""
    design, library = made(form)
    assert design.control is not None
    rows = {row.at: row.dc_v for row in control_readings(design, library)["mute"]}
    timer = {row.at: row.dc_v for row in control_readings(design, library)["timer"]}
    at = "nominal battery, no signal"
    v = modulator_values(design.amplifier, library)
    low_v = -v.rail_v if v.record.split_rails else 0.0
    bench = [
        source("TIMER", "timer", timer[at]),
        pull_up(design.control.supply.pullup_ohm, ("timer", "mute")),
    ]
    if v.record.split_rails:
        bench.append(source("RAIL", "rail_negative", low_v))
    roles = ("mute series", "mute transistor", "mute collector", "mute shunt")
    found = read(alone(modulator_circuit(v), roles, tuple(bench)), "mute", reference_engine)
    assert mute_load(design) is not None
    assert found == pytest.approx(rows[at], rel=0.01)


@pytest.mark.parametrize("form", ["494", "3846"])
def test_the_inhibit_line_carries_what_the_controller_takes(form: str, reference_engine: Engine) -> None:
    design, _ = made(form)
    assert design.converter is not None
    circuit = controller_circuit(design.converter, supply=Steady(value=12.0), corners={})
    protected = design.protection
    bench = (
        source("REFERENCE", "reference", protected.reference.nominal_v),
        pull_up(protected.inhibit_ohm, ("reference", "inhibit")),
    )
    roles = ("inhibit base resistor", "inhibit base pull-down", "inhibit transistor", "shutdown resistor",
             "shutdown pull-down")  # fmt: skip
    found = read(alone(circuit, roles, bench), "inhibit", reference_engine)
    assert found == pytest.approx(inhibit_high_v(design), rel=0.02)


def test_the_loudspeaker_s_line_stands_a_base_above_ground(reference_engine: Engine) -> None:
    design, library = made("van")
    guard = design.speaker_guard
    assert guard is not None
    rows = {row.at: row.dc_v for row in control_readings(design, library)["control"]}
    control_v = rows["nominal battery, no signal"]
    circuit = speaker_guard_circuit(
        guard, library, control=Steady(value=control_v), output=Steady(value=0.0), load_ohm=4.0, outputs_v=0.0
    )
    found = read(circuit, "speaker_on", reference_engine)
    assert found == pytest.approx(driver_base_v(design, library, control_v), rel=0.02)


def test_a_wrong_reading_would_be_noticed(monkeypatch: pytest.MonkeyPatch, reference_engine: Engine) -> None:
    """A hundredth and a half more on every net of the protection, and its own experiment objects."""
    design, library = made("van")
    sweep = next(one for one in protection.EXPERIMENTS if one.name == "trip-sweep")
    (case,) = sweep.cases(design, library)
    sound = case.run(reference_engine, 60.0).checks
    assert [check.quantity for check in sound if not check.holds] == []
    whole = points._node
    monkeypatch.setattr(points, "_node", lambda *given: 1.015 * whole(*given))
    wrong = [check.quantity for check in case.run(reference_engine, 60.0).checks if not check.holds]
    assert {"under sense, nominal battery, no signal", "over sense, highest battery, no signal"} <= set(wrong)
    assert np.all([check.holds for check in sound])
