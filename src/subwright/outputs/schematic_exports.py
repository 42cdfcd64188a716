"""A block's netlist as tables and text: pins by net, and plain SPICE."""

from __future__ import annotations

from collections.abc import Iterable

from subwright.circuits.netlist import Part
from subwright.circuits.spice_text import deck
from subwright.outputs.csvfile import table
from subwright.outputs.schematic_blocks import Block
from subwright.outputs.schematic_trace import real_nets

__all__ = ["NETLIST_HEADER", "netlist_csv", "spice_text"]

NETLIST_HEADER = ("block", "net", "name on the sheet", "part", "pin", "value", "role")


def netlist_csv(found: Iterable[Block]) -> str:
    """Every pin of every part that a builder fits, by block and net.

    Test equipment and what is inherent in a part are left out, as in the drawings.
    """
    rows: list[tuple[str, ...]] = []
    for block in found:
        parts = {part.designator: part for part in block.circuit.parts}
        cases = {part.case: part for part in block.circuit.parts}
        nets = real_nets(block.circuit, with_inherent=block.drawn_inherent)
        ordered = sorted(nets.items(), key=lambda item: list(block.circuit.nets).index(item[1]))
        for (name, pin), net in ordered:
            part = parts.get(name) or cases[name]
            shown = block.texts.get(name, (name,))[0]
            rows.append((block.key, _net(net), block.names.get(net, ""), shown, pin, _value(part), part.role))
    return table(NETLIST_HEADER, rows)


def _net(net: str) -> str:
    return "GND" if net == "0" else net


def _value(part: Part) -> str:
    return part.part_id


def spice_text(block: Block) -> str:
    """The block as plain SPICE text, with sources in place of its surroundings and one analysis."""
    return deck(block.circuit, block.analysis, block.probes).text
