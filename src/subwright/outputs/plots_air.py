"""Drawings behind the amplifier: output, headroom and noise from the terminals to the ear; load lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Literal, Protocol

import numpy as np

from subwright.base.units import show
from subwright.outputs.drawing import document, line, num, rect, text, wrap
from subwright.outputs.svg import Axis, Plot, Series

__all__ = ["AirDrawing", "load_line_plot"]

_LEFT, _TOP, _HEIGHT, _STEP = 62.0, 54.0, 300.0, 132.0
_FOOT = 92.0
_WRAP = 16
_DIMENSION = {"m": "length", "m/s": "speed"}


class _Node(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def unit(self) -> Literal["m", "m/s", "Pa"]: ...
    @property
    def level(self) -> float: ...
    @property
    def noise(self) -> float: ...
    @property
    def level_db(self) -> float: ...
    @property
    def noise_db(self) -> float: ...
    @property
    def over_noise_db(self) -> float: ...
    @property
    def headroom_db(self) -> float | None: ...
    @property
    def peak_hz(self) -> float: ...


@dataclass(frozen=True, kw_only=True, slots=True)
class AirDrawing:
    """Each place on its own scale, full output at 0 dB: headroom above it, noise below it.

    Attributes
    ----------
    nodes : from the cone to the ear. terminals_v, terminals_noise_v : rms at the terminals, V; noise None
        where it isn't known.
    """

    nodes: Sequence[_Node]
    terminals_v: float
    terminals_noise_v: float | None
    title: str = "From the terminals to the ear at full output"

    def render(self, *, inline: bool = False) -> str:
        """The drawing as SVG text; the same bytes for the same input."""
        columns = self._columns()
        low = 20.0 * floor((min(-over for *_, over, _ in columns) - 4.0) / 20.0)
        high = 20.0
        width = _LEFT + _STEP * len(columns) + 74.0
        bottom = _TOP + _HEIGHT

        def y(level_db: float) -> float:
            return bottom - (level_db - low) / (high - low) * _HEIGHT

        body = [
            text(16, 26, self.title, classes="h t"),
            text(16, 44, "dB, full output at 0", classes="ts sm"),
        ]
        for level in np.arange(low, high + 1.0, 20.0):
            body.append(line(_LEFT, y(level), width - 74.0, y(level), classes="grid"))
            shown = f"{level:g}".replace("-", "\u2212")
            body.append(text(_LEFT - 8, y(level) + 4, shown, classes="ts", anchor="end"))
        for k, (name, full, quiet, over, room) in enumerate(columns):
            at = _LEFT + _STEP * (k + 0.5)
            top, foot = y(0.0), y(-over)
            body.append(rect(at - 12, top, 24, foot - top, classes="band"))
            body.append(f'<circle cx="{num(at)}" cy="{num(top)}" r="3.4" class="dot"/>')
            body.append(text(at + 18, top + 14, full, classes="t sm"))
            body.append(line(at - 12, foot, at + 12, foot, classes="s3"))
            if quiet:
                body.append(text(at + 18, foot - 2, quiet, classes="ts sm"))
            if room is not None:
                limit = y(min(room, high))
                body.append(line(at - 24, limit, at + 24, limit, classes="lim"))
                words = f"{room:.1f} dB left" if room >= 0.0 else f"{-room:.1f} dB too far"
                body.append(text(at, min(limit, top) - 8, words, classes="ta sm", anchor="middle"))
            for row, words in enumerate(wrap(name, _WRAP)):
                body.append(text(at, bottom + 20 + 15 * row, words, classes="t", anchor="middle"))
        desc = "; ".join(f"{name}: {full}, noise {quiet or 'not known'}" for name, full, quiet, *_ in columns)
        return document(body, width=width, height=bottom + _FOOT, title=self.title, desc=desc, inline=inline)

    def _columns(self) -> list[tuple[str, str, str, float, float | None]]:
        """Name, full output and noise in words, dB between them, dB to the limit."""
        quiet = self.terminals_noise_v
        over = 20.0 * float(np.log10(self.terminals_v / quiet)) if quiet else 60.0
        first = (
            "loudspeaker terminals",
            show(self.terminals_v, "voltage"),
            "" if quiet is None else show(quiet, "voltage"),
            over,
            0.0,
        )
        return [first, *(self._column(node) for node in self.nodes)]

    def _column(self, node: _Node) -> tuple[str, str, str, float, float | None]:
        if node.unit == "Pa":
            full, quiet = f"{node.level_db:.1f} dB SPL", f"{node.noise_db:.0f} dB SPL".replace("-", "\u2212")
        else:
            dimension = _DIMENSION[node.unit]
            full = show(node.level, dimension)
            quiet = f"\u2212{node.over_noise_db:.0f} dB"
        return node.name, full, quiet, node.over_noise_db, node.headroom_db


class _Course(Protocol):
    @property
    def across_v(self) -> np.ndarray: ...
    @property
    def current_a(self) -> np.ndarray: ...


def load_line_plot(
    limit_v: np.ndarray,
    limits: Sequence[tuple[str, np.ndarray]],
    pairs: int,
    lines: Sequence[tuple[str, _Course]],
    *,
    title: str = "Load line in the safe operating area",
) -> Plot:
    """Current of one output transistor against its voltage, with its limits.

    Parameters
    ----------
    limit_v : voltages of the limits, V, shape (n,). limits : (label, current in A), the hot one first.
    pairs : that share the current. lines : (label, load line of all pairs together).
    """
    series = [
        Series(label=label, x=limit_v, y=amps, style="soft" if k == 0 else "dotted", near=(0.75, 0.3)[k > 0])
        for k, (label, amps) in enumerate(limits)
    ]
    for k, (label, course) in enumerate(lines):
        seen = np.flatnonzero((course.current_a > 0.0) & (course.across_v >= 1.0))
        series.append(
            Series(
                label=label,
                x=course.across_v[seen],
                y=course.current_a[seen] / pairs,
                style="main" if k == 0 else "dashed",
                near=0.6,
            )
        )
    most = max(float(np.max(course.current_a)) / pairs for _, course in lines)
    middle = float(np.interp(25.0, limit_v, limits[-1][1]))
    return Plot(
        title=title,
        x=Axis(label="collector-emitter voltage", unit="V", scale="log", low=1.0, high=float(limit_v[-1])),
        y=Axis(
            label="current of one transistor",
            unit="A",
            scale="log",
            low=10.0 ** floor(np.log10(max(most / 100.0, 1e-3))),
            high=10.0 ** ceil(np.log10(max(most, middle))),
        ),
        series=series,
    )
