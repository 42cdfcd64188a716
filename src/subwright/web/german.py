"""What a design says about itself, in German: whole sentences from a catalogue, or none.

The catalogue is the files of ``sentences/``. Each row holds an English text as the design says it and its
German one, so an English text that was changed since has no German one any more and is shown in English,
whole. In a row, ``{0}`` … stand for what changes from design to design: figures and names, which pass as they
are, or words that the catalogue holds themselves. A text with any other word in such a place is not
translated at all.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from itertools import groupby

__all__ = ["german", "rows"]

_GAP = re.compile(r"\{(\d)\}")
_WORD = re.compile(r"[A-Za-zÄÖÜäöüß]+")
_KEY = re.compile(r"\b[a-z_]+\.[a-z0-9_]+\b")  # a key of the build file
_UNITS = frozenset(
    {
        *("mm", "cm", "kg", "mg", "ms", "ns", "ps", "min", "fs", "ohm", "mohm", "kohm", "rms", "auto", "mdf"),
    }
)
_QUOTED = re.compile(r"\"[^\"]*\"|(?<!\w)'[^']*'(?!\w)")  # what somebody wrote, or a file's own value
_PLACED = re.compile(r"(?P<what>.+) \((?P<where>[^()]+)\)")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Sentence:
    """A row with gaps: how the English one reads, and the German one."""

    pattern: re.Pattern[str]
    german: str


def _tables() -> Iterator[Mapping[str, str | tuple[str, str]]]:
    """Every table of every file: English → German, or a name → both."""
    for file in sorted(files("subwright.web").joinpath("sentences").iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            yield from tomllib.loads(file.read_text(encoding="utf-8")).values()


@cache
def rows() -> Mapping[str, str]:
    """Every row of the catalogue: English → German."""
    found: dict[str, str] = {}
    for table in _tables():
        for name, value in table.items():
            english, said = (name, value) if isinstance(value, str) else value
            found[english] = said
    return found


@cache
def _sentences() -> Mapping[str, tuple[_Sentence, ...]]:
    """The rows with gaps, by their first word; under "" those that begin with a gap."""
    made = []
    for english, said in rows().items():
        if not _GAP.search(english):
            continue
        gaps = _GAP.findall(english)
        pieces = _GAP.split(english)[::2]
        pattern = re.escape(pieces[0])
        for i, piece in enumerate(pieces[1:]):
            most = "" if i == 0 and not pieces[0] else "?"  # a leading gap takes all that it can
            pattern += f"(?P<g{gaps[i]}>.+{most}){re.escape(piece)}"
        first = pieces[0].split(" ")[0] if " " in pieces[0] else ""
        made.append((first, len(english), _Sentence(pattern=re.compile(pattern), german=said)))
    made.sort(key=lambda row: (row[0], -row[1]))
    return {first: tuple(row[2] for row in group) for first, group in groupby(made, key=lambda row: row[0])}


def _plain(text: str) -> bool:
    """Whether a text is the same in any language: figures, units, names and designators."""
    return not any(
        len(word) > 1 and word.islower() and word not in _UNITS
        for word in _WORD.findall(_QUOTED.sub("", _KEY.sub("", text)))
    )


def _filled(sentence: str, gaps: Mapping[str, str | None]) -> str:
    return _GAP.sub(lambda at: gaps[at[1]] or "", sentence)


@lru_cache(maxsize=20_000)
def german(text: str) -> str | None:
    """The German of a text; itself where it is the same in any language; None where the catalogue lacks it.

    >>> german("12.0 V"), german("no such sentence")
    ('12.0 V', None)
    """
    said = rows().get(text)
    if said is not None:
        return said
    if _plain(text):
        return text
    for first in (text.split(" ")[0], ""):
        for sentence in _sentences().get(first, ()):
            found = sentence.pattern.fullmatch(text)
            if found is None:
                continue
            gaps = {name[1:]: german(value) for name, value in found.groupdict().items()}
            if None not in gaps.values():
                return _filled(sentence.german, gaps)
    placed = _PLACED.fullmatch(text)
    if placed is not None:
        what, where = german(placed["what"]), german(placed["where"])
        if what is not None and where is not None:
            return f"{what} ({where})"
    return None
