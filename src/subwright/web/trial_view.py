"""What a simulation run shows: a table of both routes, and the courses drawn over one another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from subwright import __version__
from subwright.build.experiments.record import Outcome
from subwright.outputs.sheet_checked import difference_text, limit_text, value_text
from subwright.outputs.svg import Axis, Plot, Series
from subwright.outputs.verified import SavedDesign
from subwright.service import Ran

__all__ = ["CaseRows", "Earlier", "case_rows", "courses", "earlier", "standings"]

Array = NDArray[np.float64]

_BINS = 700  # pixels of a plot; of each bin the least and the greatest value are kept
_CLOSED = "closed form"
_TIMES = ((1.0, 1.0, "s"), (1e-3, 1e-3, "ms"), (0.0, 1e-6, "µs"))


@dataclass(frozen=True, kw_only=True, slots=True)
class CaseRows:
    """One case on one engine in printed texts; ``error`` where it gave no answer.

    ``rows`` hold quantity, closed form, simulated, difference, limit, and whether it holds.
    """

    case: str
    engine: str
    seconds: str
    rows: tuple[tuple[str, str, str, str, str, bool], ...]
    error: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Earlier:
    """Results that are kept of another version: its code and maker, when, and how many of them hold."""

    code: str
    made_with: str
    at: str
    held: int
    total: int


def case_rows(ran: Sequence[Ran]) -> Mapping[str, tuple[CaseRows, ...]]:
    """A run's cases by experiment, in order."""
    found: dict[str, list[CaseRows]] = {}
    for one in ran:
        checks = () if one.outcome is None else one.outcome.checks
        found.setdefault(one.experiment, []).append(
            CaseRows(
                case=one.case,
                engine=one.engine,
                seconds=f"{one.seconds:.1f} s",
                rows=tuple(
                    (
                        check.quantity,
                        value_text(check.closed, check.unit),
                        value_text(check.simulated, check.unit),
                        difference_text(check),
                        limit_text(check),
                        check.holds,
                    )
                    for check in checks
                ),
                error="" if one.error is None else str(one.error),
            )
        )
    return {name: tuple(rows) for name, rows in found.items()}


def _thinned(x: Array, y: Array) -> tuple[Array, Array]:
    """No more points than a plot can show, without losing a peak."""
    if x.size <= 4 * _BINS:
        return x, y
    edges = np.linspace(0, x.size, _BINS + 1).astype(int)
    keep: list[int] = []
    for start, end in pairwise(edges.tolist()):
        part = y[start:end]
        keep += sorted({start + int(np.argmin(part)), start + int(np.argmax(part))})
    picked = np.array(keep)
    return x[picked], y[picked]


def courses(outcome: Outcome, title: str) -> tuple[Plot, ...]:
    """A case's courses, those of one unit on one plot; the closed form's dotted."""
    if not outcome.traces or outcome.axis.size < 2:
        return ()
    if outcome.axis_unit == "Hz":
        axis = np.asarray(outcome.axis, dtype=np.float64)
        x_axis = Axis(label="frequency", unit="Hz", scale="log" if axis[0] > 0.0 else "linear")
    else:
        span = float(outcome.axis[-1] - outcome.axis[0])
        _, scale, unit = next(row for row in _TIMES if span >= row[0])
        axis = np.asarray(outcome.axis, dtype=np.float64) / scale
        x_axis = Axis(label="time", unit=unit)
    by_unit: dict[str, list[tuple[str, Array]]] = {}
    for label, values in outcome.traces.items():
        name, comma, unit = label.rpartition(", ")
        by_unit.setdefault(unit if comma else "", []).append((name if comma else label, values))
    plots = []
    for unit, rows in by_unit.items():
        series = []
        for number, (name, values) in enumerate(rows):
            x, y = _thinned(axis, np.asarray(values, dtype=np.float64))
            style = "dotted" if _CLOSED in name else "main" if number == 0 else "soft"
            series.append(Series(label=name, x=x, y=y, style=style, near=0.85 - 0.15 * (number % 5)))  # type: ignore[arg-type]
        plots.append(
            Plot(title=title, x=x_axis, y=Axis(label=_quantity(rows), unit=unit), series=tuple(series))
        )
    return tuple(plots)


def _quantity(rows: Sequence[tuple[str, Array]]) -> str:
    return rows[0][0] if len(rows) == 1 else "both routes" if len(rows) == 2 else "courses"


def standings(designs: Sequence[SavedDesign], code: str) -> Mapping[str, str]:
    """Experiment → "holds", "breaks" or "other version", from what is kept beside the build file."""
    found: dict[str, str] = {}
    for design in designs:
        here = (design.code, design.made_with) == (code, __version__)
        for result in design.results:
            if not here:
                found.setdefault(result.experiment, "other version")
            elif found.get(result.experiment) != "breaks":
                found[result.experiment] = "holds" if all(c.holds for c in result.checks) else "breaks"
    return found


def earlier(designs: Sequence[SavedDesign], code: str) -> tuple[Earlier, ...]:
    """What is kept of other versions, the latest first."""
    rows = []
    for design in designs:
        if (design.code, design.made_with) == (code, __version__):
            continue
        checks = [check for result in design.results for check in result.checks]
        rows.append(
            Earlier(
                code=design.code,
                made_with=design.made_with,
                at=max((result.at for result in design.results), default=""),
                held=sum(check.holds for check in checks),
                total=len(checks),
            )
        )
    return tuple(reversed(rows))
