"""The pack's plots, from arrays in SI units to ``Plot`` descriptions in the units that a reader expects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from subwright.base.units import show
from subwright.outputs.svg import Axis, Band, Limit, Mark, Plot, Series, Span
from subwright.outputs.ticks import nice_range

__all__ = [
    "battery_current_plot",
    "clipping_power_plot",
    "efficiency_plot",
    "excursion_plot",
    "filter_plot",
    "group_delay_plot",
    "impedance_plot",
    "limit_spans",
    "port_speed_plot",
    "rail_load_plot",
    "rail_plot",
    "response_plot",
]

Array = np.ndarray

_DEPTH_DB = 45.0  # how far below the highest curve a level plot reaches


def _hz(frequency_hz: Array) -> Axis:
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    return Axis(label="frequency", unit="Hz", scale="log", low=low, high=high)


def _db_axis(label: str, unit: str, curves: Sequence[Array], depth: float = _DEPTH_DB) -> Axis:
    top = max(float(np.max(curve)) for curve in curves)
    least = min(float(np.min(curve)) for curve in curves)
    low, high = nice_range(max(least, top - depth), top + 1.0, count=6)
    return Axis(label=label, unit=unit, low=low, high=high)


def _at(frequency_hz: Array, values: Array, at_hz: float) -> float:
    return float(np.interp(np.log(at_hz), np.log(frequency_hz), values))


def limit_spans(frequency_hz: Array, names: Sequence[str]) -> tuple[Span, ...]:
    """Runs of equal names along the frequency axis: ``names`` has one entry per frequency."""
    edges = np.sqrt(frequency_hz[:-1] * frequency_hz[1:])
    spans: list[Span] = []
    start = float(frequency_hz[0])
    for i, name in enumerate(names):
        last = i == len(names) - 1
        if last or names[i + 1] != name:
            end = float(frequency_hz[-1] if last else edges[i])
            spans.append(Span(label=name, low=start, high=end))
            start = end
    return tuple(spans)


def response_plot(
    frequency_hz: Array,
    half_space_db: Array,
    *,
    cabin_db: Array | None = None,
    maximum_db: Array | None = None,
    maximum_cabin_db: Array | None = None,
    limited_by: Sequence[str] = (),
    f3_hz: float | None = None,
    title: str = "Level at 1 m",
) -> Plot:
    """Sound pressure level against frequency, dB re 20 µPa, arrays of shape (n,).

    ``limited_by`` names, for each frequency, what limits ``maximum_db``; it becomes the strip on top.
    """
    series = [Series(label="half space", x=frequency_hz, y=half_space_db, near=0.7)]
    if cabin_db is not None:
        series.append(Series(label="in cabin", x=frequency_hz, y=cabin_db, style="dashed", near=0.2))
    if maximum_db is not None:
        series.append(
            Series(label="maximum, half space", x=frequency_hz, y=maximum_db, style="soft", near=0.8)
        )
    if maximum_cabin_db is not None:
        series.append(
            Series(label="maximum, in cabin", x=frequency_hz, y=maximum_cabin_db, style="dotted", near=0.3)
        )
    marks = []
    if f3_hz is not None and frequency_hz[0] <= f3_hz <= frequency_hz[-1]:
        level = _at(frequency_hz, half_space_db, f3_hz)
        marks.append(Mark(label=f"f3 {show(f3_hz, 'frequency')}", x=f3_hz, y=level))
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=_db_axis("level", "dB re 20 µPa", [s.y for s in series]),
        series=series,
        marks=marks,
        spans=limit_spans(frequency_hz, limited_by) if limited_by else (),
    )


def excursion_plot(
    frequency_hz: Array,
    excursion_m: Array,
    *,
    xmax_m: float | None,
    xdamage_m: float | None = None,
    unfiltered_m: Array | None = None,
    lowest_note_hz: float | None = None,
    title: str = "Cone excursion at full power",
) -> Plot:
    """Peak one-way excursion against frequency, with the driver's limits."""
    series = [
        Series(
            label="with filter" if unfiltered_m is not None else "excursion",
            x=frequency_hz,
            y=excursion_m * 1e3,
        )
    ]
    if unfiltered_m is not None:
        series.append(Series(label="without", x=frequency_hz, y=unfiltered_m * 1e3, style="dashed", near=0.1))
    limits = []
    if xmax_m is not None:
        limits.append(Limit(label=f"xmax {show(xmax_m, 'length')}", value=xmax_m * 1e3))
    if xdamage_m is not None:
        limits.append(Limit(label=f"damage {show(xdamage_m, 'length')}", value=xdamage_m * 1e3))
    if lowest_note_hz is not None:
        note = f"lowest note {show(lowest_note_hz, 'frequency')}"
        limits.append(Limit(label=note, value=lowest_note_hz, axis="x", forbidden="none"))
    top = max([*(float(s.y.max()) for s in series), *(v.value for v in limits if v.axis == "y")])
    ceiling = max((v.value for v in limits if v.axis == "y"), default=top) * 2.0
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=Axis(
            label="excursion, one way, peak",
            unit="mm",
            low=0.0,
            high=nice_range(0, min(top, ceiling) * 1.05)[1],
        ),
        series=series,
        limits=limits,
    )


