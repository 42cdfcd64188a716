"""The bench log as records: readings of numbered units beside their windows, and units beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.build.bringup_records import BringUp, Reading

__all__ = [
    "Compared",
    "Entry",
    "UnitsApart",
    "check_value",
    "compare",
    "is_over_range",
    "latest",
    "over_range",
    "units_apart",
    "units_of",
]

Verdict = Literal["passes", "on the edge", "fails"]
_OVER = 500.0  # times the window's size stands for "over range"
_ABSURD = 1e3  # times the window's size: a slip of the prefix, not a reading


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One reading as entered; never changed afterwards.

    Attributes
    ----------
    unit : number of the unit, as written on it. at : date and time, ISO 8601. key : of the reading.
    value : in the reading's SI unit (°C for temperatures). accuracy : of the meter, fraction of the reading.
    code : of the design it was measured against. note : whatever the bench wants to say.
    """

    unit: str
    at: str
    key: str
    value: float
    accuracy: float
    code: str
    note: str = ""

    @property
    def uncertain(self) -> float:
        """How far the meter may be off, in the reading's unit."""
        return abs(self.value) * self.accuracy


@dataclass(frozen=True, kw_only=True, slots=True)
class Compared:
    """A reading beside its window.

    Attributes
    ----------
    passes: inside whatever the meter's error; fails: outside whatever it is; on the edge: a better meter
    would decide. deviation : from the expected value, fraction; None where nothing is expected or zero is.
    """

    reading: Reading
    entry: Entry
    verdict: Verdict
    deviation: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class UnitsApart:
    """One reading of two units; ``apart`` in meters' errors: above 1 the units differ."""

    reading: Reading
    first: Entry
    second: Entry
    apart: float


def check_value(reading: Reading, value: float, accuracy: float) -> None:
    """Refuse what can't be a reading.

    Raises
    ------
    RangeError : not finite, an accuracy outside 0.001 % to 50 %, or a thousand times beyond the window.
    """
    if not np.isfinite(value):
        raise RangeError(
            message="a reading must be a finite number",
            quantity=reading.key,
            value=str(value),
            remedy="leave it out if it could not be measured",
        )
    if not 1e-5 <= accuracy <= 0.5:
        raise RangeError(
            message="the meter's accuracy is outside what meters have",
            quantity="accuracy",
            value=f"{100 * accuracy:g} %",
            limit="0.001 % to 50 % of the reading",
            remedy="look it up on the meter's sheet; 0.5 % is common for direct voltage",
        )
    top = reading.high if reading.high is not None else max(reading.expected, reading.low) * 1e6
    size = max(abs(top), abs(reading.low), abs(reading.expected))
    if abs(value) > _ABSURD * size:
        raise RangeError(
            message="this reading is a thousand times beyond its window",
            quantity=reading.key,
            value=show(value, reading.dimension),
            limit=f"{show(reading.low, reading.dimension)} to {show(top, reading.dimension)}",
            remedy="check the prefix: m is a thousandth, M a million",
        )


def over_range(reading: Reading) -> float:
    """What stands in the log for a meter that shows "open" or "over range", in the reading's unit."""
    return _OVER * max(abs(reading.expected), abs(reading.low), abs(reading.high or 0.0))


def is_over_range(reading: Reading, value: float) -> bool:
    """Whether a logged value says that the meter was over its range."""
    return value >= 0.99 * over_range(reading)


def latest(entries: Iterable[Entry], unit: str) -> Mapping[str, Entry]:
    """A unit's latest entry for each key; earlier ones stay in the log."""
    found: dict[str, Entry] = {}
    for entry in entries:
        if entry.unit == unit:
            found[entry.key] = entry
    return found


def units_of(entries: Iterable[Entry]) -> tuple[str, ...]:
    """The units in the log, in the order of their first reading."""
    return tuple(dict.fromkeys(entry.unit for entry in entries))


def _verdict(reading: Reading, entry: Entry) -> Verdict:
    low, high = reading.low, np.inf if reading.high is None else reading.high
    if low + entry.uncertain <= entry.value <= high - entry.uncertain:
        return "passes"
    if entry.value + entry.uncertain < low or entry.value - entry.uncertain > high:
        return "fails"
    return "on the edge"


def compare(procedure: BringUp, entries: Sequence[Entry], unit: str) -> tuple[Compared, ...]:
    """A unit's latest readings beside their windows, in the order of the procedure."""
    found = latest(entries, unit)
    rows = []
    for reading in procedure.readings:
        entry = found.get(reading.key)
        if entry is None:
            continue
        usable = reading.high is not None and reading.expected != 0.0
        rows.append(
            Compared(
                reading=reading,
                entry=entry,
                verdict=_verdict(reading, entry),
                deviation=entry.value / reading.expected - 1.0 if usable else None,
            )
        )
    return tuple(rows)


def units_apart(
    procedure: BringUp, entries: Sequence[Entry], first: str, second: str
) -> tuple[UnitsApart, ...]:
    """Readings that both units have, side by side."""
    one, other = latest(entries, first), latest(entries, second)
    rows = []
    for reading in procedure.readings:
        if reading.key in one and reading.key in other:
            a, b = one[reading.key], other[reading.key]
            error = float(np.hypot(a.uncertain, b.uncertain))
            gap = abs(a.value - b.value)
            apart = gap / error if error > 0.0 else (0.0 if gap == 0.0 else np.inf)
            rows.append(UnitsApart(reading=reading, first=a, second=b, apart=float(min(apart, 1e6))))
    return tuple(rows)
