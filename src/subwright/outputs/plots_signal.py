"""Drawings of the signal's way: levels from the radio to the loudspeaker, and filter and box together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Protocol

import numpy as np

from subwright.outputs.drawing import document, line, num, points, rect, text, wrap
from subwright.outputs.svg import Axis, Band, Limit, Mark, Plot, Series

__all__ = ["GainDrawing", "chain_plot", "output_filter_plot"]

Array = np.ndarray

_LEFT, _TOP, _HEIGHT, _STEP = 62.0, 54.0, 300.0, 86.0
_FOOT = 74.0
_WRAP = 12


class _Node(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def level_v(self) -> float: ...
    @property
    def limit_v(self) -> float | None: ...
    @property
    def headroom_db(self) -> float | None: ...


def _dbv(volts: float) -> float:
    return 20.0 * log10(volts)


@dataclass(frozen=True, kw_only=True, slots=True)
class GainDrawing:
    """Level, noise and clipping at each node on one scale, dB re 1 V rms.

    Attributes
    ----------
    nodes : from the radio to the loudspeaker, rms level and peak limit in V.
    noise_v : rms by node name, V; nodes that it doesn't name have no floor drawn.
    """

    nodes: Sequence[_Node]
    noise_v: Mapping[str, float]
    title: str = "Levels at full output"

    def _range(self) -> tuple[float, float]:
        tops = [_dbv(n.level_v) for n in self.nodes]
        tops += [_dbv(n.limit_v / 2**0.5) for n in self.nodes if n.limit_v is not None]
        lows = [_dbv(v) for v in self.noise_v.values()] or [min(tops) - 60.0]
        return 20.0 * floor((min(lows) - 4.0) / 20.0), 20.0 * ceil((max(tops) + 4.0) / 20.0)

    def render(self, *, inline: bool = False) -> str:
        """The drawing as SVG text; the same bytes for the same input."""
        low, high = self._range()
        width = _LEFT + _STEP * len(self.nodes) + 44.0
        bottom = _TOP + _HEIGHT

        def y(level_db: float) -> float:
            return bottom - (level_db - low) / (high - low) * _HEIGHT

        x = [_LEFT + _STEP * (k + 0.5) for k in range(len(self.nodes))]
        body = [text(16, 26, self.title, classes="h t"), text(16, 44, "dB re 1 V rms", classes="ts sm")]
        for level in np.arange(low, high + 1.0, 20.0):
            body.append(line(_LEFT, y(level), width - 44.0, y(level), classes="grid"))
            body.append(text(_LEFT - 8, y(level) + 4, _signed(float(level)), classes="ts", anchor="end"))
        levels = [_dbv(n.level_v) for n in self.nodes]
        named = [k for k, n in enumerate(self.nodes) if n.name in self.noise_v]
        floor_db = [_dbv(self.noise_v[self.nodes[k].name]) for k in named]
        for at, level_db in zip(named, floor_db, strict=True):
            top, foot = y(levels[at]), y(level_db)
            body.append(rect(x[at] - 9, top, 18, foot - top, classes="band"))
        way = points(np.array(x), np.array([y(v) for v in levels]))
        body.append(f'<polyline points="{way}" class="s1"/>')
        if named:
            trail = points(np.array([x[k] for k in named]), np.array([y(v) for v in floor_db]))
            body.append(f'<polyline points="{trail}" class="s3"/>')
            body.append(text(x[named[-1]] + 12, y(floor_db[-1]) - 6, "noise", classes="ts sm"))
        for at, node in enumerate(self.nodes):
            body += self._column(node, x[at], y, bottom, last=at == len(self.nodes) - 1)
        desc = "; ".join(
            f"{n.name} {_signed(round(v, 1))} dBV" for n, v in zip(self.nodes, levels, strict=True)
        )
        return document(body, width=width, height=bottom + _FOOT, title=self.title, desc=desc, inline=inline)

    def _column(
        self, node: _Node, at: float, place: Callable[[float], float], bottom: float, *, last: bool
    ) -> list[str]:
        """Level, clipping and name of one node."""
        level = _dbv(node.level_v)
        marks = [f'<circle cx="{num(at)}" cy="{num(place(level))}" r="3.4" class="dot"/>']
        if node.limit_v is not None:
            top = place(_dbv(node.limit_v / 2**0.5))
            marks.append(line(at - 22, top, at + 22, top, classes="lim"))
            marks += [line(at + d, top, at + d + 5, top - 6, classes="hach") for d in range(-22, 22, 8)]
            room = node.headroom_db or 0.0
            if room > 0.5:
                marks.append(
                    text(at + 13, (top + place(level)) / 2 + 4, f"{room:.0f} dB", classes="t sm halo")
                )
                marks.append(text(at + 13, (top + place(level)) / 2 + 4, f"{room:.0f} dB", classes="t sm"))
            else:
                marks.append(text(at, top - 12, "clips here", classes="ta sm", anchor="middle"))
        side, anchor = (13, "start") if last else (-13, "end")
        marks.append(text(at + side, place(level) + 18, _volts(node.level_v), classes="t sm", anchor=anchor))
        for row, words in enumerate(wrap(node.name, _WRAP)):
            marks.append(text(at, bottom + 20 + 15 * row, words, classes="t", anchor="middle"))
        return marks


def _signed(value: float) -> str:
    return f"{value:g}".replace("-", "\u2212")


def _volts(value: float) -> str:
    return f"{value:.3g} V" if value >= 1.0 else f"{1e3 * value:.3g} mV"


def chain_plot(
    frequency_hz: Array,
    spl_db: Array,
    *,
    cabin_db: Array | None,
    low_db: Array,
    high_db: Array,
    f3_hz: Sequence[float | None],
    title: str = "Filter and box together",
) -> Plot:
    """Level of the whole chain at 1 m against frequency, dB re 20 µPa, arrays of shape (n,)."""
    series = [Series(label="half space", x=frequency_hz, y=spl_db, near=0.6)]
    if cabin_db is not None:
        series.append(Series(label="in cabin", x=frequency_hz, y=cabin_db, style="dashed", near=0.15))
    top = max(float(np.max(s.y)) for s in series)
    marks = [
        Mark(
            label=f"{f:.0f} Hz",
            x=f,
            y=float(np.interp(np.log(f), np.log(frequency_hz), spl_db)),
        )
        for f in f3_hz
        if f is not None
    ]
    axis = Axis(
        label="frequency", unit="Hz", scale="log", low=float(frequency_hz[0]), high=float(frequency_hz[-1])
    )
    return Plot(
        title=title,
        x=axis,
        y=Axis(
            label="level",
            unit="dB re 20 µPa",
            low=10 * floor((top - 45) / 10),
            high=10 * ceil((top + 1) / 10),
        ),
        series=series,
        bands=(Band(label="1 % to 99 %", x=frequency_hz, low=low_db, high=high_db),),
        marks=marks,
    )


def output_filter_plot(
    frequency_hz: Array,
    driver_db: Array,
    nominal_db: Array,
    open_db: Array,
    *,
    limit_db: float,
    title: str = "Output filter on the driver's impedance",
) -> Plot:
    """Gain of the class-D output filter against frequency, dB, arrays of shape (n,)."""
    return Plot(
        title=title,
        x=Axis(
            label="frequency",
            unit="kHz",
            scale="log",
            low=float(frequency_hz[0]) / 1e3,
            high=float(frequency_hz[-1]) / 1e3,
        ),
        y=Axis(label="gain", unit="dB", low=-30.0, high=10.0),
        series=[
            Series(label="driver in its box", x=frequency_hz / 1e3, y=driver_db, near=0.3),
            Series(label="rated resistance", x=frequency_hz / 1e3, y=nominal_db, style="dashed", near=0.5),
            Series(label="no load", x=frequency_hz / 1e3, y=open_db, style="dotted", near=0.9),
        ],
        limits=(Limit(label=f"limit {limit_db:g} dB", value=limit_db),),
    )
