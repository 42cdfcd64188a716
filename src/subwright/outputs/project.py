"""The build file: read with located problems, changed key by key with its comments kept, saved whole."""

from __future__ import annotations

import tomllib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any

from subwright.base.errors import FileProblem, InputError
from subwright.base.saving import save_atomically
from subwright.base.tomllines import KeyPath
from subwright.build.spec import FORMAT_VERSION, BuildSpec
from subwright.outputs.spec_entries import SpecEntry, entry_at
from subwright.outputs.tomledit import value_at, with_value, without_value
from subwright.outputs.tomlfile import (
    TomlFile,
    dotted,
    parse_toml,
    read_toml,
    short,
    toml_value,
)
from subwright.outputs.validation import unknown_key, validate

__all__ = ["BuildFile", "Change", "drop_value", "parse_build", "read_build", "save_build", "set_value"]


@dataclass(frozen=True, kw_only=True, slots=True)
class BuildFile:
    """A build file that was read without a problem."""

    source: TomlFile
    spec: BuildSpec

    @property
    def path(self) -> Path:
        """Where it was read from."""
        return self.source.path


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One changed key: the new text of the whole file, and what stood there before ("" for nothing)."""

    path: Path
    key: str
    before: str
    after: str
    old_text: str
    text: str
    remaining: tuple[FileProblem, ...] = ()


def read_build(path: Path) -> BuildFile:
    """Read ``path``.

    Raises
    ------
    InputError
        One located problem for each thing wrong: file, syntax, format version, unknown or missing key,
        wrong unit, out of range.
    """
    return _checked(read_toml(path))


def parse_build(text: str, path: Path) -> BuildFile:
    """Read a build file from ``text``; ``path`` serves the messages. Raises as `read_build`."""
    known = _VERDICTS.of(text, path)
    return _checked(parse_toml(text, path)) if known is None else _told(known)


def _checked(source: TomlFile) -> BuildFile:
    return _told(_verdict(source))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Refused:
    """Why a text is no build file; kept instead of the error itself, which would gather tracebacks."""

    message: str
    problems: tuple[FileProblem, ...]


@dataclass(kw_only=True, slots=True)
class _Verdicts:
    """The latest texts that were checked: a change is checked, designed and undone with the same text."""

    held: OrderedDict[tuple[str, Path], BuildFile | _Refused] = field(default_factory=OrderedDict)
    lock: Lock = field(default_factory=Lock)

    def of(self, text: str, path: Path) -> BuildFile | _Refused | None:
        with self.lock:
            known = self.held.get((text, path))
            if known is not None:
                self.held.move_to_end((text, path))
            return known

    def keep(self, source: TomlFile, found: BuildFile | _Refused) -> None:
        with self.lock:
            self.held[source.text, source.path] = found
            while len(self.held) > _VERDICTS_KEPT:
                self.held.popitem(last=False)


_VERDICTS_KEPT = 32
_VERDICTS = _Verdicts()


def _verdict(source: TomlFile) -> BuildFile | _Refused:
    """The build that ``source`` holds, or why it holds none; each text is checked once."""
    known = _VERDICTS.of(source.text, source.path)
    if known is None:
        try:
            _check_version(source)
            known = BuildFile(source=source, spec=validate(BuildSpec, source))
        except InputError as error:
            known = _Refused(message=error.message, problems=error.problems)
        _VERDICTS.keep(source, known)
    return known


def _told(verdict: BuildFile | _Refused) -> BuildFile:
    if isinstance(verdict, _Refused):
        raise InputError(message=verdict.message, problems=verdict.problems)
    return verdict


def _check_version(source: TomlFile) -> None:
    version = source.data.get("format_version")
    if version is None:
        said = f"is missing; write format_version = {FORMAT_VERSION} as the first line"
    elif isinstance(version, bool) or not isinstance(version, int):
        said = f"is {short(version)}; write format_version = {FORMAT_VERSION}"
    elif version > FORMAT_VERSION:
        said = (
            f"is {version}, but this version of subwright reads up to {FORMAT_VERSION}; "
            "install a newer subwright to open the file"
        )
    elif version < 1:
        said = f"is {version}; versions count from 1, write format_version = {FORMAT_VERSION}"
    else:
        return
    raise InputError(message=f"format_version {said}", problems=(source.problem(("format_version",), said),))


# --- changing a key ------------------------------------------------------------------------------------


def set_value(source: TomlFile, key: str, value: str) -> Change:
    """Set one key in the file's text; comments, order and all other keys stay as they are.

    A key that stands commented out in its table is put back in its place; a new key goes to the end of its
    table.

    Parameters
    ----------
    source : the file as read; it may hold problems elsewhere, and they don't get in the way.
    key : dotted place, ``supply.cable_length``.
    value : as a person types it: ``5 m``, ``auto``, ``true``, ``2``, with or without quotes.

    Raises
    ------
    InputError
        The key is unknown, or the value is not allowed there.
    """
    loc: KeyPath = tuple(part.strip() for part in key.split("."))
    entry = entry_at(BuildSpec, loc)
    if entry is None:
        said = unknown_key(loc, BuildSpec)
        raise InputError(message=f"{key} {said}", problems=(source.problem(loc, said),))
    old = {problem.key for problem in _problems(source)}
    refused: tuple[FileProblem, ...] = ()
    for reading in _readings(entry, value):
        changed = parse_toml(with_value(source, loc, reading), source.path)
        problems = _problems(changed)
        own = tuple(p for p in problems if p.key == dotted(loc) or p.key not in old)
        if not own:
            return Change(
                path=source.path,
                key=dotted(loc),
                before=_shown_at(source.data, loc),
                after=toml_value(reading),
                old_text=source.text,
                text=changed.text,
                remaining=problems,
            )
        refused = refused or own
    raise InputError(message=refused[0].message, problems=refused)


def drop_value(source: TomlFile, key: str) -> Change:
    """Leave one key out, so that its default counts; its line stays as a comment where it is a single line.

    Parameters
    ----------
    source : the file as read.
    key : dotted place, ``supply.cable_length``; need not be given in the file.

    Raises
    ------
    InputError
        The key is unknown, or must be given.
    """
    loc: KeyPath = tuple(part.strip() for part in key.split("."))
    entry = entry_at(BuildSpec, loc)
    if entry is None or entry.required:
        said = "must be given; write a value" if entry else unknown_key(loc, BuildSpec)
        raise InputError(message=f"{key} {said}", problems=(source.problem(loc, said),))
    before = _shown_at(source.data, loc)
    text = without_value(source, loc) if before else source.text
    changed = parse_toml(text, source.path)
    old = {problem.key for problem in _problems(source)}
    problems = _problems(changed)
    own = tuple(p for p in problems if p.key not in old)
    if own:
        raise InputError(message=own[0].message, problems=own)
    return Change(
        path=source.path,
        key=dotted(loc),
        before=before,
        after=entry.default,
        old_text=source.text,
        text=changed.text,
        remaining=problems,
    )


def save_build(change: Change) -> None:
    """Write a change to its file.

    Raises
    ------
    InputError
        The file was changed by someone else since it was read, or can't be written.
    """
    if read_toml(change.path).text != change.old_text:
        raise InputError(
            message="the file changed on disk",
            problems=(
                FileProblem(
                    file=change.path,
                    line=1,
                    key="file",
                    message="was changed by another programme meanwhile; nothing was saved, try again",
                ),
            ),
        )
    save_atomically(change.path, change.text)


def _problems(source: TomlFile) -> tuple[FileProblem, ...]:
    found = _verdict(source)
    return found.problems if isinstance(found, _Refused) else ()


def _readings(entry: SpecEntry, value: str) -> Iterator[object]:
    """What a typed value can mean in TOML, the likelier first."""
    literal = _literal(value)
    if entry.rule is not None and not entry.rule.bare and not isinstance(literal, str):
        yield value
        return
    if literal is not None:
        yield literal
    if not isinstance(literal, str):
        yield value


def _literal(value: str) -> object:
    """``value`` read as one TOML value (quotes, number, switch, list), or None when it is none of these."""
    try:
        parsed = tomllib.loads(f"v = {value}")
    except (ValueError, RecursionError):
        return None
    return parsed["v"] if set(parsed) == {"v"} else None


def _shown_at(data: Mapping[str, Any], loc: KeyPath) -> str:
    value = value_at(data, loc)
    return "" if value is None else toml_value(value)
