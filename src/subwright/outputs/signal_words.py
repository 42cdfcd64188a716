"""What the test points of a signal's way read, in few words: points that rest alike, then sines in order."""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import Final

from subwright.base.units import show
from subwright.build.test_points import ANY_BATTERY
from subwright.circuits.netlist import Circuit, Reading, TestPoint
from subwright.outputs.point_words import reading_words

__all__ = ["guard_lines", "signal_lines"]

_OTHER_BATTERIES: Final = ("lowest battery", "highest battery")  # left to print and tables


def signal_lines(circuit: Circuit, nets: Container[str], knobs: str = "") -> tuple[str, ...]:
    """A line for each state on the nominal battery, or on any.

    Parameters
    ----------
    circuit : with its test points. nets : those to tell of.
    knobs : where the controls stand while a sine plays; "" without any.

    Returns
    -------
    () where no test point is on one of the nets.
    """
    states: dict[str, list[tuple[TestPoint, Reading]]] = {}
    for point in circuit.test_points:
        for reading in point.readings if point.net in nets else ():
            if not reading.at.startswith(_OTHER_BATTERIES):
                states.setdefault(reading.at.partition(", ")[2], []).append((point, reading))
    lines = []
    for state, found in states.items():
        batteries = {reading.at.partition(", ")[0] for _, reading in found} - {ANY_BATTERY}
        at = ", ".join([*sorted(batteries), state])
        still = [pair for pair in found if pair[1].ripple_v == 0.0]
        moving = [pair for pair in found if pair[1].ripple_v > 0.0]
        told = [*_resting(still), *_sines(moving)]
        where = f", {knobs}" if knobs and moving else ""
        lines.append(f"{at[:1].upper()}{at[1:]}{where}: {'; '.join(told)}.")
    return tuple(lines)


def guard_lines(circuit: Circuit) -> tuple[str, ...]:
    """What the loudspeaker's protection reads, a line for each state on the nominal battery.

    Parameters
    ----------
    circuit : with its test points.
    """
    states: dict[str, dict[str, list[str]]] = {}
    for point in circuit.test_points:
        for reading in point.readings:
            if not reading.at.startswith(_OTHER_BATTERIES):
                at = reading.at
                told = reading_words(reading) if reading.ripple_v == 0.0 else reading.waveform
                states.setdefault(at, {}).setdefault(told, []).append(point.designator)
    lines = []
    for at in sorted(states, key=lambda at: not at.startswith("first ")):
        told_once = "; ".join(f"{', '.join(names)} {told}" for told, names in states[at].items())
        lines.append(f"{at[:1].upper()}{at[1:]}: {told_once}.")
    return tuple(lines)


def _resting(found: Sequence[tuple[TestPoint, Reading]]) -> list[str]:
    """Points on one voltage, or on it and its opposite, with the widest of their tolerances."""
    by_mean: dict[str, list[tuple[TestPoint, Reading]]] = {}
    for point, reading in found:
        by_mean.setdefault(show(abs(reading.dc_v), "voltage"), []).append((point, reading))
    told = []
    for mean, pairs in by_mean.items():
        negative = [reading.dc_v < 0.0 for _, reading in pairs]
        sign = "\u2212" if all(negative) else "±" if any(negative) else ""
        within = max(reading.within_v for _, reading in pairs)
        off = f" {'within' if any(negative) else '±'} {_short(within)}" if within > 0.0 else ""
        told.append(f"{_names([p for p, _ in pairs])} {sign}{mean}{off}")
    return told


def _short(volts: float) -> str:
    """Two figures are enough for a tolerance.

    >>> _short(0.0601), _short(1.49)
    ('60 mV', '1.5 V')
    """
    unit, value = ("mV", 1e3 * volts) if volts < 1.0 else ("V", volts)
    return f"{float(f'{value:.2g}'):g} {unit}"


def _sines(found: Sequence[tuple[TestPoint, Reading]]) -> list[str]:
    """Peaks with their unit once, in the order of the points."""
    if not found:
        return []
    peaks = [0.5 * reading.ripple_v for _, reading in found]
    unit, scale = ("mV", 1e3) if max(peaks) < 1.0 else ("V", 1.0)
    told = [f"{scale * peak:.3g}" for peak in peaks]
    each = " each" if len(told) > 1 else ""
    figures = f"{told[0]} {unit} peak{each}" if len(set(told)) == 1 else f"{', '.join(told)} {unit} peak"
    return [f"{_names([point for point, _ in found])} sine of {figures}"]


def _names(points: Sequence[TestPoint]) -> str:
    """Designators in short: "TP301 to TP306, TP308"."""
    runs: list[list[str]] = []
    last = 0
    for point in points:
        number = int(point.designator.removeprefix("TP"))
        if runs and number == last + 1:
            runs[-1].append(point.designator)
        else:
            runs.append([point.designator])
        last = number
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)
