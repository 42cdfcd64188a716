"""What the command-line tests share: running the command in a process, on pipes or on a terminal."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from patience import PATIENCE_S

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
COMMAND = [sys.executable, "-m", "subwright.cli.main"]

Command = Callable[..., "subprocess.CompletedProcess[str]"]


def hear_interrupts() -> None:
    """For a child: a shell's background job hands down interrupts that are ignored."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


@dataclass
class Terminal:
    """A running command whose three streams are one pseudo-terminal."""

    process: subprocess.Popen[bytes]
    descriptor: int
    seen: bytes = b""

    def read(self) -> bool:
        """Read what is there; False at the end."""
        assert select.select([self.descriptor], [], [], PATIENCE_S)[0], f"silent for {PATIENCE_S:g} s"
        try:
            part = os.read(self.descriptor, 65536)
        except OSError:  # how Linux tells that the other side is closed
            return False
        self.seen += part
        return bool(part)

    def until(self, words: bytes) -> None:
        while words not in self.seen:
            assert self.read(), self.seen

    def type(self, line: str) -> None:
        os.write(self.descriptor, line.encode() + b"\n")

    def finish(self) -> int:
        while self.read():
            pass
        return self.process.wait(PATIENCE_S)


@contextmanager
def terminal(*arguments: str | Path, **extra: str) -> Iterator[Terminal]:
    """Run the command on a terminal 90 columns wide."""
    ours, theirs = os.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "90", **extra}
    command = [*COMMAND, *map(str, arguments)]
    with subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, preexec_fn=hear_interrupts
    ) as process:
        os.close(theirs)
        try:
            yield Terminal(process=process, descriptor=ours)
        finally:
            process.kill()
            os.close(ours)
