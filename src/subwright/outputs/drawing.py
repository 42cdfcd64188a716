"""Smallest tools for SVG text: numbers with fixed format, escaping, text width, the outer element."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from html import escape

import numpy as np

from subwright.outputs.look import drawing_css

__all__ = [
    "CHAR",
    "Box",
    "document",
    "escaped",
    "line",
    "num",
    "points",
    "rect",
    "standalone",
    "text",
    "text_width",
    "wrap",
]

CHAR = 0.602  # advance of one character in the monospaced stack, in em

_OPEN = '<svg xmlns="http://www.w3.org/2000/svg" class="sw" viewBox="'
_DESCRIBED = "</desc>"

Box = tuple[float, float, float, float]  # left, top, right, bottom in drawing units


def num(value: float) -> str:
    """A coordinate with at most one decimal; the same bytes for the same drawing on every machine."""
    written = f"{value:.1f}"
    if written.endswith(".0"):
        written = written[:-2]
    return "0" if written == "-0" else written


def escaped(content: str) -> str:
    """Text made safe inside an element or a quoted attribute; control characters that XML forbids go."""
    kept = "".join(c for c in content if c >= " " or c in "\t\n")
    return escape(kept.replace("\ufffe", "").replace("\uffff", ""), quote=True)


def points(x: np.ndarray, y: np.ndarray) -> str:
    """A ``points`` attribute from two arrays of shape (n,)."""
    return " ".join([f"{a:.1f},{b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True)])


def text_width(content: str, size: float = 12.0) -> float:
    """Width of monospaced text in drawing units."""
    return len(content) * CHAR * size


def text(
    x: float, y: float, content: str, *, classes: str = "t", anchor: str = "start", extra: str = ""
) -> str:
    """One line of text; ``anchor`` is start, middle or end."""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{num(x)}" y="{num(y)}" class="{classes}"{where}{extra}>{escaped(content)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, *, classes: str) -> str:
    """One straight stroke."""
    return f'<path d="M{num(x1)} {num(y1)}L{num(x2)} {num(y2)}" class="{classes}"/>'


def rect(x: float, y: float, width: float, height: float, *, classes: str) -> str:
    """One rectangle."""
    return f'<rect x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}" class="{classes}"/>'


def wrap(content: str, width: int) -> list[str]:
    """Words of ``content`` on lines of at most ``width`` characters (a longer word keeps its own line)."""
    lines: list[str] = []
    for word in content.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines or [""]


def document(
    body: Sequence[str], *, width: float, height: float, title: str, desc: str, inline: bool = False
) -> str:
    """The ``svg`` element round ``body``: titled, described, with its own style unless ``inline``."""
    head = (
        f'{_OPEN}0 0 {num(width)} {num(height)}" role="img" aria-label="{escaped(title)}">'
        f"<title>{escaped(title)}</title><desc>{escaped(desc)}{_DESCRIBED}"
    )
    paper = rect(0, 0, width, height, classes="paper")
    drawn = "\n".join([head, paper, *body, "</svg>"])
    return drawn if inline else standalone(drawn)


def standalone(inline: str) -> str:
    """A drawing made for a page, as a file of its own: with its size and its style."""
    box, quote, rest = inline.removeprefix(_OPEN).partition('"')
    _, _, width, height = box.split()
    head, described, body = rest.partition(_DESCRIBED)
    style = f"<style>\n{_own_css()}</style>"
    return f'{_OPEN}{box}{quote} width="{width}" height="{height}"{head}{described}{style}{body}\n'


@cache
def _own_css() -> str:
    return drawing_css(inline=False)
