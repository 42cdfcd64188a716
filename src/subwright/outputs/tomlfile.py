"""TOML files as people write them: read with located problems, find any key's line, save without loss."""

from __future__ import annotations

import math
import re
import stat
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from subwright.base.errors import FileProblem, InputError
from subwright.base.near import closest
from subwright.base.tomllines import KeyPath, Layout, scan

__all__ = [
    "SIZE_LIMIT_BYTES",
    "TomlFile",
    "did_you_mean",
    "dotted",
    "line_of",
    "parse_toml",
    "read_text",
    "read_toml",
    "short",
    "toml_value",
]

SIZE_LIMIT_BYTES = 1_000_000
"""A build file is a few kilobytes; anything above this is some other file given by mistake."""


_POSITION = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\s*$")
_ASSIGNMENT = re.compile(r"""^\s*([A-Za-z0-9_."'-]+)\s*=\s*(.*?)\s*$""")


@dataclass(frozen=True, kw_only=True, slots=True)
class TomlFile:
    """A parsed file beside its exact text and where each key stands in it."""

    path: Path
    text: str
    data: Mapping[str, Any]
    layout: Layout

    @property
    def lines(self) -> Mapping[KeyPath, int]:
        """Line of each table, key and list item, from 1."""
        return self.layout.lines

    def line_of(self, loc: Sequence[str | int]) -> int:
        """Line of ``loc``, or of its nearest parent that is in the file (1 for the document itself)."""
        return line_of(self.lines, loc)

    def problem(self, loc: Sequence[str | int], message: str) -> FileProblem:
        """Return one located problem at ``loc``."""
        return FileProblem(file=self.path, line=self.line_of(loc), key=dotted(loc), message=message)


def read_toml(path: Path, what: str = "build file") -> TomlFile:
    """Read and parse ``path``.

    Parameters
    ----------
    path : the file.
    what : what the file is to the user, for the messages ("build file", "drawer file").

    Raises
    ------
    InputError
        Missing, not a regular file, not readable, above `SIZE_LIMIT_BYTES`, not UTF-8 text, or not TOML;
        one located problem with the remedy.
    """
    return parse_toml(read_text(path, what), path)


def parse_toml(text: str, path: Path) -> TomlFile:
    """Parse ``text``; ``path`` is used in messages only.

    Raises
    ------
    InputError
        Syntax error (with its line and key), a value nested too deeply, or a number that is not finite.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(message=str(error), problems=(_syntax_problem(path, text, str(error)),)) from None
    except RecursionError:
        raise _whole_file(
            path, "is nested too deeply to be a file of ours; remove the nested lists"
        ) from None
    except ValueError as error:  # an integer of thousands of digits, a date that doesn't exist
        raise _whole_file(path, f"holds a value that can't be read ({error})") from None
    parsed = TomlFile(path=path, text=text, data=data, layout=scan(text))
    strange = tuple(
        parsed.problem(loc, f"is {value}, not a finite number; write a number")
        for loc, value in _leaves(data, ())
        if isinstance(value, float) and not math.isfinite(value)
    )
    if strange:
        raise InputError(message="a number is not finite", problems=strange)
    return parsed


def dotted(loc: Sequence[str | int]) -> str:
    """Return ``loc`` as people write it: ``("supply", "cable_length")`` → ``supply.cable_length``.

    >>> dotted(("parts", 2, "id"))
    'parts[2].id'
    >>> dotted(())
    'file'
    """
    out = ""
    for item in loc:
        out += f"[{item}]" if isinstance(item, int) else f".{item}" if out else item
    return out or "file"


def line_of(lines: Mapping[KeyPath, int], loc: Sequence[str | int]) -> int:
    """Line of ``loc``, or of its nearest parent in ``lines``; 1 when there is none."""
    for end in range(len(loc), 0, -1):
        line = lines.get(tuple(loc[:end]))
        if line is not None:
            return line
    return 1


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean 'x'?``, or nothing when no known word is near."""
    near = closest(word, known)
    if not near:
        return ""
    return f"; did you mean {' or '.join(repr(name) for name in near)}?"


def short(value: object, width: int = 48) -> str:
    """Return a value as it stands in the file, cut to ``width`` characters, on one line.

    >>> short("4 m"), short(True), short([1, 2])
    ('"4 m"', 'true', '[1, 2]')
    """
    if isinstance(value, bool):
        shown = "true" if value else "false"
    elif isinstance(value, str):
        shown = '"' + "".join(c if c.isprintable() else "·" for c in value) + '"'
    else:
        shown = repr(value)
    return shown if len(shown) <= width else shown[: width - 1] + "…"


