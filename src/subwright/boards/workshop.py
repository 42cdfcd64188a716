"""Boards made side by side in processes of their own, which can be ended at any moment.

One board can take a processor for many seconds; two processors make two. A worker that dies takes its own
board with it and nothing else.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Final

from subwright.base.errors import SubwrightError
from subwright.boards.check import Checked, check_board
from subwright.boards.make import Demands, make_board
from subwright.boards.record import Board
from subwright.boards.wanted import Wanted
from subwright.circuits.simulate import CancelledError

__all__ = ["Finished", "made_one", "made_side_by_side"]

_GLANCE_S: Final = 0.1  # how long a wish to cancel, or an interrupt, may go unseen
_NO_SECONDS: Final = 0.0

Progress = Callable[[str, float], None]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Finished:
    """What came of one board: the board with what its check measured, or the error; and the seconds."""

    key: str
    seconds: float = _NO_SECONDS
    board: Board | None = None
    checked: Checked | None = None
    error: SubwrightError | None = None


def made_one(wanted: Wanted, demands: Demands, progress: Progress) -> Finished:
    """Make one board here and hold it to its netlist by the other route.

    Parameters
    ----------
    wanted : parts, wires and voltages. demands : of the builder. progress : told what is done; it may raise.

    Raises
    ------
    CancelledError : ``progress`` raised it. Any other error is part of the answer.
    """
    import time

    start = time.perf_counter()
    try:
        board = make_board(wanted, demands, progress)
        checked = check_board(board, wanted)
    except CancelledError:
        raise
    except SubwrightError as error:
        return Finished(key=wanted.key, error=error)
    except Exception as error:  # the other boards go on
        return Finished(
            key=wanted.key,
            error=SubwrightError(
                message=f"sorry, that is a fault in subwright itself ({type(error).__name__}: {error})",
                remedy="report it with the build file",
            ),
        )
    if checked.problems:
        return Finished(
            key=wanted.key,
            error=SubwrightError(
                message=f"The board {wanted.title} did not pass its check: {'; '.join(checked.problems[:3])}",
                quantity="board",
                value=wanted.key,
                remedy="this is a fault of the programme; please report it with the build file",
            ),
        )
    return Finished(
        key=wanted.key, seconds=round(time.perf_counter() - start, 1), board=board, checked=checked
    )


def made_side_by_side(
    tasks: Sequence[Wanted],
    demands: Demands,
    *,
    jobs: int,
    progress: Progress,
    cancel: Callable[[], bool],
) -> Iterator[Finished]:
    """Make boards, the largest first, several at a time; each comes when it is done.

    Parameters
    ----------
    tasks : boards to make. demands : of the builder. jobs : processes. progress : told the board and the
    share of all that is done. cancel : asked at least ten times a second.

    Raises
    ------
    CancelledError : ``cancel`` said so. However the work ends, no process is left.
    """
    left = sorted(range(len(tasks)), key=lambda number: -len(tasks[number].parts))
    shares = dict.fromkeys(range(len(tasks)), 0.0)
    workers = [_Worker(demands) for _ in range(min(jobs, len(tasks)))]
    try:
        for worker in workers:
            worker.give(left.pop(0), tasks)
        while any(worker.busy for worker in workers):
            if cancel():
                raise CancelledError(message="the boards were cancelled")
            ready = wait([worker.connection for worker in workers if worker.busy], timeout=_GLANCE_S)
            for worker in [one for one in workers if one.connection in ready]:
                number = worker.number
                told = worker.answer(tasks[number])
                if isinstance(told, Finished):
                    shares[number] = 1.0
                    progress(tasks[number].title, sum(shares.values()) / len(tasks))
                    if left:
                        worker.give(left.pop(0), tasks)
                    yield told
                else:
                    doing, shares[number] = told
                    progress(doing, sum(shares.values()) / len(tasks))
    finally:
        for worker in workers:
            worker.end()


class _Worker:
    """A process that makes one board after the other."""

    def __init__(self, demands: Demands) -> None:
        self._demands = demands
        self.busy = self._lost = False
        self.number = -1
        self._begin()

    def _begin(self) -> None:
        self._lost = False
        context = multiprocessing.get_context("spawn")
        self.connection, other = context.Pipe()
        self._process: BaseProcess = context.Process(target=_work, args=(other, self._demands), daemon=True)
        # an interrupt of the terminal is ours to answer: the process never hears it
        held = _without_interrupts()
        try:
            self._process.start()
        finally:
            held()
        other.close()

    def give(self, number: int, tasks: Sequence[Wanted]) -> None:
        """The next board."""
        if self._lost:
            self.end()
            self._begin()
        self.busy, self.number = True, number
        with suppress(OSError):  # one that died says so when it is listened to
            self.connection.send(tasks[number])

    def answer(self, wanted: Wanted) -> Finished | tuple[str, float]:
        """What it says: how far it is, or what came of its board."""
        told: Any
        try:
            told = self.connection.recv()
        except (EOFError, OSError):
            self._lost = True
            error = SubwrightError(
                message=f"the process that made the board {wanted.title} ended by itself",
                quantity="board",
                value=wanted.key,
                remedy="make it again; if it comes back, report it with the build file",
            )
            told = Finished(key=wanted.key, error=error)
        if isinstance(told, Finished):
            self.busy = False
            return told
        doing, share = told
        return str(doing), min(max(float(share), 0.0), 1.0)

    def end(self) -> None:
        """Kill it, and wait until it is gone."""
        self.connection.close()
        self._process.kill()
        self._process.join()
        self._process.close()


def _without_interrupts() -> Callable[[], None]:
    """Hold interrupts back from what is started now; returns what lets them through again."""
    mask = getattr(signal, "pthread_sigmask", None)
    if mask is None:
        return lambda: None
    before = mask(signal.SIG_BLOCK, {signal.SIGINT})
    return lambda: mask(signal.SIG_SETMASK, before)


def _work(connection: Connection, demands: Demands) -> None:
    """Make every board that comes down the line, until it is closed or whoever asked is gone."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with suppress(EOFError, OSError):
        while True:
            wanted: Wanted = connection.recv()
            connection.send(made_one(wanted, demands, lambda doing, share: connection.send((doing, share))))


def _end_with_parent() -> None:
    """A parent that was killed can't end us: do it for it, whatever is being made."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)
