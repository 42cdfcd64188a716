"""Plots of what limits the level, at each battery corner and as the coil warms up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from subwright.build.box_limits import BoxLimits
from subwright.outputs.csvfile import table
from subwright.outputs.plots import limit_spans
from subwright.outputs.svg import Axis, Plot, Series
from subwright.outputs.ticks import nice_range
from subwright.stages.common import Corner
from subwright.stages.enclosure_response import MaxLevel

__all__ = ["cabin_level_plot", "corner_level_plot", "levels_csv"]

_STYLES = {
    Corner.LOW: "dashed",
    Corner.NOMINAL: "main",
    Corner.CHARGING: "soft",
}
_DEPTH_DB = 40.0


def _axis(curves: Sequence[np.ndarray]) -> Axis:
    top = max(float(np.max(curve)) for curve in curves)
    least = min(float(np.min(curve)) for curve in curves)
    low, high = nice_range(max(least, top - _DEPTH_DB), top + 1.0, count=6)
    return Axis(label="level", unit="dB re 20 µPa", low=low, high=high)


def _plot(limits: BoxLimits, title: str, *, cabin: bool) -> Plot:
    def curve(level: MaxLevel) -> np.ndarray:
        return level.cabin_level_db if cabin else level.level_db

    series = []
    for place, (corner, level) in enumerate(limits.corners.items()):
        style = _STYLES.get(corner, "dotted")
        near = 0.95 - 0.16 * place
        series.append(
            Series(label=corner.value, x=level.frequency_hz, y=curve(level), style=style, near=near)  # type: ignore[arg-type]
        )
    if limits.damage is not None:
        top = limits.damage
        series.append(Series(label="damage", x=top.frequency_hz, y=curve(top), style="dotted", near=0.15))
    nominal = limits.corners.get(Corner.NOMINAL, next(iter(limits.corners.values())))
    frequency = nominal.frequency_hz
    return Plot(
        title=title,
        x=Axis(label="frequency", unit="Hz", scale="log", low=float(frequency[0]), high=float(frequency[-1])),
        y=_axis([one.y for one in series]),
        series=series,
        spans=limit_spans(frequency, nominal.limited_by),
    )


def corner_level_plot(limits: BoxLimits, *, title: str = "Loudest programme, half space, 1 m") -> Plot:
    """Loudest level at each battery corner; the strip says what limits it at the nominal battery."""
    return _plot(limits, title, cabin=False)


def cabin_level_plot(limits: BoxLimits, *, title: str = "Loudest programme in the cabin") -> Plot:
    """The same with the cabin's gain."""
    return _plot(limits, title, cabin=True)


def levels_csv(limits: BoxLimits) -> str:
    """Loudest level and its limit at each frequency and battery corner as CSV."""
    header = ["frequency Hz"]
    for corner in limits.corners:
        header += [f"{corner.value}: half space dB", f"{corner.value}: cabin dB", f"{corner.value}: limit"]
    frequency = next(iter(limits.corners.values())).frequency_hz
    rows = []
    for i, f in enumerate(frequency.tolist()):
        row = [f"{f:.2f}"]
        for level in limits.corners.values():
            row += [f"{level.level_db[i]:.2f}", f"{level.cabin_level_db[i]:.2f}", level.limited_by[i]]
        rows.append(tuple(row))
    return table(tuple(header), rows)
