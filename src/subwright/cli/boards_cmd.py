"""``subwright boards``: a printed board for each low-power block, with all that it takes to make one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group
from rich.table import Table
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import CLEAN, COULD_NOT_RUN, FINDINGS_AT_STOP, Answer
from subwright.cli.talk import clean, progress
from subwright.outputs.folder import replace_folder

if TYPE_CHECKING:
    from subwright.outputs.made_board import MadeBoard
    from subwright.outputs.print_pdf import Paper

__all__ = ["boards"]


def boards(file: Path, keys: Sequence[str], folder: Path | None, paper: str, *, again: bool) -> Answer:
    """Make a build's boards, keep them beside it and write their files."""
    sheet = _paper(paper)
    with progress("designing") as report:
        solved = service.solve(file, report)
    with progress("boards") as report:
        found = service.make_boards(solved, keys=keys, progress=report, again=again)
    shown = tuple(one for one in found.kept.boards if not keys or one.board.key in keys)
    target = folder or file.with_name(file.name.removesuffix(".toml").removesuffix(".build") + ".boards")
    files: Mapping[str, bytes] = {}
    if shown:
        files = service.board_files(solved, shown, paper=sheet)
        replace_folder(target, files)
    code = COULD_NOT_RUN if found.failed else FINDINGS_AT_STOP if solved.has_stop else CLEAN
    return Answer(
        command="boards",
        data=lambda: {
            "folder": str(target) if files else "",
            "files": sorted(files),
            "boards": [_data(one, found) for one in shown],
            "failed": [{"board": key, "error": str(error)} for key, error in found.failed],
            "without": [{"block": title, "reason": reason} for title, reason in found.kept.without],
        },
        text=lambda: Group(*_lines(shown, found, target, files)),
        code=code,
        notes=tuple(_notes(solved, found, file)),
    )


def _paper(word: str) -> Paper:
    from subwright.outputs.print_pdf import PAPERS

    for known in PAPERS:
        if word == known:
            return known
    raise SubwrightError(
        message="There is no such paper.", quantity="--paper", value=word, limit=", ".join(PAPERS)
    )


def _data(one: MadeBoard, found: service.Boards) -> Mapping[str, object]:
    board = one.board
    return {
        "key": board.key,
        "title": board.title,
        "width_m": board.width_um * 1e-6,
        "height_m": board.height_um * 1e-6,
        "parts": len(board.placed),
        "links": len(board.links),
        "insulated_links": sum(link.insulated for link in board.links),
        "wire_pads": len(board.wire_pads),
        "least_gap_m": one.least_gap_um * 1e-6,
        "off_board": [{"part": part, "reason": reason} for part, reason in one.off_board],
        "made_now": board.key in found.made,
        "took_s": one.seconds,
    }


def _lines(
    shown: Sequence[MadeBoard], found: service.Boards, target: Path, files: Mapping[str, bytes]
) -> Iterator[Table | Text]:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("board")
    for heading in ("size", "parts", "links", "wires", "least gap", "took"):
        table.add_column(heading, justify="right")
    for one in shown:
        board = one.board
        table.add_row(
            Text(clean(board.key)),
            f"{board.width_um / 1000:.0f} × {board.height_um / 1000:.0f} mm",
            str(len(board.placed)),
            str(len(board.links)),
            str(len(board.wire_pads)),
            f"{one.least_gap_um / 1000:.2f} mm" if one.least_gap_um else "–",
            f"{one.seconds:.1f} s" if board.key in found.made else "before",
        )
    yield table
    yield Text("")
    if files:
        yield Text(clean(f"{len(files)} files in {target}"), style="bold")


def _notes(solved: service.Solved, found: service.Boards, file: Path) -> Iterator[str]:
    for key, error in found.failed:
        yield f"{key}: {error}"
    for title, reason in found.kept.without:
        yield f"No board for: {title}. {reason}"
    if solved.has_stop:
        yield "The design has findings at stop: don't build it as it is."
    if found.unsaved is not None:
        yield f"The boards could not be kept: {found.unsaved}"
    elif found.kept.boards:
        from subwright.outputs.kept_boards import boards_path

        yield f"Kept in {boards_path(file)}; the pack and the workbench show them."
