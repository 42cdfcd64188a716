"""``subwright verify``: a design's closed forms set beside the simulation of its own circuits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import CLEAN, COULD_NOT_RUN, FINDINGS_AT_STOP, Answer
from subwright.cli.talk import clean, progress

if TYPE_CHECKING:
    from subwright.build.experiments.record import Check
    from subwright.service.verifying import EngineChoice

__all__ = ["listing", "verify"]

_LEAST_TIMEOUT_S: Final = 0.1


def _engine(word: str) -> EngineChoice:
    for known in ("", "ngspice", "embedded", "both"):
        if word == known:
            return known
    raise SubwrightError(
        message="There is no such engine.", quantity="--engine", value=word, limit="ngspice, embedded or both"
    )


def _patience(text: str) -> float:
    from subwright.base.units import parse

    seconds = parse(text, "time")
    if not seconds >= _LEAST_TIMEOUT_S:
        raise SubwrightError(
            message="That leaves no simulation the time to finish.",
            quantity="--timeout",
            value=text,
            limit="0.1 s or more",
        )
    return seconds


def listing(file: Path) -> Answer:
    """List the experiments that a build can undergo."""
    with progress("designing") as report:
        solved = service.solve(file, report)
    offered = service.experiments(solved)
    missing = service.engines_here()

    def lines() -> Iterator[Text]:
        for one in offered:
            yield Text(f"{one.name}  ", style="bold").append(clean(one.title), style="not bold")
            cases = ", ".join(name for name in one.cases if name)
            with_cases = f" Cases: {cases}." if cases else ""
            engines = "" if one.embedded else " ngspice only."
            yield Text(f"  {one.about}{with_cases}{engines}", style="dim")
        for name, why in missing.items():
            yield Text(f"engine {name}: {why or 'ready'}")

    return Answer(
        command="verify",
        data=lambda: {"experiments": offered, "engines": missing},
        text=lambda: Group(*lines()),
    )


def verify(file: Path, names: Sequence[str], engine: str, timeout: str) -> Answer:
    """Run a build's experiments and set both routes side by side."""
    chosen, timeout_s = _engine(engine), _patience(timeout)
    with progress("designing") as report:
        solved = service.solve(file, report)
    with progress("simulating") as report:
        found = service.verify(
            solved, names=tuple(names), engine=chosen, timeout_s=timeout_s, progress=report
        )
    code = COULD_NOT_RUN if found.failed else FINDINGS_AT_STOP if found.broken else CLEAN
    return Answer(
        command="verify",
        data=lambda: _data(found),
        text=lambda: Group(*_tables(found), _count(found)),
        code=code,
        notes=tuple(_notes(found, file)),
    )


def _data(found: service.Verification) -> Mapping[str, object]:
    return {
        "engines": found.engines,
        "rows": found.rows,
        "failed": [
            {"experiment": one.experiment, "case": one.case, "engine": one.engine, "error": str(one.error)}
            for one in found.failed
        ],
        "left_out": [{"experiment": name, "engine": engine} for name, engine in found.left_out],
    }


def _tables(found: service.Verification) -> Iterator[RenderableType]:
    for name, ran in groupby(found.ran, key=lambda one: one.experiment):
        cases = [one for one in ran if one.outcome is not None]
        if not cases:
            continue
        yield Text(f"{cases[0].block}: {name}", style="bold")
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        named = any(one.case for one in cases)
        if named:
            table.add_column("case")
        table.add_column("quantity")
        for heading in ("closed form", "simulated", "difference", "limit"):
            table.add_column(heading, justify="right")
        for heading in ("holds", "engine"):
            table.add_column(heading)
        table.add_column("time", justify="right")
        for one in cases:
            shown = f"{one.seconds:.2f} s"
            for check in one.outcome.checks if one.outcome is not None else ():
                cells = tuple(_cells(one.case, check, one.engine, shown))
                table.add_row(*cells[0 if named else 1 :])
        yield table
        yield Text("")


def _cells(case: str, check: Check, engine: str, seconds: str) -> Iterator[Text]:
    from subwright.outputs.sheet_checked import difference_text, limit_text, value_text

    yield Text(clean(case))
    yield Text(clean(check.quantity))
    yield Text(value_text(check.closed, check.unit))
    yield Text(value_text(check.simulated, check.unit))
    yield Text(difference_text(check))
    yield Text(limit_text(check))
    yield Text("yes") if check.holds else Text("NO", style="bold red")
    yield Text(engine)
    yield Text(seconds)


def _count(found: service.Verification) -> Text:
    rows, broken, failed = len(found.rows), len(found.broken), len(found.failed)
    told = f"{rows} comparisons: " + ("all hold" if not broken else f"{broken} beyond their limit")
    if failed:
        told += f"; {failed} case{'s' if failed > 1 else ''} could not be run"
    return Text(told, style="bold")


def _notes(found: service.Verification, file: Path) -> Iterator[str]:
    for one in found.failed:
        where = f"{one.experiment}, {one.case}" if one.case else one.experiment
        yield f"{where}, {one.engine}: {one.error}"
    for name, engine in found.left_out:
        yield f"{name}: left out on {engine}, which can't run it."
    if found.unsaved is not None:
        yield f"The results could not be kept: {found.unsaved}"
    else:
        from subwright.outputs.verified import verified_path

        yield f"Kept in {verified_path(file)}; the pack shows it."
