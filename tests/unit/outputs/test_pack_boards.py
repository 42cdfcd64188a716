"""The pack holds the boards of this very design, and says so where there are none or only another's."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from board_sample import SAMPLE

from subwright import __version__
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.made_board import KeptBoards, MadeBoard
from subwright.outputs.pack import pack_files
from subwright.outputs.print_code import design_code
from subwright.parts.library import load_library


@cache
def design() -> Design:
    build = {
        "format_version": 1,
        "name": "Harbour van",
        "driver": {"part": "Harbour 10"},
        "goal": {"power": "40 W"},
    }
    return solve_build(BuildSpec.model_validate(build), load_library())


def kept(code: str) -> KeptBoards:
    made = MadeBoard(board=SAMPLE, off_board=(("Q301", "on the heatsink"),), least_gap_um=740, seconds=1.0)
    return KeptBoards(
        code=code,
        made_with=__version__,
        boards=(made,),
        without=(("Wiring", "Cables and terminals."),),
        wanted=("control", "line-filter"),
    )


def test_boards_of_the_design_are_in_the_pack() -> None:
    boards = kept(design_code(design()))
    files = dict(pack_files(design(), boards=boards, paper="a4"))
    own = {name.removeprefix("boards/") for name in files if name.startswith("boards/")}
    assert own == {"boards.pdf"} | {
        f"line-filter/{name}"
        for name in (
            "copper-bottom.gbr",
            "soldermask-bottom.gbr",
            "legend-top.gbr",
            "profile.gbr",
            "holes-unplated.drl",
            "assembly.svg",
            "places.csv",
            "test-records.d356",
        )
    }
    page = files["summary.html"].decode()
    assert 'data-part="U101"' in page
    assert "Still to be made: control." in page
    assert "No board for: Wiring. Cables and terminals." in page
    assert "on the heatsink" in page
    assert "plots/board-line-filter.svg" not in files
    again = dict(pack_files(replace(design()), boards=boards, paper="a4"))
    assert again == files


def test_boards_of_another_design_are_left_out_and_named() -> None:
    files = pack_files(design(), boards=kept("0000-0000"))
    assert not [name for name in files if name.startswith("boards/")]
    assert "MADE FOR ANOTHER VERSION OF THIS DESIGN only" in files["summary.html"].decode()


def test_without_boards_the_pack_says_how_to_make_them() -> None:
    files = pack_files(design())
    assert not [name for name in files if name.startswith("boards/")]
    page = files["summary.html"].decode()
    assert "NOT MADE." in page
    assert "subwright boards BUILD" in page
