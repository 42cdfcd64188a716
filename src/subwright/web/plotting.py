"""A stage's plot once more: over another range, with another build's curves behind it, without its band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from subwright.base.errors import SubwrightError
from subwright.outputs.svg import Axis, Limit, Plot, Series
from subwright.outputs.views import Sheet

__all__ = ["PlotWish", "find_plot", "has_band", "on_battery", "redrawn"]

_BATTERY = "battery, unloaded"


@dataclass(frozen=True, kw_only=True, slots=True)
class PlotWish:
    """How to draw it. Ranges are in the axes' own units; None: all of it."""

    x_low: float | None = None
    x_high: float | None = None
    y_low: float | None = None
    y_high: float | None = None
    band: bool = True
    emf_v: float | None = None


def find_plot(sheets: Mapping[str, Sheet], key: str) -> Plot | None:
    """The plot of that key among the sheets; None where there is none."""
    for sheet in sheets.values():
        for figure in sheet.figures:
            if figure.key == key and isinstance(figure.drawn, Plot):
                return figure.drawn
    return None


def has_band(plot: Plot) -> bool:
    """Whether it shows a tolerance band."""
    return bool(plot.bands)


def on_battery(plot: Plot) -> bool:
    """Whether its x axis is the battery's voltage."""
    return plot.x.label == _BATTERY


def redrawn(plot: Plot, wish: PlotWish, behind: Plot | None = None, behind_name: str = "") -> str:
    """SVG of the plot as wished.

    Parameters
    ----------
    plot : what to draw. wish : how.
    behind : the same plot of another design, drawn thin behind it. behind_name : whose it is.

    Raises
    ------
    SubwrightError : the range holds nothing.
    """
    series = list(plot.series)
    if behind is not None:
        series = [
            Series(label=f"{behind_name}: {s.label}", x=s.x, y=s.y, style="dotted", near=1.0 - 0.6 * s.near)
            for s in behind.series
        ] + series
    limits = list(plot.limits)
    if wish.emf_v is not None and on_battery(plot):
        limits.append(Limit(label="now", value=wish.emf_v, axis="x", forbidden="none"))
    return replace(
        plot,
        x=_ranged(plot.x, wish.x_low, wish.x_high),
        y=_ranged(plot.y, wish.y_low, wish.y_high),
        series=tuple(series),
        bands=plot.bands if wish.band else (),
        limits=tuple(limits),
    ).render(inline=True)


def _ranged(axis: Axis, low: float | None, high: float | None) -> Axis:
    if low is None or high is None:
        return axis
    if not (-1e12 < low < high < 1e12) or (axis.scale == "log" and low <= 0.0):
        raise SubwrightError(
            message="that range holds nothing to draw",
            quantity=axis.label,
            value=f"{low:g} to {high:g} {axis.unit}",
            remedy="drag from left to right inside the frame",
        )
    return replace(axis, low=low, high=high)
