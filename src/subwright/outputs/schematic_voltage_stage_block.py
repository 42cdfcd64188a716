"""The block of the voltage stage: discrete class AB of every kind, between the filter and DRIVE."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.small_signal import voltage_stage_readings
from subwright.circuits.amplifier_values import class_ab_values
from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Steady
from subwright.circuits.voltage_stage_circuit import HALF, REFERENCE, LegFeed, voltage_stage_circuit
from subwright.circuits.voltage_stage_loop import leg_feeds
from subwright.outputs.point_words import on_nominal
from subwright.outputs.schematic_amplifier_names import AMPLIFIER_NAMES, positive_name
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_voltage_stage import draw_difference, draw_shared_input, draw_stage_leg
from subwright.parts.library import Library
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.common import Corner, Level

__all__ = ["voltage_stage_block"]

_Draw = Callable[[Kit], tuple[str, ...]]

_SWEEP: Final = AcSweep(low_hz=1.0, high_hz=1e6, per_decade=20)
_SIGNAL_GROUND: Final = (
    "The grounds of this sheet meet at one point, and a lead of their own goes from there to the 0 V of the "
    "supply's capacitors; never along the speaker's return."
)
_MATCH: Final = (
    "The two transistors of the pair face to face, one sleeve of heat-shrink round both; keep the Miller "
    "capacitor's leads short."
)
_MOUNTS: Final = {"fin": "A clip-on fin each", "heatsink": "Insulated on the heatsink"}


def _names(result: AmplifierResult) -> dict[str, str]:
    return {
        **AMPLIFIER_NAMES,
        "rail_positive": positive_name(from_battery=result.rails == "battery"),
        REFERENCE: "AMP REF",
        "signal_held": "SIGNAL",
        "steer_a": "LEG IN A",
        "steer_b": "LEG IN B",
        HALF: "AMP HALF",
    }


def voltage_stage_block(design: Design, library: Library) -> Iterator[Block]:
    """The voltage stage; nothing for class D and for chips, which have theirs inside.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.

    Returns
    -------
    Its block.
    """
    result = design.amplifier
    stage, rails = result.voltage_stage, result.rail_switching
    if stage is None:
        return
    rail_v = design.point(Corner.NOMINAL, Level.FULL).rail_mean_v
    values = class_ab_values(result, rail_v=rail_v, switched=rails is not None)
    feeds = leg_feeds(values, lifted=rails is not None and rails.form == "lifted")
    circuit = voltage_stage_circuit(
        stage,
        values.ids,
        feeds,
        split_rails=values.split_rails,
        supply_v=values.rail_v,
        spread_v=values.spread_v,
        signal=Steady(value=0.0, ac=1.0),
    ).with_readings(voltage_stage_readings(design))
    lifted = stage.bridge == "difference"
    steered = {f"steer_{name}" for name in feeds}
    legs = [
        _leg(name, feed, stage, _at_rest(circuit, partial(_on_leg, end=f"_{name}", lifted=lifted)))
        for name, feed in feeds.items()
    ]
    titles: tuple[str, ...] = ("leg B",)
    if lifted:
        shared = _shared(_at_rest(circuit, lambda net: net in (HALF, REFERENCE)))
        held = _held(stage, _at_rest(circuit, lambda net: net in steered))
        legs, titles = [shared, held, *legs], ("difference", "leg A", "leg B")
    yield Block(
        key="voltage-stage",
        title="Voltage stage",
        stage="amplifier",
        circuit=circuit,
        names=_names(result),
        draw=legs[0],
        more=tuple(legs[1:]),
        more_titles=titles,
        analysis=_SWEEP,
        probes=tuple(Voltage(f"out_{name}") for name in feeds),
    )


def _at_rest(circuit: Circuit, here: Callable[[str], bool]) -> str:
    """Readings of the test points whose net stands on a sheet."""
    read = [
        f"{point.designator} {reading.dc_v:.2f} V".replace("-", "\u2212")
        for point in circuit.test_points
        if here(point.net)
        for reading in on_nominal(point)
    ]
    return f"At rest: {', '.join(read)}; within 5 % or 0.1 V."


def _on_leg(net: str, end: str, lifted: bool) -> bool:
    """Whether a test point stands on the sheet of the leg whose nets have an end; half is on leg A's."""
    if net == HALF:
        return end == "_a" and not lifted
    return net.endswith(end) and not net.startswith("steer")


def _leg(name: str, feed: LegFeed, stage: VoltageStage, rest: str) -> _Draw:
    def draw(kit: Kit) -> tuple[str, ...]:
        draw_stage_leg(kit, name, feed)
        cooling = "".join(
            f" {words}: {', '.join(warm)}."
            for mount, words in _MOUNTS.items()
            if (warm := _mounted(kit, stage, mount, name))
        )
        return (
            _SIGNAL_GROUND,
            f"{_MATCH}{cooling}",
            rest,
            f"Pair {show(stage.tail_a, 'current')}, voltage amplifier {show(stage.stage_a, 'current')}, "
            f"limited to {show(stage.limit_a, 'current')}. Resistors 0.25 W 1 %, film capacitors 63 V unless "
            "stated.",
        )

    return draw


def _mounted(kit: Kit, stage: VoltageStage, mount: str, leg: str) -> list[str]:
    """Designators of a leg's transistors that are cooled in one way."""
    return [
        part.designator
        for part in kit.circuit.parts
        if part.kind == "transistor" and _of(part.nets, leg)
        if part.role in stage.heats and stage.heats[part.role].mount == mount
    ]


def _of(nets: tuple[str, ...], leg: str) -> bool:
    return any(net.endswith(f"_{leg}") for net in nets if net != GROUND)


def _shared(rest: str) -> _Draw:
    def draw(kit: Kit) -> tuple[str, ...]:
        draw_shared_input(kit)
        return (_SIGNAL_GROUND, rest, "Resistors 0.25 W 1 %, film capacitors 63 V unless stated.")

    return draw


def _held(stage: VoltageStage, rest: str) -> _Draw:
    def draw(kit: Kit) -> tuple[str, ...]:
        draw_difference(kit)
        return (
            _SIGNAL_GROUND,
            "The op-amp holds the difference of both outputs, its loop fast up to "
            f"{show(stage.difference_hz, 'frequency')}; over the crests the lower leg stands still and the "
            "other goes on alone.",
            rest,
            "Take both resistors of each kind from one strip, and both capacitors: what they differ by shows "
            "the legs' common movement in the sound. Resistors 0.25 W 1 %, film capacitors 63 V.",
        )

    return draw
