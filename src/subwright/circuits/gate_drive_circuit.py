"""From the controller's outputs to the gates: drivers, gate transformer of a bridge, resistors at a gate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, TypeAlias

from subwright.base.units import code
from subwright.circuits.controller_circuit import supply_net
from subwright.circuits.models import BipolarModel, DiodeModel, JunctionModel, SwitchModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Coupling,
    Numbering,
    Part,
    Pulse,
    Reading,
    Steady,
    TestPoint,
)
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_bill import GATE_PULL_OHM, TURN_OFF_OHM
from subwright.stages.converter_controller import OUTPUT_PULL_OHM
from subwright.stages.converter_drive import SETTLED_V
from subwright.stages.converter_family import open_emitters
from subwright.stages.converter_gate_transformer import CLAMP_V

__all__ = ["DRIVER_OHM", "POSITIONS", "gate_circuit_of", "gate_nets"]

_HUNDRED: Final = 1100
_EDGE_S: Final = 20e-9
DRIVER_OHM: Final = 1.0  # of the bench's generator in place of the controller's output
_MAGNETISING: Final = 0.999  # coupling of windings laid together
_LEG_OHM: Final = 1e-3
_SMALL: Final = JunctionModel(name="SMALL", forward_v=0.7, rated_a=0.1)
_SCHOTTKY: Final = JunctionModel(name="SCHOTTKY", forward_v=CLAMP_V, rated_a=0.2)
_GIVES: Final = DiodeModel(name="GIVES", forward_v=0.1, resistance_ohm=1e-3, rated_a=0.1)
_TAKES: Final = SwitchModel(name="TAKES", on_ohm=DRIVER_OHM, off_ohm=1e6, threshold_v=2.5, clamp_v=100.0)
_LOGIC_V: Final = 5.0

_Models: TypeAlias = list[BipolarModel | DiodeModel | JunctionModel | SwitchModel]

POSITIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "push-pull": ("a", "b"),
    "full-bridge": ("high_a", "low_a", "high_b", "low_b"),
}
"""Places of switches, as the power stage's nets name them."""
_FIRST: Final = frozenset({"a", "high_a", "low_b"})  # on in the first half cycle


def gate_nets(position: str, count: int) -> tuple[str, ...]:
    """Nets of the gates at a position: one for each switch in parallel."""
    if count == 1:
        return (f"gate_{position}",)
    return tuple(f"gate_{position}_{k}" for k in range(1, count + 1))


def gate_circuit_of(result: ConverterResult, *, corners: Mapping[str, float]) -> Circuit:
    """Netlist of the gate drive; generators stand in for the controller, capacitors for the gates.

    Parameters
    ----------
    result : the converter. corners : battery voltages by name, V, for what the test points should read.

    Returns
    -------
    Circuit; the nets of the gates are those of the power stage.
    """
    number = Numbering(_HUNDRED)
    drive, switch = result.drive, result.plan.switch
    models: _Models = []
    parts = _bench(result, models)
    nodes = {}
    for side in "ab":
        nodes[side] = _driver(result, side, number, parts, models)
    couplings: tuple[Coupling, ...] = ()
    ends = dict(nodes)
    if result.gate_transformer is not None:
        couplings = (_transformer(result, nodes, number, parts, models),)
        ends = {position: f"wind_{position}" for position in POSITIONS[result.topology]}
    for position in POSITIONS[result.topology]:
        foot = _foot(position)
        for gate in gate_nets(position, switch.per_side):
            parts += [
                _resistor(number, "gate resistor", ends[position], gate, result.gate_ohm),
                _resistor(number, "gate pull-down", gate, foot, GATE_PULL_OHM),
                Part(
                    designator=f"BENCH_{gate.upper()}",
                    kind="capacitor",
                    nets=(gate, foot),
                    value=switch.mosfet.qg_coul / drive.gate_v,
                    role="gate of a switch",
                    standing="bench",
                    series_ohm=switch.mosfet.rg_ohm or 0.0,
                    initial_v=0.0,
                ),
            ]
    return Circuit(
        name="gate drive",
        parts=tuple(parts),
        models=tuple(models),
        couplings=couplings,
        test_points=_points(result, corners),
    )


def _foot(position: str) -> str:
    """Net of a switch's source."""
    return position.replace("high", "leg") if position.startswith("high") else GROUND