def port_speed_plot(
    frequency_hz: Array,
    speed_m_per_s: Array,
    *,
    limit_m_per_s: float | None,
    title: str = "Air speed in the port at full power",
) -> Plot:
    """Peak air speed in the port against frequency."""
    limits = []
    if limit_m_per_s is not None:
        limits.append(Limit(label=f"limit {show(limit_m_per_s, 'speed')}", value=limit_m_per_s))
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=Axis(label="air speed, peak", unit="m/s", low=0.0),
        series=[Series(label="port", x=frequency_hz, y=speed_m_per_s, near=0.5)],
        limits=limits,
    )


def impedance_plot(
    frequency_hz: Array,
    impedance_ohm: Array,
    *,
    least_ohm: float | None = None,
    title: str = "Impedance at the terminals",
) -> Plot:
    """Modulus of the complex impedance against frequency, with the amplifier's least load where given."""
    limits = []
    if least_ohm is not None:
        limits.append(
            Limit(label=f"least load {show(least_ohm, 'resistance')}", value=least_ohm, forbidden="below")
        )
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=Axis(label="modulus", unit="Ω", low=0.0),
        series=[Series(label="in the enclosure", x=frequency_hz, y=np.abs(impedance_ohm), near=0.5)],
        limits=limits,
    )


def group_delay_plot(
    frequency_hz: Array, group_delay_s: Array, *, label: str = "enclosure", title: str = "Group delay"
) -> Plot:
    """Group delay against frequency; ``label`` names what delays."""
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=Axis(label="group delay", unit="ms", low=min(0.0, float(np.min(group_delay_s)) * 1e3)),
        series=[Series(label=label, x=frequency_hz, y=group_delay_s * 1e3, near=0.4)],
    )


def filter_plot(
    frequency_hz: Array,
    gain_db: Array,
    *,
    low_db: Array | None = None,
    high_db: Array | None = None,
    corner_hz: float | None = None,
    title: str = "Filter response",
) -> Plot:
    """Filter gain against frequency, with the band that part tolerances allow."""
    bands = []
    curves = [gain_db]
    if low_db is not None and high_db is not None:
        bands.append(Band(label="parts' tolerance", x=frequency_hz, low=low_db, high=high_db))
        curves += [low_db, high_db]
    limits = []
    if corner_hz is not None:
        label = f"corner {show(corner_hz, 'frequency')}"
        limits.append(Limit(label=label, value=corner_hz, axis="x", forbidden="none"))
    return Plot(
        title=title,
        x=_hz(frequency_hz),
        y=_db_axis("gain", "dB", curves, depth=60.0),
        series=[Series(label="real values", x=frequency_hz, y=gain_db, near=0.4)],
        bands=bands,
        limits=limits,
    )


def _battery(battery_v: Array) -> Axis:
    return Axis(label="battery, unloaded", unit="V", low=float(battery_v[0]), high=float(battery_v[-1]))


