"""Routes for trying things: what a check's remedy would have to be, and several changes side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from subwright import service
from subwright.base.errors import InputError, SubwrightError
from subwright.session import BuildSession, Outcome, moved_between
from subwright.web.alternatives import candidates_for
from subwright.web.desk import Desk, Reader
from subwright.web.linking import place_of
from subwright.web.pane import findings_apart
from subwright.web.stage import PARTS, chosen

__all__ = ["Column", "trying_routes"]

_MOST_BESIDE = 3
_MOST_PARTS = 6
_MOST_MOVED = 40

Code = Annotated[str, Query(max_length=12)]
Quantity = Annotated[str, Query(max_length=300)]
Room = Annotated[float | None, Query(ge=0.0, le=1.0)]


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One state of the build in a comparison; ``figures`` by name, ``counts`` by severity."""

    what: str
    key: str
    value: str
    figures: dict[tuple[str, str], str]
    tightest: str = ""
    margin: float | None = None
    counts: tuple[tuple[str, int], ...] = ()
    error: SubwrightError | None = None


def trying_routes(desk: Desk) -> APIRouter:
    """Under ``/b/{name}``: ``remedies``, ``remedy`` and ``beside``."""
    routes = APIRouter(prefix="/b/{name}")

    @routes.get("/remedies")
    def remedies(
        request: Request, name: str, code: Code = "", quantity: Quantity = "", room: Room = None
    ) -> HTMLResponse:
        """The inputs that a check's remedy names; each is tried by a request of its own."""
        text, _ = _wrong(desk.session(name).outcome(), code, quantity, room)
        return desk.page(request, "remedies.html.j2", keys=service.remedy_keys(text), code=code)

    @routes.get("/remedy")
    def remedy(
        request: Request,
        name: str,
        key: Annotated[str, Query(max_length=80)],
        code: Code = "",
        quantity: Quantity = "",
        room: Room = None,
    ) -> HTMLResponse:
        """The least change of one input that settles a check, and what else it moves."""
        session = desk.session(name)
        before = session.outcome()
        text, wrong = _wrong(before, code, quantity, room)
        if before.build is None:
            raise SubwrightError(
                message="the build file has to be mended first", remedy="see what is wrong there"
            )
        found = service.remedy_by(
            before.build,
            key,
            wrong,
            text,
            solved=before.solved,
            taken=_taken(session, before, key),
            parts=candidates_for(session, before, key, _MOST_PARTS) if key in PARTS else (),
        )
        after = Outcome(text="", solved=found.solved)
        both = before.solved is not None and found.solved is not None
        gone, come = findings_apart(before, after)
        now = None if before.solved is None or not code else wrong.margin(before.design)
        return desk.page(
            request,
            "remedy.html.j2",
            found=found,
            place=place_of(key),
            name=key.rpartition(".")[2],
            now=now,
            part=key in PARTS,
            moved=[row for row in moved_between(before, after) if not row.stage] if both else [],
            come=come,
            gone=gone,
        )

    @routes.get("/beside")
    def beside(
        request: Request,
        name: str,
        key: Annotated[list[str] | None, Query(max_length=_MOST_BESIDE)] = None,
        value: Annotated[list[str] | None, Query(max_length=_MOST_BESIDE)] = None,
    ) -> HTMLResponse:
        """The build as it stands and with each of up to three changes, side by side."""
        session, reader = desk.session(name), Reader.of(request)
        tried = list(zip(key or (), value or (), strict=False))[:_MOST_BESIDE]
        now = session.outcome()
        columns = [_column(now, reader.word("now"), "", "")]
        moved: dict[tuple[str, str], None] = {}
        for one, wanted in tried:
            try:
                outcome = session.what_if(one, wanted)
            except InputError as error:
                outcome = Outcome(text="", error=error)
            if now.solved is not None and outcome.solved is not None:
                moved.update(dict.fromkeys((row.stage, row.name) for row in moved_between(now, outcome)))
            columns.append(_column(outcome, _called(reader, one), one, wanted))
        rows = [place for place in moved if place[0]]
        return desk.page(
            request,
            "beside.html.j2",
            columns=columns,
            heads=list(
                dict.fromkeys(place for column in columns for place in column.figures if not place[0])
            ),
            rows=rows[:_MOST_MOVED],
            left=max(0, len(rows) - _MOST_MOVED),
            part=PARTS,
        )

    return routes


def _called(reader: Reader, key: str) -> str:
    """An input's name with its stage's: "count" alone says too little."""
    table, _, own = key.rpartition(".")
    return f"{reader.stage('air' if table == 'goal' else table)}: {reader.label('keys', own)}"


def _wrong(outcome: Outcome, code: str, quantity: str, room: float | None) -> tuple[str, service.Wrong]:
    """The remedy's text, and what is to be settled: a check, or that there is no design."""
    if not code:
        return (outcome.error.remedy if outcome.error is not None else ""), service.Wrong()
    for finding in outcome.design.findings:
        if (finding.code, finding.quantity) == (code, quantity):
            wrong = service.Wrong(code=code, quantity=quantity, severity=finding.severity, room=room)
            return finding.remedy, wrong
    raise SubwrightError(
        message="this check says nothing about the build any more",
        quantity=code,
        value=quantity,
        remedy="look at the checks again: the build was changed",
    )


def _taken(session: BuildSession, outcome: Outcome, key: str) -> str:
    """What the design took for a key that the file leaves open."""
    if outcome.solved is None:
        return ""
    item = next((one for one in session.inputs(key.partition(".")[0]) if one.key == key), None)
    return "" if item is None else chosen(outcome.design, item)


def _column(outcome: Outcome, what: str, key: str, value: str) -> Column:
    if outcome.solved is None:
        error = outcome.error or SubwrightError(message="there is no design")
        return Column(what=what, key=key, value=value, figures={}, error=error)
    figures = {("", name): said for name, said in outcome.overview.key_figures}
    figures |= {(stage, name): said for stage, sheet in outcome.sheets.items() for name, said in sheet.values}
    least = outcome.design.tightest()
    counts = [(s, sum(1 for row in outcome.overview.findings if row.severity == s)) for s in ("stop", "warn")]
    return Column(
        what=what,
        key=key,
        value=value,
        figures=figures,
        tightest="" if least is None else least.quantity.partition(" (")[0],
        margin=None if least is None else least.margin,
        counts=tuple((severity, count) for severity, count in counts if count),
    )
