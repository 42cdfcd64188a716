"""The history of a build file: every change since it was first opened, undone and redone without limit.

The journal is a text file of one JSON object a line, only ever added to, so a crash can cost at most the line
that was being written. Each change is kept as the piece of text that it replaced, which makes a thousand
changes some hundred kilobytes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from subwright.base.errors import InputError, SubwrightError
from subwright.base.saving import save_atomically

__all__ = ["History", "Patch", "Version", "last_change", "open_history", "patch_between"]

_TAIL = 65_536  # bytes of a journal that hold its last line


@dataclass(frozen=True, kw_only=True, slots=True)
class Patch:
    """``old`` at ``start`` became ``new``; ``what`` says so to people."""

    start: int
    old: str
    new: str
    what: str
    at: str = ""

    def apply(self, text: str) -> str:
        """The text after the change. Raises SubwrightError where ``old`` does not stand at ``start``."""
        return self._swap(text, self.old, self.new)

    def revert(self, text: str) -> str:
        """The text before the change. Raises SubwrightError where ``new`` does not stand at ``start``."""
        return self._swap(text, self.new, self.old)

    def _swap(self, text: str, here: str, there: str) -> str:
        end = self.start + len(here)
        if text[self.start : end] != here:
            raise SubwrightError(
                message="a change in the history does not fit the text it was made to",
                quantity="change",
                value=self.what,
                remedy="the history file was altered; the build file itself is unharmed",
            )
        return text[: self.start] + there + text[end:]


@dataclass(frozen=True, kw_only=True, slots=True)
class Version:
    """A state of the build that somebody gave a name."""

    name: str
    text: str
    at: str


def patch_between(before: str, after: str, what: str, at: str = "") -> Patch:
    """The smallest single replacement that turns ``before`` into ``after``."""
    start = 0
    most = min(len(before), len(after))
    while start < most and before[start] == after[start]:
        start += 1
    end = 0
    while end < most - start and before[-1 - end] == after[-1 - end]:
        end += 1
    return Patch(
        start=start,
        old=before[start : len(before) - end],
        new=after[start : len(after) - end],
        what=what,
        at=at,
    )


@dataclass(kw_only=True, slots=True)
class History:
    """The states of one build file. ``revision`` counts every step, undo and redo included."""

    journal: Path
    text: str
    revision: int = 0
    done: list[Patch] = field(default_factory=list)
    undone: list[Patch] = field(default_factory=list)
    versions: dict[str, Version] = field(default_factory=dict)
    last: str = ""

    def change(self, text: str, what: str) -> bool:
        """Note that the text became ``text``; False where nothing differs."""
        if text == self.text:
            return False
        patch = patch_between(self.text, text, what, _now())
        self._write({"op": "edit", **_patch_json(patch), "sum": _sum(text)})
        self._did(patch)
        return True

    def undo(self) -> str:
        """Take the last change back and return what it was; "" where there is none."""
        if not self.done:
            return ""
        text = self.done[-1].revert(self.text)
        self._write({"op": "undo", "at": _now(), "sum": _sum(text)})
        return self._undid(text)

    def redo(self) -> str:
        """Make the change taken back last again and return what it was; "" where there is none."""
        if not self.undone:
            return ""
        text = self.undone[-1].apply(self.text)
        self._write({"op": "redo", "at": _now(), "sum": _sum(text)})
        return self._redid(text)

    def keep(self, name: str) -> Version:
        """Give the present state a name; a version of that name is replaced."""
        version = Version(name=name, text=self.text, at=_now())
        self._write({"op": "keep", "name": name, "text": self.text, "at": version.at, "sum": _sum(self.text)})
        self.versions[name] = version
        return version

    # --- what a line of the journal does, whether just written or read back -----------------------------

    def _did(self, patch: Patch) -> None:
        self.text = patch.apply(self.text)
        self.done.append(patch)
        self.undone.clear()
        self._stepped(patch.what)

    def _undid(self, text: str) -> str:
        patch = self.done.pop()
        self.undone.append(patch)
        self.text = text
        self._stepped(patch.what)
        return patch.what

    def _redid(self, text: str) -> str:
        patch = self.undone.pop()
        self.done.append(patch)
        self.text = text
        self._stepped(patch.what)
        return patch.what

    def _stepped(self, what: str) -> None:
        self.revision += 1
        self.last = what

    def _replay(self, row: Mapping[str, Any]) -> None:
        match row["op"]:
            case "edit":
                self._did(
                    Patch(
                        start=int(row["start"]),
                        old=str(row["old"]),
                        new=str(row["new"]),
                        what=str(row["what"]),
                        at=str(row.get("at", "")),
                    )
                )
            case "undo":
                self._undid(self.done[-1].revert(self.text))
            case "redo":
                self._redid(self.undone[-1].apply(self.text))
            case "keep":
                version = Version(name=str(row["name"]), text=str(row["text"]), at=str(row["at"]))
                self.versions[version.name] = version
            case other:
                raise ValueError(f"a journal knows no {other!r}")
        if row["sum"] != _sum(self.text):
            raise ValueError("the text's sum differs")

    def _write(self, row: Mapping[str, Any]) -> None:
        line = json.dumps(row) + "\n"
        try:
            self.journal.parent.mkdir(exist_ok=True)
            with self.journal.open("a", encoding="utf-8", newline="") as stream:
                stream.write(line)
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            raise SubwrightError(
                message="the history can't be written",
                quantity="history file",
                value=str(self.journal),
                remedy=f"{(error.strerror or str(error)).lower()}; check the folder's permissions",
            ) from None


def open_history(journal: Path, text: str, saved_s: float) -> tuple[History, bool]:
    """The history of a file that now holds ``text``.

    Parameters
    ----------
    journal : where the history is kept; need not exist.
    text : what the build file holds. saved_s : when it was last written, s since the epoch.

    Returns
    -------
    The history, and whether its newest state is the one to keep although the file holds an older one: the
    programme was stopped between noting a change and saving it.
    """
    rows = _rows(journal)
    if rows:
        read = _read(journal, rows)
        if read is not None:
            history, before = read
            if history.text == text:
                return history, False
            if before == text and saved_s <= _written_s(journal):
                return history, True
            history.change(text, "changed outside the workbench")
            return history, False
        with suppress(OSError):
            journal.replace(journal.with_suffix(f".{_now().replace(':', '')}.old"))
    history = History(journal=journal, text=text)
    history._write({"op": "base", "text": text, "at": _now(), "sum": _sum(text)})
    return history, False


def last_change(journal: Path) -> str:
    """What the newest line of a journal did, read from its end without replaying it; "" for nothing.

    A change is told in its own words, a step back or forth by "taken back" or "made again".
    """
    try:
        with journal.open("rb") as stream:
            stream.seek(max(0, stream.seek(0, os.SEEK_END) - _TAIL))
            line = stream.read().rstrip(b"\n").rpartition(b"\n")[2]
        row = json.loads(line)
    except (OSError, ValueError):
        return ""
    if not isinstance(row, dict):
        return ""
    if row.get("op") == "edit":
        return str(row.get("what", ""))
    return {"undo": "taken back", "redo": "made again"}.get(str(row.get("op")), "")


def _read(journal: Path, rows: list[Mapping[str, Any]]) -> tuple[History, str] | None:
    """The replayed history and the text before its last line; None where the journal makes no sense."""
    try:
        if rows[0]["op"] != "base":
            return None
        history = History(journal=journal, text=str(rows[0]["text"]))
        before = history.text
        for row in rows[1:]:
            before = history.text
            history._replay(row)
    except (KeyError, ValueError, IndexError, TypeError, SubwrightError):
        return None
    return history, before


def _written_s(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _rows(journal: Path) -> list[Mapping[str, Any]]:
    try:
        lines = journal.read_text(encoding="utf-8", errors="replace").rstrip("\n").split("\n")
    except OSError:
        return []
    rows: list[Mapping[str, Any]] = []
    for line in lines:
        try:
            row = json.loads(line)
        except ValueError:
            break  # a line cut off by a crash is the last one
        if not isinstance(row, dict):
            break
        rows.append(row)
    if rows and len(rows) < len(lines):
        with suppress(InputError):
            text = "".join(json.dumps(row) + "\n" for row in rows)
            save_atomically(journal, text)
    return rows


def _patch_json(patch: Patch) -> dict[str, Any]:
    return {"start": patch.start, "old": patch.old, "new": patch.new, "what": patch.what, "at": patch.at}


def _sum(text: str) -> str:
    return sha256(text.encode()).hexdigest()[:16]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
