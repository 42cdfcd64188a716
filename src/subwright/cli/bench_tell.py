"""What ``bench next`` and ``bench tell`` print: how far a unit is, and what its wrong readings point at."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import show as shown
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress

if TYPE_CHECKING:
    from subwright.build.bench import Entry
    from subwright.build.bench_progress import StepState
    from subwright.build.bringup_records import Reading
    from subwright.build.diagnosis import Diagnosis

__all__ = ["next_step", "tell"]

_LEVEL = {
    "gone": "next to nothing",
    "low": "low",
    "in": "in its window",
    "high": "high",
    "many": "many times too high",
}


def _open(file: Path) -> tuple[service.Solved, tuple[Entry, ...]]:
    with progress("designing") as report:
        solved = service.solve(file, report)
    return solved, service.bench_log(file)


def _window(reading: Reading) -> str:
    low = shown(reading.low, reading.dimension, 4)
    if reading.high is None:
        return f"{low} or more"
    return f"{low} to {shown(reading.high, reading.dimension, 4)}"


def next_step(file: Path, *, unit: str) -> Answer:
    """The step at which a unit stands."""
    solved, entries = _open(file)
    states = service.bench_steps(solved, entries, unit)
    here = service.bench_next(solved, entries, unit)
    return Answer(
        command="bench",
        data=lambda: {"unit": unit, "next": here, "steps": [(s.step.key, s.standing) for s in states]},
        text=lambda: Group(*_next_lines(unit, states, here)),
    )


def _next_lines(unit: str, states: tuple[StepState, ...], here: StepState | None) -> Iterator[Text]:
    yield Text(f"Unit {clean(unit)}", style="bold")
    for state in states:
        style = "bold" if state is here or state.standing == "failed" else "dim"
        yield Text(f"  {state.step.number:>2}. {state.step.title:<58} {state.standing}", style=style)
    if here is None:
        yield Text("Every step passed.", style="bold")
        return
    step = here.step
    yield Text(f"\nStep {step.number}: {step.title}", style="bold")
    for name, words in (
        ("fitted", "; ".join(step.fitted)),
        ("not yet", "; ".join(step.absent)),
        ("links", step.links),
        ("load", step.load),
    ):
        if words:
            yield Text(f"  {name}: {words}")
    if step.supply is not None:
        volts, amps = shown(step.supply.voltage_v, "voltage"), shown(step.supply.limit_a, "current")
        yield Text(f"  supply: {volts}, limit {amps}")
    for number, action in enumerate(step.actions, 1):
        yield Text(f"  {number}. {action}")
    for row in here.rows:
        if row.verdict != "passes":
            value = shown(row.entry.value, row.reading.dimension, 4)
            words = f"  {row.reading.key}: {value}, {row.verdict}, window {_window(row.reading)}"
            yield Text(words, style="bold")
    for reading in here.missing:
        yield Text(f"  read {reading.key}: {_window(reading)}, {reading.where}")
    for stop in step.stops:
        yield Text(f"  switch off at once if: {stop}", style="bold")
    if here.standing == "failed":
        yield Text(f"  Why it may be: subwright bench tell FILE --unit {clean(unit)}")


def tell(file: Path, *, unit: str) -> Answer:
    """What a unit's wrong readings point at."""
    solved, entries = _open(file)
    if not any(entry.unit == unit for entry in entries):
        raise SubwrightError(
            message=f"unit {unit} has no readings yet",
            quantity="unit",
            value=unit,
            remedy="enter some first: subwright bench add FILE KEY=VALUE --unit NUMBER",
        )
    found = service.bench_diagnosis(solved, entries, unit)
    return Answer(command="bench", data=lambda: {"diagnosis": found}, text=lambda: Group(*_tell_lines(found)))


def _tell_lines(found: Diagnosis) -> Iterator[Text]:
    yield Text(f"Unit {clean(found.unit)}", style="bold")
    if not found.wrong:
        yield Text("  Every reading taken lies in its window.")
        return
    for row in found.wrong:
        value = shown(row.value, row.reading.dimension, 4)
        yield Text(f"  {row.reading.key:<28} {value:>12}  {_LEVEL[row.level]}, window {_window(row.reading)}")
    if not found.suspects:
        yield Text("  No single fault of the bring-up explains this: read them again, with another meter.")
        return
    yield Text("It points at", style="bold")
    for number, suspect in enumerate(found.suspects, 1):
        share = f"{100.0 * suspect.share:.0f} %"
        yield Text(f"  {number}. {share:>5}  {suspect.fault.what}", style="bold" if number == 1 else "")
        yield Text(f"            then: {suspect.fault.remedy}")
        if suspect.leaves:
            yield Text(f"            leaves unexplained: {', '.join(suspect.leaves)}", style="dim")
        if suspect.against:
            yield Text(f"            against it: {', '.join(suspect.against)} in order", style="dim")
    if found.next_reading is not None:
        reading = found.next_reading
        yield Text(f"To part the first two, read {reading.key}: {reading.where}.", style="bold")
    yield Text(
        "Shares take every fault as equally common; they are a guide where to look first.", style="dim"
    )
