"""Letters of single strokes for a board's legend: capitals, figures, signs; a milling bit can follow them."""

from __future__ import annotations

from typing import Final

from subwright.boards.record import Place

__all__ = ["STROKE_UM", "text_strokes", "text_width_um"]

STROKE_UM: Final = 180
"""Width of every stroke, µm."""

_HIGH: Final = 6  # of a letter, in steps
_NARROW: Final = 0.85  # a step across, of a step up
_ADVANCE: Final = 5.65  # from letter to letter, in steps across
_WIDE: Final = 4

# Strokes are parted by "/", points by blanks; a point is its step across and its step up.
_SHAPES: Final = {
    "A": "00 04 26 44 40/02 42",
    "B": "00 06 36 45 44 33 42 41 30 00/03 33",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40/03 33",
    "F": "46 06 00/03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06/40 46/03 43",
    "I": "10 30/20 26/16 36",
    "J": "46 41 30 10 01",
    "K": "00 06/46 02/13 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 01 05 16 36 45 41 30 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 01 05 16 36 45 41 30 10/22 40",
    "R": "00 06 36 45 44 33 03/23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "06 46/26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 23 30 46",
    "X": "00 46/06 40",
    "Y": "06 23 46/23 20",
    "Z": "06 46 00 40",
    "0": "10 01 05 16 36 45 41 30 10/11 35",
    "1": "15 26 20/10 30",
    "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 42 41 30 10 01/13 33",
    "4": "30 36 02 42",
    "5": "46 06 04 34 43 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 03",
    "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 43",
    "+": "03 43/21 25",
    "-": "03 43",
    "±": "04 44/22 26/01 41",
    ".": "10 11",
    ",": "11 00",
    ":": "21 22/24 25",
    "/": "00 46",
    "(": "36 24 22 30",
    ")": "16 24 22 10",
    "=": "02 42/04 44",
    "_": "00 40",
    "'": "26 24",
    "&": "40 15 26 35 02 01 10 20 42",
    "Ω": "00 10 11 03 05 16 36 45 43 31 30 40",
    "%": "00 46/15 16/30 31",
    "<": "45 03 41",
    ">": "05 43 01",
    "°": "14 05 16 25 14",
}
_SAME: Final = {
    "\u2212": "-",
    "\u2013": "-",
    "\u2014": "-",
    "µ": "U",
    "μ": "U",
    "⌀": "0",
    "Ø": "0",
    "\u2126": "Ω",
}
_UNKNOWN: Final = "00 06 46 40 00"


def text_width_um(text: str, size_um: int) -> int:
    """From the first letter's left edge to the last one's right; ``size_um`` is the height of a capital."""
    if not text:
        return 0
    return round(((len(text) - 1) * _ADVANCE + _WIDE) * _NARROW * size_um / _HIGH)


def text_strokes(
    text: str, x_um: int, y_um: int, size_um: int, turn: int = 0
) -> tuple[tuple[Place, ...], ...]:
    """The strokes of a line of text about its middle.

    Parameters
    ----------
    text : small letters are drawn as capitals; a letter without a shape becomes an empty box.
    x_um, y_um : its middle. size_um : height of a capital. turn : 0, or 90 to read it from the right.

    Returns
    -------
    Lines of at least two points, µm.
    """
    step = size_um / _HIGH
    left, low = -text_width_um(text, size_um) / 2, -size_um / 2
    made = []
    for number, letter in enumerate(text):
        start = left + number * _ADVANCE * _NARROW * step
        for stroke in _shape(letter).split("/") if letter != " " else ():
            places = [
                (start + int(point[0]) * _NARROW * step, low + int(point[1]) * step)
                for point in stroke.split()
            ]
            made.append(
                tuple((x_um + round(-y if turn else x), y_um + round(x if turn else y)) for x, y in places)
            )
    return tuple(made)


def _shape(letter: str) -> str:
    known = _SAME.get(letter, letter)
    return _SHAPES.get(known) or _SHAPES.get(known.upper(), _UNKNOWN)
