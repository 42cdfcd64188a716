"""Limits and merit of candidate transformers: what each comes to over its limits, score, and Pareto front."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.stages.transformer_model import (
    Candidates,
    Evaluation,
    ampere_turns_per_turn,
    density_limit,
    primary_halves,
    secondary_halves,
)
from subwright.stages.transformer_rail import loaded_rail_v
from subwright.stages.transformer_records import (
    ParetoRow,
    RailNeed,
    TransformerNeed,
    TransformerSpec,
)
from subwright.stages.transformer_tables import (
    CoreTable,
    WireTable,
    nominal_voltage,
)

__all__ = ["Violation", "pareto_rows", "rail_voltages", "score_of", "violations"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_COMFORT: Final = 0.9  # of a limit; beyond it a design is held to be close to the edge
_RAIL_WEIGHT: Final = 4.0  # a tenth of rail above the one needed counts as much as 40 % of loss or volume
_COMFORTABLE: Final = frozenset(
    {"flux density", "temperature rise", "window fill", "winding height", "current density"}
)
_PARETO_ROWS: Final = 24
_ROWS_PER_CORE: Final = 3
_PARETO_STEP: Final = 0.05  # designs that differ by less count as equal


@dataclass(frozen=True, kw_only=True, slots=True)
class Violation:
    """Applied value over limit of one constraint for every candidate; above 1 it is broken."""

    name: str
    share: Floats


def violations(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    candidates: Candidates,
    evaluation: Evaluation,
) -> tuple[Violation, ...]:
    """Applied over limit of every constraint for every candidate."""
    row, ratio = candidates.row, candidates.secondary_turns / candidates.primary_turns
    off = np.maximum(ratio / need.ratio_max, need.ratio_min / ratio)
    rails: tuple[Violation, ...] = ()
    if need.rail is not None:
        loaded_v, open_v = rail_voltages(need, need.rail, candidates, evaluation)
        rails = (
            Violation(name="rail at full power", share=need.rail.needed_v / np.maximum(loaded_v, 1e-3)),
            Violation(name="rail without load", share=open_v / need.rail.most_v),
        )
    return (
        *rails,
        Violation(name="flux density", share=evaluation.flux_peak_t / table.flux_limit_t[row]),
        Violation(name="temperature rise", share=evaluation.rise_high_k / spec.max_rise_k),
        Violation(name="window fill", share=evaluation.fill / table.fill_limit[row]),
        Violation(name="winding height", share=np.where(evaluation.fits, evaluation.build_share, np.inf)),
        Violation(name="current density", share=evaluation.density_a_per_m2 / density_limit(spec)),
        Violation(name="turns ratio", share=np.where(off <= 1 + 1e-9, np.minimum(off, 1.0), off)),
    )


def rail_voltages(
    need: TransformerNeed, rail: RailNeed, candidates: Candidates, evaluation: Evaluation
) -> tuple[Floats, Floats]:
    """Working rail at the crest, nominal battery, and rail without load at the highest battery.

    Parameters
    ----------
    need, rail : what is asked. candidates, evaluation : columns, shape (n,).

    Returns
    -------
    (loaded, open), V, shape (n,); a held rail rises no higher without load, and counts as 0 there.
    """
    ratio = candidates.secondary_turns / candidates.primary_turns
    primary_ohm = evaluation.primary_w / (primary_halves(need) * need.primary_rms_a**2)
    secondary_ohm = evaluation.secondary_w / (secondary_halves(need) * need.secondary_rms_a**2)
    loaded = loaded_rail_v(need, rail, ratio, primary_ohm, secondary_ohm, evaluation.leakage_h)
    unloaded = np.zeros_like(ratio) if rail.held else ratio * rail.emf_most_v - rail.diode_v
    return loaded, unloaded


def score_of(
    need: TransformerNeed,
    table: CoreTable,
    candidates: Candidates,
    evaluation: Evaluation,
    limits: tuple[Violation, ...],
    among: Bools,
) -> Floats:
    """Merit, lower is better: loss over the least loss, core volume over the least, and three small terms.

    The ratio's distance from the one wanted counts double; each strand after the first costs half a
    percent of the least loss; each limit used by more than nine tenths costs twice the excess.
    """
    score = np.full(among.size, np.inf)
    if not np.any(among):
        return score
    loss, volume = evaluation.heating_w[among], table.volume_m3[candidates.row[among]]
    ratio = candidates.secondary_turns[among] / candidates.primary_turns[among]
    strands = candidates.primary_strands[among] + candidates.secondary_strands[among]
    score[among] = loss / np.min(loss) + volume / np.min(volume) + 0.005 * (strands - 2.0)
    if need.rail is None:
        score[among] += 2.0 * np.abs(ratio / need.ratio_target - 1.0)
    else:
        # Rail in hand at full power is voltage that every part must stand for nothing, and so is the
        # rise when the load goes: the latter is what leakage and resistance cost.
        open_v = ratio * need.rail.emf_v - need.rail.diode_v
        if need.rail.held:
            open_v = need.duty * open_v  # a held rail: what every part behind the winding must stand besides
        score[among] += _RAIL_WEIGHT * (open_v / need.rail.needed_v - 1.0)
    for limit in limits:
        if limit.name in _COMFORTABLE:
            score[among] += 2.0 * np.maximum(limit.share[among] - _COMFORT, 0.0)
    return score


def _pareto(objectives: Floats) -> Ints:
    """Rows of ``objectives`` (n, k) that no other row beats, with steps of _PARETO_STEP counted as equal."""
    steps = np.floor(np.log(objectives) / _PARETO_STEP).astype(np.int64)
    steps -= steps.min(axis=0)
    # one key per row of steps: comparing keys is far quicker than comparing rows
    span = steps.max(axis=0) + 1
    key = np.ravel_multi_index(tuple(steps.T), tuple(span))
    _, first = np.unique(key, return_index=True)
    distinct = steps[first]
    order = np.argsort(distinct.sum(axis=1), kind="stable")
    rows = first[order]
    left = np.ascontiguousarray(distinct[order].T.astype(np.int16))  # one row per objective
    front: list[int] = []
    while rows.size:
        front.append(int(rows[0]))
        alive = left[0] < left[0, 0]
        for values in left[1:]:
            alive |= values < values[0]
        left, rows = left[:, alive], rows[alive]
    return np.array(front, dtype=np.int64)


def pareto_rows(
    need: TransformerNeed,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    candidates: Candidates,
    evaluation: Evaluation,
    score: Floats,
    own: Bools,
    best: int,
) -> tuple[ParetoRow, ...]:
    """The front, best score first, a few of each core; the choice itself is always in it."""
    at = np.flatnonzero(np.isfinite(score))
    if not at.size:
        return ()
    regulation = _regulation(need, evaluation)
    columns = (
        evaluation.heating_w,
        evaluation.rise_high_k,
        evaluation.fill,
        evaluation.copper_kg,
        regulation,
    )
    front = at[_pareto(np.stack([column[at] for column in columns], axis=1))]
    front = front[np.argsort(score[front], kind="stable")]
    c_row = candidates.row[front]
    # a few of each core, so that the list shows the choice of cores rather than of strand counts
    place = np.array([np.count_nonzero(c_row[:i] == c_row[i]) for i in range(front.size)])
    front = np.union1d(front[place < _ROWS_PER_CORE][: _PARETO_ROWS - 1], [best])
    front = front[np.argsort(score[front], kind="stable")]
    c = candidates
    return tuple(
        ParetoRow(
            core_id=table.cores[c.row[i]].id,
            stack=int(table.stack[c.row[i]]),
            primary_turns=int(c.primary_turns[i]),
            secondary_turns=int(c.secondary_turns[i]),
            primary_wire=wires[0].wires[c.primary_wire[i]].id,
            primary_strands=int(c.primary_strands[i]),
            secondary_wire=wires[1].wires[c.secondary_wire[i]].id,
            secondary_strands=int(c.secondary_strands[i]),
            loss_w=float(evaluation.heating_w[i]),
            rise_high_k=float(evaluation.rise_high_k[i]),
            fill=float(evaluation.fill[i]),
            copper_kg=float(evaluation.copper_kg[i]),
            regulation=float(regulation[i]),
            flux_peak_t=float(evaluation.flux_peak_t[i]),
            in_drawer=bool(own[i]),
            score=float(score[i]),
        )
        for i in front
    )


def _regulation(need: TransformerNeed, evaluation: Evaluation) -> Floats:
    """Copper loss at full sine over the power that passes, nominal battery."""
    passed = nominal_voltage(need) * ampere_turns_per_turn(need) * math.sqrt(need.duty)
    return (evaluation.primary_w + evaluation.secondary_w) / passed