def _resistor(number: Numbering, role: str, a: str, b: str, ohm: float) -> Part:
    return Part(
        designator=number.next("R"),
        kind="resistor",
        nets=(a, b),
        value=ohm,
        role=role,
        part_id=code(ohm, "resistance"),
    )


def _bench(result: ConverterResult, models: _Models) -> list[Part]:
    """Generators for the controller's outputs, its supply, and the legs on ground."""
    timing, drive = result.plan.timing, result.drive
    period = 1.0 / timing.switching_hz
    # What the controller's output gives: its own drop is gone, the driver's still to come.
    high_v = drive.gate_v + drive.driver.drop_v - (result.plan.controller.output_drop_v - SETTLED_V)
    parts = []
    for k, side in enumerate("ab"):
        pulse = Pulse(
            first=0.0,
            then=high_v,
            delay_s=(0.1 + 0.5 * k) * period,
            edge_s=_EDGE_S,
            then_s=0.5 * timing.share * period,
            period_s=period,
        )
        name, inner = side.upper(), f"generator_{side}"
        parts += [
            Part(
                designator=f"BENCH_OUTPUT_{name}",
                kind="voltage source",
                nets=(inner, GROUND),
                value=pulse,
                role="controller's output",
                standing="bench",
            ),
            Part(
                designator=f"BENCH_OHM_{name}",
                kind="resistor",
                nets=(inner, f"out_{side}"),
                value=DRIVER_OHM,
                role="its resistance",
                standing="bench",
            ),
        ]
    bridged = result.gate_transformer is not None
    if bridged:
        parts += _one_way(result, parts, models)
    if bridged or drive.driver.kind == "buffer":
        supply_v = drive.gate_v + drive.driver.drop_v if bridged else high_v + 1.0
        parts.append(
            Part(
                designator="BENCH_SUPPLY",
                kind="voltage source",
                nets=(supply_net(result), GROUND),
                value=Steady(value=supply_v),
                role="supply of the drivers",
                standing="bench",
            )
        )
    if bridged:
        parts += [
            Part(
                designator=f"BENCH_LEG_{leg.upper()}",
                kind="resistor",
                nets=(f"leg_{leg}", GROUND),
                value=_LEG_OHM,
                role="leg held at rest",
                standing="bench",
            )
            for leg in "ab"
        ]
    return parts


def _one_way(result: ConverterResult, parts: list[Part], models: _Models) -> list[Part]:
    """What keeps an output from taking current while it is high, as an emitter follower can't.

    Changes the generators in ``parts``: a diode follows each, and a switch pulls its output down between
    pulses. Under an output that is a bare emitter follower stands its resistor besides.
    """
    more = []
    for k, part in enumerate(parts):
        if part.kind == "resistor":
            side = part.designator[-1].lower()
            parts[k] = replace(part, nets=(f"giving_{side}", f"out_{side}"))
        elif isinstance(part.value, Pulse):
            parts[k] = replace(part, value=replace(part.value, then=part.value.then + _GIVES.forward_v))
    for side in "ab":
        name, pulse = side.upper(), next(p.value for p in parts if p.nets[0] == f"generator_{side}")
        assert isinstance(pulse, Pulse)
        more += [
            Part(
                designator=f"BENCH_GIVES_{name}",
                kind="diode",
                nets=(f"generator_{side}", f"giving_{side}"),
                model=_GIVES.name,
                role="its upper transistor",
                standing="bench",
            ),
            Part(
                designator=f"BENCH_LOW_{name}",
                kind="voltage source",
                nets=(f"low_{side}", GROUND),
                value=replace(pulse, first=_LOGIC_V, then=0.0),
                role="command of its lower transistor",
                standing="bench",
            ),
            Part(
                designator=f"BENCH_TAKES_{name}",
                kind="mosfet",
                nets=(f"out_{side}", f"low_{side}", GROUND),
                model=_TAKES.name,
                role="its lower transistor",
                standing="bench",
            ),
        ]
        if open_emitters(result.plan.controller):
            more.append(
                Part(
                    designator=f"BENCH_PULL_{name}",
                    kind="resistor",
                    nets=(f"out_{side}", GROUND),
                    value=OUTPUT_PULL_OHM,
                    role="output pull-down",
                    standing="bench",
                )
            )
    _keep(models, _GIVES)
    _keep(models, _TAKES)
    return more


