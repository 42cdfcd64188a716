"""A design's schematics: a sheet for each block that has a netlist, held to that netlist."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from subwright import __version__
from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.circuits.netlist import Circuit
from subwright.outputs.drawing import standalone
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_blocks import blocks
from subwright.outputs.schematic_frame import DRAWING, Title, framed, index, paper_size
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_labels import Label
from subwright.outputs.schematic_pen import Sheet
from subwright.outputs.schematic_symbols import ResistorStyle
from subwright.outputs.schematic_texts import part_texts
from subwright.outputs.schematic_trace import agree
from subwright.parts.library import Library
from subwright.stages.common import PartUse

__all__ = ["SchematicSheet", "Schematics", "schematics"]

_WITH_INDEX: Final = "wiring"  # keeps the room free
_PINS: Final = "Pin numbers: the families' usual cases, from memory; check your maker's data sheet."


@dataclass(frozen=True, kw_only=True)
class SchematicSheet:
    """One finished sheet: for a page, and as a file; labels and boxes for whoever checks them.

    ``references`` are the printed names at flags and supply bars, with whether it is a flag; ``written`` is
    every net's name that it prints, as often as it does; ``block`` the key of the block that it shows.
    """

    key: str
    title: str
    svg: str
    labels: tuple[Label, ...]
    fixed: tuple[tuple[str, tuple[float, float, float, float]], ...]
    bodies: tuple[tuple[str, tuple[float, float, float, float]], ...]
    marks: tuple[tuple[float, float, float, float], ...]
    circuit: Circuit
    block: str
    references: tuple[tuple[str, bool], ...]
    written: tuple[str, ...]
    notes: tuple[str, ...]

    @cached_property
    def alone(self) -> str:
        """The sheet as a file of A4 size."""
        return paper_size(standalone(self.svg))


@dataclass(frozen=True, kw_only=True, slots=True)
class Schematics:
    """All sheets of a build with their blocks, and why others are missing: (title, reason)."""

    sheets: tuple[SchematicSheet, ...]
    missing: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...] = ()

    @property
    def shared(self) -> frozenset[str]:
        """Printed names that lead from one block's sheets to another's: those nets are one."""
        bearers: dict[str, set[str]] = {}
        for sheet in self.sheets:
            for name, _ in sheet.references:
                bearers.setdefault(name, set()).add(sheet.block)
        return frozenset(name for name, found in bearers.items() if len(found) > 1)


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
    Nothing: a block that can't be placed, or whose drawing doesn't agree with its netlist, is missing, with
    the reason. No drawing is better than a wrong one, and no reason to withhold the rest of the pack.
    """
    found, absent = blocks(design, library)
    missing = list(absent)
    bill: dict[str, dict[str, PartUse]] = {}
    for stage, use in design.part_uses():
        bill.setdefault(stage, {})[use.role] = use
    channels = {record.id: record.channels for record in library.op_amps.values()}
    channels |= {record.id: record.channels for record in library.comparators.values()}
    pages: list[_Page] = []
    for block in found:
        uses = {**bill.get(block.stage, {}), **_borrowed(block, bill)}
        try:
            pages += _pages(block, uses, channels, style)
        except (SubwrightError, ValueError, StopIteration, KeyError) as error:
            reason = "Its parts find no place on a sheet."
            if isinstance(error, SubwrightError):
                reason = error.message
            missing.append((block.title, reason))
    bearers: dict[str, list[int]] = {}
    for number, page in enumerate(pages, 1):
        for name, _ in page.paper.references():
            bearers.setdefault(name, []).append(number)
    sheets = tuple(
        _finished(
            page,
            design,
            number,
            stamp,
            {name: [k for k in found if k != number] for name, found in bearers.items()},
            [page.title for page in pages],
        )
        for number, page in enumerate(pages, 1)
    )
    return Schematics(sheets=sheets, missing=tuple(missing), blocks=found)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Page:
    """A sheet whose number isn't known yet."""

    key: str
    title: str
    block: Block
    paper: Sheet
    notes: tuple[str, ...]


