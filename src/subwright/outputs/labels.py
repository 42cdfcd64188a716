"""Places labels beside the curves they name, clear of other curves and other labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from subwright.outputs.drawing import Box, text_width

__all__ = ["Placed", "Wanted", "place", "walk"]

_STATIONS = 18
_HEIGHT = 13.0
_AIR = np.array((-6.0, -9.0, 6.0, 9.0))
# shift of the text box from the curve (x as share of the box's width, x and y in drawing units), and its cost
_OFFSETS = np.array(
    [
        (-0.5, 0.0, -11.0, 0.0),
        (-0.5, 0.0, 11.0, 0.6),
        (0.0, 9.0, 0.0, 0.3),
        (-1.0, -9.0, 0.0, 0.3),
        (0.0, 9.0, -11.0, 0.5),
        (-1.0, -9.0, 11.0, 0.5),
        (-1.0, -9.0, -11.0, 0.5),
        (0.0, 9.0, 11.0, 0.5),
        (-0.5, 0.0, -26.0, 3.0),
        (-0.5, 0.0, 26.0, 3.4),
        (0.0, 16.0, -26.0, 3.0),
        (-1.0, -16.0, 26.0, 3.2),
        (0.0, 16.0, 30.0, 3.4),
        (-1.0, -16.0, -30.0, 3.4),
        (-0.5, 0.0, -42.0, 5.0),
        (-0.5, 0.0, 42.0, 5.4),
        (0.0, 30.0, 44.0, 5.4),
    ]
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """A label and the curve it belongs to: drawing coordinates, shape (n,) each, already inside the frame."""

    content: str
    x: np.ndarray
    y: np.ndarray
    classes: str = "t"
    near: float = 0.85  # preferred place along the curve, 0 start to 1 end
    side: tuple[int, int] = (0, 0)  # preferred direction from the curve (right, down), 0 for no wish


@dataclass(frozen=True, kw_only=True, slots=True)
class Placed:
    """Where a label went; ``leader`` runs from the curve to the text where they are apart."""

    wanted: Wanted
    box: Box
    leader: tuple[float, float, float, float] | None


def walk(x: np.ndarray, y: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """The polyline resampled about every ``step`` drawing units along its length."""
    if x.size < 2:
        return x, y
    along = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))))
    if along[-1] == 0.0:
        return x[:1], y[:1]
    at = np.linspace(0.0, along[-1], max(2, int(along[-1] / step) + 1))
    return np.interp(at, along, x), np.interp(at, along, y)


def _hits(boxes: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """How many points lie in each box, shape (boxes,)."""
    inside = (x > boxes[:, 0:1]) & (x < boxes[:, 2:3]) & (y > boxes[:, 1:2]) & (y < boxes[:, 3:4])
    count: np.ndarray = inside.sum(axis=1)
    return count


def _overlap(boxes: np.ndarray, taken: Sequence[Box]) -> np.ndarray:
    """Area that each box shares with those taken, shape (boxes,)."""
    if not taken:
        return np.zeros(len(boxes))
    other = np.asarray(taken)
    wide = np.minimum(boxes[:, None, 2], other[:, 2]) - np.maximum(boxes[:, None, 0], other[:, 0])
    tall = np.minimum(boxes[:, None, 3], other[:, 3]) - np.maximum(boxes[:, None, 1], other[:, 1])
    area: np.ndarray = (np.clip(wide, 0, None) * np.clip(tall, 0, None)).sum(axis=1)
    return area


def place(wanted: Sequence[Wanted], *, frame: Box, taken: Sequence[Box] = ()) -> list[Placed]:
    """Give every label a place, first come first served.

    Each label tries stations along its own curve, above, below and beside it; the place with the fewest
    curve points under the text and no other label under it wins. A label never leaves the frame.
    """
    tracks = [walk(w.x, w.y, 5.0) for w in wanted]
    ink_x = np.concatenate([t[0] for t in tracks]) if tracks else np.zeros(0)
    ink_y = np.concatenate([t[1] for t in tracks]) if tracks else np.zeros(0)
    owner = np.repeat(np.arange(len(tracks)), [t[0].size for t in tracks])
    occupied = list(taken)
    placed: list[Placed] = []
    for number, (want, (track_x, track_y)) in enumerate(zip(wanted, tracks, strict=True)):
        share = np.linspace(0.02, 0.98, _STATIONS) if track_x.size > 1 else np.zeros(1)
        index = np.round(share * (track_x.size - 1)).astype(int)
        at_x, at_y = track_x[index], track_y[index]
        width = text_width(want.content) + 4.0
        left = (at_x[:, None] + _OFFSETS[:, 0] * width + _OFFSETS[:, 1]).ravel()
        middle = (at_y[:, None] + _OFFSETS[:, 2]).ravel()
        cost = (np.abs(share - want.near)[:, None] * 4.0 + _OFFSETS[:, 3]).ravel()
        right_most = max(frame[0] + 2.0, frame[2] - width - 2.0)
        shifted = np.clip(left, frame[0] + 2.0, right_most)
        shifted_y = np.clip(middle, frame[1] + _HEIGHT / 2 + 1, frame[3] - _HEIGHT / 2 - 1)
        cost = cost + 0.06 * (np.abs(shifted - left) + np.abs(shifted_y - middle))
        boxes = np.column_stack((shifted, shifted_y - _HEIGHT / 2, shifted + width, shifted_y + _HEIGHT / 2))
        cost = cost + 6.0 * _hits(boxes, ink_x, ink_y) + 1.5 * _overlap(boxes, occupied)
        # a name between two curves could belong to either: keep a little away from the others
        others = owner != number
        cost = cost + 0.8 * np.minimum(_hits(boxes + _AIR, ink_x[others], ink_y[others]), 6)
        wrong = (_OFFSETS[:, 1] * want.side[0] < 0) | (_OFFSETS[:, 2] * want.side[1] < 0)
        cost = cost + 12.0 * np.tile(wrong, _STATIONS if track_x.size > 1 else 1)
        best = int(np.argmin(cost))
        station, offset = divmod(best, len(_OFFSETS))
        chosen = boxes[best]
        box: Box = (float(chosen[0]), float(chosen[1]), float(chosen[2]), float(chosen[3]))
        occupied.append(box)
        leader = None
        if abs(_OFFSETS[offset, 2]) > 20.0:
            x0, y0 = float(at_x[station]), float(at_y[station])
            x1 = min(max(x0, box[0]), box[2])
            leader = (x0, y0, x1, box[3] if box[3] < y0 else box[1])
        placed.append(Placed(wanted=want, box=box, leader=leader))
    return placed
