"""The chapter on printed boards: those kept beside the build, or that there are none of this design."""

from __future__ import annotations

from subwright.boards.record import Board
from subwright.outputs.board_drawing import assembly_svg
from subwright.outputs.cautions import before_etching, before_wiring_a_board
from subwright.outputs.kept_boards import usable
from subwright.outputs.made_board import KeptBoards, MadeBoard, plain_value_mm
from subwright.outputs.views import Figure, Grid, Later, LaterDrawing, Sheet

__all__ = ["boards_sheet"]

_HEADER = ("board", "size", "parts", "links", "of them in a sleeve", "wires", "least gap")


def boards_sheet(kept: KeptBoards | None, code: str) -> Sheet:
    """What there is of boards.

    Parameters
    ----------
    kept : the boards beside the build file, of whatever design. code : this design's.
    """
    current = usable(kept, code)
    boards = () if current is None else current.boards
    return Sheet(
        key="boards",
        title="Printed boards",
        lead=_lead(kept, current),
        reasons=() if current is None else tuple(f"No board for: {t}. {why}" for t, why in current.without),
        cautions=(before_etching(), before_wiring_a_board()) if boards else (),
        figures=tuple(_figure(one.board) for one in boards),
        grids=Later(lambda: (_grid(boards), *_off_board(boards)) if boards else ()),
    )


def _lead(kept: KeptBoards | None, current: KeptBoards | None) -> str:
    if kept is None:
        return "NOT MADE. To place and route a board for each low-power block: subwright boards BUILD"
    if current is None:
        return (
            "MADE FOR ANOTHER VERSION OF THIS DESIGN only: parts and nets may differ, so they are left out. "
            "To make them for this one: subwright boards BUILD"
        )
    missing = f" Still to be made: {', '.join(current.missing)}." if current.missing else ""
    return (
        "One board a low-power block: copper on one side, straight wire links on the other. Each was held to "
        "its netlist by another route than the one that made it. For the workshop: boards/boards.pdf at true "
        f"size; for a board maker: the Gerber and drill files in boards/.{missing}"
    )


def _figure(board: Board) -> Figure:
    return Figure(
        key=f"board-{board.key}",
        drawn=LaterDrawing(make=lambda: assembly_svg(board, inline=True)),
        caption=f"{board.title}: component side, the copper seen through, links in the accent colour.",
        wide=True,
    )


def _grid(boards: tuple[MadeBoard, ...]) -> Grid:
    return Grid(
        title="The boards",
        header=_HEADER,
        rows=tuple(
            (
                one.board.title,
                f"{one.board.width_um / 1000:.1f} × {one.board.height_um / 1000:.1f} mm",
                str(len(one.board.placed)),
                str(len(one.board.links)),
                str(sum(link.insulated for link in one.board.links)),
                str(len(one.board.wire_pads)),
                plain_value_mm(one.least_gap_um) if one.least_gap_um else "–",
            )
            for one in boards
        ),
        figures=frozenset(range(1, len(_HEADER))),
    )


def _off_board(boards: tuple[MadeBoard, ...]) -> tuple[Grid, ...]:
    rows = tuple((one.board.title, part, why) for one in boards for part, why in one.off_board)
    if not rows:
        return ()
    return (Grid(title="Wired to the boards, not on them", header=("board", "part", "why"), rows=rows),)
