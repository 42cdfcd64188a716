"""Thresholds on one scale: where each falls over all tolerances, between the battery's own voltages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from subwright.base.errors import SubwrightError
from subwright.outputs.drawing import document, line, num, rect, text, text_width
from subwright.outputs.ticks import linear_ticks, nice_range, tick_texts

__all__ = ["Window", "WindowChart"]

_ROW = 34.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """One threshold: nominal, root-sum-square and worst-case limits, in the chart's unit."""

    label: str
    nominal: float
    rss_low: float
    rss_high: float
    worst_low: float
    worst_high: float
    text: str  # the nominal, printed


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowChart:
    """Windows in rows over a common axis, with named reference values as vertical lines."""

    title: str
    unit: str
    windows: tuple[Window, ...]
    references: Sequence[tuple[str, float]] = ()
    width: float = 560.0

    def render(self, *, inline: bool = False) -> str:
        """The chart as SVG text."""
        values = [v for w in self.windows for v in (w.worst_low, w.worst_high, w.nominal)]
        values += [value for _, value in self.references]
        if not values or not all(abs(v) < float("inf") for v in values):
            raise SubwrightError(
                message="a threshold chart needs finite thresholds",
                quantity=self.title,
                value=str(values),
                remedy="the result itself is at fault; please report it with the build file",
            )
        low, high = nice_range(min(values), max(values), count=6)
        left = 14.0 + max(text_width(w.label) for w in self.windows) + 10.0
        right = self.width - 20.0
        top = 80.0
        bottom = top + _ROW * len(self.windows) + 8.0

        def at(value: float) -> float:
            return left + (value - low) / (high - low) * (right - left)

        body = [text(12, 20, self.title, classes="t h"), text(12, 37, self.unit, classes="ts")]
        ticks = linear_ticks(low, high, count=6).major
        grid = "".join(f"M{num(at(v))} {num(top)}V{num(bottom)}" for v in ticks)
        body.append(f'<path d="{grid}" class="grid"/>')
        for value, label in zip(ticks, tick_texts(ticks), strict=True):
            body.append(text(at(value), bottom + 16, label, anchor="middle"))
        body += self._references(at, top, bottom)
        for index, window in enumerate(self.windows):
            body += _row(window, top + _ROW * (index + 0.5) + 4, left, at)
        body.append(line(left, bottom, right, bottom, classes="frame"))
        caption = "line: worst case \u00b7 block: root-sum-square \u00b7 stroke: real values"
        body.append(text(right, bottom + 34, caption, classes="ts sm", anchor="end"))
        return document(
            body,
            width=self.width,
            height=bottom + 44,
            title=self.title,
            desc="; ".join(f"{w.label} {w.text}" for w in self.windows),
            inline=inline,
        )

    def _references(self, at: Callable[[float], float], top: float, bottom: float) -> list[str]:
        """Reference lines with their names in two alternating rows, so that neighbours stay apart."""
        out: list[str] = []
        ends = [float("-inf"), float("-inf")]
        for name, value in sorted(self.references, key=lambda pair: pair[1]):
            x = at(value)
            half = text_width(name, 11) / 2
            row = 0 if x - half > ends[0] + 4 else 1
            ends[row] = x + half
            out.append(line(x, top - 2, x, bottom, classes="ref"))
            where = min(max(x, half + 4), self.width - half - 4)
            out.append(text(where, top - 6 - 13 * row, name, classes="ts sm", anchor="middle"))
        return out


def _row(window: Window, y: float, left: float, at: Callable[[float], float]) -> list[str]:
    x = at(window.nominal)
    return [
        text(left - 10, y + 4, window.label, anchor="end"),
        line(at(window.worst_low), y, at(window.worst_high), y, classes="s3"),
        rect(
            at(window.rss_low),
            y - 5,
            max(at(window.rss_high) - at(window.rss_low), 1.0),
            10,
            classes="part",
        ),
        line(x, y - 9, x, y + 9, classes="s1"),
        text(x, y - 11, window.text, classes="t sm halo", anchor="middle"),
    ]
