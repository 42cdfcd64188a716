"""A design's schematics: a sheet for each block that has a netlist, held to that netlist."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from subwright import __version__
from subwright.build.result import Design
from subwright.circuits.netlist import Circuit
from subwright.outputs.drawing import standalone
from subwright.outputs.schematic_blocks import blocks
from subwright.outputs.schematic_frame import DRAWING, Title, framed, paper_size
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_labels import Label
from subwright.outputs.schematic_pen import Sheet
from subwright.outputs.schematic_symbols import ResistorStyle
from subwright.outputs.schematic_texts import part_texts
from subwright.outputs.schematic_trace import agree
from subwright.parts.library import Library
from subwright.stages.common import PartUse

__all__ = ["SchematicSheet", "Schematics", "schematics"]


@dataclass(frozen=True, kw_only=True)
class SchematicSheet:
    """One finished sheet: for a page, and as a file; labels and boxes for whoever checks them."""

    key: str
    title: str
    svg: str
    labels: tuple[Label, ...]
    fixed: tuple[tuple[str, tuple[float, float, float, float]], ...]
    bodies: tuple[tuple[str, tuple[float, float, float, float]], ...]
    marks: tuple[tuple[float, float, float, float], ...]
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


def schematics(
    design: Design, library: Library, *, style: ResistorStyle = "iec", stamp: str = ""
) -> Schematics:
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
    channels = {record.id: record.channels for record in library.op_amps.values()}
    channels |= {record.id: record.channels for record in library.comparators.values()}
    sheets = []
    for number, block in enumerate(found, start=1):
        uses = bill.get(block.stage, {})
        paper = Sheet(
            texts={**part_texts(block.circuit, uses), **block.texts},
            names=block.names,
            style=style,
            inside=DRAWING,
        )
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
                marks=paper.marks(),
                circuit=block.circuit,
            )
        )
    return Schematics(sheets=tuple(sheets), missing=missing)
