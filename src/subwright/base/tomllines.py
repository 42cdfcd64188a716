"""Where each key of a TOML text stands: the decoder gives values without positions, this gives the lines."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["KeyPath", "Layout", "scan"]

KeyPath = tuple[str | int, ...]
"""Where a value stands in a document: table names, keys and list indices, outermost first."""

_BARE_END = re.compile(r"[,\]}\n#]")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True)
class Layout:
    """Where things stand in a TOML text.

    Attributes
    ----------
    lines : line (from 1) of each table, key and list item.
    values : start and end of each key's value in the text, in characters.
    headers : line of each table that has a header of its own, in file order.
    """

    lines: Mapping[KeyPath, int]
    values: Mapping[KeyPath, tuple[int, int]]
    headers: Mapping[KeyPath, int]


def scan(text: str) -> Layout:
    """Find the place of each table, key, list item and value in valid TOML ``text``.

    The decoder gives values without positions; this walks the same text and notes only where things stand.
    It is meant for text that the decoder has accepted.

    >>> layout = scan('a = 1\\n[b]\\nc.d = [2,\\n 3]')
    >>> layout.lines[("b", "c", "d", 1)], layout.values[("a",)], layout.headers
    (4, (4, 5), {('b',): 2})
    """
    scanner = _Scanner(text)
    scanner.scan()
    return Layout(scanner.lines, scanner.values, scanner.headers)


class _Scanner:
    """Walks accepted TOML 1.0 text and notes the line at which each key path starts."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._breaks = [match.start() for match in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {}
        self.values: dict[KeyPath, tuple[int, int]] = {}
        self.headers: dict[KeyPath, int] = {}
        self._counts: dict[KeyPath, int] = {}  # arrays of tables: how many so far

    def scan(self) -> None:
        table: KeyPath = ()
        while True:
            self._skip()
            if self._at >= len(self._text):
                return
            before = self._at
            table = self._header() if self._text[self._at] == "[" else self._pair(table)
            if self._at == before:  # not TOML after all: stop rather than loop
                return

    def _line(self) -> int:
        return bisect_right(self._breaks, self._at - 1) + 1

    def _skip(self) -> None:
        """Step over white space, line ends and comments."""
        text = self._text
        while self._at < len(text):
            char = text[self._at]
            if char in " \t\r\n":
                self._at += 1
            elif char == "#":
                end = text.find("\n", self._at)
                self._at = len(text) if end < 0 else end
            else:
                return

    def _take(self, token: str) -> bool:
        if self._text.startswith(token, self._at):
            self._at += len(token)
            return True
        return False

    def _header(self) -> KeyPath:
        line = self._line()
        array = self._text.startswith("[[", self._at)
        self._at += 2 if array else 1
        names = self._key()
        self._skip()
        self._take("]]" if array else "]")
        path = self._resolve(names[:-1], line)
        path = (*path, names[-1]) if names else path
        if array:
            self.lines.setdefault(path, line)
            index = self._counts.get(path, 0)
            self._counts[path] = index + 1
            path = (*path, index)
            self.lines[path] = line
        elif path in self._counts:
            path = (*path, self._counts[path] - 1)
        else:
            self.lines[path] = line
        self.headers[path] = line
        return path

    def _resolve(self, names: Sequence[str], line: int) -> KeyPath:
        path: KeyPath = ()
        for name in names:
            path = (*path, name)
            self.lines.setdefault(path, line)
            if path in self._counts:
                path = (*path, self._counts[path] - 1)
        return path

    def _pair(self, table: KeyPath) -> KeyPath:
        line = self._line()
        path = table
        for name in self._key():
            path = (*path, name)
            self.lines.setdefault(path, line)
        self._skip()
        self._take("=")
        self._skip()
        start = self._at
        self._value(path)
        end = self._at
        while end > start and self._text[end - 1] in " \t\r":  # a bare value runs on to what ends it
            end -= 1
        self.values[path] = (start, end)
        return table

    def _key(self) -> list[str]:
        names: list[str] = []
        while True:
            self._skip()
            if self._text[self._at : self._at + 1] in {'"', "'"}:
                names.append(self._string())
            else:
                bare = _BARE_KEY.match(self._text, self._at)
                if not bare:
                    return names
                names.append(bare[0])
                self._at = bare.end()
            self._skip()
            if not self._take("."):
                return names

    def _string(self) -> str:
        """Step over a string of any of the four kinds; return it decoded (keys may hold escapes)."""
        text, start = self._text, self._at
        quote = text[start]
        fence = quote * 3 if text.startswith(quote * 3, start) else quote
        at = start + len(fence)
        while at < len(text) and not text.startswith(fence, at):
            at += 2 if text[at] == "\\" and quote == '"' else 1
        at += len(fence)
        while len(fence) == 3 and text[at : at + 1] == quote:  # up to two quotes may touch the fence
            at += 1
        self._at = min(at, len(text))
        if quote == "'" or "\\" not in text[start:at]:
            return text[start + len(fence) : at - len(fence)]
        decoded: str = tomllib.loads("k = " + text[start:at])["k"]
        return decoded

    def _value(self, path: KeyPath) -> None:
        char = self._text[self._at : self._at + 1]
        if char in {'"', "'"}:
            self._string()
        elif char == "[":
            self._list(path)
        elif char == "{":
            self._inline_table(path)
        else:
            end = _BARE_END.search(self._text, self._at)
            self._at = end.start() if end else len(self._text)

    def _list(self, path: KeyPath) -> None:
        self._at += 1
        index = 0
        self._skip()
        while self._at < len(self._text) and not self._take("]"):
            self.lines[(*path, index)] = self._line()
            self._value((*path, index))
            index += 1
            self._skip()
            self._take(",")
            self._skip()

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        self._skip()
        while self._at < len(self._text) and not self._take("}"):
            self._pair(path)
            self._skip()
            self._take(",")
            self._skip()