def _driver(
    result: ConverterResult,
    side: str,
    number: Numbering,
    parts: list[Part],
    models: _Models,
) -> str:
    """What stands between an output and its gates; returns the node that they hang on."""
    driver, out, node = result.drive.driver, f"out_{side}", f"drive_{side}"
    if driver.kind == "direct":
        return out
    if driver.kind == "turn-off":
        parts += [
            Part(
                designator=number.next("D"),
                kind="diode",
                nets=(out, node),
                model=_SMALL.name,
                role="gate turn-off diode",
                part_id="1N4148",
            ),
            _resistor(number, "gate turn-off base resistor", out, node, TURN_OFF_OHM),
        ]
        _keep(models, _SMALL)
    for transistor, collector in ((driver.npn, supply_net(result)), (driver.pnp, GROUND)):
        if transistor is None:
            continue
        polarity = transistor.polarity
        model = BipolarModel(
            name=f"DRIVER_{polarity.upper()}", polarity=polarity, current_gain=transistor.hfe_min
        )
        parts.append(
            Part(
                designator=number.next("Q"),
                kind="transistor",
                nets=(collector, out, node),
                model=model.name,
                role=f"gate {driver.kind}, {polarity.upper()}",
                part_id=transistor.id,
            )
        )
        _keep(models, model)
    return node


def _keep(models: _Models, model: BipolarModel | DiodeModel | JunctionModel | SwitchModel) -> None:
    if model not in models:
        models.append(model)


def _transformer(
    result: ConverterResult,
    nodes: Mapping[str, str],
    number: Numbering,
    parts: list[Part],
    models: _Models,
) -> Coupling:
    """One winding between the drivers, one for each position; the second half cycle's wound in reverse."""
    gate = result.gate_transformer
    assert gate is not None
    case = number.next("T")
    rows = [("A", (nodes["a"], nodes["b"]))]
    for letter, position in zip("BCDE", POSITIONS["full-bridge"], strict=True):
        ends = (f"wind_{position}", _foot(position))
        rows.append((letter, ends if position in _FIRST else (ends[1], ends[0])))
    parts += [
        Part(
            designator=f"{case}{letter}",
            kind="winding",
            nets=nets,
            value=gate.inductance_h,
            role="gate transformer core",
            part_id=gate.core.id,
            initial_a=-gate.magnetising_a if letter == "A" else None,  # as after many cycles
        )
        for letter, nets in rows
    ]
    for role, returning in (("gate transformer clamp diode", False), ("gate transformer return diode", True)):
        for side in "ab":
            node = nodes[side]
            parts.append(
                Part(
                    designator=number.next("D"),
                    kind="diode",
                    nets=(node, supply_net(result)) if returning else (GROUND, node),
                    model=_SCHOTTKY.name,
                    role=role,
                    part_id="1N5819",
                )
            )
    _keep(models, _SCHOTTKY)
    return Coupling(designator=case, windings=tuple(f"{case}{row[0]}" for row in rows), factor=_MAGNETISING)


def _points(result: ConverterResult, corners: Mapping[str, float]) -> tuple[TestPoint, ...]:
    """The first gate of each position: what a scope shows between gate and source."""
    timing, driver, supply = result.plan.timing, result.drive.driver, result.gate_supply
    points = []
    for k, position in enumerate(POSITIONS[result.topology], 1):
        readings = []
        for at, battery_v in corners.items():
            feed = battery_v if supply is None else min(supply.zener.vz_v, battery_v) - 0.7
            high = feed - driver.drop_v
            swings = result.gate_transformer is not None
            shape = f"{'±' if swings else '0 V to '}{high:.1f} V, {0.5 * timing.share:.1%} of the time each"
            readings.append(
                Reading(
                    at=at,
                    dc_v=0.0 if swings else timing.duty_each * high,
                    ripple_v=2.0 * high if swings else high,
                    waveform=shape if swings else f"square wave, {shape.removesuffix(' each')}",
                )
            )
        net = gate_nets(position, result.plan.switch.per_side)[0]
        what = f"gate {position.replace('_', ' ')} against its source"
        points.append(TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what, readings=tuple(readings)))
    return tuple(points)