def _corner_lines(corners: Sequence[tuple[str, float]], low: float, high: float) -> list[Limit]:
    return [
        Limit(label=name, value=value, axis="x", forbidden="none")
        for name, value in corners
        if low < value < high
    ]


def clipping_power_plot(
    battery_v: Array,
    clip_w: Array,
    *,
    target_w: float | None = None,
    corners: Sequence[tuple[str, float]] = (),
    title: str = "Power at the onset of clipping",
) -> Plot:
    """Sine power into the rated load at clipping against battery voltage."""
    x = _battery(battery_v)
    limits = _corner_lines(corners, float(battery_v[0]), float(battery_v[-1]))
    if target_w is not None:
        limits.append(Limit(label=f"target {show(target_w, 'power')}", value=target_w, forbidden="none"))
    return Plot(
        title=title,
        x=x,
        y=Axis(label="power into the load", unit="W", low=0.0),
        series=[Series(label="clipping", x=battery_v, y=clip_w, near=0.6)],
        limits=limits,
    )


def efficiency_plot(
    battery_v: Array,
    efficiency: Array,
    *,
    corners: Sequence[tuple[str, float]] = (),
    title: str = "Efficiency, battery to load, at clipping",
) -> Plot:
    """Load power over battery power against battery voltage."""
    least = 100.0 * float(np.min(efficiency))
    low = max(0.0, nice_range(least - 5.0, 100.0)[0])
    return Plot(
        title=title,
        x=_battery(battery_v),
        y=Axis(label="efficiency", unit="%", low=low, high=100.0),
        series=[Series(label="full sine", x=battery_v, y=100.0 * efficiency, near=0.6)],
        limits=_corner_lines(corners, float(battery_v[0]), float(battery_v[-1])),
    )


def battery_current_plot(
    battery_v: Array,
    battery_a: Array,
    *,
    fuse_a: float | None = None,
    title: str = "Battery current at clipping",
) -> Plot:
    """Mean battery current at clipping against battery voltage, with the fuse."""
    limits = []
    if fuse_a is not None:
        limits.append(Limit(label=f"fuse {show(fuse_a, 'current')}", value=fuse_a))
    return Plot(
        title=title,
        x=_battery(battery_v),
        y=Axis(label="mean current", unit="A", low=0.0),
        series=[Series(label="full sine", x=battery_v, y=battery_a, near=0.5)],
        limits=limits,
    )


def rail_plot(
    battery_v: Array,
    rail_full_v: Array,
    rail_idle_v: Array,
    *,
    limit_v: float | None = None,
    needed_v: float | None = None,
    title: str = "Rail voltage against the battery",
) -> Plot:
    """Voltage of one rail against battery voltage, loaded and idle."""
    limits = []
    if limit_v is not None:
        limits.append(Limit(label=f"stands {show(limit_v, 'voltage')}", value=limit_v))
    if needed_v is not None:
        label = f"needed {show(needed_v, 'voltage')}"
        limits.append(Limit(label=label, value=needed_v, forbidden="none"))
    return Plot(
        title=title,
        x=_battery(battery_v),
        y=Axis(label="one rail", unit="V"),
        series=[
            Series(label="idle", x=battery_v, y=rail_idle_v, style="dashed", near=0.5),
            Series(label="full sine, crest", x=battery_v, y=rail_full_v, near=0.5),
        ],
        limits=limits,
    )


def rail_load_plot(
    load_w: Array,
    rail_v: Array,
    *,
    needed_v: float | None = None,
    title: str = "Rail voltage against load",
) -> Plot:
    """Working rail at the crest against load power, nominal battery."""
    limits = []
    if needed_v is not None:
        label = f"needed {show(needed_v, 'voltage')}"
        limits.append(Limit(label=label, value=needed_v, forbidden="none"))
    return Plot(
        title=title,
        x=Axis(label="sine power into the load", unit="W", low=0.0, high=float(load_w[-1])),
        y=Axis(label="working rail at the crest", unit="V"),
        series=[Series(label="nominal battery", x=load_w, y=rail_v, near=0.5)],
        limits=limits,
    )
