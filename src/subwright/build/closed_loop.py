"""A class-D amplifier's closed loop to experiment on: its circuit, its runs, and its rate in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from subwright.base.errors import SubwrightError
from subwright.build.experiments.record import Case, Outcome
from subwright.build.result import Design
from subwright.circuits.amplifier_values import ClassDValues, class_d_values
from subwright.circuits.analysis import Probe, Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.modulator_closed import closed_loop_circuit
from subwright.circuits.modulator_values import ModulatorValues, modulator_values
from subwright.circuits.netlist import Circuit, Part, PartKind, Steady, Value
from subwright.circuits.simulate import Array, CancelledError, Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.common import Corner, Level

__all__ = [
    "RATE",
    "RATE_LOADED",
    "ClosedLoop",
    "Run",
    "ask",
    "bench_part",
    "cases_of",
    "loop_of",
    "plateau_s",
    "rate_hz",
]

RATE: Final = 0.03
"""Limit of a switching frequency at rest: what a simulator's steps and small capacitances add."""
RATE_LOADED: Final = 0.03
"""And with a load's current in the switches."""
_PER_PERIOD: Final = 100
_ACCURACY: Final = 3e-3
_FINER: Final = 0.6
_FLOOR_V, _FLOOR_A = 1e-4, 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class ClosedLoop:
    """A design's closed loop.

    Attributes
    ----------
    v, stage : modulator and output stage for netlists. model : losses of the whole. load_ohm : Ω.
    """

    v: ModulatorValues
    stage: ClassDValues
    model: ClassDModel
    load_ohm: float

    @property
    def m(self) -> Modulator:
        """The modulator's record."""
        return self.v.record

    @property
    def period_s(self) -> float:
        """Of switching at rest, s."""
        return 1.0 / self.m.switching_hz

    @property
    def low_v(self) -> float:
        """What logic and drivers stand on, V."""
        return -self.v.rail_v if self.m.split_rails else 0.0

    def input_v(self, modulation: float) -> float:
        """Voltage at the line filter's output for a modulation, V."""
        return modulation * self.v.swing_v / self.v.node_gain

    def circuit(
        self,
        modulation: float = 0.0,
        *,
        wanted: Value = None,
        mute: Value = None,
        whole_gates: bool = False,
    ) -> Circuit:
        """The closed loop at a modulation; ``wanted``, V, where the input isn't steady, the rest as in
        ``closed_loop_circuit``.
        """
        return closed_loop_circuit(
            self.v,
            self.stage,
            load_ohm=self.load_ohm,
            wanted=Steady(value=self.input_v(modulation)) if wanted is None else wanted,
            mute=mute,
            modulation=modulation,
            whole_gates=whole_gates,
        )

    def run(self, stop_s: float, keep_from_s: float = 0.0) -> Transient:
        """A run with the steps that edges ask for; times in s."""
        return Transient(
            stop_s=stop_s,
            step_s=self.period_s / _PER_PERIOD,
            keep_from_s=keep_from_s,
            from_initial=True,
            accuracy=_ACCURACY,
            voltage_floor_v=_FLOOR_V,
            current_floor_a=_FLOOR_A,
        )

    def difference(self, traces: Traces, net: str) -> Array:
        """Of leg A's net and leg B's, or of leg A's against 0 V."""
        course = traces.voltage(f"{net}_a")
        return course - traces.voltage(f"{net}_b") if self.m.legs == 2 else course

    def both(self, net: str) -> list[Probe]:
        """Probes of a net of each leg."""
        return [Voltage(f"{net}_{name}") for name in "ab"[: self.m.legs]]

    def rises(self, traces: Traces) -> list[float]:
        """Times at which leg A's node passes the middle of the bus upwards, s."""
        middle_v = self.low_v + 0.5 * self.v.bus_v
        return [t for t, up in crossings(traces.axis, traces.voltage("node_a"), middle_v) if up]


Run: TypeAlias = Callable[[ClosedLoop, Engine, float], Outcome]


