"""The building blocks of the print as plain data: what the template knows how to set."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from subwright.outputs.look import LIGHT, drawing_css
from subwright.outputs.tables import TIGHT, Fact, RatingRow, margin_text
from subwright.outputs.views import Caution, Figure, FindingRow, Grid

__all__ = [
    "Block",
    "caution",
    "facts_table",
    "figure",
    "figures",
    "finding",
    "grid",
    "heading",
    "items",
    "pairs",
    "printed_svg",
    "ratings_table",
    "soft",
    "table",
    "text",
]

Block = dict[str, Any]

_MEDIA = re.compile(r"@media[^{]*\{.*\}\s*", re.DOTALL)
_FAMILY = re.compile(r"font-family:[^;}]*")
_OPEN_TAG = re.compile(r"<svg[^>]*>")
_OWN_STYLE = re.compile(r"\s*<style>.*?</style>", re.DOTALL)
_SIZE = re.compile(r' (?:width|height)="[^"]*"')
_BOX = re.compile(r'viewBox="[\d.-]+ [\d.-]+ ([\d.]+) ([\d.]+)"')


def _style() -> str:
    """The drawings' style with the typesetter's own fonts, light colours only."""
    css = _MEDIA.sub("", drawing_css(inline=False))
    css = _FAMILY.sub("font-family:'DejaVu Sans Mono'", css)
    return css.replace(".sw ", "").replace(LIGHT.sheet, "#ffffff")  # paper is white


def printed_svg(drawn: str) -> str:
    """A drawing as the typesetter takes it: with its size, a plain style and an embedded font."""
    found = _OPEN_TAG.match(drawn)
    box = _BOX.search(found.group(0)) if found else None
    if found is None or box is None:
        return drawn
    size = f' width="{box.group(1)}" height="{box.group(2)}">'
    head = _SIZE.sub("", found.group(0))[:-1] + size
    return f"{head}<style>{_style()}</style>{_OWN_STYLE.sub('', drawn[found.end() :], count=1)}"


def heading(words: str) -> Block:
    """A heading of the second rank."""
    return {"kind": "heading", "text": words}


def text(words: str) -> Block:
    """A paragraph."""
    return {"kind": "text", "text": words}


def soft(words: str) -> Block:
    """A small remark."""
    return {"kind": "soft", "text": words}


def items(words: Iterable[str]) -> Block:
    """A list."""
    return {"kind": "list", "items": list(words)}


def pairs(rows: Iterable[tuple[str, str]]) -> Block:
    """Names with values, in two columns."""
    return {"kind": "pairs", "items": [list(row) for row in rows]}


def caution(row: Caution) -> Block:
    """What can hurt, before the hand acts."""
    return {"kind": "caution", "before": row.before, "points": list(row.points)}


def finding(row: FindingRow) -> Block:
    """One open finding."""
    return {
        "kind": "finding",
        "code": row.code,
        "severity": row.severity,
        "title": row.title,
        "detail": row.detail,
        "remedy": row.remedy,
    }


def figure(shown: Figure, width: float = 100.0) -> Block:
    """A drawing across the page; ``width`` in per cent of it."""
    return {"kind": "figure", "svg": printed_svg(shown.svg), "caption": shown.caption, "width": width}


def figures(shown: Iterable[Figure]) -> Block:
    """Drawings two abreast."""
    rows = [{"svg": printed_svg(one.svg), "caption": one.caption} for one in shown]
    return {"kind": "figures", "items": rows}


_PAGE_PT = 480.0  # width of the text on the narrower paper
_CHAR_PT = 0.47  # of the size: a character's width, monospaced figures or text
_SIZES = (8.4, 8.0, 7.6, 7.2, 6.8, 6.4, 6.0, 5.6)
_ROOMY = 1.4  # times the mean cell is what a text column likes
_WIDE, _SLIM = 46, 9  # characters of text that a column would like, and that it can do with


def table(
    title: str,
    header: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    figures: Iterable[int] = (),
    size: float = 8.4,
    boxes: Iterable[int] = (),
    tight: Iterable[int] = (),
    note: str = "",
) -> Block:
    """A table fitted to the page; cells of ``figures`` never break; ``boxes`` are columns to write into.

    ``size`` is the largest type, in points; a wide table takes a smaller one.
    """
    whole = frozenset(figures)
    cells = [
        [cell.replace(" ", "\u00a0") if i in whole else cell for i, cell in enumerate(row)] for row in rows
    ]
    blank = frozenset(boxes)
    widths, fitted = _fit(header, cells, whole, blank, size)
    return {
        "kind": "table",
        "title": title,
        "header": list(header),
        "rows": cells,
        "widths": widths,
        "figures": sorted(whole),
        "size": fitted,
        "boxes": sorted(blank),
        "tight": list(tight),
        "note": note,
    }


def _longest_word(cells: Iterable[str]) -> int:
    return max((len(word) for cell in cells for word in re.split(r"[ -]", cell)), default=1)


def _fit(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    whole: frozenset[int],
    blank: frozenset[int],
    size: float,
) -> tuple[list[float], float]:
    """Widths in characters for each column, and the largest type at which they fit the page."""
    columns = [[row[i] for row in rows] for i in range(len(header))]
    least, liked = [], []
    for i, cells in enumerate(columns):
        word = max(_longest_word(cells), _longest_word([header[i]])) + 2.0
        longest = max((len(cell) for cell in cells), default=0) + 2.0
        if i in blank:
            least.append(max(word, 14.0 if i + 1 < len(header) else 8.0))
            liked.append(least[-1])
        elif i in whole:
            least.append(max(longest, word))
            liked.append(least[-1])
        else:
            written = [len(cell) for cell in cells if cell]
            mean = sum(written) / max(len(written), 1)
            least.append(max(word, min(longest, float(_SLIM))))
            liked.append(max(word, min(longest, float(_WIDE), _ROOMY * mean + float(_SLIM))))
    chosen = next(
        (step for step in _SIZES if step <= size and sum(least) <= _PAGE_PT / (_CHAR_PT * step)), _SIZES[-1]
    )
    room = _PAGE_PT / (_CHAR_PT * chosen)
    wish = sum(want - need for want, need in zip(liked, least, strict=True))
    share = 1.0 if wish <= 0.0 else min(max((room - sum(least)) / wish, 0.0), 1.0)
    widths = [need + share * (want - need) for want, need in zip(liked, least, strict=True)]
    return _filled(widths, columns, whole, blank, room), chosen


def _filled(
    widths: list[float],
    columns: Sequence[Sequence[str]],
    whole: frozenset[int],
    blank: frozenset[int],
    room: float,
) -> list[float]:
    """What is left of the page goes to the columns whose text still breaks, by how much it would run on."""
    left = room - sum(widths)
    wanting = [
        0.0 if i in whole or i in blank else max(max(map(len, cells), default=0) + 2.0 - widths[i], 0.0)
        for i, cells in enumerate(columns)
    ]
    total = sum(wanting)
    if left <= 0.0 or total <= 0.0:
        return widths
    return [width + min(want, left * want / total) for width, want in zip(widths, wanting, strict=True)]


def grid(shown: Grid) -> Block:
    """One of the pack's tables."""
    return table(shown.title, shown.header, shown.rows, figures=shown.figures, note=shown.note)


def facts_table(facts: Sequence[Fact]) -> Block:
    """Quantities beside their limits."""
    limited = [fact for fact in facts if fact.limit]
    return table(
        "Checked against a limit",
        ("quantity", "value", "limit", "margin"),
        [
            (fact.quantity, fact.value, fact.limit, "" if fact.margin is None else margin_text(fact.margin))
            for fact in limited
        ],
        figures=(1, 2),
        tight=[n for n, fact in enumerate(limited) if fact.margin is not None and fact.margin < TIGHT],
    )


def ratings_table(rows: Sequence[RatingRow]) -> Block:
    """Stresses beside ratings, part by part."""
    return table(
        "Ratings",
        ("part", "quantity", "applied", "rated", "margin"),
        [(row.part, row.quantity, row.applied, row.limit, margin_text(row.margin)) for row in rows],
        figures=(2, 3),
        tight=[n for n, row in enumerate(rows) if row.tight],
    )
