"""What stands between the filter and an integrated amplifier: how much gets through, open and muted."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.amplifier_chip import CHIP_INPUT
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_values import class_ab_values
from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.physics.voltage_stage import parallel_ohm
from subwright.stages.amplifier_chip_pins import BRIDGE_INPUT_OHM
from subwright.stages.amplifier_driving import Driving
from subwright.stages.amplifier_voltage_stage_network import MUTE_OHM

__all__ = ["EXPERIMENTS"]

_BAND: Final = AcSweep(low_hz=1e3, high_hz=4e3, per_decade=10)
_NETS: Final = frozenset(
    {"wanted_a", "muted_first_a", "muted_a", "muting_a", "mute", "divided_a", CHIP_INPUT}
)


def _before(design: Design, line_v: float) -> Circuit:
    """The parts before the chip's input, 1 V at the filter's output, the mute's line at a voltage."""
    values = class_ab_values(design.amplifier)
    whole = class_ab_circuit(values, load_ohm=design.amplifier.load_ohm, signal=Steady(value=0.0))
    parts: list[Part] = []
    for part in whole.parts:
        driven = part.standing == "bench" and CHIP_INPUT in part.nets
        if driven or part.kind == "op-amp" or not _NETS & set(part.nets):
            continue
        if part.designator == "BENCH_FILTER":
            part = replace(part, value=Steady(value=0.0, ac=1.0))
        if part.designator == "BENCH_MUTE":
            part = replace(part, value=Steady(value=line_v))
        if part.role != "chip mute resistor":
            parts.append(part)
    if not any(part.role == "mute transistor" for part in parts):
        parts.append(
            Part(
                designator="BENCH_INSIDE",
                kind="resistor",
                nets=(CHIP_INPUT, GROUND),
                value=BRIDGE_INPUT_OHM,
                role="inside of the chip's input",
                standing="bench",
            )
        )
    used = {part.model for part in parts}
    ends = [net for part in parts for net in part.nets]
    lone = tuple(net for net in dict.fromkeys(ends) if ends.count(net) == 1)
    return Circuit(
        name="input of the integrated amplifier",
        parts=tuple(parts),
        models=tuple(model for model in whole.models if model.name in used),
        open_nets=lone,
    )


def _muted_share(driving: Driving) -> float:
    """What two shunts leave, from the filter's output to the chip."""
    each, foot = driving.resistors_ohm["chip input series"], driving.resistors_ohm["chip input"]
    last = parallel_ohm(MUTE_OHM, foot)
    first = parallel_ohm(MUTE_OHM, each + last)
    return first / (each + first) * last / (each + last)


def _through(design: Design, _library: Library, engine: Engine, timeout_s: float) -> Outcome:
    driving = design.amplifier.driving
    assert driving is not None

    def level(line_v: float) -> tuple[float, str]:
        circuit = _before(design, line_v)
        traces = simulate(circuit, _BAND, [Voltage(CHIP_INPUT)], engine, timeout_s=timeout_s)
        return float(np.abs(traces.phasor(Voltage(CHIP_INPUT))[0])), traces.engine

    share, name = level(12.0)
    checks = [
        Check(
            quantity="share of the filter's signal that reaches the chip",
            closed=driving.input_share,
            simulated=share,
            unit="",
            limit=0.02,
        )
    ]
    if "mute gate" in driving.resistors_ohm:
        left, _ = level(0.0)
        closed = 20.0 * float(np.log10(_muted_share(driving) / driving.input_share))
        checks.append(
            Check(
                quantity="what the mute leaves of the signal",
                closed=closed,
                simulated=20.0 * float(np.log10(left / share)),
                unit="dB",
                limit=1.0,
                absolute=True,
            )
        )
    return Outcome(checks=tuple(checks), engine=name)


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    driving = design.amplifier.driving
    if driving is None or "chip input" not in driving.resistors_ohm:
        return ()
    return (Case(name="", run=lambda engine, timeout_s: _through(design, library, engine, timeout_s)),)


EXPERIMENTS = (
    Experiment(
        name="chip-input",
        block="amplifier",
        title="What reaches an integrated amplifier, open and muted",
        about=(
            "Series resistors, shunts, coupling capacitor and input resistor at 1 kHz. The closed forms are "
            "the dividers, their capacitors short for the one and open for the other: 2 % and 1 dB. A "
            "vehicle type's own input resistance, 50 k\u03a9 at least and from memory, is left out of its "
            "divider: 15 %."
        ),
        cases=_cases,
    ),
)
