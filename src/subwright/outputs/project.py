"""The build file: read with located problems, changed key by key with its comments kept, saved whole."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.build.spec import FORMAT_VERSION, BuildSpec
from subwright.outputs.spec_entries import SpecEntry, entry_at, toml_value
from subwright.outputs.tomlfile import TomlFile, dotted, parse_toml, read_toml, save_atomically, short
from subwright.outputs.tomllines import KeyPath
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
    return _checked(parse_toml(text, path))


def _checked(source: TomlFile) -> BuildFile:
    _check_version(source)
    return BuildFile(source=source, spec=validate(BuildSpec, source))


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
        changed = parse_toml(_with_value(source, loc, reading), source.path)
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
    text = _commented(source, loc) if before else source.text
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


def _commented(source: TomlFile, loc: KeyPath) -> str:
    """The text with the line of ``loc`` made a comment; with the key cut out where that would not do."""
    wanted = _without(source.data, loc)
    rows = source.text.splitlines(keepends=True)
    line = source.lines.get(loc, 0)
    if 0 < line <= len(rows):
        row = rows[line - 1]
        indent = len(row) - len(row.lstrip())
        text = "".join([*rows[: line - 1], f"{row[:indent]}# {row[indent:]}", *rows[line:]])
        if _reads_as(text, wanted):
            return text
    try:
        document = tomlkit.parse(source.text)
        table: Any = document
        for name in loc[:-1]:
            table = table[name]
        del table[str(loc[-1])]
        text = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, TypeError, AttributeError) as error:
        raise _not_editable(source, loc, str(error)) from None
    if not _reads_as(text, wanted):
        raise _not_editable(source, loc, "the file's layout is unusual there")
    return text


def _reads_as(text: str, data: Mapping[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == data
    except ValueError:
        return False


def _without(data: Mapping[str, Any], loc: KeyPath) -> dict[str, Any]:
    name = str(loc[0])
    if len(loc) == 1:
        return {key: value for key, value in data.items() if key != name}
    inner = data.get(name, {})
    return {**data, name: _without(inner if isinstance(inner, dict) else {}, loc[1:])}


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
    try:
        _checked(source)
    except InputError as error:
        return error.problems
    return ()


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


def _with_value(source: TomlFile, loc: KeyPath, value: object) -> str:
    text = source.text
    if _at(source.data, loc) is None:
        text = _uncommented(source, loc, value)
    try:
        document = tomlkit.parse(text)
        table: Any = document
        for name in loc[:-1]:
            if name not in table:
                table[name] = tomlkit.table()
            table = table[name]
        table[str(loc[-1])] = value  # a comment behind the old value stays on its line
        changed = tomlkit.dumps(document)
        as_meant = tomllib.loads(changed) == _merged(source.data, loc, value)
    except (TOMLKitError, ValueError, TypeError, AttributeError) as error:
        raise _not_editable(source, loc, str(error)) from None
    if not as_meant:
        raise _not_editable(source, loc, "the file's layout is unusual there")
    return changed


def _not_editable(source: TomlFile, loc: KeyPath, reason: str) -> InputError:
    said = f"can't be set without disturbing the file ({reason}); change it in a text editor"
    return InputError(message=said, problems=(source.problem(loc, said),))


def _uncommented(source: TomlFile, loc: KeyPath, value: object) -> str:
    """The text with the commented-out line of this key, if its table has one, made a real line."""
    rows = source.text.splitlines(keepends=True)
    headers = sorted(
        line
        for path, line in source.lines.items()
        if line <= len(rows)
        and rows[line - 1].lstrip().startswith("[")
        and isinstance(_at(source.data, path), dict)
    )
    if loc[:-1]:
        if loc[:-1] not in source.lines or source.lines[loc[:-1]] not in headers:
            return source.text
        start = source.lines[loc[:-1]]
    else:
        start = 0
    end = next((line - 1 for line in headers if line > start), len(rows))
    template = re.compile(rf"^(\s*)#\s?{re.escape(str(loc[-1]))}\s*=[^\r\n]*?(\r?\n?)$")
    inside = _string_rows(source)
    for index in range(start, end):
        match = template.match(rows[index])
        if match and index + 1 not in inside:
            rows[index] = f"{match[1]}{loc[-1]} = {toml_value(value)}{match[2]}"
            return "".join(rows)
    return source.text


def _string_rows(source: TomlFile) -> set[int]:
    """Rows inside multi-line strings, where a ``#`` starts no comment."""
    inside: set[int] = set()
    for match in re.finditer(r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'', source.text, re.DOTALL):
        first = source.text.count("\n", 0, match.start()) + 1
        inside.update(range(first, first + match[0].count("\n") + 1))
    return inside


def _at(data: Any, loc: KeyPath) -> Any:
    for item in loc:
        listed = isinstance(data, list) and isinstance(item, int) and item < len(data)
        if listed or (isinstance(data, dict) and item in data):
            data = data[item]
        else:
            return None
    return data


def _shown_at(data: Mapping[str, Any], loc: KeyPath) -> str:
    value = _at(data, loc)
    return "" if value is None else toml_value(value)


def _merged(data: Mapping[str, Any], loc: KeyPath, value: object) -> dict[str, Any]:
    name = str(loc[0])
    if len(loc) == 1:
        return {**data, name: value}
    inner = data.get(name, {})
    if not isinstance(inner, dict):
        raise SubwrightError(message=f"{name} holds a single value, not a table")
    return {**data, name: _merged(inner, loc[1:], value)}
