"""Other parts for a key: cores as the transformer would come out on each, others by what matters of them."""

from __future__ import annotations

from typing import Any

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.session import BuildSession, Outcome, drawer_of
from subwright.web.stage import chosen

__all__ = ["alternatives_of", "candidate_texts", "candidates_for"]

_MOST = 60
_NEAREST = 8


def alternatives_of(session: BuildSession, key: str, kind: str) -> dict[str, Any]:
    """What could stand in a key's place: ``cores``, or ``nearest`` with figures, and the ``rows`` left."""
    outcome = session.outcome()
    drawer = None if outcome.build is None else drawer_of(outcome.build)
    rows = service.list_parts(kind, "", drawer)
    cores = _cores(outcome) if key == "transformer.core" else []
    nearest = [] if cores else _nearest(session, outcome, key)
    named = {row["id"] for row in (*cores, *nearest)}
    left = [row for row in rows if row.id not in named]
    return {"cores": cores, "nearest": nearest, "rows": left[:_MOST], "left": max(0, len(left) - _MOST)}


def _cores(outcome: Outcome) -> list[dict[str, Any]]:
    if outcome.solved is None:
        return []
    try:
        found = service.cores_instead(outcome.solved)
    except SubwrightError:
        return []
    return [
        {
            "id": row.core_id,
            "stack": row.stack,
            "at_hand": row.in_drawer,
            "chosen": row.chosen,
            "serves": row.serves,
            "why": row.refused or ", ".join(row.broken),
            "turns": f"{row.primary_turns} : {row.secondary_turns}" if row.primary_turns else "",
            "loss": show(row.loss_w, "power") if row.primary_turns else "",
            "rise": show(row.rise_high_k, "temperature difference") if row.primary_turns else "",
            "fill": f"{100.0 * row.fill:.0f} %" if row.primary_turns else "",
        }
        for row in sorted(found, key=lambda row: not row.in_drawer)  # otherwise as they were ranked
    ]


def candidates_for(session: BuildSession, outcome: Outcome, key: str, most: int) -> tuple[str, ...]:
    """Ids of parts that could stand at a key, those that come nearest first."""
    if key == "transformer.core":
        rows = [row for row in _cores(outcome) if row["serves"] and not row["chosen"]]
    else:
        rows = _nearest(session, outcome, key)
    return tuple(row["id"] for row in rows[:most])


def _nearest(session: BuildSession, outcome: Outcome, key: str) -> list[dict[str, Any]]:
    if outcome.solved is None:
        return []
    item = next((one for one in session.inputs(key.partition(".")[0]) if one.key == key), None)
    part = "" if item is None else chosen(outcome.design, item) or item.text
    if not part:
        return []
    try:
        found = service.substitute(outcome.solved, part, most=_NEAREST)
    except SubwrightError:
        return []
    return [candidate_texts(row) for row in found.candidates]


def candidate_texts(row: Any) -> dict[str, Any]:
    """A candidate's figures beside the present part's, printed."""
    return {
        "id": row.part_id,
        "description": row.description,
        "at_hand": row.in_drawer,
        "figures": [
            (words, _figure(have, dimension), _figure(get, dimension), words in row.worse)
            for words, have, get, dimension in row.figures
        ],
        "other": row.other,
    }


def _figure(value: float, dimension: str) -> str:
    return show(value, dimension) if dimension else f"{value:.3g}"
