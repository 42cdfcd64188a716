"""The bench: readings logged, compared, refitted; builds compared; parts that can't be had."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.service.designs import bring_up, solve
from subwright.service.solved import Solved, library_of

if TYPE_CHECKING:
    from subwright.build.bench import Compared, Entry, UnitsApart
    from subwright.build.bench_fit import Fit
    from subwright.build.bench_progress import StepState
    from subwright.build.diagnosis import Diagnosis
    from subwright.build.difference import Difference, KeptReading
    from subwright.build.substitution import Substitution
    from subwright.build.substitution_trial import Trial


__all__ = [
    "bench_add",
    "bench_diagnosis",
    "bench_fit",
    "bench_log",
    "bench_next",
    "bench_rows",
    "bench_steps",
    "bench_units_apart",
    "builds_apart",
    "substitute",
    "try_substitutes",
]


def bench_log(build: Path) -> tuple[Entry, ...]:
    """Every reading ever entered for a build file, in order. Raises `InputError` if it can't be used."""
    from subwright.outputs.benchlog import log_path, read_log

    return read_log(log_path(build))


def bench_add(
    build: Path,
    readings: Mapping[str, str] | Path,
    *,
    unit: str,
    accuracy: str = "",
    note: str = "",
    at: str = "",
) -> tuple[Entry, ...]:
    """Enter readings of a unit, as typed or from a CSV file, and return them as saved; all or none.

    Raises
    ------
    SubwrightError
        An unknown reading, an impossible value, or a file that can't be used.
    """
    from subwright.outputs.benchlog import append_entries, log_path
    from subwright.outputs.benchlog_entry import entries_from_table, entries_from_words
    from subwright.outputs.print_code import design_code

    solved = solve(build)
    procedure, code = bring_up(solved), design_code(solved.design)
    if isinstance(readings, Path):
        made = entries_from_table(procedure, readings, unit=unit, code=code, accuracy=accuracy, at=at)
    else:
        made = entries_from_words(
            procedure, readings, unit=unit, code=code, accuracy=accuracy, note=note, at=at
        )
    append_entries(log_path(build), made)
    return made


def bench_rows(solved: Solved, entries: Sequence[Entry], unit: str) -> tuple[Compared, ...]:
    """A unit's latest readings beside their windows."""
    from subwright.build.bench import compare

    return compare(bring_up(solved), entries, unit)


def bench_steps(solved: Solved, entries: Sequence[Entry], unit: str) -> tuple[StepState, ...]:
    """Every step of a unit's bring-up with what was read, what is missing, and whether it passed."""
    from subwright.build.bench_progress import step_states

    return step_states(bring_up(solved), entries, unit)


def bench_next(solved: Solved, entries: Sequence[Entry], unit: str) -> StepState | None:
    """The step at which a unit stands, one that failed first; None when every step passed.

    Its ``step`` says what is fitted, the supply's setting, actions, readings with windows and stops; its
    ``missing`` are the readings still to take.
    """
    from subwright.build.bench_progress import next_step

    return next_step(bench_steps(solved, entries, unit))


def bench_diagnosis(solved: Solved, entries: Sequence[Entry], unit: str) -> Diagnosis:
    """What a unit's wrong readings point at, likeliest first, and the reading that parts the first two."""
    from subwright.build.diagnosis import diagnose

    return diagnose(bring_up(solved), entries, unit)


def bench_fit(solved: Solved, entries: Sequence[Entry], unit: str) -> Fit:
    """The design refitted to one unit, and what to change on it."""
    from subwright.build.bench_fit import fit_unit

    return fit_unit(solved.design, bring_up(solved), library_of(solved), entries, unit)


def bench_units_apart(
    solved: Solved, entries: Sequence[Entry], first: str, second: str
) -> tuple[UnitsApart, ...]:
    """Two units of one design side by side."""
    from subwright.build.bench import units_apart

    return units_apart(bring_up(solved), entries, first, second)


def builds_apart(
    before: Solved, after: Solved, entries: Sequence[Entry] = ()
) -> tuple[Difference, tuple[KeptReading, ...]]:
    """What turns a unit of one version into one of another, and what of the bench log stays valid."""
    from subwright.build.difference import difference, readings_kept

    found = difference(before.design, after.design)
    kept = readings_kept(entries, found, bring_up(before), bring_up(after)) if entries else ()
    return found, kept


def substitute(solved: Solved, part_id: str, *, most: int = 6) -> Substitution:
    """What would do in place of a part that can't be had, and the build solved again without it.

    Raises
    ------
    SubwrightError
        The build has no such part, or it is a plain value.
    """
    from subwright.build import substitution

    return substitution.substitute(solved.design, library_of(solved), part_id, most=most)


def try_substitutes(solved: Solved, part_id: str, candidates: Sequence[str]) -> tuple[Trial, ...]:
    """Each candidate tried in the missing part's place: the build solved again with that very part."""
    from subwright.build.substitution_trial import try_candidates

    return try_candidates(solved.design, library_of(solved), part_id, candidates)
