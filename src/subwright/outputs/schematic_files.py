"""The schematics as files and as a chapter of the page: sheets, netlist, SPICE text."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.build.result import Design
from subwright.circuits.netlist import Circuit
from subwright.outputs.schematic_blocks import blocks
from subwright.outputs.schematic_exports import netlist_csv, spice_text
from subwright.outputs.schematic_symbols import ResistorStyle
from subwright.outputs.schematics import Schematics, schematics
from subwright.outputs.views import Figure, Sheet
from subwright.parts.library import Library

__all__ = ["circuits_sheet", "netlist_files", "schematic_files"]


def schematic_files(
    design: Design, library: Library, *, style: ResistorStyle = "iec", stamp: str = ""
) -> Mapping[str, str]:
    """Every block's sheet as SVG and its netlist as SPICE text, and one table of all nets.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. style : how resistors are drawn.
    stamp : what every sheet says while a finding forbids building.

    Returns
    -------
    Text by file name.
    """
    made = schematics(design, library, style=style, stamp=stamp)
    return {**{f"{sheet.key}.svg": sheet.alone for sheet in made.sheets}, **netlist_files(design, library)}


def netlist_files(design: Design, library: Library) -> Mapping[str, str]:
    """Every block's netlist as SPICE text, and one table of all nets, by file name."""
    found, _ = blocks(design, library)
    return {**{f"{block.key}.cir": spice_text(block) for block in found}, "netlist.csv": netlist_csv(found)}


def _contents(circuit: Circuit) -> str:
    bought = sum(circuit.bought().values())
    return f"{bought} parts to fit, {len(circuit.test_points)} test points"


def circuits_sheet(made: Schematics) -> Sheet:
    """The chapter of the page that shows the circuit diagrams."""
    return Sheet(
        key="circuits",
        title="Circuit diagrams",
        lead=(
            "Drawn from the netlists that are simulated; designators are those of the parts list. For the "
            "bench, print the files in schematics/ on A4."
        ),
        values=tuple((sheet.title, _contents(sheet.circuit)) for sheet in made.sheets),
        reasons=(
            "Every sheet was traced back from its lines: they join what the netlist joins, nothing else.",
            *(f"{title}: no diagram. {reason}" for title, reason in made.missing),
        ),
        figures=tuple(
            Figure(key=f"schematic-{sheet.key}", drawn=sheet.svg, caption=sheet.title, wide=True)
            for sheet in made.sheets
        ),
    )
