"""Where the texts of a schematic go: beside their part, clear of symbols, wires and one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from subwright.outputs.drawing import CHAR, Box

__all__ = ["LABEL_SIZE", "Label", "LabelWanted", "overlap", "place_labels"]

LABEL_SIZE = 13.0
_LEAD = 13.5  # from one baseline to the next
_ASCENT = 0.78  # share of the size above the baseline, capitals and figures
_GAP = 4.0
_APART = 3.0  # between neighbours' texts
_FAR = (0.0, 10.0, 20.0)
_SHIFTS = (0.0, -8.0, 8.0, -16.0, 16.0, -24.0, 24.0, -34.0, 34.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class LabelWanted:
    """Lines that belong to a body; ``upright`` prefers the sides, otherwise above and below."""

    lines: tuple[str, ...]
    body: Box
    upright: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """Lines with their place: left of the first line, its baseline, the box they fill."""

    lines: tuple[str, ...]
    x: float
    y: float
    box: Box
    cost: float  # area that it shares with something else; 0 is free

    @property
    def baselines(self) -> Iterator[tuple[float, str]]:
        """Baseline and text of each line."""
        return ((self.y + k * _LEAD, line) for k, line in enumerate(self.lines))


def overlap(a: Box, b: Box) -> float:
    """Area that two boxes share."""
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    return width * height if width > 0 and height > 0 else 0.0


def place_labels(wanted: Sequence[LabelWanted], taken: Sequence[Box], inside: Box) -> tuple[Label, ...]:
    """Give each text the first free place near its body, the fullest bodies first served in order.

    Parameters
    ----------
    wanted : in order of importance. taken : boxes of symbols, wires and fixed texts. inside : the sheet.

    Returns
    -------
    Labels in the order of ``wanted``; one that found no free place has a ``cost`` above 0.
    """
    boxes = list(taken)
    made: list[Label] = []
    for want in wanted:
        around = _around(want)
        close = [other for other in boxes if _touch(around, other)]
        best: Label | None = None
        for lines, left, top in _candidates(want):
            width, height = _size(lines)
            box = (left, top, left + width, top + height)
            if box[0] < inside[0] or box[1] < inside[1] or box[2] > inside[2] or box[3] > inside[3]:
                continue
            near = (box[0] - _APART, box[1], box[2] + _APART, box[3])
            cost = sum(overlap(near, other) for other in close)
            if best is None or cost < best.cost - 1e-9:
                best = Label(lines=lines, x=left, y=top + _ASCENT * LABEL_SIZE, box=box, cost=cost)
            if cost == 0.0:
                break
        if best is None:
            raise ValueError(f"no place on the sheet for {want.lines}")
        boxes.append(best.box)
        made.append(best)
    return tuple(made)


def _around(want: LabelWanted) -> Box:
    """Everything that a text of this body can reach."""
    long = sum(len(line) + 1 for line in want.lines) * CHAR * LABEL_SIZE
    high = len(want.lines) * _LEAD + LABEL_SIZE
    reach = _GAP + _APART + max(_FAR) + max(_SHIFTS)
    left, top, right, bottom = want.body
    return left - long - reach, top - high - reach, right + long + reach, bottom + high + reach


def _touch(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _size(lines: Sequence[str]) -> tuple[float, float]:
    width = max(len(line) for line in lines) * CHAR * LABEL_SIZE
    return width, (len(lines) - 1) * _LEAD + (_ASCENT + 0.2) * LABEL_SIZE


def _candidates(want: LabelWanted) -> Iterator[tuple[tuple[str, ...], float, float]]:
    shapes = [want.lines]
    if len(want.lines) > 1:
        shapes.append((" ".join(want.lines),))
    left, top, right, bottom = want.body
    mid_x, mid_y = (left + right) / 2, (top + bottom) / 2
    for far in _FAR:
        for lines in shapes:
            width, height = _size(lines)
            gap = _GAP + far
            sides = [
                spot
                for shift in _SHIFTS
                for spot in (
                    (right + gap, mid_y - height / 2 + shift),
                    (left - gap - width, mid_y - height / 2 + shift),
                )
            ]
            ends = [
                spot
                for shift in _SHIFTS
                for spot in (
                    (mid_x - width / 2 + shift, top - gap - height),
                    (mid_x - width / 2 + shift, bottom + gap),
                )
            ]
            for x, y in (*sides, *ends) if want.upright else (*ends, *sides):
                yield lines, x, y
