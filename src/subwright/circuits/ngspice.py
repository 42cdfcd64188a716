"""The reference engine: ngspice in batch mode, in a process and a folder of its own."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.simulate import (
    Array,
    Complex,
    Traces,
    check_own_text,
    check_talk,
    checked,
    never,
    run_process,
)
from subwright.circuits.spice_text import Deck

__all__ = ["Ngspice", "read_raw"]

_MARK: Final = b"Binary:\n"


@dataclass(frozen=True, kw_only=True, slots=True)
class Ngspice:
    """The ngspice program, found on the path or at ``program``; ``cancel`` may end a running simulation."""

    program: str = "ngspice"
    cancel: Callable[[], bool] = never

    @property
    def name(self) -> str:
        """What to call it."""
        return "ngspice"

    def missing(self) -> str:
        """Why it can't run here; "" where it can."""
        if shutil.which(self.program):
            return ""
        return f"there is no program '{self.program}' on the path (Debian, Ubuntu: apt install ngspice)"

    def run(self, what: Deck, timeout_s: float) -> Traces:
        """Simulate one deck; see ``Engine``."""
        check_own_text(what, self.name)
        program = shutil.which(self.program) or self.program
        with tempfile.TemporaryDirectory(prefix="subwright-") as name:
            folder = Path(name)
            (folder / "deck.cir").write_text(what.text, encoding="ascii")
            # -n: no start-up files; the environment holds nothing that could name others.
            code, talk = run_process(
                (program, "-b", "-n", "-r", "deck.raw", "deck.cir"),
                folder,
                {"PATH": os.environ.get("PATH", os.defpath), "HOME": name, "TMPDIR": name, "LC_ALL": "C"},
                what,
                self.name,
                timeout_s,
                self.cancel,
            )
            check_talk(talk, what, self.name)
            raw = folder / "deck.raw"
            if code != 0 or not raw.is_file():
                raise SubwrightError(
                    message=f"ngspice failed on {what.title}.",
                    quantity="exit code",
                    value=str(code),
                    limit="0, and a result file",
                    remedy="This is an error in subwright or in the simulator; please report it.",
                )
            axis, columns = read_raw(raw.read_bytes())
        return checked(what, self.name, axis, columns)


def read_raw(content: bytes) -> tuple[Array, dict[str, Array | Complex]]:
    """Axis and columns of a binary raw file with one plot.

    Parameters
    ----------
    content : the file.

    Returns
    -------
    The first variable as the axis, and every further one by its lower-case name.

    Raises
    ------
    SubwrightError : the header or the amount of data is not what the format asks for.
    """
    head, mark, data = content.partition(_MARK)
    if not mark:
        raise _unreadable("it has no binary part")
    try:
        lines = head.decode("ascii").splitlines()
        fields = dict(line.split(":", 1) for line in lines if ":" in line and not line.startswith("\t"))
        count, points = int(fields["No. Variables"]), int(fields["No. Points"])
        real = "complex" not in fields["Flags"]
        start = next(k for k, line in enumerate(lines) if line.startswith("Variables:"))
        names = [line.split()[1].lower() for line in lines[start + 1 : start + 1 + count]]
    except (UnicodeDecodeError, KeyError, ValueError, IndexError, StopIteration):
        raise _unreadable("its header is not complete") from None
    kind = np.dtype(np.float64 if real else np.complex128)
    size = count * points * kind.itemsize
    if len(data) != size or len(names) != count or count < 1:
        raise _unreadable(f"it holds {len(data)} bytes of data for {size}")
    table = np.frombuffer(data, dtype=kind).reshape(points, count)
    columns: dict[str, Array | Complex] = {}
    for k, name in enumerate(names):
        column = table[:, k]
        columns[name] = column.real.astype(np.float64) if real else column.astype(np.complex128)
    return np.ascontiguousarray(table[:, 0].real, dtype=np.float64), columns


def _unreadable(why: str) -> SubwrightError:
    return SubwrightError(
        message=f"The simulator's result file can't be read: {why}.",
        remedy="Free some disk space and try again; if it stays, please report it.",
    )
