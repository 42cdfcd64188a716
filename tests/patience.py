"""What tests share about time: waiting for a condition, and limits in processor time of a given machine.

No test waits for a fixed time, and none measures how long something took by the clock on the wall: both would
ask what else the machine does. A limit on work is one on processor time, and grows with the time that this
processor needs just now for a known piece of work.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from typing import TypeVar

PATIENCE_S = 60.0
"""How long to wait for what must happen: hundreds of times longer than it takes on an idle machine."""

KNOWN_WORK_S = 0.0046
"""Processor time of `known_work` on the machine on which the limits were set, idle."""

T = TypeVar("T")


def wait_for(look: Callable[[], T], what: str, patience_s: float = PATIENCE_S) -> T:
    """The first answer of ``look`` that is true, asked again and again."""
    until = time.monotonic() + patience_s
    while not (found := look()):
        assert time.monotonic() < until, f"waited {patience_s:g} s in vain for {what}"
        time.sleep(0.02)
    return found


def known_work() -> int:
    """A fixed piece of plain Python: arithmetic, calls, text and dictionaries."""
    seen: dict[str, int] = {}
    total = 0
    for k in range(20_000):
        name = f"{k % 211}:{k % 7}"
        seen[name] = seen.get(name, 0) + (k * k) % 13
        total += len(name)
    return total + sum(sorted(seen.values()))


def own_s(run: Callable[[], object]) -> float:
    """Processor time that ``run`` takes in this process, s."""
    start = time.process_time()
    run()
    return time.process_time() - start


def children_s(run: Callable[[], object]) -> float:
    """Processor time of the processes that ``run`` starts and waits for, s."""

    def spent() -> float:
        usage = resource.getrusage(resource.RUSAGE_CHILDREN)
        return usage.ru_utime + usage.ru_stime

    before = spent()
    run()
    return spent() - before


def slowness() -> float:
    """How many times as long as on the reference machine this processor takes now; 1 where it is faster."""
    return max(1.0, min(own_s(known_work) for _ in range(3)) / KNOWN_WORK_S)


def assert_within(limit_s: float, spend: Callable[[], float], tries: int = 10) -> None:
    """``spend`` takes ``limit_s`` of the reference machine's processor time or less, at best.

    Tried until it holds, and the machine's pace measured again each time: a processor shares its caches and
    pipelines with whatever else runs.
    """
    told = []
    for _ in range(tries):
        pace, spent = slowness(), spend()
        pace = max(pace, slowness())
        told.append(f"{spent:.4g} s at {pace:.3g} times the reference machine's time")
        if spent <= limit_s * pace:
            return
    raise AssertionError(f"more than {limit_s:g} s of processor time each time: {'; '.join(told)}")
