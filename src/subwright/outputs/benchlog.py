"""The bench log as a file: one JSON object a line, only ever added to.

A line is written whole with its own check sum and flushed to the disk before the entry counts as saved, so a
crash at any moment costs at most the entry that was being written. A line cut off by a crash is left where it
stands, closed with a line end, and skipped on reading; a line altered afterwards is refused by its number.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path
from typing import Any

from subwright.base.errors import FileProblem, InputError
from subwright.build.bench import Entry

__all__ = ["append_entries", "log_path", "read_log"]

_FORMAT = 1
_FIELDS = ("unit", "at", "key", "value", "accuracy", "code", "note")


def log_path(build: Path) -> Path:
    """The log that belongs to a build file: ``van.build.toml`` → ``van.bench.jsonl``."""
    return build.with_name(build.name.removesuffix(".toml").removesuffix(".build") + ".bench.jsonl")


def _sum(body: dict[str, Any]) -> str:
    return sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()[:12]


def _line(entry: Entry) -> str:
    body: dict[str, Any] = {name: getattr(entry, name) for name in _FIELDS} | {"format": _FORMAT}
    return json.dumps(body | {"sum": _sum(body)}, ensure_ascii=False, allow_nan=False) + "\n"


def append_entries(path: Path, entries: Iterable[Entry]) -> None:
    """Add entries to a log; they are on the disk when this returns.

    Raises
    ------
    InputError : the file can't be written, or is not a bench log.
    """
    content = "".join(_line(entry) for entry in entries).encode()
    if not content:
        return
    try:
        new = not path.exists()
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o666)
        try:
            size = os.fstat(descriptor).st_size
            if size and os.pread(descriptor, 1, size - 1) != b"\n":
                content = b"\n" + content  # closes a line that a crash cut off
            while content:
                content = content[os.write(descriptor, content) :]
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        if new:
            folder = os.open(path.parent, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)
    except OSError as error:
        raise _problem(path, 1, f"can't be written: {(error.strerror or str(error)).lower()}") from None


def _problem(path: Path, line: int, message: str) -> InputError:
    return InputError(
        message=message, problems=(FileProblem(file=path, line=line, key="bench log", message=message),)
    )


def read_log(path: Path) -> tuple[Entry, ...]:
    """The entries of a log in the order of entering; () where there is none yet.

    Raises
    ------
    InputError : the file can't be read, or a whole line was altered since it was written.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise _problem(path, 1, f"can't be read: {(error.strerror or str(error)).lower()}") from None
    entries = []
    for number, line in enumerate(raw.split(b"\n"), 1):
        if not line.strip():
            continue
        entry = _entry(path, number, line)
        if entry is not None:
            entries.append(entry)
    return tuple(entries)


def _entry(path: Path, number: int, line: bytes) -> Entry | None:
    try:
        body = json.loads(line.decode("utf-8"))
    except ValueError:
        if number == 1 and not line.startswith(b"{"):
            raise _problem(path, 1, "is not a bench log; name the *.bench.jsonl file") from None
        if line.rstrip().endswith(b"}"):
            raise _problem(path, number, "was altered: it is no entry any more; restore the line") from None
        return None  # cut off by a crash while it was written
    if not isinstance(body, dict):
        raise _problem(path, number, "is no entry of a bench log")
    told = body.pop("sum", None)
    if told != _sum(body):
        raise _problem(
            path, number, "was altered after it was written; a wrong reading is entered anew instead"
        )
    if body.get("format") != _FORMAT:
        raise _problem(path, number, "was written by a later version; update this programme")
    try:
        return Entry(
            unit=str(body["unit"]),
            at=str(body["at"]),
            key=str(body["key"]),
            value=float(body["value"]),
            accuracy=float(body["accuracy"]),
            code=str(body["code"]),
            note=str(body["note"]),
        )
    except (KeyError, TypeError, ValueError):
        raise _problem(path, number, "lacks a field of an entry") from None
