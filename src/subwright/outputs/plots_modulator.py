"""Plots of a class-D modulator: its frequency over the modulation, or carrier and integrator."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.build.modulator_course import ClockedCourse
from subwright.outputs.svg import Axis, Plot, Series

__all__ = ["carrier_plot", "frequency_plot"]

Array = NDArray[np.float64]


def carrier_plot(course: ClockedCourse) -> Plot:
    """Carrier and integrator's share at the comparator, V against s."""
    low = float(min(course.carrier_v.min(), course.integrator_v.min()))
    high = float(max(course.carrier_v.max(), course.integrator_v.max()))
    room = 0.12 * (high - low)
    return Plot(
        title="What the comparator sees: where both cross, the node changes over",
        x=Axis(label="time", unit="µs", low=0.0, high=1e6 * float(course.time_s[-1])),
        y=Axis(label="at the comparator", unit="V", low=low - room, high=high + room),
        series=(
            Series(label="carrier", x=1e6 * course.time_s, y=course.carrier_v, style="soft", near=0.12),
            Series(label="integrator's share", x=1e6 * course.time_s, y=course.integrator_v, near=0.8),
        ),
    )


def frequency_plot(modulation: Array, hertz: Array) -> Plot:
    """Switching frequency of a self-oscillating loop, Hz over its modulation."""
    return Plot(
        title="The loop slows towards clipping",
        x=Axis(label="modulation", unit="%", low=-100.0, high=100.0),
        y=Axis(label="switching frequency", unit="kHz", low=0.0, high=1.15e-3 * float(hertz.max())),
        series=(Series(label="no load", x=100.0 * modulation, y=1e-3 * hertz, near=0.5),),
    )
