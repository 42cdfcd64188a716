"""Circuit diagrams on a stage's sheet, with the parts that stand in them, and a part that can't be had."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from subwright import service
from subwright.build.result import Design
from subwright.outputs.bom import BomRow, bom_rows, designators
from subwright.outputs.schematic_blocks import blocks, drawn_designators
from subwright.service.solved import library_of
from subwright.session import BuildSession, Outcome
from subwright.stages.common import PartUse
from subwright.web.alternatives import candidate_texts
from subwright.web.desk import Desk
from subwright.web.point_table import point_rows
from subwright.web.stage import PARTS, chosen

__all__ = ["PartRow", "circuit_routes", "part_rows"]


@dataclass(frozen=True, kw_only=True, slots=True)
class PartRow:
    """One line of a stage's parts list; ``part_id`` is "" for what is no part of the library."""

    designators: tuple[str, ...]
    quantity: str
    what: str
    role: str
    part_id: str
    at_hand: bool


def circuit_routes(desk: Desk) -> APIRouter:
    """The routes under ``/b/{name}`` that show circuits and parts."""
    routes = APIRouter(prefix="/b/{name}")

    @routes.get("/circuit/{stage}")
    def circuit(request: Request, name: str, stage: str) -> HTMLResponse:
        """A stage's circuit diagrams and its parts."""
        outcome = desk.session(name).outcome()
        found, _ = blocks(outcome.design, library_of(outcome.solution))
        titles = {block.title for block in found if block.stage == stage}
        keys = {block.key for block in found if block.stage == stage}
        drawn = outcome.circuits if keys else None
        sheets = () if drawn is None else drawn.sheets
        return desk.page(
            request,
            "circuit.html.j2",
            sheets=[s for s in sheets if s.key in keys or s.key.rpartition("-")[0] in keys],
            missing=[] if drawn is None else [row for row in drawn.missing if row[0] in titles],
            points=point_rows(found, stage) if sheets else (),
            parts=part_rows(outcome, stage),
        )

    @routes.get("/without")
    def without(
        request: Request, name: str, part: Annotated[str, Query(min_length=1, max_length=120)]
    ) -> HTMLResponse:
        """What would do in place of a part, and what moves when the build is solved without it."""
        session = desk.session(name)
        outcome = session.outcome()
        found = service.substitute(outcome.solution, part)
        names = [row.part_id for row in found.candidates]
        tried = {one.part_id: one for one in service.try_substitutes(outcome.solution, part, names)}
        key, value = _pinned(session, outcome, part, found.kind, found.design)
        return desk.page(
            request,
            "without.html.j2",
            found=found,
            candidates=[candidate_texts(row) | {"tried": tried.get(row.part_id)} for row in found.candidates],
            key=key,
            value=value,
        )

    return routes


def part_rows(outcome: Outcome, stage: str) -> tuple[PartRow, ...]:
    """The parts of one stage with their designators, in the order of its bill."""
    assert outcome.solved is not None
    library = library_of(outcome.solved)
    found, _ = blocks(outcome.design, library)
    uses = tuple(outcome.design.part_uses())
    given = designators(uses, drawn_designators(found))
    rows = []
    for name, part in uses:
        if name != stage:
            continue
        row = bom_rows(((name, part),))[0]
        rows.append(
            PartRow(
                designators=given[name, part.role],
                quantity=row.quantity,
                what=_what(row),
                role=part.role,
                part_id=part.part_id if _known(library, part) else "",
                at_hand=library.in_drawer(part.part_id) > 0,
            )
        )
    return tuple(rows)


def _known(library: Any, part: PartUse) -> bool:
    return any(part.part_id in library.kind(kind) for kind in service.part_kinds())


def _what(row: BomRow) -> str:
    return " ".join(word for word in row.printed if word)


def _pinned(
    session: BuildSession, outcome: Outcome, part: str, kind: str, design: Design | None
) -> tuple[str, str]:
    """The key that takes the new design's choice into the build file, and the choice; "" where none does."""
    if design is None:
        return "", ""
    for key, names in PARTS.items():
        if names != kind:
            continue
        table = key.partition(".")[0]
        item = next((one for one in session.inputs(table) if one.key == key), None)
        if item is None or part not in (item.text, chosen(outcome.design, item)):
            continue
        free = type(item)(entry=item.entry, key=item.key, text="", default=item.default)
        value = chosen(design, free)
        if value and value != part:
            return key, value
    return "", ""
