"""Class H with its voltage stage: the crest holds over many cycles; all starts end in one state of rest."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.build.linear_amplifier import SILENT, closed_amplifier, stage_of, values_of
from subwright.build.result import Design
from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Circuit, Part, Ramp, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"
NOTE_HZ, POINTS, LATE = 40.0, 80, 1.3
HELD = 0.005


@cache
def solved() -> Design:
    spec = service.open_build(EXAMPLES / "cargo-bike-cinema.build.toml").spec
    amplifier = spec.amplifier.model_copy(update={"kind": "bridge_class_h"})
    return service.solve(spec.model_copy(update={"amplifier": amplifier}), folder=EXAMPLES).design


def amplifier(signal: Ramp | Steady) -> Circuit:
    """The whole of it."""
    return closed_amplifier(solved(), library_for(solved().spec, EXAMPLES), signal)


def crests(cycles: int, over: float, engine: Engine) -> np.ndarray:
    """Half of the way from crest to crest in each cycle, V."""
    design = solved()
    stage, values, result = stage_of(design), values_of(design), design.amplifier
    assert stage is not None
    full_v = result.peak_v * (result.load_ohm + values.lead_ohm) / result.load_ohm
    signal = sine_ramp(over * full_v / stage.gain, NOTE_HZ, cycles=cycles, points=POINTS)
    circuit = amplifier(signal)
    run = Transient(stop_s=cycles / NOTE_HZ, step_s=1.0 / NOTE_HZ / POINTS, accuracy=1e-3, from_initial=True)
    traces = simulate(circuit, run, [Voltage("out_a"), Voltage("out_b")], engine, timeout_s=300.0)
    course = traces.voltage("out_a") - traces.voltage("out_b")
    number = np.minimum((traces.axis * NOTE_HZ).astype(int), cycles - 1)
    return np.array([0.5 * np.ptp(course[number == k]) for k in range(cycles)])


def test_the_crest_holds_over_forty_cycles(reference_engine: Engine) -> None:
    """A leg that stands still half of the time must leave nothing behind."""
    design = solved()
    stage, values, result = stage_of(design), values_of(design), design.amplifier
    assert stage is not None
    full_v = result.peak_v * (result.load_ohm + values.lead_ohm) / result.load_ohm
    wanted = full_v / np.hypot(1.0, stage.low_corner_hz / NOTE_HZ)  # what the input coupling leaves
    found = crests(40, 1.0, reference_engine)
    assert found[3:] == pytest.approx(wanted, rel=HELD)
    assert found[-1] == pytest.approx(found[20], rel=0.001)


def started(part: Part, how: str, volts: float) -> Part:
    """A capacitor with another charge at the start."""
    if part.kind != "capacitor":
        return part
    if how == "nothing charged":
        return replace(part, initial_v=0.0)
    if how == "half at nothing" and part.role == "half capacitor":
        return replace(part, initial_v=0.0)
    if how == "half too high" and part.role == "half capacitor":
        return replace(part, initial_v=0.8 * volts)
    if how == "leg A up" and part.role == "Miller capacitor":
        return replace(part, initial_v=1.5 * volts if "base_lower_a" in part.nets else 0.0)
    if how == "difference charged" and part.role == "difference capacitor":
        return replace(part, initial_v=0.3 * volts)
    if how == "no bias" and part.role == "bias capacitor":
        return replace(part, initial_v=0.0)
    return part


STARTS = (
    "as designed",
    "nothing charged",
    "half at nothing",
    "half too high",
    "leg A up",
    "difference charged",
    "no bias",
)


@pytest.mark.parametrize("how", STARTS)
def test_every_start_ends_in_the_same_rest(how: str, reference_engine: Engine) -> None:
    """Both outputs at half of the battery, no rail lifted, whatever the capacitors held."""
    design = solved()
    volts = values_of(design).rail_v
    circuit = amplifier(SILENT)
    circuit = replace(circuit, parts=tuple(started(part, how, volts) for part in circuit.parts))
    run = Transient(stop_s=1.5, step_s=5e-3, from_initial=True)
    nets = ("out_a", "out_b", "half_buffered", "lift_a", "lift_b")
    traces = simulate(circuit, run, list(map(Voltage, nets)), reference_engine, timeout_s=120.0)
    rest = {net: float(traces.voltage(net)[-1]) for net in nets}
    for net in nets[:3]:
        assert rest[net] == pytest.approx(0.5 * volts, abs=0.02), (how, rest)
        late = traces.voltage(net)[traces.axis > LATE]
        assert float(np.ptp(late)) < 5e-3, (how, net)
    assert max(rest["lift_a"], rest["lift_b"]) < 0.1, (how, rest)


def test_clipping_leaves_no_charge_behind(reference_engine: Engine) -> None:
    """Overdriven by four tenths, its crests are flat and alike from cycle to cycle."""
    found = crests(8, 1.4, reference_engine)
    assert found[3:] == pytest.approx(found[-1], rel=0.02)
    assert found[-1] >= 0.97 * solved().amplifier.peak_v
