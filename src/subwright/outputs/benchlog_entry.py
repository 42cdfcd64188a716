"""From what a person types, or a table holds, to entries of the bench log."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.base.near import closest
from subwright.base.units import parse
from subwright.build.bench import Entry, check_value, over_range
from subwright.build.bringup_records import BringUp

__all__ = ["METER_ACCURACY", "OVER_RANGE", "entries_from_table", "entries_from_words"]

METER_ACCURACY = "0.5 %"
"""Taken where none is given: a hand-held meter on direct voltage; common practice, no source."""

OVER_RANGE = frozenset({"open", "over range", "ol"})
"""What a person may write where the meter shows no figure because it is over its range."""

_SIZE_LIMIT = 1_000_000
_COLUMNS = ("key", "value", "accuracy", "note")


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _entry(
    procedure: BringUp, key: str, value: str, *, unit: str, accuracy: str, code: str, note: str, at: str
) -> Entry:
    reading = procedure.reading(key)
    if reading is None:
        known = [reading.key for reading in procedure.readings]
        near = closest(key, known, 2)
        raise SubwrightError(
            message=f"the bring-up of this build has no reading {key!r}",
            quantity="reading",
            value=key,
            remedy=f"did you mean {' or '.join(near)}?"
            if near
            else "list them with: subwright bench show FILE",
        )
    over = value.strip().lower() in OVER_RANGE
    number = over_range(reading) if over else parse(value, reading.dimension)
    if over:
        note = "; ".join(word for word in ("meter over its range", note) if word)
    share = parse(accuracy or METER_ACCURACY, "ratio")
    check_value(reading, number, share)
    if not unit.strip():
        raise SubwrightError(message="a unit needs a number", remedy="give it with --unit")
    return Entry(
        unit=unit.strip(), at=at or _now(), key=key, value=number, accuracy=share, code=code, note=note
    )


def entries_from_words(
    procedure: BringUp,
    readings: Mapping[str, str],
    *,
    unit: str,
    code: str,
    accuracy: str = "",
    note: str = "",
    at: str = "",
) -> tuple[Entry, ...]:
    """Entries from readings as typed (``{"rail-positive": "63.9 V"}``); all or none.

    ``at`` is a date and time; "" takes the clock's.

    Raises
    ------
    SubwrightError : an unknown reading, an impossible value or accuracy.
    """
    return tuple(
        _entry(procedure, key, value, unit=unit, accuracy=accuracy, code=code, note=note, at=at)
        for key, value in readings.items()
    )


def _read(path: Path) -> str:
    try:
        raw = path.read_bytes()[: _SIZE_LIMIT + 1]
        if len(raw) > _SIZE_LIMIT:
            raise ValueError
        return raw.decode("utf-8-sig")
    except OSError as error:
        said = f"can't be read: {(error.strerror or str(error)).lower()}"
    except ValueError:
        said = "is no readings file: it must be text in UTF-8 of less than a megabyte"
    raise InputError(message=said, problems=(FileProblem(file=path, line=1, key="file", message=said),))


def entries_from_table(
    procedure: BringUp, path: Path, *, unit: str, code: str, accuracy: str = "", at: str = ""
) -> tuple[Entry, ...]:
    """Entries from a CSV file with the columns key and value, and accuracy and note where wanted.

    Raises
    ------
    InputError : the file can't be read, or a line holds no reading; each problem has its line.
    """
    rows = csv.DictReader(io.StringIO(_read(path)))
    named: Sequence[str] = rows.fieldnames or ()
    if not {"key", "value"} <= set(named) or not set(named) <= set(_COLUMNS):
        said = f"its first line must name the columns: {', '.join(_COLUMNS)} (the last two may be missing)"
        raise InputError(message=said, problems=(FileProblem(file=path, line=1, key="header", message=said),))
    entries, problems = [], []
    for row in rows:
        key = (row.get("key") or "").strip()
        try:
            entries.append(
                _entry(
                    procedure,
                    key,
                    (row.get("value") or "").strip(),
                    unit=unit,
                    accuracy=(row.get("accuracy") or "").strip() or accuracy,
                    code=code,
                    note=(row.get("note") or "").strip(),
                    at=at,
                )
            )
        except SubwrightError as error:
            problems.append(FileProblem(file=path, line=rows.line_num, key=key or "key", message=str(error)))
    if problems:
        raise InputError(
            message="the readings file has problems; nothing was entered", problems=tuple(problems)
        )
    return tuple(entries)
