"""How far a unit is through its first power-up: each step with its readings, and which step comes next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from subwright.build.bench import Compared, Entry, compare
from subwright.build.bringup_records import BringUp, Reading, Step

__all__ = ["Standing", "StepState", "next_step", "step_states"]

Standing = Literal["passed", "failed", "begun", "not begun", "nothing to read"]


@dataclass(frozen=True, kw_only=True, slots=True)
class StepState:
    """One step of one unit.

    Attributes
    ----------
    step : of the procedure. rows : its readings that were taken, beside their windows.
    missing : readings not taken yet.
    standing : passed, all taken and none fails; failed, one fails; begun or not begun, some or all missing.
    """

    step: Step
    rows: tuple[Compared, ...]
    missing: tuple[Reading, ...]
    standing: Standing


def step_states(procedure: BringUp, entries: Sequence[Entry], unit: str) -> tuple[StepState, ...]:
    """Every step of a unit, in order."""
    taken = {row.reading.key: row for row in compare(procedure, entries, unit)}
    return tuple(_state(step, taken) for step in procedure.steps)


def _state(step: Step, taken: dict[str, Compared]) -> StepState:
    rows = tuple(taken[reading.key] for reading in step.readings if reading.key in taken)
    missing = tuple(reading for reading in step.readings if reading.key not in taken)
    standing: Standing
    if not step.readings:
        standing = "nothing to read"
    elif any(row.verdict == "fails" for row in rows):
        standing = "failed"
    elif missing:
        standing = "begun" if rows else "not begun"
    else:
        standing = "passed"
    return StepState(step=step, rows=rows, missing=missing, standing=standing)


def next_step(states: Sequence[StepState]) -> StepState | None:
    """The first step that failed, else the first that lacks readings; None when the unit is through."""
    order = sorted(states, key=lambda state: state.standing != "failed")
    return next((state for state in order if state.standing not in ("passed", "nothing to read")), None)