def loop_of(design: Design, library: Library) -> ClosedLoop:
    """Closed loop of a design at its nominal battery and full drive.

    Raises
    ------
    SubwrightError : its amplifier has no modulator.
    """
    result, model = design.amplifier, design.amplifier.model
    battery_v = design.point(Corner.NOMINAL, Level.FULL).terminal_v
    fed = result.modulator is not None and result.modulator.control_line_a > 0.0
    v = modulator_values(result, library, control_v=battery_v if fed else None)
    assert isinstance(model, ClassDModel)
    stage = class_d_values(result, rail_v=v.rail_v)
    return ClosedLoop(v=v, stage=stage, model=model, load_ohm=result.load_ohm)


def rate_hz(loop: ClosedLoop, modulation: float) -> float:
    """Closed form of the switching frequency, for the gates of the netlist.

    A self-oscillating loop's integrator runs between thresholds in proportion to the nodes, and on through
    each edge's delay, at slopes that the nodes' distance from the mean sets. At rest the node swings through
    the dead time; a current beyond the ripple leaves it wholly to the edge that the current opposes, and
    drops its share of the rail in the switches.
    """
    m, stage = loop.m, loop.stage
    if m.clocked:
        return m.switching_hz
    flat_s = plateau_s(loop)
    least_s = m.delay_s - m.delays_s["node"] - flat_s
    dead_s = m.dead_time_s + flat_s
    rise_s = fall_s = least_s + min(_slew_s(loop), dead_s)
    if modulation > 0.0:
        rise_s, fall_s = least_s + dead_s, least_s
    mean_v = modulation * loop.v.swing_v
    current_a = mean_v / (loop.load_ohm + stage.lead_ohm + m.legs * stage.inductor_ohm)
    drop_v = m.legs * stage.switch_ohm * current_a
    up_v, down_v = loop.v.swing_v - drop_v - mean_v, loop.v.swing_v + drop_v + mean_v
    way_s = m.resistors_ohm["integrator feedback"] * m.capacitors_f["integrator capacitor"]
    swing = 2.0 * m.hysteresis * loop.v.swing_v * way_s  # V s
    swing += down_v * rise_s + up_v * fall_s
    return 1.0 / (swing / up_v + swing / down_v)


def _slew_s(loop: ClosedLoop) -> float:
    """Time in which the ripple's peak moves a node to the middle of the bus, s."""
    bus_v = loop.v.bus_v
    peak_a = bus_v / (8.0 * loop.stage.inductance_h * loop.m.switching_hz)
    return (2.0 * loop.v.drain_f + loop.stage.snubber_f) * 0.5 * bus_v / peak_a


def plateau_s(loop: ClosedLoop) -> float:
    """What a gate's plateau adds to its turn-off, s: the netlist's gates have none."""
    v = loop.v
    supply_v, drop_v = loop.m.gate_supply_v, v.diodes["gate diode off"].forward_v
    share = math.log((supply_v - drop_v) / (v.threshold_v - drop_v))
    return loop.m.delays_s["gate"] - v.driver.sink_ohm * v.first_f * share


def ask(
    circuit: Circuit, run: Transient, probes: Iterable[Probe], engine: Engine, *, timeout_s: float
) -> Traces:
    """Simulate; a simulator that loses its way between two edges is asked once more, with finer steps.

    Raises
    ------
    SubwrightError : no answer either time, or none that can be trusted.
    """
    wanted = tuple(probes)
    try:
        return simulate(circuit, run, wanted, engine, timeout_s=timeout_s)
    except CancelledError:
        raise
    except SubwrightError:
        if engine.missing():
            raise
        finer = replace(run, accuracy=_FINER * run.accuracy)
        return simulate(circuit, finer, wanted, engine, timeout_s=timeout_s)


def bench_part(name: str, kind: PartKind, nets: tuple[str, ...], value: Value) -> Part:
    """A part of the bench in the netlist."""
    return Part(designator=f"BENCH_{name}", kind=kind, nets=nets, value=value, role="bench", standing="bench")


def cases_of(name_to_run: Mapping[str, Run]) -> Callable[[Design, Library], tuple[Case, ...]]:
    """Cases of an experiment, each made when it runs."""

    def of(design: Design, library: Library) -> tuple[Case, ...]:
        if design.amplifier.modulator is None:
            return ()

        def case(name: str, run: Run) -> Case:
            return Case(
                name=name,
                run=lambda engine, timeout_s: run(loop_of(design, library), engine, timeout_s),
            )

        return tuple(case(name, run) for name, run in name_to_run.items())

    return of