def _borrowed(block: Block, bill: Mapping[str, Mapping[str, PartUse]]) -> Mapping[str, PartUse]:
    """Roles of a block that stand on other stages' bills."""
    return {role: bill[stage][role] for role, stage in block.stages.items() if role in bill.get(stage, {})}


def _pages(
    block: Block, uses: Mapping[str, PartUse], channels: Mapping[str, int], style: ResistorStyle
) -> list[_Page]:
    """A block's sheets, held to its netlist together."""
    texts = {**part_texts(block.circuit, uses), **block.texts}
    pages = []
    for number, draw in enumerate((block.draw, *block.more), start=1):
        paper = Sheet(texts=texts, names=block.names, style=style, inside=DRAWING)
        notes = draw(Kit(block.circuit, paper, uses, channels))
        key = block.key if number == 1 else f"{block.key}-{number}"
        title = block.title if number == 1 else f"{block.title}, {block.more_titles[number - 2]}"
        pages.append(_Page(key=key, title=title, block=block, paper=paper, notes=notes))
    agree(
        block.circuit,
        ["\n".join(page.paper.strokes()) for page in pages],
        with_inherent=block.drawn_inherent,
        without=block.elsewhere,
    )
    return pages


def _ranges(numbers: Sequence[int]) -> str:
    """Sheet numbers in short.

    >>> _ranges([2, 9, 11, 12, 13]), _ranges([4, 5])
    ('2,9,11\u201313', '4,5')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ",".join(f"{run[0]}\u2013{run[-1]}" if len(run) > 2 else ",".join(map(str, run)) for run in runs)


def _series(names: Sequence[str]) -> list[str]:
    """Names in short where only their last figure differs.

    >>> _series(["SW A1", "SW A2", "SW A3", "RAIL +"])
    ['SW A1\u20133', 'RAIL +']
    """
    stems: dict[str, list[str]] = {}
    for name in names:
        stems.setdefault(name[:-1] if name[-1].isdigit() else name, []).append(name)
    return [f"{found[0]}\u2013{found[-1][-1]}" if len(found) > 1 else found[0] for found in stems.values()]


def _supplies(paper: Sheet, others: Mapping[str, Sequence[int]]) -> tuple[str, ...]:
    """A note of the sheets that bear the names at this one's bars, which have no numbers beside them."""
    bars = [name for name, flagged in paper.references() if not flagged and others.get(name)]
    if not bars:
        return ()
    by_sheets: dict[str, list[str]] = {}
    for name in bars:
        by_sheets.setdefault(_ranges(others[name]), []).append(name)
    told = "; ".join(f"{', '.join(_series(names))} \u2192 {numbers}" for numbers, names in by_sheets.items())
    return (f"On other sheets too: {told}.",)


def _finished(
    page: _Page,
    design: Design,
    number: int,
    stamp: str,
    others: Mapping[str, Sequence[int]],
    titles: Sequence[str],
) -> SchematicSheet:
    block, paper = page.block, page.paper
    paper.lead_to({name: f"\u2192 {_ranges(found)}" for name, found in others.items() if found})
    body = paper.body()
    if number == 1 and len(titles) > 1 and block.key == _WITH_INDEX:
        body += index(titles)
    notes = (*page.notes, *((_PINS,) if paper.numbered else ()), *_supplies(paper, others))
    title = Title(
        build=design.spec.name,
        sheet=page.title,
        number=number,
        of=len(titles),
        made_with=f"subwright {__version__}",
        symbols="IEEE 315" if paper.style == "us" else "IEC 60617",
        stamp=stamp,
    )
    desc = f"Circuit diagram; {len(block.circuit.parts)} parts of the netlist '{block.circuit.name}'."
    return SchematicSheet(
        key=page.key,
        title=title.sheet,
        svg=framed(title, body, notes, desc),
        labels=paper.labels(),
        fixed=paper.fixed_boxes(),
        bodies=paper.bodies(),
        marks=paper.marks(),
        circuit=block.circuit,
        block=block.key,
        references=paper.references(),
        written=paper.written(),
        notes=notes,
    )
