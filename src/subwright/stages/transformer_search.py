"""Search over all cores, stacks, turns, wires and strand counts at once.

Every candidate (``transformer_candidates``) is wound and heated in full (``transformer_model``), held against
its limits and scored (``transformer_merit``).
"""

from __future__ import annotations

import time
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from subwright.parts.library import Library
from subwright.stages.transformer_candidates import Effort, all_candidates
from subwright.stages.transformer_merit import Violation, pareto_rows, score_of, violations
from subwright.stages.transformer_model import (
    Candidates,
    Evaluation,
    evaluate,
    lay_both,
    primary_halves,
    secondary_halves,
)
from subwright.stages.transformer_records import (
    SearchStatistics,
    TransformerNeed,
    TransformerSpec,
)
from subwright.stages.transformer_tables import (
    CoreTable,
    WireTable,
    core_table,
    hottest_c,
    mean_square,
    wire_table,
)

__all__ = ["Effort", "Found", "search_all"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """Every candidate evaluated, with the choice among them."""

    table: CoreTable
    wires: tuple[WireTable, WireTable]
    candidates: Candidates
    evaluation: Evaluation
    violations: tuple[Violation, ...]
    feasible: Bools
    score: Floats
    best: int  # index of the choice; -1 where nothing is feasible
    statistics: SearchStatistics


def search_all(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    relax: float = 1.0,
    effort: Effort = "thorough",
    *,
    front: bool = True,
) -> Found:
    """Wind every combination that the spec allows and choose one.

    Parameters
    ----------
    spec, need : what is wished and asked.
    library : parts with the drawer merged.
    relax : see ``all_candidates``.
    effort : "quick" looks into the library only when no core of the drawer will do, and thins wires out.
    front : whether to make out the Pareto front.

    Returns
    -------
    Found. Designs with core and both wires from the drawer come first, then those with the core from
    the drawer, then all others; inside the first group that holds a feasible design the lowest score wins.

    Raises
    ------
    RangeError, NoSolutionError, PartNotFoundError : from the tables.
    """
    if effort == "quick" and spec.core == "auto" and relax == 1.0 and _own_power_core(library):
        own = _search(spec, need, library, relax, effort, own_only=True, front=front)
        if own.best >= 0:
            return own
    return _search(spec, need, library, relax, effort, own_only=False, front=front)


def _own_power_core(library: Library) -> bool:
    return any(
        library.in_drawer(core.id) and library.material(core.material).transformer_grade
        for core in library.cores.values()
    )


def _search(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    relax: float,
    effort: Effort,
    *,
    own_only: bool,
    front: bool,
    near_m2: tuple[float, float] | None = None,
) -> Found:
    begun = time.perf_counter()
    hot = hottest_c(spec, need)
    table = core_table(spec, need, library, own_only=own_only)
    first = wire_table(spec.primary_wire, need, hot, library)
    same = spec.secondary_wire == spec.primary_wire
    wires = (first, first if same else wire_table(spec.secondary_wire, need, hot, library))
    candidates, covered, thinned = all_candidates(spec, need, table, wires, hot, relax, effort, near_m2)
    laid = lay_both(spec, table, wires, candidates, primary_halves(need), secondary_halves(need))
    evaluation = evaluate(spec, need, table, wires, candidates, laid, hot, mean_square(spec, need))
    limits = violations(spec, need, table, candidates, evaluation)
    feasible = np.ones(candidates.row.size, dtype=bool)
    for limit in limits:
        feasible &= limit.share <= 1 + 1e-9
    own_core = table.drawer[candidates.row]
    own_all = own_core & wires[0].drawer[candidates.primary_wire] & wires[1].drawer[candidates.secondary_wire]
    score = score_of(need, table, candidates, evaluation, limits, feasible)
    best = -1
    for tier in (own_all, own_core, np.ones_like(feasible)):
        if np.any(tier & feasible):
            best = int(np.argmin(np.where(tier, score, np.inf)))
            break
    rows = pareto_rows(need, table, wires, candidates, evaluation, score, own_core, best) if front else ()
    statistics = SearchStatistics(
        combinations=covered,
        evaluated=candidates.row.size,
        feasible=int(np.count_nonzero(feasible)),
        seconds_s=time.perf_counter() - begun,
        pareto=rows,
    )
    if thinned and best < 0 and effort == "quick" and not own_only:
        return search_all(spec, need, library, relax)  # before it is refused, look closely
    if thinned and best >= 0 and not _turns_fixed(spec):
        row = int(candidates.row[best])
        # The wires were thinned out for the sake of time: look at all of them on the core and turns chosen.
        at = slice(best, best + 1)
        near = (
            float((wires[0].copper_m2[candidates.primary_wire[at]] * candidates.primary_strands[at])[0]),
            float((wires[1].copper_m2[candidates.secondary_wire[at]] * candidates.secondary_strands[at])[0]),
        )
        closer = _on_chosen_core(spec, table, candidates, best)
        finer = _search(closer, need, library, 1.0, "thorough", own_only=False, front=False, near_m2=near)
        if finer.best >= 0:
            for columns, better in ((candidates, finer.candidates), (evaluation, finer.evaluation)):
                _put(columns, best, better, finer.best)
            candidates.row[best] = row
            statistics = replace(statistics, seconds_s=time.perf_counter() - begun)
    return Found(
        table=table,
        wires=wires,
        candidates=candidates,
        evaluation=evaluation,
        violations=limits,
        feasible=feasible,
        score=score,
        best=best,
        statistics=statistics,
    )


def _put(columns: Candidates | Evaluation, index: int, source: Candidates | Evaluation, at: int) -> None:
    """Overwrite one row of all columns by a row of others."""
    for column in fields(columns):
        getattr(columns, column.name)[index] = getattr(source, column.name)[at]


def _turns_fixed(spec: TransformerSpec) -> bool:
    return spec.core != "auto" and spec.primary_turns is not None and spec.secondary_turns is not None


def _on_chosen_core(
    spec: TransformerSpec, table: CoreTable, candidates: Candidates, index: int
) -> TransformerSpec:
    row = int(candidates.row[index])
    return spec.model_copy(
        update={
            "core": table.cores[row].id,
            "stack": int(table.stack[row]),
            "primary_turns": int(candidates.primary_turns[index]),
            "secondary_turns": int(candidates.secondary_turns[index]),
        }
    )
