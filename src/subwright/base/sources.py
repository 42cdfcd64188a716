"""The bibliography: every work that a formula, table or limit rests on, under one key.

How to cite in code
-------------------
A public function that computes or tabulates something carries a ``Source`` section in its docstring (numpy
style, underlined), and names each work by its key in square brackets, with the equation or table::

    Source
    ------
    [mclyman-handbook], eq. 5-12; [iec-60063] for the values.

Results carry the same keys in their ``sources`` tuple, so a build can list the works that it used. Keys
start with a lower-case letter and go on with letters, digits, dots and hyphens. ``[derived]`` stands for
algebra done here, ``[common-practice]`` for a habit of the trade without a source to name; both are entries
like any other.

The entries are in ``bibliography/*.toml``, one table per work::

    [iec-60063]
    author = "IEC"
    title = "Preferred number series for resistors and capacitors"
    year = 2015
    where = "tables 1 to 4"
    status = "from memory"
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal, get_args

from subwright.base.errors import SubwrightError
from subwright.base.near import closest

__all__ = ["STATUSES", "Source", "Status", "bibliography", "cited_keys", "get", "read_bibliography"]

Status = Literal["read", "read in a secondary page", "from memory", "derived", "common practice"]
STATUSES: tuple[str, ...] = get_args(Status)

_KEY = re.compile(r"[a-z][a-z0-9.-]*")
_CITED = re.compile(r"\[([a-z][a-z0-9.-]*)\]")
_HEADING = re.compile(r"^[ \t]*Sources?[ \t]*\n[ \t]*-{3,}[ \t]*\n", re.MULTILINE)
_NEXT_PART = re.compile(r"^[ \t]*(?:>>>|\S.*\n[ \t]*-{3,}[ \t]*$)", re.MULTILINE)
_FIELDS = {"author", "title", "year", "where", "status"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """One work.

    Attributes
    ----------
    key : bibliography key.
    author : person, body or publisher.
    title : title of the work.
    year : year of publication; None for habits of the trade and for algebra.
    where : chapter, table, equation or edition; may be "".
    status : how the figures got here: read in the work itself, read in a page that quotes it, from memory,
        derived, or common practice.
    """

    key: str
    author: str
    title: str
    year: int | None
    where: str
    status: Status

    def citation(self) -> str:
        """One printed line: author, title, year, place in the work, and how the figures got here."""
        parts = [part for part in (self.author, self.title, str(self.year or ""), self.where) if part]
        return f"{', '.join(parts)} ({self.status})"


@cache
def bibliography() -> Mapping[str, Source]:
    """Every source of the programme by key, in the order of the files.

    Returns
    -------
    Read-only mapping from key to :class:`Source`.

    Raises
    ------
    SubwrightError : an entry is malformed, or a key is given twice.
    """
    return read_bibliography(Path(__file__).parent / "bibliography")


def read_bibliography(folder: Path) -> Mapping[str, Source]:
    """Every source in the TOML files of a folder.

    Parameters
    ----------
    folder : directory that holds the files.

    Returns
    -------
    Read-only mapping from key to :class:`Source`, by file name and then in the order of the file.

    Raises
    ------
    SubwrightError : a file is no TOML, an entry is malformed, or a key is given twice.
    """
    found: dict[str, Source] = {}
    for path in sorted(folder.glob("*.toml")):
        try:
            entries = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SubwrightError(message=f"{path.name} can't be read: {error}") from None
        for key, entry in entries.items():
            if key in found:
                raise SubwrightError(message=f"{path.name}: the source [{key}] is in the bibliography twice")
            found[key] = _source(key, entry, path.name)
    return MappingProxyType(found)


def _source(key: str, entry: object, file: str) -> Source:
    def refuse(why: str) -> SubwrightError:
        return SubwrightError(message=f"{file}: the source [{key}] {why}")

    if not _KEY.fullmatch(key):
        raise refuse("needs a key of lower-case letters, digits, dots and hyphens, starting with a letter")
    if not isinstance(entry, dict) or not set(entry) <= _FIELDS or not {"title", "status"} <= set(entry):
        raise refuse(f"needs title and status, and may have {', '.join(sorted(_FIELDS))}")
    status = entry["status"]
    if status not in STATUSES:
        raise refuse(f"has the status {status!r}; allowed are {', '.join(STATUSES)}")
    year = entry.get("year")
    if year is not None and not (isinstance(year, int) and 1800 <= year <= 2100):
        raise refuse(f"has the year {year!r}")
    return Source(
        key=key,
        author=str(entry.get("author", "")),
        title=str(entry["title"]),
        year=year,
        where=str(entry.get("where", "")),
        status=status,
    )


def get(key: str) -> Source:
    """The source with this key.

    Parameters
    ----------
    key : bibliography key, ``"iec-60063"``.

    Returns
    -------
    The :class:`Source`.

    Raises
    ------
    SubwrightError : the key is not in the bibliography; the message names near ones.
    """
    try:
        return bibliography()[key]
    except KeyError:
        near = closest(key, bibliography())
        raise SubwrightError(
            message=f"the bibliography has no source [{key}]",
            quantity="bibliography key",
            value=repr(key),
            remedy=f"did you mean {' or '.join(near)}?" if near else "add it to base/bibliography/",
        ) from None


def cited_keys(docstring: str) -> tuple[str, ...]:
    """Bibliography keys named in the ``Source`` section of a docstring, in order.

    Parameters
    ----------
    docstring : the text, indented or not.

    Returns
    -------
    Keys; empty where there is no such section or it names none.

    Examples
    --------
    >>> cited_keys("Skin depth.\\n\\nSource\\n------\\n[derived] from [iec-60028].\\n")
    ('derived', 'iec-60028')
    """
    heading = _HEADING.search(docstring)
    if heading is None:
        return ()
    body = docstring[heading.end() :]
    following = _NEXT_PART.search(body)
    return tuple(_CITED.findall(body[: following.start()] if following else body))
