"""What the bench page shows: the bring-up's steps with their windows, and a unit's readings beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from subwright.base.quantities import QUANTITIES
from subwright.base.units import show
from subwright.build.bench import Compared, is_over_range
from subwright.build.bringup_records import BringUp, Discharge, Reading, Step
from subwright.build.diagnosis import Diagnosis

__all__ = ["Blank", "Scale", "StepPage", "reading_rows", "step_pages", "suspect_rows", "window_text"]

_SUSPECTS = 5
_SMALLER, _LARGER = (
    2,
    1,
)  # prefixes offered beside the expected one: a fault reads small more often than large


@dataclass(frozen=True, kw_only=True, slots=True)
class Scale:
    """A unit that a reading may be typed in: its label, and what it is worth in the stored unit."""

    label: str
    worth: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Blank:
    """One reading to take, as a page asks for it.

    ``low`` and ``high`` are the window in the stored unit (``high`` None: open above); ``scales`` the units
    to choose from, ``usual`` the label of the one in which the window is printed.
    """

    reading: Reading
    window: str
    expected: str
    scales: tuple[Scale, ...]
    usual: str


@dataclass(frozen=True, kw_only=True, slots=True)
class StepPage:
    """One step with its blanks; ``powered`` from a bench supply or the battery; what to discharge before."""

    step: Step
    blanks: tuple[Blank, ...]
    supply: tuple[str, str] | None
    discharges: tuple[Mapping[str, str], ...]


def window_text(reading: Reading) -> str:
    """The window as printed on the sheet: "62.05 V … 66.74 V", "≥ 1.00 MΩ".

    The ends are printed to four digits and never further apart than they are.
    """
    low = show(reading.low, reading.dimension, 4)
    if reading.high is None:
        return f"\u2265 {low}"
    return f"{low} … {show(reading.high, reading.dimension, 4)}"


def _scales(reading: Reading) -> tuple[tuple[Scale, ...], str]:
    """The units of a reading's ladder, the printed one among them."""
    if reading.dimension == "ratio":
        return (Scale(label="", worth=1.0), Scale(label="%", worth=0.01)), ""
    rungs = QUANTITIES[reading.dimension].ladder
    size = reading.low if reading.high is None else reading.expected or reading.high
    printed = show(size, reading.dimension, 4).rpartition(" ")[2]
    at = next((i for i, rung in enumerate(rungs) if rung.label == printed), 0)
    near = rungs[max(at - _SMALLER, 0) : at + _LARGER + 1]
    return tuple(Scale(label=rung.label, worth=rung.scale) for rung in near), rungs[at].label


def _blank(reading: Reading) -> Blank:
    scales, usual = _scales(reading)
    return Blank(
        reading=reading,
        window=window_text(reading),
        expected=show(reading.expected, reading.dimension, 4),
        scales=scales,
        usual=usual,
    )


def _discharged(row: Discharge) -> Mapping[str, str]:
    return {
        "bank": row.bank,
        "from": show(row.from_v, "voltage"),
        "to": show(row.to_v, "voltage"),
        "resistor": show(row.resistor_ohm, "resistance"),
        "pulse": show(row.pulse_w, "power"),
        "held": show(row.held_s, "time", 2),
        "alone": "" if row.alone_s is None else show(row.alone_s, "time", 2),
    }


def step_pages(procedure: BringUp) -> tuple[StepPage, ...]:
    """Every step in order; what is to be discharged stands at each step after the first powered one."""
    pages = []
    charged = False
    for step in procedure.steps:
        supply = step.supply
        pages.append(
            StepPage(
                step=step,
                blanks=tuple(_blank(reading) for reading in step.readings),
                supply=None
                if supply is None
                else (show(supply.voltage_v, "voltage"), show(supply.limit_a, "current")),
                discharges=tuple(_discharged(row) for row in procedure.discharges) if charged else (),
            )
        )
        charged = charged or supply is not None
    return tuple(pages)


def reading_rows(rows: Sequence[Compared], code: str) -> list[dict[str, object]]:
    """A unit's latest readings for the page: printed value, verdict, when, and whether of this design."""
    return [
        {
            "key": row.reading.key,
            "value": _value(row),
            "verdict": row.verdict,
            "at": row.entry.at,
            "accuracy": f"{100.0 * row.entry.accuracy:g} %",
            "note": row.entry.note,
            "side": _side(row),
            "current": row.entry.code == code,
        }
        for row in rows
    ]


def suspect_rows(found: Diagnosis) -> dict[str, object]:
    """What a unit's wrong readings point at, likeliest first, and what would part the first two."""
    return {
        "wrong": [row.reading.key for row in found.wrong],
        "rows": [
            {
                "what": suspect.fault.what,
                "remedy": suspect.fault.remedy,
                "share": round(suspect.share, 3),
                "leaves": list(suspect.leaves),
                "against": list(suspect.against),
            }
            for suspect in found.suspects[:_SUSPECTS]
        ],
        "next": None
        if found.next_reading is None
        else {"key": found.next_reading.key, "name": found.next_reading.name},
    }


def _value(row: Compared) -> str:
    """The reading as printed; a meter over its range shows more than anything in the window."""
    if is_over_range(row.reading, row.entry.value):
        return "\u221e"
    return show(row.entry.value, row.reading.dimension, 4)


def _side(row: Compared) -> str:
    """On which side of its window a reading lies: "low", "high" or ""."""
    high = inf if row.reading.high is None else row.reading.high
    return "low" if row.entry.value < row.reading.low else "high" if row.entry.value > high else ""
