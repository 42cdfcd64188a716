"""Measured impedance as a text table: frequency, magnitude and perhaps phase."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Final

import numpy as np

from subwright.base.errors import FileProblem, InputError, RangeError
from subwright.physics.acoustics.sweep import ImpedanceSweep

__all__ = ["SIZE_LIMIT_BYTES", "parse_sweep", "read_sweep"]

SIZE_LIMIT_BYTES: Final = 20_000_000
_COMMENT: Final = ("#", "*", "%", "//", '"#')
_PROBLEMS_SHOWN: Final = 5


def read_sweep(path: Path) -> ImpedanceSweep:
    """Read a sweep from a file.

    Parameters
    ----------
    path : text, UTF-8 or Latin-1; see ``parse_sweep``.

    Raises
    ------
    InputError : unreadable, or a line that is no row of numbers; each problem has its line.
    """
    try:
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            raise _refused(path, 1, "file", "is too large for a table of impedances")
        raw = path.read_bytes()
    except OSError as error:
        raise _refused(path, 1, "file", f"can't be read ({(error.strerror or 'unknown').lower()})") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return parse_sweep(text, path)


def parse_sweep(text: str, path: Path) -> ImpedanceSweep:
    """Make a sweep from text: columns frequency in Hz, magnitude in Ω, and perhaps phase in degrees.

    Columns are parted by comma, semicolon, tab or blanks; with semicolons a comma is a decimal sign. Lines
    before the first number (headings) and comment lines are skipped; a heading that says kHz or radians is
    followed. Rows may stand in any order; rows of one frequency are averaged.

    Parameters
    ----------
    text : the table.
    path : its name, for messages.

    Raises
    ------
    InputError : rows that can't be read; each problem has its line.
    """
    rows: list[tuple[float, ...]] = []
    problems: list[FileProblem] = []
    heading = ""
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        if not bare or bare.startswith(_COMMENT):
            continue
        cells = _cells(bare)
        try:
            values = tuple(float(cell) for cell in cells)
        except ValueError:
            if not rows and not problems:
                heading = bare
            else:
                said = f"is no row of numbers: {bare[:60]!r}"
                problems.append(FileProblem(file=path, line=number, key="row", message=said))
            continue
        said = _row_problem(values, rows)
        if said:
            problems.append(FileProblem(file=path, line=number, key="row", message=said))
        else:
            rows.append(values[:3])
    if not rows and not problems:
        raise _refused(
            path, 1, "file", "holds no row of numbers (frequency in Hz, magnitude in Ω, phase in °)"
        )
    if problems:
        raise InputError(message="The sweep can't be used.", problems=tuple(problems[:_PROBLEMS_SHOWN]))
    return _sweep(rows, heading, path)


def _cells(line: str) -> list[str]:
    if ";" in line:
        return [cell.strip().strip('"').replace(",", ".") for cell in line.split(";") if cell.strip()]
    if "," in line:
        return [cell.strip().strip('"') for cell in line.split(",") if cell.strip()]
    return line.split()


def _row_problem(values: tuple[float, ...], rows: list[tuple[float, ...]]) -> str:
    if len(values) < 2:
        return "has one number; frequency and magnitude are needed"
    if rows and min(len(values), 3) != len(rows[0]):
        return f"has {len(values)} columns, the rows before have {len(rows[0])}"
    if not all(math.isfinite(value) for value in values[:3]):
        return "holds a value that is not finite"
    if values[0] <= 0.0:
        return f"has the frequency {values[0]:g} Hz; it must be above 0"
    if values[1] <= 0.0:
        return f"has the magnitude {values[1]:g} Ω; it must be above 0"
    return ""


def _sweep(rows: list[tuple[float, ...]], heading: str, path: Path) -> ImpedanceSweep:
    table = np.array(rows, dtype=np.float64)
    frequency = table[:, 0] * (1e3 if re.search(r"khz", heading, re.IGNORECASE) else 1.0)
    grid, where = np.unique(frequency, return_inverse=True)
    counts = np.bincount(where)
    magnitude = np.bincount(where, weights=table[:, 1]) / counts
    phase = None
    if table.shape[1] > 2:
        turn = table[:, 2]
        if not re.search(r"\brad", heading, re.IGNORECASE):
            turn = np.radians(turn)
        phase = np.arctan2(np.bincount(where, weights=np.sin(turn)), np.bincount(where, weights=np.cos(turn)))
    try:
        return ImpedanceSweep(frequency_hz=grid, magnitude_ohm=magnitude, phase_rad=phase)
    except RangeError as error:
        raise _refused(path, 1, "file", str(error)) from None


def _refused(path: Path, line: int, key: str, message: str) -> InputError:
    problem = FileProblem(file=path, line=line, key=key, message=message)
    return InputError(message="The sweep can't be used.", problems=(problem,))
