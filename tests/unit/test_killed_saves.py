"""A thousand times kill -9 while something is being saved: nothing that was saved is lost, nothing is torn.

A child saves without pause and tells each finished save through a pipe; it is killed at odd moments. What it
told must be there afterwards, whole; at most the one save that was under way may be there as well.
"""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from patience import PATIENCE_S
from subwright.base.saving import save_atomically
from subwright.build.bench import Entry
from subwright.outputs.benchlog import append_entries, read_log
from subwright.outputs.history import open_history
from subwright.parts.drawer import load_drawer, set_quantity

MEMORY = Path("/dev/shm")
KILLS = 250  # of each of the four kinds of file
LOGS = 10  # that the kills of a bench log are spread over: a long one takes long to read
FILLER = "# filler\n" * 2_000


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory where there is one: a kill is no loss of power, so no disk need be waited for."""
    if not os.access(MEMORY, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=MEMORY, prefix="subwright-kills-") as made:
        yield Path(made)


def one_life(save: Callable[[int], None], first: int, delay_s: float, *, after_one: bool) -> int:
    """Let a child save first, first + 1 … until it is killed; the last number that it told, or first - 1.

    Killed ``delay_s`` after it was born, or after it told its first save.
    """
    receive, send = os.pipe()
    child = os.fork()
    if child == 0:  # pragma: no cover
        try:
            os.close(receive)
            count = first
            while True:
                save(count)
                os.write(send, b"x")
                count += 1
        finally:
            os._exit(1)
    os.close(send)
    if after_one:
        assert select.select([receive], [], [], PATIENCE_S)[0], "the child saves nothing"
    time.sleep(delay_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    told = 0
    while piece := os.read(receive, 65536):
        told += len(piece)
    os.close(receive)
    assert os.WIFSIGNALED(status), "the child failed by itself"
    return first - 1 + told


def kill_again_and_again(save: Callable[[int], None], newest: Callable[[], int], kills: int = KILLS) -> int:
    """How many saves were finished in so many lives; after each there is what was told, or one more.

    Every second child is left alone until it has saved once, so that the test says something on a machine of
    any speed; the others die when they die.
    """
    there, finished = newest(), 0
    for turn in range(kills):
        told = one_life(save, there + 1, 0.0002 * (turn % 23), after_one=turn % 2 == 1)
        finished += told - there
        found = newest()
        assert told <= found <= told + 1, turn
        there = found
    return finished


def build_file(folder: Path) -> int:
    path = folder / "van.build.toml"

    def text(count: int) -> str:
        return f'name = "{count}"\n{FILLER}# end {count}\n'

    def newest() -> int:
        if not path.exists():
            return -1
        found = path.read_text()
        count = int(found.split('"')[1])
        assert found == text(count)
        return count

    finished = kill_again_and_again(lambda count: save_atomically(path, text(count)), newest)
    assert len(list(folder.glob("*.toml"))) == 1
    return finished


def drawer(folder: Path) -> int:
    path = folder / "van.drawer.toml"
    set_quantity(path, "LM339", 0)
    return kill_again_and_again(
        lambda count: set_quantity(path, "LM339", count) and None,
        lambda: load_drawer(path).quantities["LM339"],
    )


def bench_log(folder: Path) -> int:
    def entry(count: int) -> Entry:
        at = f"2031-05-06T10:00:{count % 60:02d}"
        return Entry(
            unit="1", at=at, key="rail-positive", value=float(count), accuracy=0.005, code="X", note="°\n"
        )

    def killed_in(path: Path) -> int:
        def newest() -> int:
            values = [int(row.value) for row in read_log(path)]
            assert values == list(range(len(values)))
            return len(values) - 1

        return kill_again_and_again(lambda count: append_entries(path, [entry(count)]), newest, KILLS // LOGS)

    return sum(killed_in(folder / f"van-{number}.bench.jsonl") for number in range(LOGS))


def history(folder: Path) -> int:
    path, journal = folder / "van.build.toml", folder / "history" / "van.jsonl"
    path.write_text("0")

    def newest() -> int:
        kept, unsaved = open_history(journal, path.read_text(), path.stat().st_mtime)
        if unsaved:
            save_atomically(path, kept.text)
        assert len(kept.done) == int(kept.text)
        return int(kept.text)

    def save(count: int) -> None:
        kept, _ = open_history(journal, path.read_text(), path.stat().st_mtime)
        kept.change(str(count), f"to {count}")
        save_atomically(path, kept.text)

    return kill_again_and_again(save, newest)


KINDS = {kind.__name__: kind for kind in (build_file, drawer, bench_log, history)}


def killed(kind: Callable[[Path], int], folder: Path) -> int:
    """Finished saves of a kind of file, from a small process: one that runs tests takes long to fork."""
    done = subprocess.run(
        [sys.executable, __file__, kind.__name__, str(folder)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        capture_output=True,
        text=True,
        timeout=10 * PATIENCE_S,
    )
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def enough(finished: int) -> None:
    """The children got on with it: otherwise the test would say nothing."""
    assert finished >= KILLS // 2


def test_a_build_file_is_the_last_saved_one_or_the_next_whole(folder: Path) -> None:
    enough(killed(build_file, folder))


def test_a_drawer_keeps_every_count_that_was_saved(folder: Path) -> None:
    enough(killed(drawer, folder))


def test_a_bench_log_keeps_every_entry_once_and_in_order(folder: Path) -> None:
    enough(killed(bench_log, folder))


def test_a_history_keeps_every_change_even_one_that_its_file_missed(folder: Path) -> None:
    enough(killed(history, folder))


def test_the_harness_notices_a_save_that_tears(folder: Path) -> None:
    """A save in two halves, not flushed to one name, must be caught within the same number of kills."""
    path = folder / "torn"

    def newest() -> int:
        words = path.read_text().split() if path.exists() else ["-1", "-1"]
        assert len(words) == 2
        return int(words[0])

    def save(count: int) -> None:
        with path.open("w") as stream:
            stream.write(f"{count} ")
            stream.flush()
            time.sleep(0.002)
            stream.write(f"{count}\n")

    with pytest.raises(AssertionError):
        kill_again_and_again(save, newest)


if __name__ == "__main__":
    print(KINDS[sys.argv[1]](Path(sys.argv[2])))
