"""Boards as files: what goes to a board maker, to the etching bath and to the bench."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from subwright import __version__
from subwright.boards.record import Board
from subwright.outputs.board_drawing import assembly_svg
from subwright.outputs.board_lists import places_csv
from subwright.outputs.board_print import boards_pdf
from subwright.outputs.board_test import finished_board_text
from subwright.outputs.drill import drill_files
from subwright.outputs.gerber import gerber_files
from subwright.outputs.made_board import MadeBoard
from subwright.outputs.print_pdf import Paper

__all__ = ["PRINT", "board_files", "one_board"]

PRINT = "boards.pdf"


def one_board(board: Board, *, build: str, code: str) -> Mapping[str, str]:
    """One board's files by name: Gerber layers, holes, drawing, places, test records.

    Parameters
    ----------
    board : made. build : name of the whole build. code : the design's code.
    """
    return {
        **gerber_files(board, build=build, code=code),
        **drill_files(board),
        "assembly.svg": assembly_svg(board),
        "places.csv": places_csv(board),
        "test-records.d356": finished_board_text(
            board, build=build, code=code, made_with=f"subwright {__version__}"
        ),
    }


def board_files(
    made: Sequence[MadeBoard], *, build: str, code: str, stamp: str = "", paper: Paper | None = "a4"
) -> Mapping[str, bytes]:
    """Every board's files in a folder of its key, and the print of all; {} where there is none.

    Parameters
    ----------
    made : boards. build : name of the whole build. code : the design's code. stamp : "" unless a finding
    forbids building. paper : of the print; None leaves it out.

    Raises
    ------
    SubwrightError : the typesetter is missing or refuses.
    """
    files = {
        f"{one.board.key}/{name}": text.encode()
        for one in made
        for name, text in one_board(one.board, build=build, code=code).items()
    }
    if made and paper is not None:
        files[PRINT] = boards_pdf(made, build=build, code=code, stamp=stamp, paper=paper)
    return files
