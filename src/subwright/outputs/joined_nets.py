"""The blocks' nets joined into those of the whole build, pin by pin.

Blocks name their nets for themselves. Two nets of different blocks are one where the sheets of both print
the same name at a flag or a supply bar, and 0 V is one everywhere. Every other net stays with its block,
whose key stands before its name where another block has a net of the same name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_pins import case_pin
from subwright.outputs.schematic_trace import real_nets

__all__ = ["JoinedPin", "joined_names", "joined_pins", "plain_name"]

_SIGNS: Final = {"+": "POS_", "-": "NEG_"}
_CODES: Final = {
    # A terminal's short name. Those of relays are EN 50005's; the others are the trade's letters.
    "anode": "A",
    "cathode": "K",
    "drain": "D",
    "gate": "G",
    "source": "S",
    "collector": "C",
    "base": "B",
    "emitter": "E",
    "top": "1",
    "wiper": "2",
    "bottom": "3",
    "start": "S",
    "finish": "F",
    "common": "COM",
    "closed": "NC",
    "open": "NO",
    "signal": "SIG",
    "shell": "SH",
    "reference": "REF",
    "adjust": "ADJ",
    "+": "1",
    "-": "2",
    "in": "IN",
    "out": "OUT",
}
_GROUND_NAME: Final = "GND"
_WORDS: Final = {"+": "plus", "-": "minus", "V+": "supply plus", "V-": "supply minus"}
_RELAY: Final = {"coil +": "A1", "coil -": "A2", "common": "11", "rest": "12", "make": "14"}


@dataclass(frozen=True, kw_only=True, slots=True)
class JoinedPin:
    """One pin of one part in the whole build.

    Attributes
    ----------
    net : printable name, unique over the build. block : key of the block. part : the netlist's.
    name : as drawn, with the letter of a section or of the case alone. case : designator of the case.
    pin : as the netlist calls it, signs in words.
    code : the case's pin number where it is known, else a short name; four characters at most.
    """

    net: str
    block: str
    part: Part
    name: str
    case: str
    pin: str
    code: str


def plain_name(name: str) -> str:
    """A net's printed name in capitals without spaces or a sign in front, which a spreadsheet would take up.

    >>> plain_name("RAIL −"), plain_name("B+"), plain_name("−OP"), plain_name("after 3")
    ('RAIL_-', 'B+', 'NEG_OP', 'AFTER_3')
    """
    text = name.strip().upper().replace("\u2212", "-").replace("\u2014", "-")
    text = _SIGNS.get(text[:1], text[:1]) + text[1:]
    return "".join(c if c.isascii() and c.isprintable() and c != " " else "_" for c in text)


def joined_pins(
    found: Iterable[Block], shared: frozenset[str], channels: Mapping[str, int] | None = None
) -> tuple[JoinedPin, ...]:
    """Every pin that a builder joins, by block and in the netlists' order.

    Parameters
    ----------
    found : the blocks. shared : printed names that lead from one block to another.
    channels : amplifiers in one case, by part id, for their pin numbers.

    Returns
    -------
    Pins; test equipment and what is inherent in a part are left out, as in the drawings.
    """
    blocks = tuple(found)
    nets = _real(blocks)
    names = joined_names(blocks, shared)
    return tuple(
        pin
        for block in blocks
        for pin in _pins(
            block,
            nets[block.key],
            {net: name for (key, net), name in names.items() if key == block.key},
            channels or {},
        )
    )


def _real(blocks: Iterable[Block]) -> dict[str, Mapping[tuple[str, str], str]]:
    """Nets of the pins that a builder joins, by block."""
    return {
        block.key: real_nets(block.circuit, with_inherent=block.drawn_inherent, without=block.elsewhere)
        for block in blocks
    }


def joined_names(found: Iterable[Block], shared: frozenset[str]) -> Mapping[tuple[str, str], str]:
    """Name over the whole build of each net, by the block's key and its own name there.

    Parameters
    ----------
    found : the blocks. shared : printed names that lead from one block to another.
    """
    blocks = tuple(found)
    nets = _real(blocks)
    own = {block.key: _own_names(block, set(nets[block.key].values())) for block in blocks}
    bearers: Counter[str] = Counter(name for names in own.values() for name in set(names.values()))
    plain_shared = {plain_name(name) for name in shared}

    def printed(block: Block, net: str) -> str:
        name = own[block.key][net]
        if net == GROUND or block.names.get(net, "") in shared:
            return name
        alone = bearers[name] == 1 and name not in plain_shared and name != _GROUND_NAME
        return name if alone else f"{plain_name(block.key)}.{name}"

    return {(block.key, net): printed(block, net) for block in blocks for net in own[block.key]}


def _own_names(block: Block, nets: set[str]) -> Mapping[str, str]:
    """A block's own names of its nets, each once: as printed, or as the netlist has it."""
    shown = {net: block.names.get(net, net) for net in nets}
    count = Counter(shown.values())
    return {
        net: _GROUND_NAME if net == GROUND else plain_name(name if count[name] == 1 else net)
        for net, name in shown.items()
    }


def _pins(
    block: Block, nets: Mapping[tuple[str, str], str], printed: Mapping[str, str], channels: Mapping[str, int]
) -> Iterator[JoinedPin]:
    parts = {part.designator: part for part in block.circuit.parts}
    cases: dict[str, Part] = {}
    sections: dict[str, set[str]] = {}
    for part in block.circuit.parts:
        cases.setdefault(part.case, part)
        sections.setdefault(part.case, set()).add(part.designator)
    for (name, pin), net in nets.items():
        part = parts.get(name) or cases[name]
        shown = block.texts.get(name, (name,))[0]
        several = len(sections[part.case]) > 1 or shown != part.case
        yield JoinedPin(
            net=printed[net],
            block=block.key,
            part=part,
            name=shown,
            case=part.case if part.standing != "inherent" else shown,
            pin=_WORDS.get(pin, pin),
            code=_code(part, name, pin, several, channels),
        )


def _code(part: Part, name: str, pin: str, several: bool, channels: Mapping[str, int]) -> str:
    known = case_pin(part, pin, channels)
    if known is not None:
        return known
    if part.kind == "relay":
        return _RELAY[pin]
    short = _CODES.get(pin, pin)
    section = name.removeprefix(part.case)
    return f"{section}{short}"[:4] if several and section.isalpha() else short[:4]
