"""Boards on paper at their true size: copper to transfer, copper as it looks, holes, parts, stuffing list."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any, Final, Literal

from subwright import __version__
from subwright.base.errors import SubwrightError
from subwright.boards.record import Board
from subwright.outputs.board_drawing import (
    assembly_svg,
    copper_print,
    drill_print,
    drill_signs,
    print_size_mm,
)
from subwright.outputs.board_lists import STUFFING_HEADER, stuffing_rows, wire_rows
from subwright.outputs.cautions import before_etching, before_wiring_a_board
from subwright.outputs.made_board import MadeBoard, plain_value_mm
from subwright.outputs.print_blocks import Block, caution, printed_svg, table
from subwright.outputs.print_pdf import PAPERS, Paper, compile_pdf

__all__ = ["boards_pdf", "print_data"]

_ROOM_MM: Final = {"a4": (180.0, 231.0), "letter": (185.9, 214.0)}
"""Width and height that a true-size drawing may take below its heading, mm."""

_PAGE_MM: Final = {"a4": 240.0, "letter": 222.0}
_TYPST_PAPER: Final = {"a4": "a4", "letter": "us-letter"}
_ENLARGED: Final = (3.0, 2.5, 2.0, 1.75, 1.5, 1.25, 1.0)
_ASSEMBLY_TALL_MM: Final = 150.0
_BESIDE_MM: Final = 72.0  # headings and the table of drills on a page with two drawings
_LEAD: Final = (
    "One board a block, copper on one side, parts and wire links on the other, made from the netlists that "
    "the circuit diagrams are drawn from and checked against them by another route. Etch or mill them "
    "at home from these pages, or have them made from the Gerber and drill files."
)
_HOW: Final = (
    "Print at 100 %, without fitting to the page. Measure both bars on the paper with a steel rule: 50 mm.",
    "Before any copper is cut: pin orders and sizes of transistors, regulators, chips and cans are the usual "
    "ones of their families, from memory. Lay each part on the print, and hold its pins to its data sheet.",
    "Copper to transfer: the printed face goes onto the cleaned copper, for toner as for film. White dots "
    "catch the drill.",
    "After etching compare with the page that shows the copper as it looks, against the light.",
    "Drill, then fit in the order of the list: lowest first, so that the board lies flat. Links before all.",
    "Links run straight. Dashed ones cross something: use a sleeve or insulated wire.",
    "The board's letters are on its component side; a chip's pin 1 has a square pad in the drawing.",
)

_GATES: Final = (
    "Wires to gates: 10 cm at most, each twisted with the wire that brings its current back (NODE, source or "
    "0 V), away from inputs. Common practice, no source."
)


def _drives(made: MadeBoard) -> bool:
    """Whether wires to gates leave a board."""
    return made.board.key == "gate-drive" or any("GATE" in wire.name for wire in made.board.wire_pads)


@cache
def _template() -> bytes:
    return files("subwright.outputs").joinpath("templates/boards.typ").read_bytes()


def boards_pdf(
    made: Sequence[MadeBoard], *, build: str, code: str, stamp: str = "", paper: Paper = "a4"
) -> bytes:
    """Boards as a PDF.

    Parameters
    ----------
    made : at least one board. build : its name. code : the design's code. stamp : "" unless a finding forbids
    building. paper : "a4" or "letter".

    Returns
    -------
    The file's bytes, the same for the same boards.

    Raises
    ------
    SubwrightError : the typesetter is missing or refuses, or there is no such paper. A board that is larger
    than the paper has no page at true size, and the print says so.
    """
    return compile_pdf(_template(), print_data(made, build=build, code=code, stamp=stamp, paper=paper))


def print_data(
    made: Sequence[MadeBoard], *, build: str, code: str, stamp: str = "", paper: Paper = "a4"
) -> str:
    """What `boards_pdf` gives the template, as JSON; arguments and errors are the same."""
    if paper not in PAPERS:
        raise SubwrightError(
            message="there is no such paper", quantity="paper", value=paper, limit=", ".join(PAPERS)
        )
    data = {
        "name": f"{build}: boards",
        "code": code,
        "stamp": stamp,
        "made_with": f"subwright {__version__}",
        "paper": _TYPST_PAPER[paper],
        "lead": _LEAD,
        "cautions": [caution(before_etching()), caution(before_wiring_a_board())],
        "how": [*_HOW, _GATES] if any(map(_drives, made)) else list(_HOW),
        "list": table(
            "The boards",
            ("board", "size", "parts", "links", "wires and test points"),
            [_brief(one.board) for one in made],
            figures=(1, 2, 3, 4),
        ),
        "boards": [_board(one, paper) for one in made],
    }
    return json.dumps(data, ensure_ascii=False)


def _board(made: MadeBoard, paper: Paper) -> dict[str, Any]:
    board = made.board
    lies = _lies(board, paper)
    turned = lies == "turned"
    wide, tall = print_size_mm(board)
    height = wide if turned else tall
    common = max(drill_signs(board), key=lambda row: row[2])[0]
    enlarged, assembly_width = _assembly_size(board, paper)
    return {
        "title": board.title,
        "too_large": "" if lies else _too_large(board, paper),
        "transfer": (
            "Seen through from the component side: the printed face goes onto the copper. Both bars measure "
            "exactly 50 mm, or the parts won't fit."
        ),
        "copper": _true(copper_print(board, seen_from="components"), board, turned, "copper to transfer"),
        "looks": "The etched side as you look at it: compare before you drill, and again before you solder.",
        "mirrored": _true(copper_print(board, seen_from="copper"), board, turned, "copper as it looks"),
        "together": 2.0 * height + _BESIDE_MM <= _PAGE_MM[paper],
        "drilling": (
            "Holes from the component side, to check by or to stick onto a bare board as a template. Those "
            f"without a letter are {common}."
        ),
        "holes": _true(drill_print(board), board, turned, "holes"),
        "drills": table(
            "Drills",
            ("letter", "diameter", "holes"),
            [(sign, plain_value_mm(diameter), str(count)) for sign, diameter, count in drill_signs(board)],
            figures=(1, 2),
        ),
        "assembly": printed_svg(assembly_svg(board)),
        "assembly_width": assembly_width,
        "assembly_note": _note(made, enlarged),
        "tables": _tables(made),
    }


def _brief(board: Board) -> tuple[str, ...]:
    size = f"{board.width_um / 1000:.1f} × {board.height_um / 1000:.1f} mm"
    return board.title, size, str(len(board.placed)), str(len(board.links)), str(len(board.wire_pads))


def _note(made: MadeBoard, enlarged: float) -> str:
    rules = made.board.rules
    gap = made.least_gap_um
    measured = f", least gap measured {plain_value_mm(gap)}" if gap else ""
    return (
        f"{enlarged:g} : 1, from the component side; the copper below shows through. Tracks from "
        f"{plain_value_mm(rules.track_um)}, gaps from {plain_value_mm(rules.spacing_um)}{measured}, copper "
        f"{rules.copper_um} µm."
    )


def _tables(made: MadeBoard) -> list[Block]:
    board = made.board
    found = [
        table(
            "Fit in this order, lowest first",
            STUFFING_HEADER,
            stuffing_rows(board),
            boxes=(0,),
            note="Tick each part. Fit chips last, or in sockets: they dislike static charge.",
        )
    ]
    if board.wire_pads:
        found.append(
            table("Wires and test points", ("pad", "leads to", "hole"), wire_rows(board), figures=(2,))
        )
    if made.off_board:
        found.append(table("Not on this board: wired to it", ("part", "why"), made.off_board))
    return found


def _true(svg: str, board: Board, turned: bool, alt: str) -> dict[str, Any]:
    wide, tall = print_size_mm(board)
    return {"svg": svg, "width": wide, "height": tall, "turned": turned, "alt": f"{board.title}: {alt}"}


def _lies(board: Board, paper: Paper) -> Literal["upright", "turned", ""]:
    """How the true-size print lies on the paper; "" where it fits neither way."""
    wide, tall = print_size_mm(board)
    across, along = _ROOM_MM[paper]
    if wide <= across and tall <= along:
        return "upright"
    return "turned" if tall <= across and wide <= along else ""


def _too_large(board: Board, paper: Paper) -> str:
    wide, tall = print_size_mm(board)
    across, along = _ROOM_MM[paper]
    return (
        f"With its bars it takes {wide:.0f} × {tall:.0f} mm, and this paper gives {across:.0f} × {along:.0f} "
        "mm: no page at true size. Have it made from the Gerber and drill files, or allow no board so large."
    )


def _assembly_size(board: Board, paper: Paper) -> tuple[float, float]:
    """How much the drawing is enlarged, and its width with its margins, mm."""
    units = 10.0  # of the drawing, to a millimetre
    wide, tall = board.width_um / 1000 + 32.0 / units, board.height_um / 1000 + 66.0 / units
    across = _ROOM_MM[paper][0]
    for factor in _ENLARGED:
        if factor * wide <= across and factor * tall <= _ASSEMBLY_TALL_MM:
            return factor, factor * wide
    fitting = math.floor(100.0 * min(across / wide, _ASSEMBLY_TALL_MM / tall)) / 100.0
    return fitting, fitting * wide
