"""Printed boards: made from a design's netlists, checked, kept beside the build file, written as files."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from subwright.base.errors import SubwrightError
from subwright.service.solved import Progress, Solved, library_of, processors, quiet

if TYPE_CHECKING:
    from subwright.boards.make import Demands
    from subwright.boards.wanted import Wanted
    from subwright.boards.workshop import Finished
    from subwright.outputs.made_board import KeptBoards, MadeBoard
    from subwright.outputs.print_pdf import Paper
    from subwright.outputs.schematics import Schematics

__all__ = [
    "Boards",
    "board_files",
    "current_boards",
    "kept_boards",
    "make_boards",
    "wanted_boards",
]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Boards:
    """What came of making boards.

    Attributes
    ----------
    kept : all boards of this design, with those made before. made : keys of those made now.
    failed : key and reason of each that could not be made.
    unsaved : why they could not be kept beside the build file; None where they were.
    """

    kept: KeptBoards
    made: tuple[str, ...]
    failed: tuple[tuple[str, SubwrightError], ...] = ()
    unsaved: SubwrightError | None = None


def wanted_boards(
    solved: Solved, drawn: Schematics | None = None
) -> tuple[tuple[Wanted, ...], tuple[tuple[str, str], ...]]:
    """What each board of a design must carry, and the blocks without one, with the reason.

    ``drawn`` are its circuits where they are at hand.
    """
    from subwright.outputs.board_parts import wanted_boards as wanted
    from subwright.outputs.schematics import schematics

    library = library_of(solved)
    return wanted(drawn or schematics(solved.design, library), solved.design, library)


def make_boards(
    solved: Solved,
    *,
    keys: Sequence[str] = (),
    progress: Progress = quiet,
    cancel: Callable[[], bool] | None = None,
    again: bool = False,
    jobs: int | None = None,
    save: bool = True,
) -> Boards:
    """Place, route and check a design's boards; each is kept as soon as it is done.

    Parameters
    ----------
    solved : the design. keys : of the blocks; () for all. progress : told the board at work and the share
    done. cancel : asked while they are made; true ends it. again : make boards anew that this
    very design has already; they come out the same. jobs : boards at a time; None for one a processor.
    save : keep them beside the build file.

    Returns
    -------
    Boards; one that doesn't come out is among its ``failed``, and takes nothing away from what was kept.

    Raises
    ------
    CancelledError : ``cancel`` said so; boards that were done are kept.
    InputError : boards of earlier are there and can't be used.
    SubwrightError : the design has no such board.
    """
    from subwright import __version__
    from subwright.outputs.kept_boards import usable
    from subwright.outputs.made_board import KeptBoards, MadeBoard
    from subwright.outputs.print_code import design_code

    code = design_code(solved.design)
    # a file that can't be used is told of before the work, not after it
    before = usable(kept_boards(solved), code) if save else None
    wanted, without = wanted_boards(solved)
    every = tuple(one.key for one in wanted)
    strange = [key for key in keys if key not in every]
    if strange:
        raise SubwrightError(
            message="This design has no such board.",
            quantity="block",
            value=", ".join(strange),
            limit=", ".join(every) or "none: every block is hard-wired",
        )
    done = () if before is None or again else tuple(one.board.key for one in before.boards)
    chosen = [one for one in wanted if (not keys or one.key in keys) and one.key not in done]
    kept = before or KeptBoards(code=code, made_with=__version__, boards=(), without=without, wanted=every)
    made: list[str] = []
    failed: list[tuple[str, SubwrightError]] = []
    unsaved: SubwrightError | None = None
    off_board = {one.key: one.off_board for one in chosen}
    with closing(_finished(chosen, _demands(solved), progress, cancel, jobs)) as found:
        for one in found:
            if one.board is None or one.checked is None:
                failed.append((one.key, one.error or SubwrightError(message="there is no board")))
                continue
            gap = one.checked.spacing_um
            board = MadeBoard(
                board=one.board,
                off_board=off_board[one.key],
                least_gap_um=round(gap) if gap < float("inf") else 0,
                seconds=one.seconds,
            )
            made.append(one.key)
            kept = _with(kept, board)
            if save and unsaved is None:
                unsaved = _save(solved, kept, board)
    progress("", 1.0)
    return Boards(kept=kept, made=tuple(made), failed=tuple(failed), unsaved=unsaved)


def kept_boards(solved: Solved) -> KeptBoards | None:
    """The boards kept beside the build file, of whatever design; None where there are none.

    Raises
    ------
    InputError : the file can't be used.
    """
    from subwright.outputs.kept_boards import boards_path, read_boards

    return read_boards(boards_path(solved.build.path)) if solved.build is not None else None


def current_boards(solved: Solved) -> KeptBoards | None:
    """The boards kept beside the build file where they are of this design, else None.

    Raises
    ------
    InputError : the file can't be used.
    """
    from subwright.outputs.kept_boards import usable
    from subwright.outputs.print_code import design_code

    return usable(kept_boards(solved), design_code(solved.design))


def board_files(
    solved: Solved, boards: Sequence[MadeBoard], *, paper: Paper | None = "a4"
) -> Mapping[str, bytes]:
    """Boards as files by relative path: Gerber, holes, drawing, places, test records, and a print of all.

    Raises
    ------
    SubwrightError : the typesetter is missing or refuses.
    """
    from subwright.outputs.board_files import board_files as made
    from subwright.outputs.design_view import stamp_of
    from subwright.outputs.print_code import design_code

    design = solved.design
    return made(boards, build=design.spec.name, code=design_code(design), stamp=stamp_of(design), paper=paper)


def _finished(
    chosen: Sequence[Wanted],
    demands: Demands,
    progress: Progress,
    cancel: Callable[[], bool] | None,
    jobs: int | None,
) -> Generator[Finished, None, None]:
    """Each board as it is done: one alone here, several side by side in processes."""
    from subwright.boards.workshop import made_one, made_side_by_side

    stopped = cancel or (lambda: False)
    workers = min(jobs or processors(), len(chosen))
    if workers > 1:
        progress(chosen[0].title, 0.0)
        yield from made_side_by_side(chosen, demands, jobs=workers, progress=progress, cancel=stopped)
        return
    for number, one in enumerate(chosen):
        watched = _Watched(progress, stopped, number, len(chosen))
        watched(one.title, 0.0)
        yield made_one(one, demands, watched)


class _Watched:
    """Progress of one board within all, which ends the work where it is to be cancelled."""

    def __init__(self, progress: Progress, cancel: Callable[[], bool], number: int, count: int) -> None:
        self._progress, self._cancel, self._number, self._count = progress, cancel, number, count

    def __call__(self, doing: str, share: float) -> None:
        from subwright.circuits.simulate import CancelledError

        if self._cancel():
            raise CancelledError(message="the boards were cancelled")
        self._progress(doing, (self._number + min(max(share, 0.0), 1.0)) / self._count)


def _demands(solved: Solved) -> Demands:
    from subwright.boards.make import demands_of

    spec = solved.design.spec
    return demands_of(spec.board, spec.wiring.copper_thickness_m, spec.wiring.track_rise_k)


def _with(kept: KeptBoards, board: MadeBoard) -> KeptBoards:
    from dataclasses import replace

    held = {one.board.key: one for one in kept.boards} | {board.board.key: board}
    return replace(kept, boards=tuple(held[key] for key in kept.wanted if key in held))


def _save(solved: Solved, kept: KeptBoards, board: MadeBoard) -> SubwrightError | None:
    """Keep one board beside the build file; why it can't be, where it can't."""
    from subwright.outputs.kept_boards import boards_path, save_boards

    if solved.build is None:
        return None
    try:
        save_boards(
            boards_path(solved.build.path), kept.code, (board,), without=kept.without, wanted=kept.wanted
        )
    except SubwrightError as error:
        return error
    return None
