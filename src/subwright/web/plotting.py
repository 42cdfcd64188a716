"""A stage's plot once more: over another range, with another build's curves behind it, without its band."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from html import unescape

from subwright.base.errors import SubwrightError
from subwright.outputs.drawing import escaped
from subwright.outputs.svg import Axis, Limit, Plot, Series
from subwright.outputs.views import Sheet
from subwright.web.german import german, rows

__all__ = ["PlotWish", "find_plot", "has_band", "in_german", "on_battery", "redrawn", "spoken_svg"]

_BATTERY = "battery, unloaded"
_NARROWEST, _WIDEST = 280.0, 1600.0  # drawing units
_BRIEF = 18  # signs of another build's name on a curve


@dataclass(frozen=True, kw_only=True, slots=True)
class PlotWish:
    """How to draw it. Ranges are in the axes' own units; None: all of it. ``width``: of the page's place for
    it, in drawing units; None: the plot's own."""

    x_low: float | None = None
    x_high: float | None = None
    y_low: float | None = None
    y_high: float | None = None
    band: bool = True
    emf_v: float | None = None
    width: float | None = None


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


def redrawn(
    plot: Plot,
    wish: PlotWish,
    behind: Plot | None = None,
    behind_name: str = "",
    language: str = "en",
) -> str:
    """SVG of the plot as wished.

    Parameters
    ----------
    plot : what to draw. wish : how.
    behind : the same plot of another design, drawn thin behind it. behind_name : whose it is.
    language : in which its words are, where the catalogue has them.

    Raises
    ------
    SubwrightError : the range holds nothing.
    """
    now = wish.emf_v if on_battery(plot) else None
    if language == "de":
        plot, behind = _german_plot(plot), None if behind is None else _german_plot(behind)
    series = list(plot.series)
    if behind is not None:
        series = [
            Series(
                label=f"{_brief(behind_name)}: {s.label}",
                x=s.x,
                y=s.y,
                style="dotted",
                near=1.0 - 0.6 * s.near,
            )
            for s in behind.series
        ] + series
    limits = list(plot.limits)
    if now is not None:
        label = (german("now") or "now") if language == "de" else "now"
        limits.append(Limit(label=label, value=now, axis="x", forbidden="none"))
    sized = plot if wish.width is None else plot.fitted(min(max(wish.width, _NARROWEST), _WIDEST))
    return replace(
        sized,
        x=_ranged(plot.x, wish.x_low, wish.x_high),
        y=_ranged(plot.y, wish.y_low, wish.y_high),
        series=tuple(series),
        bands=plot.bands if wish.band else (),
        limits=tuple(limits),
    ).render(inline=True)


def in_german(plot: Plot) -> bool:
    """Whether the catalogue has every word of a plot."""
    return all(german(text) is not None for text in _words_of(plot) if text)


def _words_of(plot: Plot) -> Iterator[str]:
    yield from (plot.title, plot.x.label, plot.x.unit, plot.y.label, plot.y.unit)
    for parts in (plot.series, plot.bands, plot.limits, plot.marks, plot.spans):
        yield from (part.label for part in parts)


def _said(text: str) -> str:
    """A text in German; as it is where the catalogue lacks it."""
    return german(text) or text


def _axis_said(label: str) -> str:
    """An axis's name, where the same English word means something else in a table."""
    return rows().get(f"axis {label}") or _said(label)


def _german_plot(plot: Plot) -> Plot:
    """The plot with its words in German, each whole or not at all."""
    x, y = (replace(a, label=_axis_said(a.label), unit=_said(a.unit)) for a in (plot.x, plot.y))
    names = ", ".join(_said(s.label) for s in plot.series)
    return replace(
        plot,
        title=_said(plot.title),
        x=x,
        y=y,
        series=tuple(replace(part, label=_said(part.label)) for part in plot.series),
        bands=tuple(replace(part, label=_said(part.label)) for part in plot.bands),
        limits=tuple(replace(part, label=_said(part.label)) for part in plot.limits),
        marks=tuple(replace(part, label=_said(part.label)) for part in plot.marks),
        spans=tuple(replace(part, label=_said(part.label)) for part in plot.spans),
        desc=f"{y.label} über {x.label}. Kurven: {names}.",
    )


_TEXT = re.compile(r"(<text[^>]*>)([^<]+)(</text>)")
_ASIDE = re.compile(r"""(<title>|<desc>| aria-label=")([^<"]+)(</title>|</desc>|")""")


@lru_cache(maxsize=64)
def spoken_svg(svg: str) -> tuple[str, bool]:
    """A finished drawing with its words in German, and whether every one of them is; else they stay."""
    whole = True

    def said(found: re.Match[str]) -> str:
        nonlocal whole
        text = unescape(found[2])
        words = german(text)
        whole = whole and words is not None
        return found[0] if words is None else f"{found[1]}{escaped(words)}{found[3]}"

    return _ASIDE.sub(said, _TEXT.sub(said, svg)), whole


def _brief(name: str) -> str:
    """A name that leaves room for the curve's own."""
    return name if len(name) <= _BRIEF else f"{name[: _BRIEF - 1].rstrip()}\u2026"


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
