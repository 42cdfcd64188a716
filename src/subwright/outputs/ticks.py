"""Where an axis puts its ticks, and what it writes beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["Ticks", "linear_ticks", "log_ticks", "nice_range", "tick_texts"]

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Ticks:
    """Labelled and unlabelled tick positions, in the axis's own unit."""

    major: tuple[float, ...]
    minor: tuple[float, ...]


def _step(span: float, count: int) -> float:
    raw = span / max(count, 1)
    decade = 10.0 ** math.floor(math.log10(raw))
    return next(s * decade for s in _STEPS if s * decade >= raw * (1 - 1e-9))


def nice_range(low: float, high: float, *, count: int = 5) -> tuple[float, float]:
    """The range widened outward to whole steps; a range of no width is opened by 10 % or one unit."""
    if high <= low:
        pad = abs(low) * 0.1 or 1.0
        low, high = low - pad, high + pad
    step = _step(high - low, count)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def linear_ticks(low: float, high: float, *, count: int = 5) -> Ticks:
    """About ``count`` round steps between ``low`` and ``high``, never fewer than two ticks."""
    while True:
        step = _step(high - low, count)
        first = math.ceil(low / step - 1e-9)
        last = math.floor(high / step + 1e-9)
        if last > first:
            break
        count += 1
    return Ticks(major=tuple(i * step for i in range(first, last + 1)), minor=())


def log_ticks(low: float, high: float, *, count: int = 8) -> Ticks:
    """1-2-5 labels (or decades only, when those are more than ``count``), every whole multiple as minor."""
    decades = range(math.floor(math.log10(low) + 1e-9), math.ceil(math.log10(high) - 1e-9) + 1)

    def within(multiples: Sequence[int]) -> tuple[float, ...]:
        every = (m * 10.0**d for d in decades for m in multiples)
        return tuple(v for v in every if low * (1 - 1e-9) <= v <= high * (1 + 1e-9))

    fine = within(range(1, 10))
    for multiples in (range(1, 10), (1, 2, 5), (1, 3), (1,)):
        major = within(multiples)
        if len(major) <= count:
            break
    if len(major) < 2:
        return linear_ticks(low, high, count=4)
    return Ticks(major=major, minor=tuple(v for v in fine if v not in major))


def _decimals(step: float) -> int:
    """Decimals that write ``step`` exactly, at most 9."""
    for places in range(10):
        if abs(round(step, places) - step) < step * 1e-6:
            return places
    return 9


def tick_texts(values: Sequence[float], *, log: bool = False) -> list[str]:
    """Tick labels: plain decimals, thousands and millions as k and M where the values reach them."""
    top = max((abs(v) for v in values), default=0.0)
    scale, suffix = (1e6, "M") if top >= 1e6 else (1e3, "k") if top >= 1e4 else (1.0, "")
    if log:
        texts = []
        for value in values:
            own, mark = (1e6, "M") if value >= 1e6 else (1e3, "k") if value >= 1e3 else (1.0, "")
            texts.append(f"{value / own:.6g}{mark}")
        return texts
    if len(values) < 2:
        return [f"{v / scale:.4g}{suffix}" for v in values]
    places = _decimals((values[1] - values[0]) / scale)
    written = [f"{v / scale:.{places}f}" for v in values]
    return [("0" if float(w) == 0 else w + suffix).replace("-", "\u2212") for w in written]
