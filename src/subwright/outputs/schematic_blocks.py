"""The blocks of a build that have a netlist, with what their sheets print and who places their parts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.result import Design
from subwright.circuits.amplifier_class_d import INDUCTORS, class_d_circuit
from subwright.circuits.amplifier_values import class_d_values
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_values import from_result
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.outputs.schematic_amplifier import draw_class_d
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_converter import FUSE_ELEMENT, draw_converter
from subwright.outputs.schematic_filter import draw_filter, draw_filter_supply, fits_with_supply
from subwright.outputs.schematic_guard_blocks import protection_block
from subwright.outputs.schematic_kit import Kit
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.transformer_records import TransformerResult, Winding

__all__ = ["Block", "blocks", "drawn_designators"]


_FUSE: Final = "F101"
_ELSEWHERE: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("supply", "supply fuse"): (_FUSE,),
    ("transformer", "transformer core"): ("T101",),
}
"""Parts of other bills that the power stage's sheet shows."""


def drawn_designators(found: tuple[Block, ...]) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Designators that the netlists give, by (stage, role) of the bill; sections of a case count once."""
    names: dict[tuple[str, str], dict[str, None]] = {}
    for block in found:
        for part in block.circuit.parts:
            if part.standing == "bought":
                names.setdefault((block.stage, part.role), {})[part.case] = None
    made = {key: tuple(cases) for key, cases in names.items()}
    wound = made.get(("amplifier", "output inductor"))
    if wound is not None:  # an inductor that is wound is bought as its core
        made["amplifier", "output inductor core"] = wound
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


def _filter(design: Design, library: Library) -> Iterator[Block]:
    result = design.filter
    apart = not fits_with_supply(result)
    battery = result.op_amp_supply.kind == "battery"
    if battery or design.converter is None:
        supply_v = design.supply.corners[Corner.NOMINAL]
    else:
        supply_v = design.converter.rail_unloaded_v
    names = {
        "rail_positive": "RAIL +",
        "rail_negative": "RAIL −",
        "op_positive": "+OP",
        "op_negative": "−OP",
        "op_supply": "+OP",
        "mid": "MID",
        "battery": "BATTERY",
        "filter_out": "FILTER OUT",
        **{f"out_{k}": f"AFTER {k + 1}" for k in range(len(result.blocks))},
        **{f"{word}_{k}": word.upper() for word in ("high", "band") for k in range(len(result.blocks))},
    }
    yield Block(
        key="filter",
        title="Line-level filter",
        stage="filter",
        circuit=filter_circuit(result, library, supply_v=supply_v),
        names=names,
        draw=lambda kit: draw_filter(kit, result, with_supply=not apart),
        more=((lambda kit: draw_filter_supply(kit, result)),) if apart else (),
        analysis=AcSweep(low_hz=5.0, high_hz=1000.0, per_decade=50),
        probes=(Voltage(FILTER_OUTPUT),),
    )


def _converter(design: Design, library: Library) -> Iterator[Block]:
    result, transformer, supply = design.converter, design.transformer, design.supply
    if result is None or transformer is None:
        return
    full = design.point(Corner.NOMINAL, Level.FULL)
    circuit = power_circuit(
        from_result(
            result,
            emf_v=full.emf_v,
            source_ohm=supply.source_resistance_ohm,
            positive_a=full.rail_a,
            negative_a=full.rail_a,
        )
    )
    period_s = 1.0 / result.plan.timing.switching_hz
    names = {
        "input": "B+",
        "battery": "BATTERY",
        "rail_positive": "RAIL +",
        "rail_negative": "RAIL −",
        **{f"drain_{side}": f"DRAIN {side.upper()}" for side in "ab"},
        **{f"leg_{side}": f"LEG {side.upper()}" for side in "ab"},
        **{f"gate_{side}": f"GATE {side.upper()}" for side in "ab"},
        **{
            f"gate_{row}_{side}": f"GATE {row[0].upper()}{side.upper()}"
            for row in ("high", "low")
            for side in "ab"
        },
    }
    texts = {
        FUSE_ELEMENT: (_FUSE, f"{supply.fuse_a:g} A"),
        "BT101": ("BT101", f"{supply.corners[Corner.NOMINAL]:g} V"),
        **{f"T101{s}": (f"T101{s}", f"{transformer.primary_turns} t") for s in "AB"},
        **{f"T101{s}": (f"T101{s}", f"{transformer.secondary_turns} t") for s in "CD"},
    }

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_converter(kit)
        return _power_notes(design, transformer)

    yield Block(
        key="converter",
        title="Converter power stage",
        stage="converter",
        circuit=circuit,
        names=names,
        draw=draw,
        drawn_inherent=frozenset({FUSE_ELEMENT}),
        texts=texts,
        analysis=Transient(
            stop_s=200.0 * period_s, step_s=period_s / 200.0, keep_from_s=180.0 * period_s, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in ("input", "rail_positive", "rail_negative")),
    )


def _power_notes(design: Design, transformer: TransformerResult) -> tuple[str, ...]:
    supply = design.supply
    stack = f", {transformer.stack} stacked" if transformer.stack > 1 else ""
    links = ", ".join(
        f"{conductor.name.removeprefix('link, ')} {_links(conductor.parallel)}⌀ "
        f"{show(conductor.diameter_m, 'length')}"
        for conductor in design.wiring.conductors
    )
    return (
        f"Fuse {supply.fuse_a:g} A ({supply.fuse_body}) within {show(supply.fuse_distance_m, 'length')} "
        f"of battery +; cable {show(supply.section_m2, 'area')}.",
        f"Heavy lines carry the power; least wire: {links}.",
        f"T101: {transformer.core.id}{stack}; each half {_strands(transformer.primary)} and "
        f"{_strands(transformer.secondary)} mm. Dots mark starts wound the same way round.",
        "The rails hold their charge after switching off: measure before touching.",
        "Resistors 0.25 W, film capacitors 63 V unless stated.",
    )


def _strands(winding: Winding) -> str:
    return f"{winding.strands} × {winding.wire.conductor_m * 1e3:.2f}"


def _links(parallel: int) -> str:
    return f"{parallel} × " if parallel > 1 else ""


def _amplifier(design: Design, library: Library) -> Iterator[Block]:
    result = design.amplifier
    full = design.point(Corner.NOMINAL, Level.FULL)
    values = class_d_values(result, rail_v=full.rail_mean_v)
    circuit = class_d_circuit(values, load_ohm=result.load_ohm, modulation=0.5, periods=_PERIODS)
    supply = "BATTERY" if result.from_battery else "RAIL +"
    names = {
        "rail_positive": supply,
        "rail_negative": "RAIL −",
        "out_a": "SPEAKER +",
        "out_b": "SPEAKER −",
        **{
            f"gate_{side}_{leg}": f"GATE {side[0].upper()}{leg.upper()}"
            for side in ("upper", "lower")
            for leg in "ab"
        },
    }
    turns = () if result.inductor is None else (f"{result.inductor.turns} t",)
    value = show(values.inductance_h, "inductance")

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_class_d(kit)
        return (
            "Heavy lines carry the power: keep them short, the supply's capacitors at the switches.",
            "The filter's values hold with the loudspeaker connected: never run it full without one.",
            "Gates come from the driver, with the design's dead time. Film capacitors 63 V unless stated.",
        )

    yield Block(
        key="amplifier",
        title="Output stage",
        stage="amplifier",
        circuit=circuit,
        names=names,
        draw=draw,
        texts={name: (name, value, *turns) for name in INDUCTORS},
        analysis=Transient(
            stop_s=_PERIODS * values.period_s, step_s=values.period_s / 200.0, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in circuit.nets if net.startswith("out_")),
    )


_PERIODS: Final = 100

_MAKERS: Final[Mapping[str, Callable[[Design, Library], Iterator[Block]]]] = {
    "Converter power stage": _converter,
    "Protection": protection_block,
    "Line-level filter": _filter,
    "Output stage": _amplifier,
}
