"""The netlists for other programmes: a table of pins by net, and plain SPICE text."""

from __future__ import annotations

from collections.abc import Iterable

from subwright.circuits.spice_text import deck
from subwright.outputs.csvfile import table
from subwright.outputs.joined_nets import JoinedPin
from subwright.outputs.schematic_block import Block

__all__ = ["NETLIST_HEADER", "netlist_csv", "spice_text"]

NETLIST_HEADER = ("net", "part", "pin", "case pin", "block", "value", "role")


def netlist_csv(pins: Iterable[JoinedPin]) -> str:
    """Every pin of every part that a builder joins, sorted by net; nets that go from sheet to sheet are one.

    "case pin" is the number on the case where the family's is known, else a short name of the terminal.
    """
    rows = [(p.net, p.name, p.pin, p.code, p.block, p.part.part_id, p.part.role) for p in pins]
    return table(NETLIST_HEADER, sorted(rows, key=lambda row: row[0]))


def spice_text(block: Block) -> str:
    """The block as plain SPICE text, with sources in place of its surroundings and one analysis."""
    return deck(block.circuit, block.analysis, block.probes).text
