"""Where the texts of a schematic go: beside their part, clear of symbols, wires and one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Literal

from subwright.outputs.drawing import CHAR, Box

__all__ = ["LABEL_SIZE", "Label", "LabelSide", "LabelWanted", "gap", "overlap", "place_labels"]

LabelSide = Literal["left", "right", "above", "below"]

LABEL_SIZE = 13.0
_LEAD = 13.5  # from one baseline to the next
_ASCENT = 0.78  # share of the size above the baseline, capitals and figures
_GAP = 4.0
_APART = 3.0  # between neighbours' texts
_RETRIES = 3  # with those that found no free place served first
_ROOMY = 4.0  # over and under a text, so that two don't read as one
_FAR = (0.0, 10.0, 20.0)
_SHIFTS = (0.0, -8.0, 8.0, -16.0, 16.0, -24.0, 24.0, -34.0, 34.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class LabelWanted:
    """Lines that belong to a body; ``upright`` prefers the sides, otherwise above and below.

    ``side`` is tried before either.
    """

    lines: tuple[str, ...]
    body: Box
    upright: bool
    side: LabelSide | None = None


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


def gap(a: Box, b: Box) -> float:
    """Shortest way between two boxes; 0 where they meet."""
    return hypot(max(a[0] - b[2], b[0] - a[2], 0.0), max(a[1] - b[3], b[1] - a[3], 0.0))


def place_labels(
    wanted: Sequence[LabelWanted], taken: Sequence[Box], inside: Box, texts: Sequence[Box] = ()
) -> tuple[Label, ...]:
    """Give each text the first free place near its body, the fullest bodies first served in order.

    Parameters
    ----------
    wanted : in order of importance. taken : boxes of symbols, wires and fixed texts. inside : the sheet.
    texts : those of them that are texts.

    Returns
    -------
    Labels in the order of ``wanted``; one that found no free place has a ``cost`` above 0. A free place is
    better where no other text is close above or below, and no other body nearer than its own.
    """
    order = list(range(len(wanted)))
    best = _served(wanted, order, taken, inside, texts)
    for _ in range(_RETRIES):
        crowded = [k for k in order if best[k].cost > 0.0]
        if not crowded:
            break
        order = [*crowded, *(k for k in order if k not in crowded)]
        again = _served(wanted, order, taken, inside, texts)
        if sum(label.cost for label in again) < sum(label.cost for label in best):
            best = again
    return tuple(best)


def _served(
    wanted: Sequence[LabelWanted],
    order: Sequence[int],
    taken: Sequence[Box],
    inside: Box,
    texts: Sequence[Box],
) -> list[Label]:
    """Labels in the order of ``wanted``, each placed when its number's turn in ``order`` comes."""
    boxes, words = list(taken), list(texts)
    made: dict[int, Label] = {}
    for k in order:
        want = wanted[k]
        around = _around(want)
        close = [other for other in boxes if _touch(around, other)]
        said = [other for other in words if _touch(around, other)]
        rivals = [other.body for n, other in enumerate(wanted) if n != k and _touch(around, other.body)]
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
            if cost == 0.0 and _clear(box, want.body, said, rivals):
                best = Label(lines=lines, x=left, y=top + _ASCENT * LABEL_SIZE, box=box, cost=cost)
                break
        if best is None:
            raise ValueError(f"no place on the sheet for {want.lines}")
        boxes.append(best.box)
        words.append(best.box)
        made[k] = best
    return [made[k] for k in range(len(wanted))]


def _clear(box: Box, body: Box, texts: Sequence[Box], rivals: Sequence[Box]) -> bool:
    """Whether a text can't be taken for part of another, or for another body's."""
    roomy = (box[0], box[1] - _ROOMY, box[2], box[3] + _ROOMY)
    own = gap(box, body)
    return not any(_touch(roomy, other) for other in texts) and all(
        gap(box, other) >= own for other in rivals
    )


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
            space = _GAP + far
            beside = {
                "right": [(right + space, mid_y - height / 2 + shift) for shift in _SHIFTS],
                "left": [(left - space - width, mid_y - height / 2 + shift) for shift in _SHIFTS],
                "above": [(mid_x - width / 2 + shift, top - space - height) for shift in _SHIFTS],
                "below": [(mid_x - width / 2 + shift, bottom + space) for shift in _SHIFTS],
            }
            first = beside[want.side] if want.side else []
            sides = [spot for pair in zip(beside["right"], beside["left"], strict=True) for spot in pair]
            ends = [spot for pair in zip(beside["above"], beside["below"], strict=True) for spot in pair]
            for x, y in (*first, *((*sides, *ends) if want.upright else (*ends, *sides))):
                yield lines, x, y
