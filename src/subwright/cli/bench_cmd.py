"""What the ``bench`` commands do and print."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
    from subwright.build.bench import Compared, Entry, UnitsApart
    from subwright.build.bench_fit import Advice, Fit
    from subwright.build.bringup_records import BringUp, Reading

__all__ = ["add", "compare", "fit", "load", "show"]

_MARK = {"passes": "ok", "on the edge": "on the edge", "fails": "FAILS"}


def _solve(file: Path) -> service.Solved:
    with progress("designing") as report:
        return service.solve(file, report)


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or not value.strip():
        raise SubwrightError(
            message=f"{text!r} isn't a reading",
            quantity="reading",
            value=text,
            remedy='write its name, an equals sign and the value: "rail-positive=63.9 V"',
        )
    return key.strip(), value.strip()


def add(file: Path, readings: Sequence[str], *, unit: str, accuracy: str, note: str) -> Answer:
    """Enter readings as typed."""
    made = service.bench_add(
        file, dict(_pair(text) for text in readings), unit=unit, accuracy=accuracy, note=note
    )
    return _entered(file, made, unit)


def load(file: Path, table: Path, *, unit: str, accuracy: str) -> Answer:
    """Enter readings from a table."""
    return _entered(file, service.bench_add(file, table, unit=unit, accuracy=accuracy), unit)


def _entered(file: Path, made: Sequence[Entry], unit: str) -> Answer:
    rows = service.bench_rows(_solve(file), made, unit.strip())
    count = f"{len(made)} reading{'s' if len(made) != 1 else ''} entered for unit {clean(unit)}."
    return Answer(
        command="bench",
        data=lambda: {"entered": made, "judged": rows},
        text=lambda: Group(*(_judged(row) for row in rows)),
        notes=(count,),
    )


def _window(reading: Reading) -> str:
    low = shown(reading.low, reading.dimension, 4)
    return (
        f"{low} or more" if reading.high is None else f"{low} to {shown(reading.high, reading.dimension, 4)}"
    )


def _judged(row: Compared) -> Text:
    value = shown(row.entry.value, row.reading.dimension, 4)
    line = Text(f"  {row.reading.key:<28} {value:>12}  ")
    line.append(f"{_MARK[row.verdict]:<12}", style="bold" if row.verdict != "passes" else "dim")
    return line.append(f"window {_window(row.reading)}", style="dim")


def show(file: Path, *, unit: str, history: bool) -> Answer:
    """Show the log beside the windows."""
    from subwright.build.bench import units_of

    solved = _solve(file)
    entries = service.bench_log(file)
    if history:
        chosen = [entry for entry in entries if unit in ("", entry.unit)]
        procedure = service.bring_up(solved)
        return Answer(
            command="bench",
            data=lambda: {"entries": chosen},
            text=lambda: Group(*(_dated(entry, procedure) for entry in chosen)),
        )
    units = (unit,) if unit else units_of(entries)
    if not units:
        readings = service.bring_up(solved).readings
        return Answer(
            command="bench",
            data=lambda: {"readings": readings},
            text=lambda: Group(
                Text("Nothing entered yet. What may be read, and its window:", style="bold"),
                *(Text(f"  {reading.key:<28} {_window(reading)}") for reading in readings),
            ),
        )
    found = {one: service.bench_rows(solved, entries, one) for one in units}

    def lines() -> Iterator[Text]:
        for one, rows in found.items():
            yield Text(f"Unit {clean(one)}", style="bold")
            yield from (_judged(row) for row in rows)

    return Answer(command="bench", data=lambda: {"units": found}, text=lambda: Group(*lines()))


def _dated(entry: Entry, procedure: BringUp) -> Text:
    reading = procedure.reading(entry.key)
    value = shown(entry.value, reading.dimension, 4) if reading else f"{entry.value:.6g}"
    note = f"  {entry.note}" if entry.note else ""
    return Text(clean(f"  {entry.at}  unit {entry.unit}  {entry.key:<28} {value:>12}  {entry.code}{note}"))


def fit(file: Path, *, unit: str) -> Answer:
    """Refit, and say what to change."""
    solved = _solve(file)
    found = service.bench_fit(solved, service.bench_log(file), unit)

    def data() -> Mapping[str, object]:
        return {"fit": found, "known": [q for q in found.quantities if q.known]}

    return Answer(command="bench", data=data, text=lambda: Group(*_fit_lines(found)))


def _degree(value: float, unit: str) -> str:
    return shown(value, "voltage" if unit == "V" else "temperature", 4)


def _fit_lines(found: Fit) -> Iterator[Text]:
    yield Text(f"Unit {clean(found.unit)}, from {len(found.used)} readings", style="bold")
    if found.primary_turns:
        yield Text(f"  turns, half windings: {found.primary_turns} : {found.secondary_turns}")
    for quantity in found.quantities:
        if not quantity.known:
            continue
        dimension = quantity.unknown.dimension
        value, designed = (shown(v, dimension, 4) for v in (quantity.value, quantity.unknown.designed))
        spread = shown(quantity.uncertainty, dimension, 2)
        yield Text(f"  {quantity.unknown.name:<38} {value:>12} ±{spread:<10} designed {designed}")
    yield Text("Where it trips", style="bold")
    for trip in found.trips:
        spread = shown(trip.uncertainty, "voltage" if trip.unit == "V" else "temperature difference", 2)
        wanted = _degree(trip.target, trip.unit)
        yield Text(f"  {trip.name:<24} {_degree(trip.value, trip.unit):>10} ±{spread:<8} wanted {wanted}")
    yield Text("What to change", style="bold")
    for row in found.advice:
        yield Text(f"  {_advice(row)}")
    if found.misfit > 2.0:
        key, size = found.worst
        yield Text(
            f"  The readings don't agree with one another: {key} is {abs(size):.1f} deviations off. Read it "
            "again before you change anything.",
            style="bold",
        )


def _advice(row: Advice) -> str:
    before, after = _degree(row.before, row.unit), _degree(row.after, row.unit)
    window = f"{_degree(row.low, row.unit)} to {_degree(row.high, row.unit)}"
    if row.how == "leave" or row.add_ohm is None:
        return f"{row.protection}: leave it at {before}; window {window}."
    ohm = shown(row.add_ohm, "resistance")
    if row.how == "trimmer":
        return f"{row.protection}: turn the trimmer to {ohm}: trip {before} → {after}, window {window}."
    return (
        f"{row.protection}: {ohm} in {row.how} with the {row.role}: trip {before} → {after}, window {window}."
    )


def compare(file: Path, first: str, second: str) -> Answer:
    """Two units side by side."""
    rows = service.bench_units_apart(_solve(file), service.bench_log(file), first, second)
    if not rows:
        raise SubwrightError(
            message=f"units {first} and {second} have no reading in common",
            remedy="see what there is with: subwright bench show FILE --history",
        )
    return Answer(
        command="bench", data=lambda: {"apart": rows}, text=lambda: Group(*(_apart(row) for row in rows))
    )


def _apart(row: UnitsApart) -> Text:
    one, other = (shown(e.value, row.reading.dimension, 4) for e in (row.first, row.second))
    words = "alike" if row.apart <= 1.0 else f"{row.apart:.1f} meter errors apart"
    return Text(f"  {row.reading.key:<28} {one:>12} {other:>12}  {words}")
