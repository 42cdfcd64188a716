"""Changes one key in a TOML text and leaves every other character as it was.

Each edit is made in the text itself, where the layout says that the key stands, and is then read back: the
new text must decode to the old data with that one key changed. Where a file's layout is too unusual for that,
tomlkit makes the edit, under the same condition.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from itertools import chain
from typing import Any

from subwright.base.errors import InputError
from subwright.base.tomllines import KeyPath
from subwright.outputs.tomlfile import TomlFile, toml_value

__all__ = ["value_at", "with_value", "without_value"]

Data = Mapping[str, Any]


def value_at(data: Any, loc: KeyPath) -> Any:
    """What stands at ``loc``; None where nothing does."""
    for item in loc:
        inside = isinstance(data, dict) and item in data
        if not inside and not (isinstance(data, list) and isinstance(item, int) and item < len(data)):
            return None
        data = data[item]
    return data


def with_value(source: TomlFile, loc: KeyPath, value: object) -> str:
    """The text with the key at ``loc`` set: in its place, or in place of its commented-out line, or new.

    Raises
    ------
    InputError
        The key can't be set without disturbing the file.
    """
    wanted = _set_in(source.data, loc, value)
    if wanted is not None:
        for text in chain(_edits(source, loc, toml_value(value)), _set_by_library(source, loc, value)):
            if _reads_as(text, wanted):
                return text
    said = "can't be set without disturbing the file's layout; change it in a text editor"
    raise InputError(message=said, problems=(source.problem(loc, said),))


def without_value(source: TomlFile, loc: KeyPath) -> str:
    """The text with the line of ``loc`` made a comment, or with the key cut out where that would not do.

    Raises
    ------
    InputError
        The key can't be taken out without disturbing the file.
    """
    wanted = _drop_from(source.data, loc)
    for text in chain(_commented(source, loc), _dropped_by_library(source, loc)):
        if _reads_as(text, wanted):
            return text
    said = "can't be taken out without disturbing the file's layout; change it in a text editor"
    raise InputError(message=said, problems=(source.problem(loc, said),))


def _reads_as(text: str, data: Data) -> bool:
    try:
        return tomllib.loads(text) == data
    except ValueError:
        return False


def _set_in(data: Data, loc: KeyPath, value: object) -> dict[str, Any] | None:
    """The data with ``loc`` set; None where a single value stands in the way of a table."""
    name = str(loc[0])
    if len(loc) == 1:
        return {**data, name: value}
    inner = data.get(name, {})
    changed = _set_in(inner, loc[1:], value) if isinstance(inner, dict) else None
    return None if changed is None else {**data, name: changed}


def _drop_from(data: Data, loc: KeyPath) -> dict[str, Any]:
    name = str(loc[0])
    if len(loc) == 1:
        return {key: value for key, value in data.items() if key != name}
    inner = data.get(name, {})
    return {**data, name: _drop_from(inner if isinstance(inner, dict) else {}, loc[1:])}


# --- in the text ---------------------------------------------------------------------------------------


def _edits(source: TomlFile, loc: KeyPath, shown: str) -> Iterator[str]:
    """The text with the key set, by each way that may serve, the most faithful first."""
    text, key = source.text, str(loc[-1])
    if loc in source.layout.values:
        start, end = source.layout.values[loc]
        yield text[:start] + shown + text[end:]
        return
    rows = text.splitlines(keepends=True)
    line_end = "\r\n" if "\r\n" in text else "\n"
    region = _own_rows(source, loc[:-1], len(rows))
    if region is None:
        gap = "" if not text or text.endswith("\n") else line_end
        table = ".".join(map(str, loc[:-1]))
        yield f"{text}{gap}{line_end}[{table}]{line_end}{key} = {shown}{line_end}"
        return
    template = re.compile(rf"^(\s*)#\s?{re.escape(key)}\s*=[^\r\n]*?(\r?\n?)$")
    strings = _string_rows(text)
    for index in region:
        match = template.match(rows[index])
        if match and index not in strings:
            yield "".join([*rows[:index], f"{match[1]}{key} = {shown}{match[2]}", *rows[index + 1 :]])
            break
    last = max(
        (row for row in region if rows[row].strip() and not rows[row].startswith("#")),
        default=region.start - 1,
    )
    before = rows[: last + 1]
    if before and not before[-1].endswith("\n"):
        before[-1] += line_end
    yield "".join([*before, f"{key} = {shown}{line_end}", *rows[last + 1 :]])


def _own_rows(source: TomlFile, table: KeyPath, count: int) -> range | None:
    """Rows (from 0) of a table's own keys, below its header; None for a table without one."""
    headers = sorted(source.layout.headers.values())
    if not table:
        start = 0
    elif table in source.layout.headers:
        start = source.layout.headers[table]
    else:
        return None
    return range(start, next((line - 1 for line in headers if line > start), count))


def _string_rows(text: str) -> set[int]:
    """Rows (from 0) of multi-line strings, where a ``#`` starts no comment."""
    inside: set[int] = set()
    for match in re.finditer(r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'', text, re.DOTALL):
        first = text.count("\n", 0, match.start())
        inside.update(range(first, first + match[0].count("\n") + 1))
    return inside


def _commented(source: TomlFile, loc: KeyPath) -> Iterator[str]:
    rows = source.text.splitlines(keepends=True)
    line = source.lines.get(loc, 0)
    if 0 < line <= len(rows):
        row = rows[line - 1]
        indent = len(row) - len(row.lstrip())
        yield "".join([*rows[: line - 1], f"{row[:indent]}# {row[indent:]}", *rows[line:]])


# --- by tomlkit, for inline tables and the like --------------------------------------------------------


def _set_by_library(source: TomlFile, loc: KeyPath, value: object) -> Iterator[str]:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(source.text)
        table: Any = document
        for name in loc[:-1]:
            if name not in table:
                table[name] = tomlkit.table()
            table = table[name]
        table[str(loc[-1])] = value
        yield tomlkit.dumps(document)
    except (TOMLKitError, ValueError, TypeError, AttributeError, KeyError):
        return  # the caller refuses when nothing served


def _dropped_by_library(source: TomlFile, loc: KeyPath) -> Iterator[str]:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(source.text)
        table: Any = document
        for name in loc[:-1]:
            table = table[name]
        del table[str(loc[-1])]
        yield tomlkit.dumps(document)
    except (TOMLKitError, ValueError, TypeError, AttributeError, KeyError):
        return  # the caller refuses when nothing served
