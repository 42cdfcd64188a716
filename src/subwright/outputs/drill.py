"""A board's holes for the drilling machine: plated and unplated in files of their own.

Source: [xnc], the part of the drilling machines' language that readers agree on: millimetres with a point,
absolute, tools by diameter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from subwright import __version__
from subwright.boards.record import Board, Place

__all__ = ["drill_files", "holes_by_diameter"]


def drill_files(board: Board) -> dict[str, str]:
    """The holes by file name; ``holes-plated.drl`` only where there are any.

    Parameters
    ----------
    board : whose holes.

    Returns
    -------
    Text of ``holes-unplated.drl`` and ``holes-plated.drl``.
    """
    made = {"holes-unplated.drl": _file(board, plated=False)}
    if holes_by_diameter(board, plated=True):
        made["holes-plated.drl"] = _file(board, plated=True)
    return made


def holes_by_diameter(board: Board, *, plated: bool | None = None) -> dict[int, tuple[Place, ...]]:
    """Middles of the holes by diameter, µm, both in order; ``plated`` picks, None takes all.

    Screws' holes, links' and wires' are unplated.
    """
    found: defaultdict[int, list[Place]] = defaultdict(list)
    for diameter_um, place, coated in _holes(board):
        if plated is None or coated == plated:
            found[diameter_um].append(place)
    return {diameter: tuple(sorted(found[diameter])) for diameter in sorted(found)}


def _holes(board: Board) -> Iterator[tuple[int, Place, bool]]:
    for placed in board.placed:
        for pad in placed.pads:
            yield pad.hole_um, (pad.x_um, pad.y_um), pad.plated
    for link in board.links:
        yield link.hole_um, link.start, False
        yield link.hole_um, link.end, False
    for wire in board.wire_pads:
        yield wire.hole_um, (wire.x_um, wire.y_um), False
    for hole in board.holes:
        yield hole.diameter_um, (hole.x_um, hole.y_um), False


def _file(board: Board, *, plated: bool) -> str:
    tools = list(holes_by_diameter(board, plated=plated).items())
    kind = "Plated,1,2,PTH" if plated else "NonPlated,1,2,NPTH"
    lines = [
        "M48",
        f"; #@! TF.GenerationSoftware,subwright,subwright,{__version__}",
        f"; #@! TF.FileFunction,{kind}",
        "METRIC",
        *(f"T{number:02d}C{diameter / 1000:.3f}" for number, (diameter, _) in enumerate(tools, 1)),
        "%",
        "G05",
    ]
    for number, (_, places) in enumerate(tools, 1):
        lines.append(f"T{number:02d}")
        lines += [f"X{x / 1000:.3f}Y{y / 1000:.3f}" for x, y in places]
    return "\n".join([*lines, "M30"]) + "\n"
