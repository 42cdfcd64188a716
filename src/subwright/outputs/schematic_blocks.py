"""The blocks of a build that have a netlist, with what their sheets print and who places their parts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points import FULL_SINE
from subwright.build.test_points.converter import converter_readings
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import from_result
from subwright.circuits.shunt_return import SHUNT_NET, converter_returns, through_shunt
from subwright.circuits.tapped_secondary import INNER_SECTIONS, with_taps
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_amplifier_blocks import amplifier_block
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_boost import boost_block
from subwright.outputs.schematic_boost_control import boost_control_block
from subwright.outputs.schematic_converter import draw_converter
from subwright.outputs.schematic_converter_blocks import (
    auxiliary_block,
    controller_block,
    gate_drive_block,
    gate_names,
)
from subwright.outputs.schematic_guard_blocks import (
    battery_guard_block,
    battery_shunt_ohm,
    control_block,
    protection_block,
    speaker_guard_block,
)
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator_block import modulator_block
from subwright.outputs.schematic_signal_blocks import filter_block, input_block
from subwright.outputs.schematic_voltage_stage_block import voltage_stage_block
from subwright.outputs.schematic_wiring import wiring_block
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.transformer_records import TransformerResult, Winding

__all__ = ["Block", "blocks", "drawn_designators"]


_READINGS_AT: Final = (740, 646)  # below the secondary
_READINGS_WIDTH: Final = 60
_ELSEWHERE: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("transformer", "transformer core"): ("T101",),
}
"""Parts of other bills that the power stage's sheet shows."""


