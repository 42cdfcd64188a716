"""A design's schematics: a sheet for each block that has a netlist, held to that netlist."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from subwright import __version__
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.result import Design
from subwright.circuits.filter_circuit import filter_circuit
from subwright.circuits.netlist import Circuit, Steady
from subwright.circuits.protection_circuit import protection_circuit
from subwright.outputs.drawing import standalone
from subwright.outputs.schematic_filter import draw_filter
from subwright.outputs.schematic_frame import DRAWING, Title, framed, paper_size
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_labels import Label
from subwright.outputs.schematic_pen import Sheet
from subwright.outputs.schematic_protection import draw_protection
from subwright.outputs.schematic_symbols import ResistorStyle
from subwright.outputs.schematic_texts import part_texts
from subwright.outputs.schematic_trace import agree
from subwright.parts.library import Library
from subwright.stages.common import Corner, PartUse

__all__ = ["Block", "SchematicSheet", "Schematics", "blocks", "schematics"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Block:
    """A circuit with its drawing.

    Attributes
    ----------
    key : names its files. title : heads its sheet. stage : whose bill it belongs to.
    circuit : its netlist. names : printed names of nets. draw : its placement; returns the sheet's notes.
    drawn_inherent : inherent elements that stand for something visible.
    """

    key: str
    title: str
    stage: str
    circuit: Circuit
    names: Mapping[str, str]
    draw: Callable[[Kit], tuple[str, ...]]
    drawn_inherent: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class SchematicSheet:
    """One finished sheet: for a page, and as a file; labels and boxes for whoever checks them."""

    key: str
    title: str
    svg: str
    labels: tuple[Label, ...]
    fixed: tuple[tuple[str, tuple[float, float, float, float]], ...]
    bodies: tuple[tuple[str, tuple[float, float, float, float]], ...]
    circuit: Circuit

    @cached_property
    def alone(self) -> str:
        """The sheet as a file of A4 size."""
        return paper_size(standalone(self.svg))


@dataclass(frozen=True, kw_only=True, slots=True)
class Schematics:
    """All sheets of a build, and why others are missing: (title, reason)."""

    sheets: tuple[SchematicSheet, ...]
    missing: tuple[tuple[str, str], ...]


def blocks(design: Design, library: Library) -> tuple[tuple[Block, ...], tuple[tuple[str, str], ...]]:
    """Blocks that have a netlist, in the order of the sheets, and those that have none yet with the reason."""
    made: list[Block] = []
    missing: list[tuple[str, str]] = []
    for title, make in _MAKERS.items():
        try:
            made += make(design, library)
        except SubwrightError as error:
            missing.append((title, error.message))
    return tuple(made), tuple(missing)


def schematics(design: Design, library: Library, *, style: ResistorStyle = "iec", stamp: str = "") -> Schematics:
    """Draw every block's sheet.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. style : resistors as boxes or zigzags.
    stamp : what every sheet says while a finding forbids building.

    Raises
    ------
    SubwrightError : a drawing doesn't agree with its netlist.
    """
    found, missing = blocks(design, library)
    bill: dict[str, dict[str, PartUse]] = {}
    for stage, use in design.part_uses():
        bill.setdefault(stage, {})[use.role] = use
    channels = {record.id: record.channels for record in (*library.op_amps.values(), *library.comparators.values())}
    sheets = []
    for number, block in enumerate(found, start=1):
        uses = bill.get(block.stage, {})
        paper = Sheet(texts=part_texts(block.circuit, uses), names=block.names, style=style, inside=DRAWING)
        notes = block.draw(Kit(block.circuit, paper, uses, channels))
        title = Title(
            build=design.spec.name,
            sheet=block.title,
            number=number,
            of=len(found),
            made_with=f"subwright {__version__}",
            stamp=stamp,
        )
        desc = f"Circuit diagram; {len(block.circuit.parts)} parts of the netlist '{block.circuit.name}'."
        svg = framed(title, paper.body(), notes, desc)
        agree(block.circuit, [svg], with_inherent=block.drawn_inherent)
        sheets.append(
            SchematicSheet(
                key=block.key,
                title=block.title,
                svg=svg,
                labels=paper.labels(),
                fixed=paper.fixed_boxes(),
                bodies=paper.bodies(),
                circuit=block.circuit,
            )
        )
    return Schematics(sheets=tuple(sheets), missing=missing)


def _filter(design: Design, library: Library) -> Iterator[Block]:
    result = design.filter
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
        draw=lambda kit: draw_filter(kit, result),
    )


def _protection(design: Design, library: Library) -> Iterator[Block]:
    result = design.protection
    if result is None:
        return
    nominal_v = design.supply.corners[Corner.NOMINAL]
    circuit = protection_circuit(
        result,
        library,
        battery=Steady(value=nominal_v),
        thermistor=library.ntc(result.ntc).r25_ohm,
        current=None if result.over_current is None else Steady(value=0.0),
    )
    names = {
        "reference": "REF",
        "battery": "BATTERY",
        "supply": "+COMP",
        "inhibit": "INHIBIT",
        "shunt": "SHUNT",
        "run": "RUN",
        "under_out": "UV",
        "over_out": "OV",
        "thermal_out": "HOT",
        "current_out": "OC",
    }
    yield Block(
        key="protection",
        title="Protection",
        stage="protection",
        circuit=circuit,
        names=names,
        draw=draw_protection,
    )


_MAKERS: Final[Mapping[str, Callable[[Design, Library], Iterator[Block]]]] = {
    "Protection": _protection,
    "Line-level filter": _filter,
}
