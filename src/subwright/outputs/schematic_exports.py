"""Tables for other programmes: pins by net, test points with their readings; and plain SPICE text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from subwright.circuits.spice_text import deck
from subwright.outputs.csvfile import table
from subwright.outputs.joined_nets import JoinedPin, plain_name
from subwright.outputs.schematic_block import Block

__all__ = ["NETLIST_HEADER", "POINTS_HEADER", "netlist_csv", "points_csv", "spice_text"]

NETLIST_HEADER = ("net", "part", "pin", "case pin", "block", "value", "role")
POINTS_HEADER = ("point", "net", "circuit", "what", "state", "dc_v", "ripple_v", "waveform")


def netlist_csv(pins: Iterable[JoinedPin]) -> str:
    """Every pin of every part that a builder joins, sorted by net; nets that go from sheet to sheet are one.

    "case pin" is the number on the case where the family's is known, else a short name of the terminal.
    """
    rows = [(p.net, p.name, p.pin, p.code, p.block, p.part.part_id, p.part.role) for p in pins]
    return table(NETLIST_HEADER, sorted(rows, key=lambda row: row[0]))


def points_csv(blocks: Iterable[Block], names: Mapping[tuple[str, str], str]) -> str:
    """Every test point with what it reads in each state; one row without a state where nothing is stated.

    Parameters
    ----------
    blocks : with their netlists. names : nets' names over the whole build, as in the netlist's table.

    Returns
    -------
    CSV; mean and swing peak to peak in V, six digits.
    """
    rows = []
    for block in blocks:
        for point in block.circuit.test_points:
            net = names.get((block.key, point.net), plain_name(point.net))
            head = (point.designator, net, block.circuit.name, point.what)
            for reading in point.readings:
                volts = (f"{reading.dc_v:.6g}", f"{reading.ripple_v:.6g}")
                rows.append((*head, reading.at, *volts, reading.waveform))
            if not point.readings:
                rows.append((*head, "", "", "", ""))
    return table(POINTS_HEADER, rows)


def spice_text(block: Block) -> str:
    """The block as plain SPICE text, with sources in place of its surroundings and one analysis."""
    return deck(block.circuit, block.analysis, block.probes).text
