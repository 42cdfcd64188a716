"""Drive of an output stage: pulses of a fixed duty, pulses that follow a sine, and the sine itself."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.amplifier_values import ClassDValues
from subwright.circuits.netlist import Ramp

__all__ = ["EDGE_S", "GATE_V", "LEAST_LEG_V", "bridge_ramps", "gate_drives", "pulse_edges", "sine_ramp"]

EDGE_S: Final = 1e-10
"""Each edge of a gate drive; no loss is read from it."""
GATE_V: Final = 10.0
LEAST_LEG_V: Final = 3.0
"""Lowest that a discrete leg on a single supply goes to, above ground."""

_SOLVED: Final = 1e-15
_MOST_ROUNDS: Final = 100


def sine_ramp(peak_v: float, frequency_hz: float, *, cycles: float = 1.0, points: int = 240) -> Ramp:
    """A sine of straight lines, with the mean square of the true one.

    Parameters
    ----------
    peak_v : V. frequency_hz : Hz. cycles : how long. points : per cycle.
    """
    step = 2.0 * math.pi / points
    # Chords lie inside the curve: mean square of lines between samples is (2 + cos h)/3 of the sine's.
    peak = peak_v / math.sqrt((2.0 + math.cos(step)) / 3.0)
    count = round(cycles * points)
    return Ramp(
        points=tuple((k / (points * frequency_hz), peak * math.sin(k * step)) for k in range(count + 1))
    )


def bridge_ramps(
    supply_v: float, least_v: float, peak_v: float, frequency_hz: float, *, cycles: int, points: int = 240
) -> tuple[Ramp, Ramp]:
    """Both legs of a bridge with a sine between them, about half the supply while the lower leg has room.

    Parameters
    ----------
    supply_v : V. least_v : lowest that a leg goes to, V; there the other leg takes all that is left.
    peak_v : between the legs, V. frequency_hz : Hz. cycles : how long. points : per cycle.

    Returns
    -------
    (leg A, leg B), V against ground.

    >>> a, b = bridge_ramps(12.0, 3.0, 14.0, 50.0, cycles=1, points=4)
    >>> [(round(x[1], 1), round(y[1], 1)) for x, y in zip(a.points, b.points, strict=True)]
    [(6.0, 6.0), (17.0, 3.0), (6.0, 6.0), (3.0, 17.0), (6.0, 6.0)]
    """
    wanted = [
        (time, peak_v * math.sin(2.0 * math.pi * frequency_hz * time))
        for time in (k / (points * frequency_hz) for k in range(cycles * points + 1))
    ]
    legs: tuple[list[tuple[float, float]], list[tuple[float, float]]] = ([], [])
    for time, volts in wanted:
        low = max(0.5 * (supply_v - abs(volts)), least_v)
        pair = (low + abs(volts), low) if volts >= 0.0 else (low, low + abs(volts))
        for leg, value in zip(legs, pair, strict=True):
            leg.append((time, value))
    return Ramp(points=tuple(legs[0])), Ramp(points=tuple(legs[1]))


def pulse_edges(
    modulation: float, switching_hz: float, periods: int, note_hz: float = 0.0
) -> tuple[tuple[float, float], ...]:
    """Times at which the upper switch goes on and off, naturally sampled by a symmetrical triangle.

    Parameters
    ----------
    modulation : output over the greatest, -1 to 1, steady, or the peak of a sine.
    switching_hz : Hz. periods : how many. note_hz : of the sine, Hz; 0 for steady.

    Returns
    -------
    (on, off) in s of each period, each within it.

    Raises
    ------
    SubwrightError : the modulation leaves no pulse.

    >>> [round(1e6 * t, 3) for t in pulse_edges(0.5, 200e3, 1)[0]]
    [0.625, 4.375]
    """
    if not -1.0 < modulation < 1.0:
        raise SubwrightError(
            message="A pulse must begin and end within its period.",
            quantity="modulation",
            value=f"{modulation:g}",
            limit="between -1 and 1",
        )
    period = 1.0 / switching_hz

    def level(time_s: float) -> float:
        return modulation * (math.sin(2.0 * math.pi * note_hz * time_s) if note_hz > 0.0 else 1.0)

    def crossing(middle_s: float, side: float) -> float:
        time_s = middle_s
        for _ in range(_MOST_ROUNDS):
            # the triangle falls to -1 in the middle of the period and stands at +1 at both ends
            nearer = middle_s + side * 0.25 * period * (1.0 + level(time_s))
            if abs(nearer - time_s) < _SOLVED:
                return nearer
            time_s = nearer
        raise SubwrightError(
            message="The note is too fast for the triangle to cut it once in each slope.",
            quantity="note",
            value=f"{note_hz:g} Hz",
            limit=f"well below {switching_hz:g} Hz",
        )

    middles = [(k + 0.5) * period for k in range(periods)]
    return tuple((crossing(m, -1.0), crossing(m, 1.0)) for m in middles)


def gate_drives(
    values: ClassDValues, modulation: float, periods: int, note_hz: float = 0.0
) -> tuple[Ramp, Ramp]:
    """Gate voltages of the upper and the lower switch of a leg; each turns on by the dead time later.

    A pulse that the dead time swallows is left out: the switch's diode carries the current meanwhile.

    Parameters
    ----------
    values : the stage. modulation, periods, note_hz : as in ``pulse_edges``.

    Raises
    ------
    SubwrightError : the modulation leaves no pulse, or the dead time neither switch one.
    """
    edges = pulse_edges(modulation, values.switching_hz, periods, note_hz)
    dead = values.dead_time_s
    upper = [(on + dead, off) for on, off in edges]
    gaps = [(0.0, edges[0][0]), *((a[1], b[0]) for a, b in pairwise(edges)), (edges[-1][1], math.inf)]
    lower = [(start + (dead if start > 0.0 else 0.0), stop) for start, stop in gaps]
    end_s = periods * values.period_s
    kept = [
        [(start, stop) for start, stop in spans if stop - start > 2.0 * EDGE_S] for spans in (upper, lower)
    ]
    if dead >= 0.5 * values.period_s:
        raise SubwrightError(
            message="Dead time and edges leave no pulse.",
            quantity="dead time",
            value=f"{dead:g} s",
            limit=f"below half of {values.period_s:g} s",
            remedy="Lower the dead time or the switching frequency.",
        )
    return _gate(kept[0], end_s), _gate(kept[1], end_s)


def _gate(spans: list[tuple[float, float]], end_s: float) -> Ramp:
    points: list[tuple[float, float]] = []
    for start, stop in spans:
        if start == 0.0:
            points.append((0.0, GATE_V))
        else:
            points += [(start - 0.5 * EDGE_S, 0.0), (start + 0.5 * EDGE_S, GATE_V)]
        if math.isinf(stop):
            points.append((max(end_s, points[-1][0] + EDGE_S), GATE_V))
        else:
            points += [(stop - 0.5 * EDGE_S, GATE_V), (stop + 0.5 * EDGE_S, 0.0)]
    if not points or points[0][0] > 0.0:
        points.insert(0, (0.0, points[0][1] if points else 0.0))
    if len(points) < 2:
        points.append((end_s, points[-1][1]))
    return Ramp(points=tuple(points))
