"""How wide words come out in the drawing, and what of a line fits into its column."""

from __future__ import annotations

from functools import lru_cache

from subwright.outputs.drawing import text_width

__all__ = ["FIGURES", "WORDS", "fits", "set_in_lines", "shortened", "word_width"]

FIGURES = 12.5
"""Size of figures, which are monospaced, in drawing units."""
WORDS = 12.5
"""Size of words, which are not."""

_SLACK = 1.01  # every sans of the drawing's own list has the measured widths, or nearly
_EM: dict[str, float] = {
    **dict.fromkeys("ijl'|", 0.222),
    **dict.fromkeys(" .,:;ft/!\u00b7", 0.278),
    **dict.fromkeys("r()-\u2212", 0.333),
    **dict.fromkeys("cksvxyzJ", 0.5),
    **dict.fromkeys("w", 0.722),
    **dict.fromkeys("m", 0.833),
    **dict.fromkeys("FTZL", 0.611),
    **dict.fromkeys("ABEKPSVXY\u00c4\u00df", 0.667),
    **dict.fromkeys("CDHNRU\u00dc", 0.722),
    **dict.fromkeys("GOQ\u00d6", 0.778),
    **dict.fromkeys("MW%\u2026", 0.9),
}
"""Advance widths in em of a common sans, in steps; from memory of its published metrics."""
_OTHER = 0.556
_JOINTS = (
    *("temperatur", "spannung", "schwelle", "kondensator", "widerstand", "kabel", "leistung", "strom"),
    *("verst\u00e4rker", "kreis", "schiene", "wandler", "spule", "frequenz"),
)
"""Second halves of German compounds, before which a word that is too long may be parted."""


@lru_cache(maxsize=4000)
def word_width(content: str, size: float = WORDS) -> float:
    """Width of words in drawing units, on the safe side.

    >>> round(word_width("rails", 10.0), 1)
    18.5
    """
    return size * _SLACK * sum(_EM.get(sign, _OTHER) for sign in content)


def fits(content: str, width: float) -> bool:
    """Whether a figure fits into ``width`` in the monospaced face."""
    return text_width(content, FIGURES) <= width


def shortened(content: str, width: float) -> str:
    """Words that fit into ``width``: all of them, or their beginning and an ellipsis.

    >>> shortened("a ring from an old printer", 90.0)
    'a ring from \u2026'
    """
    if word_width(content) <= width:
        return content
    kept = content
    while kept and word_width(f"{kept} \u2026") > width:
        whole = kept.rpartition(" ")[0]
        kept = whole if word_width(whole) > 0.35 * width else kept[:-1].rstrip()
    return f"{kept.rstrip('-, ')} \u2026"


def set_in_lines(content: str, width: float, most: int) -> list[str]:
    """Words on at most ``most`` lines of ``width``; the last one ends in an ellipsis where more was to say.

    >>> set_in_lines("current of the speaker cable", 110.0, 2)
    ['current of the', 'speaker cable']
    """
    lines: list[str] = []
    for word in [half for whole in content.split() for half in _parted(whole, width)]:
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and word_width(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(word)
    if len(lines) > most:
        lines[most - 1 :] = [shortened(f"{lines[most - 1]} {lines[most]}", width)]
        if not lines[-1].endswith("\u2026"):
            lines[-1] = f"{lines[-1].rstrip('-, ')} \u2026"
    return [shortened(line, width) for line in lines]


def _parted(word: str, width: float) -> tuple[str, ...]:
    """A word in two where it is too long for a line and has a place to part it."""
    if word_width(word) <= width:
        return (word,)
    first, mark, second = word.partition("-")
    if mark and second:
        return f"{first}-", second
    for joint in _JOINTS:
        at = word.lower().find(joint)
        if at > 2:
            return f"{word[:at]}-", word[at:]
    return (word,)
