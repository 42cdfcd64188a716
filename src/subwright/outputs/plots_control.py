"""Plots of the control circuits: a bass hit against the trip."""

from __future__ import annotations

import numpy as np

from subwright.base.units import show
from subwright.outputs.svg import Axis, Limit, Plot, Series
from subwright.stages.protection_records import BurstTrace

__all__ = ["burst_plot"]


def burst_plot(trace: BurstTrace, *, trip_v: float, release_v: float) -> Plot:
    """Battery terminal and what the comparator sees of it, V against s, with trip and release."""
    low = min(float(np.min(trace.terminal_v)), trip_v)
    high = max(float(np.max(trace.terminal_v)), release_v)
    room = 0.12 * (high - low)
    times = "once" if trace.trips == 1 else f"{trace.trips} times"
    return Plot(
        title=f"A bass hit that only just trips: it trips {times}",
        x=Axis(label="time", unit="s", low=0.0, high=float(trace.time_s[-1])),
        y=Axis(label="battery", unit="V", low=low - room, high=high + room),
        series=(
            Series(label="at the terminals", x=trace.time_s, y=trace.terminal_v, style="soft", near=0.1),
            Series(label="behind the sense filter", x=trace.time_s, y=trace.sensed_v, near=0.9),
        ),
        limits=(
            Limit(label=f"trip {show(trip_v, 'voltage')}", value=trip_v, forbidden="none"),
            Limit(label=f"release {show(release_v, 'voltage')}", value=release_v, forbidden="none"),
        ),
    )
