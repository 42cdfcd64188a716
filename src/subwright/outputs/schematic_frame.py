"""The paper of a schematic: A4 landscape, four units to the millimetre, frame with zones, title block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from subwright.outputs.drawing import Box, document, line, rect, text, wrap

__all__ = ["DRAWING", "HEIGHT", "INDEX", "WIDTH", "Title", "framed", "index", "paper_size", "without_edge"]

WIDTH: Final = 1188.0
HEIGHT: Final = 840.0
_LEFT: Final = 60.0  # a wider edge for filing, as in ISO 5457
_EDGE: Final = 30.0
_TITLE: Final = 92.0  # height of the title block and the notes beside it
_TITLE_WIDTH: Final = 430.0
_ZONE: Final = 16.0
_STAMP_MOST: Final = 110
_STAMP_LETTER: Final = 8.6  # width of a bold letter

DRAWING: Final[Box] = (
    _LEFT + _ZONE + 4,
    _EDGE + _ZONE + 4,
    WIDTH - _EDGE - _ZONE - 4,
    HEIGHT - _EDGE - _TITLE - _ZONE - 6,
)
"""Where a schematic may draw."""

INDEX: Final[Box] = (630.0, 512.0, DRAWING[2], 648.0)
"""Where the first sheet keeps room for the list of all sheets."""
_ROWS: Final = 8  # of the list in one column


@dataclass(frozen=True, kw_only=True, slots=True)
class Title:
    """What the title block says.

    ``symbols`` names their standard; ``stamp`` is "" unless a finding forbids building.
    """

    build: str
    sheet: str
    number: int
    of: int
    made_with: str
    symbols: str = "IEC 60617"
    stamp: str = ""


def framed(title: Title, body: list[str], notes: tuple[str, ...], desc: str) -> str:
    """A finished sheet for use in a page: frame, zones, title block and notes round ``body``."""
    left, top, right, bottom = _LEFT, _EDGE, WIDTH - _EDGE, HEIGHT - _EDGE
    inner = (left + _ZONE, top + _ZONE, right - _ZONE, bottom - _ZONE)
    parts = [
        rect(left, top, right - left, bottom - top, classes="hair"),
        rect(inner[0], inner[1], inner[2] - inner[0], inner[3] - inner[1], classes="frame"),
    ]
    stamp = _short(title.stamp, _STAMP_MOST)
    stamped = inner[2] - 8 - _STAMP_LETTER * len(stamp) - 8 if stamp else right
    for k in range(6):
        x = inner[0] + (inner[2] - inner[0]) * (k + 0.5) / 6
        edge = inner[0] + (inner[2] - inner[0]) * k / 6
        for y, y2, end in ((top, inner[1], stamped), (inner[3], bottom, right)):
            if x < end:
                parts.append(text(x, y + 12, str(k + 1), classes="sm ts", anchor="middle"))
            if k and edge < end:
                parts.append(line(edge, y, edge, y2, classes="hair"))
    if stamp:  # in the edge: the drawing has the whole of the frame
        parts.append(text(inner[2] - 8, top + 13, stamp, classes="h ta", anchor="end"))
    for k, letter in enumerate("ABCD"):
        y = inner[1] + (inner[3] - inner[1]) * (k + 0.5) / 4
        edge = inner[1] + (inner[3] - inner[1]) * k / 4
        for x, x2 in ((left, inner[0]), (inner[2], right)):
            parts.append(text(x + 8, y + 4, letter, classes="sm ts", anchor="middle"))
            if k:
                parts.append(line(x, edge, x2, edge, classes="hair"))
    parts += _block(title, inner)
    parts += _notes(notes, inner)
    return document(
        [*parts, *body],
        width=WIDTH,
        height=HEIGHT,
        title=f"{title.build}: {title.sheet}, sheet {title.number} of {title.of}",
        desc=desc,
        inline=True,
    )


def index(titles: Sequence[str]) -> list[str]:
    """The list of all sheets, for the first one."""
    left, top, right, _ = INDEX
    parts = [text(left, top + 12, "sheets", classes="h t")]
    wide = (right - left) / max(2, -(-len(titles) // _ROWS))
    for k, title in enumerate(titles):
        column, row = divmod(k, _ROWS)
        x, y = left + column * wide, top + 28 + 13.0 * row
        parts.append(text(x + 14, y, str(k + 1), classes="sm ts", anchor="end"))
        parts.append(text(x + 22, y, _short(title, int((wide - 26) / 6.7)), classes="sm t"))
    return parts


def _block(title: Title, inner: Box) -> list[str]:
    x, y = inner[2] - _TITLE_WIDTH, inner[3] - _TITLE
    return [
        rect(x, y, _TITLE_WIDTH, _TITLE, classes="frame"),
        line(x, y + 34, inner[2], y + 34, classes="hair"),
        line(x, y + 64, inner[2], y + 64, classes="hair"),
        line(inner[2] - 120, y + 34, inner[2] - 120, inner[3], classes="hair"),
        text(x + 10, y + 22, _short(title.build, 46), classes="h t"),
        text(x + 10, y + 54, _short(title.sheet, 38), classes="h t"),
        text(inner[2] - 110, y + 54, f"sheet {title.number} of {title.of}", classes="t"),
        text(x + 10, y + 83, f"{title.made_with} \u00b7 \u2192 2: goes on at sheet 2", classes="sm ts"),
        text(inner[2] - 110, y + 83, f"A4, {title.symbols}", classes="sm ts"),
    ]


def _notes(notes: tuple[str, ...], inner: Box) -> list[str]:
    width = inner[2] - _TITLE_WIDTH - inner[0] - 16
    rows: list[tuple[str, str]] = []
    for k, note in enumerate(notes, start=1):
        words = wrap(note, int((width - 20) / 6.62))
        rows += [(str(k), words[0]), *(("", word) for word in words[1:])]
    y = inner[3] - 10 - 13.5 * (len(rows) - 1)
    parts: list[str] = []
    for k, (number, row) in enumerate(rows):
        parts.append(text(inner[0] + 30, y + 13.5 * k, row, classes="sm t"))
        if number:
            parts.append(text(inner[0] + 10, y + 13.5 * k, number, classes="sm ts"))
    return parts


def _short(content: str, most: int) -> str:
    return content if len(content) <= most else content[: most - 1] + "…"


def without_edge(inline: str) -> str:
    """A sheet cut to its frame, for a page that has an edge of its own."""
    box = f"{_LEFT - 2:g} {_EDGE - 2:g} {WIDTH - _LEFT - _EDGE + 4:g} {HEIGHT - 2 * _EDGE + 4:g}"
    return inline.replace(f'viewBox="0 0 {WIDTH:g} {HEIGHT:g}"', f'viewBox="{box}"', 1)


def paper_size(standing_alone: str) -> str:
    """A sheet's file with the size of the paper that it is meant for."""
    return standing_alone.replace('width="1188" height="840"', 'width="297mm" height="210mm"', 1)
