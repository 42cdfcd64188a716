"""Plots as SVG: ink curves with direct labels, bands, limits with a hatched forbidden side.

A plot is a plain description (frozen dataclasses of arrays); ``Plot.render`` turns it into text with the same
bytes every time. Values must be finite: a curve with a gap is two series.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.outputs.drawing import (
    CHAR,
    Box,
    document,
    escaped,
    line,
    num,
    points,
    rect,
    text,
    text_width,
    wrap,
)
from subwright.outputs.labels import Placed, Wanted, place
from subwright.outputs.ticks import Ticks, linear_ticks, log_ticks, nice_range, tick_texts

__all__ = ["Axis", "Band", "Limit", "Mark", "Plot", "Series", "Span"]

Style = Literal["main", "dashed", "soft", "dotted"]
_STYLE_CLASS = {"main": "s1", "dashed": "s2", "soft": "s3", "dotted": "s4"}
_TEXT_CLASS = {"main": "t", "dashed": "t", "soft": "ts", "dotted": "ts"}
_TITLE_CHAR = 7.8  # of a title's letters, drawing units, on the wide side
_EDGE = 12.0
_DOT = " \u00b7 "
_AROUND = 92.0  # of a plot's height, what its words take
_FLATTER = 0.6  # how a plot's frame grows with its width: a narrow one stays high enough to read


@dataclass(frozen=True, kw_only=True, slots=True)
class Axis:
    """One axis: what it shows, in which unit, over which range (None: from the data)."""

    label: str
    unit: str = ""
    scale: Literal["linear", "log"] = "linear"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One curve; ``x`` and ``y`` have shape (n,), n >= 1, in the units of their axes."""

    label: str
    x: np.ndarray
    y: np.ndarray
    style: Style = "main"
    near: float = 0.85  # where along the curve its label would like to be, 0 to 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """The region between two curves over one ``x``, shape (n,) each."""

    label: str
    x: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """A straight limit at ``value`` on the y axis (or x axis), hatched on the side that is forbidden.

    With no forbidden side it's a reference line, drawn in ink.
    """

    label: str
    value: float
    axis: Literal["x", "y"] = "y"
    forbidden: Literal["above", "below", "none"] = "above"  # above: larger values


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """One labelled point."""

    label: str
    x: float
    y: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """A labelled stretch of the x axis, drawn as a strip above the frame."""

    label: str
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class _Scale:
    """An axis with its range settled and its length in drawing units known."""

    axis: Axis
    low: float
    high: float
    at_low: float
    at_high: float
    ticks: Ticks

    def to(self, value: np.ndarray) -> np.ndarray:
        if self.axis.scale == "log":
            share = np.log(np.maximum(value, 1e-300) / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        # far-out points are pulled to ten frames away: same picture, bounded text
        inside: np.ndarray = self.at_low + np.clip(share, -10.0, 11.0) * (self.at_high - self.at_low)
        return inside

    def one(self, value: float) -> float:
        return float(self.to(np.asarray(value)))

    @property
    def texts(self) -> list[str]:
        return tick_texts(self.ticks.major, log=self.axis.scale == "log")


def _refuse(message: str, quantity: str, value: str) -> SubwrightError:
    return SubwrightError(
        message=message,
        quantity=quantity,
        value=value,
        remedy="correct the result that is drawn; a plot shows only finite numbers",
    )


def _finite(name: str, values: np.ndarray) -> np.ndarray:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1 or array.size == 0:
        raise _refuse("a curve needs a one-dimensional, non-empty array", name, f"shape {array.shape}")
    bad = ~np.isfinite(array)
    if bad.any():
        raise _refuse("a curve holds a number that is not finite", name, str(array[bad][0]))
    return array


def _paired(name: str, x: np.ndarray, *others: np.ndarray) -> None:
    for other in others:
        if np.shape(other) != np.shape(x):
            raise _refuse("x and y of a curve differ in length", name, f"{np.size(x)} and {np.size(other)}")


def _scale(
    axis: Axis, data: Sequence[np.ndarray], at_low: float, at_high: float, spacing: float, *, tight: bool
) -> _Scale:
    low = min(float(d.min()) for d in data) if axis.low is None else axis.low
    high = max(float(d.max()) for d in data) if axis.high is None else axis.high
    count = max(2, int(abs(at_high - at_low) / spacing))
    if axis.scale == "log":
        if low <= 0.0:
            raise _refuse("a logarithmic axis starts above zero", axis.label, f"{low:g}")
        if high <= low:
            low, high = low / 1.5, high * 1.5
        ticks = log_ticks(low, high, count=count)
    else:
        if not tight:
            wide_low, wide_high = nice_range(low, high, count=count)
            low = wide_low if axis.low is None else low
            high = wide_high if axis.high is None else high
        if high <= low:
            low, high = nice_range(low, low, count=count)
        ticks = linear_ticks(low, high, count=count)
    return _Scale(axis=axis, low=low, high=high, at_low=at_low, at_high=at_high, ticks=ticks)


def _caption(axis: Axis) -> str:
    return f"{axis.label}, {axis.unit}" if axis.unit else axis.label


def _inside(x: np.ndarray, y: np.ndarray, frame: Box) -> tuple[np.ndarray, np.ndarray]:
    """The longest run of the curve that is visible in the frame; the curve itself where it's a point."""
    seen = (x >= frame[0] - 0.5) & (x <= frame[2] + 0.5) & (y >= frame[1] - 0.5) & (y <= frame[3] + 0.5)
    if seen.all():
        return x, y
    edges = np.flatnonzero(np.diff(np.concatenate(([0], seen.astype(int), [0]))))
    if edges.size == 0:
        return x[:0], y[:0]
    starts, ends = edges[0::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    return x[starts[longest] : ends[longest]], y[starts[longest] : ends[longest]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Plot:
    """A plot: axes, curves, and what they must stay clear of."""

    title: str
    x: Axis
    y: Axis
    series: Sequence[Series] = ()
    bands: Sequence[Band] = ()
    limits: Sequence[Limit] = ()
    marks: Sequence[Mark] = ()
    spans: Sequence[Span] = ()
    desc: str = ""
    width: float = 560.0
    height: float = 340.0

    def __post_init__(self) -> None:
        if not self.series and not self.bands:
            raise _refuse("a plot needs at least one curve", self.title, "none")
        for s in self.series:
            _paired(s.label, s.x, s.y)
            _finite(s.label, s.x)
            _finite(s.label, s.y)
        for b in self.bands:
            _paired(b.label, b.x, b.low, b.high)
            for values in (b.x, b.low, b.high):
                _finite(b.label, values)
        for limit in self.limits:
            _finite(limit.label, np.array([limit.value]))
        for mark in self.marks:
            _finite(mark.label, np.array([mark.x, mark.y]))

    def fitted(self, width: float) -> Plot:
        """The same plot for another width, drawing units: letters keep their size, the rest gives way."""
        share = (width / self.width) ** _FLATTER
        return replace(self, width=width, height=round(_AROUND + (self.height - _AROUND) * share))

    def render(self, *, inline: bool = False) -> str:
        """The plot as SVG text; ``inline`` leaves out the style block, for a page that carries it once."""
        title = wrap(self.title, int((self.width - 2 * _EDGE) / _TITLE_CHAR))
        caption = self._lines(_caption(self.y))
        below = self._lines(_caption(self.x))
        top = 52.0 + (20.0 if self.spans else 0.0) + 17.0 * (len(title) - 1) + 15.0 * (len(caption) - 1)
        bottom = self.height - 40.0 - 15.0 * (len(below) - 1) - 14.0 * self._legend_rows(below[-1])
        y = self._y_scale(bottom, top)
        left = 14.0 + max((text_width(t) for t in y.texts), default=0.0) + 6.0
        right = self.width - 16.0
        x = self._x_scale(left, right)
        frame: Box = (left, top, right, bottom)
        body = [text(_EDGE, 20 + 17 * i, row, classes="t h") for i, row in enumerate(title)]
        under = 20 + 17 * len(title)
        body += [text(_EDGE, under + 15 * i, row, classes="ts") for i, row in enumerate(caption)]
        body += self._ground(x, y, frame, below)
        curves, wanted = self._curves(x, y, frame)
        body += curves
        body += [_written(p) for p in place(wanted, frame=frame)]
        return document(
            body,
            width=self.width,
            height=self.height,
            title=self.title,
            desc=self._described(x),
            inline=inline,
        )

    def _lines(self, content: str) -> list[str]:
        """Words of a caption on as many lines as the width asks for."""
        return wrap(content, int((self.width - 2 * _EDGE) / (CHAR * 12.0)))

    def _legend_rows(self, beside: str) -> int:
        """How many lines of their own the spans' names may need; 0 where they fit beside a caption."""
        names = dict.fromkeys(span.label for span in self.spans)
        if text_width(_DOT.join(_numbered(tuple(names))), 11) + text_width(beside) + 4 * _EDGE <= self.width:
            return 0
        return len(self._legend(tuple(names)))

    def _legend(self, names: Sequence[str]) -> list[str]:
        """What the numbers in the strip stand for, on as many lines as the width asks for."""
        rows: list[str] = []
        for entry in _numbered(names):
            longer = f"{rows[-1]}{_DOT}{entry}" if rows else entry
            if rows and text_width(longer, 11) <= self.width - 4 * _EDGE:
                rows[-1] = longer
            else:
                rows.append(entry)
        return rows

    def _x_scale(self, left: float, right: float) -> _Scale:
        data = [s.x for s in self.series] + [b.x for b in self.bands]
        return _scale(self.x, data, left, right, 52.0, tight=True)

    def _y_scale(self, bottom: float, top: float) -> _Scale:
        data = [s.y for s in self.series]
        data += [v for b in self.bands for v in (b.low, b.high)]
        data += [np.array([v.value]) for v in self.limits if v.axis == "y"]
        spread = max(float(d.max()) for d in data) - min(float(d.min()) for d in data)
        # room to see the forbidden side of a limit that would else lie on the frame
        room = {"above": 0.06 * spread, "below": -0.06 * spread, "none": 0.0}
        if self.y.scale == "linear":
            data += [np.array([v.value + room[v.forbidden]]) for v in self.limits if v.axis == "y"]
        data += [np.array([m.y]) for m in self.marks]
        return _scale(self.y, data, bottom, top, 40.0, tight=False)

    def _described(self, x: _Scale) -> str:
        if self.desc:
            return self.desc
        names = ", ".join(s.label for s in self.series)
        limits = "".join(f"; limit {v.label}" for v in self.limits)
        span = f"{_caption(self.x)} from {x.low:g} to {x.high:g}"
        return f"{_caption(self.y)} over {span}. Curves: {names}{limits}."

    def _ground(self, x: _Scale, y: _Scale, frame: Box, caption: Sequence[str]) -> list[str]:
        """Grid, frame, tick labels, axis captions and the strip of spans."""
        left, top, right, bottom = frame
        grid = [f"M{num(x.one(v))} {num(top)}V{num(bottom)}" for v in x.ticks.major]
        grid += [f"M{num(left)} {num(y.one(v))}H{num(right)}" for v in y.ticks.major]
        minor = [f"M{num(x.one(v))} {num(bottom)}v-4" for v in x.ticks.minor]
        minor += [f"M{num(left)} {num(y.one(v))}h4" for v in y.ticks.minor]
        out = [f'<path d="{"".join(grid)}" class="grid"/>']
        if minor:
            out.append(f'<path d="{"".join(minor)}" class="hair"/>')
        out.append(rect(left, top, right - left, bottom - top, classes="frame"))
        last_end = -math.inf
        for value, label in zip(x.ticks.major, x.texts, strict=True):
            half = text_width(label) / 2
            at = min(x.one(value), self.width - 4 - half)
            if at - half > last_end + 5:
                out.append(text(at, bottom + 16, label, anchor="middle"))
                last_end = at + half
        for value, label in zip(y.ticks.major, y.texts, strict=True):
            out.append(text(left - 6, y.one(value) + 4, label, anchor="end"))
        rows = enumerate(caption)
        out += [text(right, bottom + 32 + 15 * i, row, classes="ts", anchor="end") for i, row in rows]
        return out + self._strip(x, frame, bottom + 32 + 15 * (len(caption) - 1), caption[-1])

    def _strip(self, x: _Scale, frame: Box, at: float, beside: str) -> list[str]:
        """Spans above the frame; those too narrow for their name carry a number, explained below."""
        left, top, right, _ = frame
        out: list[str] = []
        key: list[str] = []
        for span in self.spans:
            a, b = max(left, x.one(span.low)), min(right, x.one(span.high))
            if b - a < 1.0:
                continue
            out.append(rect(a, top - 18, b - a, 15, classes="open"))
            name = span.label
            if text_width(name, 11) + 6 > b - a:
                if name not in key:
                    key.append(name)
                name = str(key.index(name) + 1)
            if text_width(name, 11) <= b - a:
                out.append(text((a + b) / 2, top - 6.5, name, classes="t sm", anchor="middle"))
        if key:
            rows = self._legend(key)
            start = at + 14.0 if self._legend_rows(beside) else at
            out += [text(left, start + 14.0 * i, row, classes="ts sm") for i, row in enumerate(rows)]
        return out

    def _curves(self, x: _Scale, y: _Scale, frame: Box) -> tuple[list[str], list[Wanted]]:
        """Everything clipped to the frame, and the labels it asks for."""
        left, top, right, bottom = frame
        # a nested svg clips at its edge without needing an id, so several plots can share a page
        body = [
            f'<svg x="{num(left)}" y="{num(top)}" width="{num(right - left)}" height="{num(bottom - top)}"'
            f' viewBox="{num(left)} {num(top)} {num(right - left)} {num(bottom - top)}"'
            f' data-x="{_spanned(x)}" data-y="{_spanned(y)}">'  # what a page needs to read values off
        ]
        # a mark has only one place to be named at, so it chooses first
        wanted: list[Wanted] = []
        dots: list[str] = []
        for mark in self.marks:
            mx, my = x.one(mark.x), y.one(mark.y)
            if left <= mx <= right and top <= my <= bottom:
                dots.append(f'<circle cx="{num(mx)}" cy="{num(my)}" r="3.5" class="open"/>')
                self._want(wanted, mark.label, np.array([mx]), np.array([my]), frame, "t", 0.0)
        body += [part for v in self.limits for part in _shade(v, x if v.axis == "x" else y, frame)]
        for band in self.bands:
            bx, low, high = x.to(band.x), y.to(band.low), y.to(band.high)
            outline = points(np.concatenate((bx, bx[::-1])), np.concatenate((low, high[::-1])))
            body.append(f'<polygon points="{outline}" class="band"/>')
            if band.label:
                self._want(wanted, band.label, bx, high, frame, "ts", 0.5)
        for v in self.limits:
            lx, ly = _limit_line(v, x if v.axis == "x" else y, frame)
            free = v.forbidden == "none"
            body.append(line(lx[0], ly[0], lx[1], ly[1], classes="ref" if free else "lim"))
            near = 0.05 if v.axis == "y" else 0.95
            self._want(
                wanted, v.label, np.array(lx), np.array(ly), frame, "ts" if free else "ta", near, _allowed(v)
            )
        for s in self.series:
            sx, sy = x.to(np.asarray(s.x, dtype=float)), y.to(np.asarray(s.y, dtype=float))
            if sx.size == 1:
                body.append(f'<circle cx="{num(sx[0])}" cy="{num(sy[0])}" r="3" class="dot"/>')
            else:
                body.append(
                    f'<polyline points="{points(sx, sy)}" class="{_STYLE_CLASS[s.style]}"'
                    f' data-of="{escaped(s.label)}"/>'
                )
            self._want(wanted, s.label, sx, sy, frame, _TEXT_CLASS[s.style], s.near)
        body += ["</svg>", *dots]
        return body, wanted

    @staticmethod
    def _want(
        wanted: list[Wanted],
        label: str,
        x: np.ndarray,
        y: np.ndarray,
        frame: Box,
        classes: str,
        near: float,
        side: tuple[int, int] = (0, 0),
    ) -> None:
        seen_x, seen_y = _inside(x, y, frame)
        if seen_x.size and label:
            wanted.append(Wanted(content=label, x=seen_x, y=seen_y, classes=classes, near=near, side=side))


def _numbered(names: Sequence[str]) -> list[str]:
    return [f"{i + 1} {name}" for i, name in enumerate(names)]


def _spanned(scale: _Scale) -> str:
    return escaped(f"{scale.axis.scale} {scale.low:.9g} {scale.high:.9g} {scale.axis.unit}")


def _allowed(limit: Limit) -> tuple[int, int]:
    """Direction (right, down) of the side that is allowed, in drawing units."""
    if limit.forbidden == "none":
        return (0, 0)
    away = -1 if limit.forbidden == "above" else 1
    return (away, 0) if limit.axis == "x" else (0, -away)


def _limit_line(limit: Limit, scale: _Scale, frame: Box) -> tuple[tuple[float, float], tuple[float, float]]:
    at = scale.one(limit.value)
    if limit.axis == "x":
        return (at, at), (frame[3], frame[1])
    return (frame[0], frame[2]), (at, at)


def _shade(limit: Limit, scale: _Scale, frame: Box) -> list[str]:
    """The forbidden side: a wash up to the frame and short slanted strokes along the line."""
    if limit.forbidden == "none":
        return []
    left, top, right, bottom = frame
    at = scale.one(limit.value)
    up = limit.forbidden == "above"
    if limit.axis == "y":
        at = min(max(at, top), bottom)
        region = (left, top, right - left, at - top) if up else (left, at, right - left, bottom - at)
        slope = -5 if up else 5
        strokes = [f"M{num(v)} {num(at)}l5 {slope}" for v in _every(left, right)]
    else:
        at = min(max(at, left), right)
        region = (at, top, right - at, bottom - top) if up else (left, top, at - left, bottom - top)
        slope = 5 if up else -5
        strokes = [f"M{num(at)} {num(v)}l{slope} -5" for v in _every(top, bottom)]
    if min(region[2], region[3]) < 0.5:
        return []
    return [rect(*region, classes="wash"), f'<path d="{"".join(strokes)}" class="hach"/>']


def _every(low: float, high: float, step: float = 9.0) -> list[float]:
    return [low + 2 + i * step for i in range(int((high - low - 2) / step) + 1)]


def _written(placed: Placed) -> str:
    left, top, _, bottom = placed.box
    wanted = placed.wanted
    words = text(left + 2, (top + bottom) / 2 + 4, wanted.content, classes=f"{wanted.classes} halo")
    if placed.leader is None:
        return words
    return line(*placed.leader, classes="hair") + words