def toml_value(value: object) -> str:
    """``value`` as TOML spells it on one line.

    >>> toml_value("4 m"), toml_value(True), toml_value(0.95), toml_value(['a "b"', 2])
    ('"4 m"', 'true', '0.95', '["a \\\\"b\\\\"", 2]')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(toml_value(item) for item in value)}]"
    escaped = "".join(_ESCAPES.get(c, c if c.isprintable() else f"\\U{ord(c):08x}") for c in str(value))
    return f'"{escaped}"'


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


# --- reading -------------------------------------------------------------------------------------------


def _whole_file(path: Path, message: str, line: int = 1) -> InputError:
    return InputError(
        message=message, problems=(FileProblem(file=path, line=line, key="file", message=message),)
    )


def read_text(path: Path, what: str) -> str:
    """Text of a file as it stands.

    Parameters
    ----------
    path : the file. what : what it is to the user, for the messages.

    Raises
    ------
    InputError
        As for `read_toml`, but for what isn't TOML.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise _whole_file(path, f"is a folder; name the {what} inside it")
        if not stat.S_ISREG(status.st_mode):
            raise _whole_file(path, f"is not a regular file; name a {what}")
        if status.st_size > SIZE_LIMIT_BYTES:
            raise _whole_file(path, _too_large(status.st_size, what))
        with path.open("rb") as handle:
            raw = handle.read(SIZE_LIMIT_BYTES + 1)
    except FileNotFoundError:
        raise _whole_file(path, f"does not exist{_neighbour(path)}; check the path of the {what}") from None
    except PermissionError:
        raise _whole_file(path, "can't be read: permission denied; give yourself read access") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _whole_file(path, f"can't be read: {reason}") from None
    if len(raw) > SIZE_LIMIT_BYTES:
        raise _whole_file(path, _too_large(len(raw), what))
    return _decode(raw, path, what)


def _too_large(size: int, what: str) -> str:
    return (
        f"holds {size / 1e6:.1f} MB, limit {SIZE_LIMIT_BYTES / 1e6:.0f} MB; "
        f"this is not a {what}, name the right file"
    )


def _neighbour(path: Path) -> str:
    """Name files in the same folder that the user may have meant."""
    try:
        names = [entry.name for entry in path.parent.iterdir() if entry.suffix == ".toml"]
    except OSError:
        return ""
    near = closest(path.name, names)
    return f" (near it stands {' and '.join(near)})" if near else ""


def _decode(raw: bytes, path: Path, what: str) -> str:
    if b"\0" in raw:
        line = raw.count(b"\n", 0, raw.index(b"\0")) + 1
        raise _whole_file(path, f"is binary, not text; name a {what}", line)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        message = f"is not UTF-8 text (byte 0x{raw[error.start]:02x}); save it with UTF-8 encoding"
        raise _whole_file(path, message, line) from None


_PLAIN_WORDS = {
    "Cannot overwrite a value": "is set twice; keep one of the two",
    "Cannot declare": "is declared twice; join the two tables under one header",
    "Unterminated string": "has a string without its closing quote",
    "Illegal character '\\n'": "has a string without its closing quote",
    "Expected '=' after a key": "has no '=' after the key",
    "Expected ']' at the end of a table declaration": "has a table header without its closing ']'",
}


def _syntax_problem(path: Path, text: str, message: str) -> FileProblem:
    """Turn the decoder's message into the file's line, the key on that line, and a plain sentence."""
    rows = text.split("\n")
    match = _POSITION.search(message)
    at_end = not (match and match[1])
    if match and match[1]:
        line, bare = int(match[1]), message[: match.start()]
    else:
        line, bare = max(len(text.rstrip().split("\n")), 1), _POSITION.sub("", message)
    row = rows[line - 1].rstrip("\r") if line <= len(rows) else ""
    assignment = _ASSIGNMENT.match(row)
    key = assignment[1] if assignment else row.strip()[:40] or "file"
    if assignment and (remedy := _value_remedy(assignment[1], assignment[2], at_end=at_end)):
        return FileProblem(file=path, line=line, key=key, message=remedy)
    plain = next((words for start, words in _PLAIN_WORDS.items() if bare.startswith(start)), "")
    said = plain or f"is not valid TOML: {bare[:1].lower()}{bare[1:]}"
    return FileProblem(file=path, line=line, key=key, message=said)


def _value_remedy(key: str, value: str, *, at_end: bool) -> str:
    """Spot ``key = 5 m``, a value with its unit but no quotes, and the other usual slips in a build file."""
    bare = re.sub(r"\s+#.*$", "", value).strip()
    if not bare:
        return f'has no value after "="; write {key} = "…" or remove the line'
    if bare[0] in "“”„‘’«":
        inner = bare.strip("“”„‘’«»")
        return f'has curly quotes; write straight ones: {key} = "{inner}"'
    if bare[0] in "[{":
        return "has a list or inline table without its closing bracket" if at_end else ""
    if bare[0] in "\"'" or _is_value(bare):
        return ""
    if bare in {"True", "False", "TRUE", "FALSE"}:
        return f"is {bare}; write {bare.lower()}"
    return f'needs quotes round its value; write {key} = "{bare[:40]}"'


def _is_value(text: str) -> bool:
    try:
        tomllib.loads(f"k = {text}")
    except ValueError:
        return False
    return True


def _leaves(value: Any, loc: KeyPath) -> Iterable[tuple[KeyPath, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, (*loc, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves(inner, (*loc, index))
    else:
        yield loc, value
