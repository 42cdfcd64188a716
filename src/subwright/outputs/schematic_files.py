"""The schematics as files and as a chapter of the page: sheets, netlist, SPICE text, test points."""

from __future__ import annotations

from collections.abc import Mapping

from subwright import __version__
from subwright.build.result import Design
from subwright.circuits.netlist import Circuit
from subwright.outputs.board_test import board_test_text
from subwright.outputs.joined_nets import JoinedPin, joined_names, joined_pins
from subwright.outputs.print_code import design_code
from subwright.outputs.schematic_exports import netlist_csv, points_csv, spice_text
from subwright.outputs.schematics import Schematics
from subwright.outputs.views import Figure, Sheet
from subwright.parts.library import Library

__all__ = ["build_pins", "circuits_sheet", "netlist_files", "schematic_files"]


def schematic_files(design: Design, library: Library, made: Schematics) -> Mapping[str, str]:
    """Every block's sheet as SVG, and what ``netlist_files`` gives.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. made : its drawn circuits.

    Returns
    -------
    Text by file name.
    """
    sheets = {f"{sheet.key}.svg": sheet.alone for sheet in made.sheets}
    return {**sheets, **netlist_files(design, library, made)}


def build_pins(made: Schematics, library: Library) -> tuple[JoinedPin, ...]:
    """Every pin of the whole build with the net that it lies on."""
    channels = {record.id: record.channels for record in library.op_amps.values()}
    channels |= {record.id: record.channels for record in library.comparators.values()}
    return joined_pins(made.blocks, made.shared, channels)


def netlist_files(design: Design, library: Library, made: Schematics) -> Mapping[str, str]:
    """Every block's netlist as SPICE text; all nets as a table and as test records; what test points read.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. made : its drawn circuits.
    """
    pins = build_pins(made, library)
    return {
        **{f"{block.key}.cir": spice_text(block) for block in made.blocks},
        "netlist.csv": netlist_csv(pins),
        "test_points.csv": points_csv(made.blocks, joined_names(made.blocks, made.shared)),
        "netlist.d356": board_test_text(
            pins, build=design.spec.name, code=design_code(design), made_with=f"subwright {__version__}"
        ),
    }


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
