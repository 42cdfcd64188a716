"""Talk goes to stderr: questions, progress, notes and problems. Results never come this way."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from subwright.base.errors import SubwrightError

__all__ = ["ask", "clean", "progress"]

_SHOW_AFTER_S = 1.0


def clean(text: str) -> str:
    """``text`` without the control characters that could steer a terminal; line ends and tabs stay."""
    return "".join(c if c in "\n\t" or c.isprintable() else "�" for c in text)


def ask(question: str, default: str, check: Callable[[str], str]) -> str:
    """Ask on the terminal until the answer passes ``check``.

    Parameters
    ----------
    question : printed as it is, followed by the default in brackets.
    default : taken for an empty answer; "" where an answer is needed.
    check : returns the accepted answer, or raises `SubwrightError` whose text is shown before asking again.

    Raises
    ------
    SubwrightError
        The input ended before the question was answered.
    """
    while True:
        sys.stderr.write(f"{question} [{default}]: " if default else f"{question}: ")
        sys.stderr.flush()
        line = sys.stdin.readline()
        if not line:
            sys.stderr.write("\n")
            raise SubwrightError(
                message="the answers ended before the last question",
                remedy="give the answers as options instead; see subwright new --help",
            )
        try:
            return check(line.strip() or default)
        except SubwrightError as error:
            sys.stderr.write(f"  {clean(str(error))}\n")


@contextmanager
def progress(title: str) -> Iterator[Callable[[str, float], None]]:
    """Yield ``report(what, share)``; a bar appears on stderr once the work has taken a second.

    Nothing is shown when stderr is not a terminal. ``share`` counts from 0 to 1.
    """
    if not sys.stderr.isatty():
        yield lambda _what, _share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn(title),
        BarColumn(bar_width=24),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.description}"),
        console=Console(stderr=True),
        transient=True,
    )
    started = time.monotonic()
    task = bar.add_task("", total=1.0)

    def report(what: str, share: float) -> None:
        if not bar.live.is_started and time.monotonic() - started > _SHOW_AFTER_S:
            bar.start()
        bar.update(task, description=clean(what), completed=min(max(share, 0.0), 1.0))

    try:
        yield report
    finally:
        if bar.live.is_started:
            bar.stop()
