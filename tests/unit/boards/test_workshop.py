"""Boards made in processes side by side: the same boards, and no process left however it ends."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

import pytest

from patience import PATIENCE_S, wait_for
from subwright.boards.footprints import axial
from subwright.boards.make import Demands
from subwright.boards.wanted import Wanted, WantedPart, WantedWire
from subwright.boards.workshop import Finished, made_one, made_side_by_side
from subwright.circuits.simulate import CancelledError


def small(key: str, resistors: int, voltages: Mapping[str, object] | None = None) -> Wanted:
    """A string of resistors with a wire at either end."""
    return Wanted(
        key=key,
        title=f"String of {resistors}",
        parts=tuple(
            WantedPart(
                case=f"R{k + 1}",
                label="10k",
                footprint=axial("axial 0207", 8, 6.5, 2.5, ("1", "2")),
                nets={"1": f"N{k}", "2": f"N{k + 1}"},
                role="string",
            )
            for k in range(resistors)
        ),
        wires=(
            WantedWire(name="IN", net="N0", leads_to="elsewhere"),
            WantedWire(name="OUT", net=f"N{resistors}", leads_to="elsewhere"),
        ),
        voltages={"N0": (0.0, 12.0)} if voltages is None else voltages,  # type: ignore[arg-type]
    )


class Deadly:
    """Whoever unpacks it ends."""

    def __reduce__(self) -> tuple[object, ...]:
        return os._exit, (3,)


class Stuck:
    """Whoever unpacks it is busy for ten minutes."""

    def __reduce__(self) -> tuple[object, ...]:
        return time.sleep, (600.0,)


def never() -> bool:
    return False


def test_side_by_side_gives_the_boards_that_one_alone_gives() -> None:
    tasks = [small("a", 3), small("b", 4), small("c", 2)]
    told: list[tuple[str, float]] = []
    found = {
        one.key: one.board
        for one in made_side_by_side(
            tasks, Demands(), jobs=2, progress=lambda what, share: told.append((what, share)), cancel=never
        )
    }
    assert found == {one.key: made_one(one, Demands(), lambda _what, _share: None).board for one in tasks}
    assert None not in found.values()
    assert told[-1][1] == 1.0
    assert [share for _, share in told] == sorted(share for _, share in told)
    assert multiprocessing.active_children() == []


def test_a_wish_to_cancel_is_heard_while_they_work() -> None:
    with pytest.raises(CancelledError):
        list(
            made_side_by_side(
                [small("a", 3), small("b", 4)],
                Demands(),
                jobs=2,
                progress=lambda _what, _share: None,
                cancel=lambda: True,
            )
        )
    assert multiprocessing.active_children() == []


def test_a_process_that_dies_takes_one_board_with_it() -> None:
    tasks = [small("deadly", 5, {"N0": Deadly()}), small("a", 2), small("b", 3)]
    found: dict[str, Finished] = {
        one.key: one
        for one in made_side_by_side(
            tasks, Demands(), jobs=1, progress=lambda _what, _share: None, cancel=never
        )
    }
    assert found["deadly"].board is None
    assert "ended by itself" in str(found["deadly"].error)
    assert found["a"].board is not None
    assert found["b"].board is not None
    assert multiprocessing.active_children() == []


def test_a_fault_of_the_programme_is_said_and_the_rest_goes_on() -> None:
    broken = small("a", 2, {"N0": (None, None)})
    found = made_one(broken, Demands(), lambda _what, _share: None)
    assert found.board is None
    assert "fault in subwright itself" in str(found.error)


WAITING = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[1:]
from test_workshop import Stuck, small
from subwright.boards.make import Demands
from subwright.boards.workshop import made_side_by_side

def told(_what, _share):  # the smaller board's: the larger one is stuck
    print(*(one.pid for one in multiprocessing.active_children()), flush=True)
    sys.stdin.read()

import multiprocessing
if __name__ == "__main__":
    tasks = [small("stuck", 5, {"N0": Stuck()}), small("a", 3)]
    list(made_side_by_side(tasks, Demands(), jobs=2, progress=told, cancel=lambda: False))
"""


def test_workers_end_with_a_parent_that_is_killed(tmp_path: Path) -> None:
    script = tmp_path / "waiting.py"
    script.write_text(WAITING, encoding="utf-8")
    here = Path(__file__).parent
    parent = subprocess.Popen(
        [sys.executable, str(script), str(here), str(here.parents[1])],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with parent:
        assert parent.stdout is not None
        workers = [int(word) for word in parent.stdout.readline().split()]
        assert len(workers) == 2
        parent.kill()
    wait_for(lambda: not any(alive(one) for one in workers), "the workers' end", PATIENCE_S)


def alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and waits to be asked for its code doesn't."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except OSError:
        return False