def drawn_designators(found: tuple[Block, ...]) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Designators that the netlists give, by (stage, role) of the bill; sections of a case count once."""
    names: dict[tuple[str, str], dict[str, None]] = {}
    for block in found:
        for part in block.circuit.parts:
            if part.standing == "bought":
                names.setdefault((block.stage_of(part.role), part.role), {})[part.case] = None
    made = {key: tuple(cases) for key, cases in names.items()}
    wound = made.get(("amplifier", "output inductor"))
    if wound is not None:  # an inductor that is wound is bought as its core
        made["amplifier", "output inductor core"] = wound
    choke = made.pop(("converter", "output choke"), None)
    if choke is not None:
        made["converter", "output choke core"] = choke
    return {**made, **_ELSEWHERE} if any(block.stage == "converter" for block in found) else made


def blocks(design: Design, library: Library) -> tuple[tuple[Block, ...], tuple[tuple[str, str], ...]]:
    """Blocks that have a netlist, in the order of the sheets, and those without one, with the reason."""
    made: list[Block] = []
    missing: list[tuple[str, str]] = []
    for title, make in _MAKERS.items():
        try:
            made += make(design, library)
        except SubwrightError as error:
            missing.append((title, error.message))
    return tuple(made), tuple(missing)


def _converter(design: Design, library: Library) -> Iterator[Block]:
    result, transformer, supply = design.converter, design.transformer, design.supply
    if result is None or transformer is None:
        return
    full = design.point(Corner.NOMINAL, Level.FULL)
    values = from_result(
        result,
        emf_v=full.emf_v,
        source_ohm=supply.source_resistance_ohm,
        positive_a=full.rail_a,
        negative_a=full.rail_a,
    )
    circuit = power_circuit(values, converter_readings(design))
    sense_ohm = battery_shunt_ohm(design)
    if sense_ohm is not None:
        circuit = through_shunt(circuit, sense_ohm, converter_returns)
    if transformer.tap_turns:
        circuit = with_taps(circuit, transformer.secondary_turns, transformer.tap_turns)
    period_s = 1.0 / result.plan.timing.switching_hz
    names = {
        SHUNT_NET: "SHUNT",
        "tap_a": "TAP A",
        "tap_b": "TAP B",
        "input": "BATTERY",
        "rail_positive": "RAIL +",
        "rail_negative": "RAIL −",
        **{f"drain_{side}": f"DRAIN {side.upper()}" for side in "ab"},
        **gate_names(result),
    }
    choke = result.choke
    texts: dict[str, tuple[str, ...]] = {
        **{f"T101{s}": (f"T101{s}", f"{transformer.primary_turns} t") for s in "AB"},
        **{
            f"T101{s}": (f"T101{s}", f"{transformer.secondary_turns - transformer.tap_turns} t") for s in "CD"
        },
        **{name: (name, f"{transformer.tap_turns} t") for name in INNER_SECTIONS},
    }
    if choke is not None:
        texts |= {
            name: (name, show(choke.choke.inductance_h, "inductance"), f"{choke.choke.turns} t")
            for name in ("L101A", "L101B")
        }

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_converter(kit)
        for k, words in enumerate(wrap(readings_line(circuit, signal=FULL_SINE), _READINGS_WIDTH)):
            kit.sheet.say(_READINGS_AT[0], _READINGS_AT[1] + 14 * k, words, classes="sm t")
        return _power_notes(design, transformer)

    yield Block(
        key="converter",
        title="Converter power stage",
        stage="converter",
        circuit=circuit,
        names=names,
        draw=draw,
        elsewhere=frozenset({"BT101"}),
        texts=texts,
        analysis=Transient(
            stop_s=200.0 * period_s,
            step_s=period_s / 200.0,
            keep_from_s=180.0 * period_s,
            from_initial=True,
            current_floor_a=1e-4 * full.battery_a,
            voltage_floor_v=1e-3,
        ),
        probes=tuple(Voltage(net) for net in ("input", "rail_positive", "rail_negative")),
    )


def _power_notes(design: Design, transformer: TransformerResult) -> tuple[str, ...]:
    stack = f", {transformer.stack} stacked" if transformer.stack > 1 else ""
    bridged = design.converter is not None and design.converter.plan.topology == "full-bridge"
    wound = "primary" if bridged else "primaries"
    links = ", ".join(
        f"{conductor.name.removeprefix('link, ')} {_links(conductor.parallel)}⌀ "
        f"{show(conductor.diameter_m, 'length')}"
        for conductor in design.wiring.conductors
    )
    if bridged:
        links = links.replace("half-primary", "primary")
    return (
        f"Heavy lines carry the power; least wire: {links}.",
        f"T101: {transformer.core.id}{stack}; {wound} {_strands(transformer.primary)}, secondaries "
        f"{_strands(transformer.secondary)} mm. Dots mark starts."
        f"{_tapped(transformer)}",
        *_choke_note(design),
        "The rails hold their charge after switching off: measure before touching.",
        "Resistors 0.25 W, film capacitors 63 V unless stated.",
    )


def _choke_note(design: Design) -> tuple[str, ...]:
    output = None if design.converter is None else design.converter.choke
    if output is None:
        return ()
    choke = output.choke
    return (
        f"L101: {choke.core.id}, 2 × {choke.turns} turns of {choke.strands} × "
        f"{choke.wire.conductor_m * 1e3:.2f} mm on one core, {choke.how}; dots are "
        "starts: a winding the wrong way round saturates it.",
    )


def _tapped(transformer: TransformerResult) -> str:
    """Where the half-secondaries are tapped, for the note on the transformer."""
    if not transformer.tap_turns:
        return ""
    return f" TAP A and B: {transformer.tap_turns} of {transformer.secondary_turns} turns from the centre."


def _strands(winding: Winding) -> str:
    return f"{winding.strands} × {winding.wire.conductor_m * 1e3:.2f}"


def _links(parallel: int) -> str:
    return f"{parallel} × " if parallel > 1 else ""


_MAKERS: Final[Mapping[str, Callable[[Design, Library], Iterator[Block]]]] = {
    "Wiring": wiring_block,
    "Converter power stage": _converter,
    "Converter controller": controller_block,
    "Gate drive": gate_drive_block,
    "Auxiliary supply": auxiliary_block,
    "Boost converter power stage": boost_block,
    "Boost converter controller": boost_control_block,
    "Battery guard": battery_guard_block,
    "Protection": protection_block,
    "Switching on and off": control_block,
    "Inputs": input_block,
    "Line-level filter": filter_block,
    "Voltage stage": voltage_stage_block,
    "Modulator": modulator_block,
    "Output stage": amplifier_block,
    "Speaker guard": speaker_guard_block,
}
