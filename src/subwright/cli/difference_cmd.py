"""``subwright difference`` and ``subwright substitute``: what moves when the design does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group
from rich.text import Text

from subwright import service
from subwright.base.units import show
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress

if TYPE_CHECKING:
    from subwright.build.difference import Difference, KeptReading
    from subwright.build.substitution import Candidate, Substitution
    from subwright.build.substitution_trial import Trial

__all__ = ["difference", "substitute"]


def difference(old: Path, new: Path) -> Answer:
    """Show what turns a unit of one build file into one of another."""
    with progress("designing") as report:
        before, after = service.solve(old, report), service.solve(new, report)
    found, kept = service.builds_apart(before, after, service.bench_log(old))

    def data() -> Mapping[str, object]:
        return {
            "changes": [{"act": c.act, "what": c.what, "touches": c.touches} for c in found.changes],
            "figures": [{"name": n, "before": a, "after": b} for n, a, b in found.figures],
            "readings": kept,
        }

    return Answer(command="difference", data=data, text=lambda: Group(*_lines(found, kept)))


def _lines(found: Difference, kept: Sequence[KeptReading]) -> Iterator[Text]:
    if not found.changes:
        yield Text("The two are built alike.")
    for change in found.changes:
        yield Text(clean(change.sentence))
    if found.figures:
        yield Text("What moves", style="bold")
    for name, one, other in found.figures:
        yield Text(clean(f"  {name:<28} {one} → {other}"))
    if kept:
        yield Text("The bench log", style="bold")
    for row in kept:
        words = f"  unit {row.entry.unit}  {row.entry.key:<28} {row.standing} ({row.why})"
        yield Text(clean(words))


def substitute(file: Path, part: str, most: int, *, each: bool = False) -> Answer:
    """Show what would do in place of a part, and what moves without it; ``each``: with every candidate."""
    with progress("designing") as report:
        solved = service.solve(file, report)
    found = service.substitute(solved, part, most=most)
    names = [row.part_id for row in found.candidates]
    tried = service.try_substitutes(solved, part, names) if each else ()

    def data() -> Mapping[str, object]:
        return {
            "part": found.part_id,
            "places": found.places,
            "candidates": found.candidates,
            "refusal": found.refusal,
            "instead": found.instead,
            "changes": [] if found.moves is None else [c.sentence for c in found.moves.changes],
            "tried": [
                {
                    "part": row.part_id,
                    "refusal": row.refusal,
                    "elsewhere": row.elsewhere,
                    "stops": row.stops,
                    "changes": [] if row.moves is None else [c.sentence for c in row.moves.changes],
                    "figures": [] if row.moves is None else row.moves.figures,
                }
                for row in tried
            ],
        }

    return Answer(command="substitute", data=data, text=lambda: Group(*_substitution(found), *_trials(tried)))


def _trials(tried: Sequence[Trial]) -> Iterator[Text]:
    for row in tried:
        if row.moves is None:
            yield Text(clean(f"With {row.part_id}: no. {row.refusal}"), style="bold")
            continue
        stops = f"; now at stop: {', '.join(row.stops)}" if row.stops else ""
        yield Text(clean(f"With {row.part_id}: yes{stops}"), style="bold")
        for words in row.elsewhere:
            yield Text(clean(f"  {words}"))
        for change in row.moves.changes:
            yield Text(clean(f"  {change.sentence}"))
        for name, one, other in row.moves.figures:
            yield Text(clean(f"  {name}: {one} → {other}"))


def _substitution(found: Substitution) -> Iterator[Text]:
    yield Text(clean(f"{found.part_id} stands at: {'; '.join(found.places)}"), style="bold")
    yield Text("Nearest by the ratings that matter")
    for row in found.candidates:
        yield Text(clean(f"  {row.part_id:<24} {_judgement(row)}"))
    if found.moves is None:
        yield Text(clean(f"Without it no design keeps every limit: {found.refusal}"), style="bold")
        return
    how = f"with {found.instead}" if found.instead else "without it"
    yield Text(clean(f"Solved again {how}"), style="bold")
    for change in found.moves.changes:
        yield Text(clean(f"  {change.sentence}"))
    for name, one, other in found.moves.figures:
        yield Text(clean(f"  {name}: {one} → {other}"))


def _judgement(row: Candidate) -> str:
    at_hand = f"{row.in_drawer} in the drawer" if row.in_drawer else "to buy"
    worse = [
        f"{name} {show(get, dimension)} for {show(have, dimension)}"
        for name, have, get, dimension in row.figures
        if name in row.worse and dimension
    ]
    told = [at_hand, *row.other, *(f"worse: {words}" for words in worse)]
    return "; ".join(told) if worse or row.other else f"{at_hand}; no figure worse"
