"""CSV as RFC 4180 has it, with cells that a spreadsheet would run as a formula made harmless.

Source: RFC 4180, Common Format and MIME Type for Comma-Separated Values (CSV) Files, 2005, section 2.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["cell", "table"]

# Characters that make common spreadsheets evaluate a cell; the last four are full-width forms of the first.
_FORMULA_START = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_QUOTED = re.compile(r'[",\r\n]')


def cell(content: str) -> str:
    """One cell: quoted where RFC 4180 asks for it, formula starts held off with an apostrophe.

    A plain number keeps its sign; any other text that starts with a formula character is prefixed.

    >>> cell("-12.5"), cell("-1+1"), cell("a, b")
    ('-12.5', "'-1+1", '"a, b"')
    """
    kept = "".join(c for c in content if c >= " " or c in "\t\r\n")
    if kept.lstrip(" ").startswith(_FORMULA_START) and not _PLAIN_NUMBER.fullmatch(kept):
        kept = "'" + kept
    if _QUOTED.search(kept) or kept != kept.strip():
        return '"' + kept.replace('"', '""') + '"'
    return kept


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Header and rows as CSV text with CRLF line ends; every row must be as wide as the header."""
    lines = []
    for row in (header, *rows):
        if len(row) != len(header):
            raise ValueError(f"a row of {len(row)} cells under a header of {len(header)}: {row!r}")
        lines.append(",".join(cell(item) for item in row))
    return "\r\n".join(lines) + "\r\n"
