"""``subwright bench``: readings of built units, entered, judged and learned from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from subwright.cli.answer import Answer, Session

__all__ = ["bench_app"]

bench_app = typer.Typer(
    help="Enter what the bench measured, see it beside its windows, and learn what to change.",
    no_args_is_help=True,
)


def _note_json(context: typer.Context, value: bool) -> bool:
    if value and isinstance(context.obj, Session):
        context.obj.as_json = True
    return value


AsJson = Annotated[
    bool, typer.Option("--json", callback=_note_json, help="Print the result as JSON, for programmes.")
]
BuildPath = Annotated[Path, typer.Argument(metavar="FILE", help="The build file, *.build.toml.")]
Unit = Annotated[str, typer.Option(help="Number of the unit, as written on it.")]
Accuracy = Annotated[str, typer.Option(help='The meter\'s limit of error, of the reading: "0.5 %".')]


@bench_app.command()
def add(
    file: BuildPath,
    readings: Annotated[
        list[str], typer.Argument(metavar="KEY=VALUE...", help='"rail-positive=63.9 V"; names: bench show.')
    ],
    unit: Unit = "1",
    accuracy: Accuracy = "",
    note: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
    as_json: AsJson = False,
) -> Answer:
    """Enter readings of a unit; each is judged at once. Nothing in the log is ever overwritten."""
    from subwright.cli import bench_cmd

    return bench_cmd.add(file, readings, unit=unit, accuracy=accuracy, note=note)


@bench_app.command()
def load(
    file: BuildPath,
    table: Annotated[Path, typer.Argument(metavar="CSV", help="Columns key, value, accuracy, note.")],
    unit: Unit = "1",
    accuracy: Accuracy = "",
    as_json: AsJson = False,
) -> Answer:
    """Enter readings from a CSV file, all of them or none."""
    from subwright.cli import bench_cmd

    return bench_cmd.load(file, table, unit=unit, accuracy=accuracy)


@bench_app.command("show")
def show_(
    file: BuildPath,
    unit: Annotated[str, typer.Option(help="Only this unit; without it every unit, or what to read.")] = "",
    history: Annotated[bool, typer.Option(help="Every entry with its date, also those read anew.")] = False,
    as_json: AsJson = False,
) -> Answer:
    """Show readings beside their windows; with an empty log, the names of what may be read."""
    from subwright.cli import bench_cmd

    return bench_cmd.show(file, unit=unit, history=history)


@bench_app.command("next")
def next_(file: BuildPath, unit: Unit = "1", as_json: AsJson = False) -> Answer:
    """Say how far a unit's bring-up is, and what the step it stands at asks for."""
    from subwright.cli import bench_tell

    return bench_tell.next_step(file, unit=unit)


@bench_app.command()
def tell(file: BuildPath, unit: Unit = "1", as_json: AsJson = False) -> Answer:
    """Say what a unit's wrong readings point at, likeliest first, and what to read next."""
    from subwright.cli import bench_tell

    return bench_tell.tell(file, unit=unit)


@bench_app.command()
def fit(file: BuildPath, unit: Unit = "1", as_json: AsJson = False) -> Answer:
    """Refit the design to a unit's readings, and say which resistor moves its trips back."""
    from subwright.cli import bench_cmd

    return bench_cmd.fit(file, unit=unit)


@bench_app.command()
def compare(
    file: BuildPath,
    first: Annotated[str, typer.Argument(metavar="UNIT", help="One unit.")],
    second: Annotated[str, typer.Argument(metavar="UNIT", help="The other.")],
    as_json: AsJson = False,
) -> Answer:
    """Put two units of the same design side by side."""
    from subwright.cli import bench_cmd

    return bench_cmd.compare(file, first, second)
