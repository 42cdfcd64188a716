"""The bench page: the first power-up step by step, for a phone or tablet that lies beside the soldering iron.

The page holds the whole procedure, so it goes on working while the server is away; readings wait on the
device and are sent later. Each carries the device's own time, so one that is sent twice is entered once.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse
from markupsafe import Markup
from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import NoSolutionError, SubwrightError
from subwright.base.units import show
from subwright.build.bench import Entry, units_of
from subwright.build.bench_fit import Fit, FittedTrip
from subwright.outputs.benchlog_entry import METER_ACCURACY
from subwright.outputs.print_code import design_code
from subwright.session import BuildSession
from subwright.web.bench_view import reading_rows, step_pages, suspect_rows
from subwright.web.desk import Desk, Reader
from subwright.web.security import is_loopback
from subwright.workspace import EXAMPLE

__all__ = ["Taken", "bench_routes"]

_EARLIEST = datetime(2020, 1, 1, tzinfo=UTC)
_UNITS = 4  # other units shown beside one
_AHEAD = timedelta(days=2)  # a device's clock may be wrong, but not by years


class Taken(BaseModel):
    """One reading as a device sends it; texts as a person types them."""

    model_config = ConfigDict(extra="forbid")

    unit: str = Field(min_length=1, max_length=40)
    key: str = Field(min_length=1, max_length=80)
    value: str = Field(min_length=1, max_length=60)
    accuracy: str = Field(default="", max_length=20)
    note: str = Field(default="", max_length=400)
    at: str = Field(min_length=10, max_length=40)


def bench_routes(desk: Desk) -> APIRouter:
    """The routes under ``/b/{name}/bench``."""
    routes = APIRouter(prefix="/b/{name}/bench")

    @routes.get("")
    def bench(request: Request, name: str) -> HTMLResponse:
        """The page with the whole procedure."""
        session = desk.session(name)
        outcome = session.outcome()
        procedure = service.bring_up(outcome.solution)
        return desk.page(
            request,
            "bench.html.j2",
            name=name,
            title=outcome.design.spec.name,
            code=design_code(outcome.design),
            pages=step_pages(procedure),
            units=units_of(service.bench_log(session.path)),
            accuracy=METER_ACCURACY,
            is_example=name == EXAMPLE,
            stops=[row for row in outcome.overview.findings if row.severity == "stop"],
            **_other_device(desk, name),
        )

    @routes.get("/log")
    def log(name: str, unit: Annotated[str, Query(max_length=40)] = "") -> JSONResponse:
        """The latest readings of a unit with their verdicts, and which design they are judged by."""
        return JSONResponse(_log(desk.session(name), unit.strip()))

    @routes.post("/reading")
    def reading(name: str, taken: Taken) -> JSONResponse:
        """Enter one reading; one that is in the log already is not entered again."""
        session = desk.session(name)
        at, unit = _time_of(taken.at), taken.unit.strip()
        with session.lock:
            if not _known(session, taken, unit, at):
                service.bench_add(
                    session.path,
                    {taken.key: taken.value},
                    unit=unit,
                    accuracy=taken.accuracy,
                    note=taken.note.strip(),
                    at=at,
                )
        return JSONResponse(_log(session, unit))

    @routes.get("/fit")
    def fit(request: Request, name: str, unit: Annotated[str, Query(max_length=40)]) -> HTMLResponse:
        """What a unit's readings say about it, and what to change on it."""
        session = desk.session(name)
        solved = session.outcome().solved
        entries = service.bench_log(session.path)
        if solved is None or unit.strip() not in units_of(entries):
            return desk.page(request, "bench_fit.html.j2", found=None, error=None)
        try:
            found = service.bench_fit(solved, entries, unit.strip())
        except NoSolutionError as error:
            return desk.page(request, "bench_fit.html.j2", found=None, error=error)
        reader = Reader.of(request)
        beside = _beside(solved, entries, unit.strip(), reader)
        texts = _fit_texts(found, reader)
        return desk.page(request, "bench_fit.html.j2", found=found, error=None, beside=beside, **texts)

    return routes


def _time_of(text: str) -> str:
    """A device's time as the log holds it. Raises SubwrightError for one that can't be."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = _EARLIEST - _AHEAD
    at = at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    if not _EARLIEST <= at <= datetime.now(UTC) + _AHEAD:
        raise SubwrightError(
            message="that can't be the time of a reading",
            quantity="time",
            value=repr(text),
            remedy="set the clock of the device",
        )
    return at.isoformat(timespec="milliseconds")


def _known(session: BuildSession, taken: Taken, unit: str, at: str) -> bool:
    """Whether the log holds this very reading: it was sent before, and the answer got lost."""
    return any(
        (entry.unit, entry.key, entry.at) == (unit, taken.key, at)
        for entry in service.bench_log(session.path)
    )


def _log(session: BuildSession, unit: str) -> dict[str, Any]:
    solved = session.outcome().solved
    entries: tuple[Entry, ...] = service.bench_log(session.path)
    known = list(units_of(entries))
    if solved is None:
        return {"code": "", "count": len(entries), "units": known, "rows": []}
    code = design_code(solved.design)
    if unit not in known:
        return {"code": code, "count": len(entries), "units": known, "rows": []}
    rows = reading_rows(service.bench_rows(solved, entries, unit), code)
    steps = service.bench_steps(solved, entries, unit)
    return {
        "code": code,
        "count": len(entries),
        "units": known,
        "rows": rows,
        "steps": {state.step.key: state.standing for state in steps},
        "suspects": suspect_rows(service.bench_diagnosis(solved, entries, unit)),
    }


def _other_device(desk: Desk, name: str) -> dict[str, Any]:
    """How a phone reaches this page: its address as text and as a square code, where the server allows it."""
    host = next(iter(sorted(desk.rules.hosts)), "")
    if not desk.rules.token or is_loopback(host.rpartition(":")[0].strip("[]")):
        return {"address": "", "square": ""}
    import segno

    address = f"http://{host}/b/{quote(name)}/bench?token={quote(desk.rules.token)}"
    square = segno.make(address, error="m", micro=False)
    drawn = square.svg_inline(scale=4, border=4, dark="#16202a", light="#ffffff", omitsize=True)
    return {"address": address, "square": Markup(drawn)}


def _beside(
    solved: service.Solved, entries: tuple[Entry, ...], unit: str, reader: Reader
) -> list[dict[str, Any]]:
    """Readings that other units have as well, and by how many meters' errors they differ."""
    found = []
    for other in [one for one in units_of(entries) if one != unit][-_UNITS:]:
        rows = [
            {
                "key": row.reading.key,
                "name": row.reading.name,
                "first": reader.say(show(row.first.value, row.reading.dimension, 4)),
                "second": reader.say(show(row.second.value, row.reading.dimension, 4)),
                "apart": f"{row.apart:.1f}" if row.apart > 1.0 else "",
            }
            for row in service.bench_units_apart(solved, entries, unit, other)
        ]
        if rows:
            found.append({"unit": other, "rows": rows})
    return found


def _degree(value: float, unit: str, reader: Reader) -> str:
    return reader.say(show(value, "voltage" if unit == "V" else "temperature", 4))


def _fit_texts(found: Fit, reader: Reader) -> dict[str, Any]:
    """A refit in printed texts."""
    return {
        "quantities": [
            (
                row.unknown.name,
                reader.say(show(row.value, row.unknown.dimension, 4)),
                reader.say(show(row.uncertainty, row.unknown.dimension, 2)),
                reader.say(show(row.unknown.designed, row.unknown.dimension, 4)),
            )
            for row in found.quantities
            if row.known
        ],
        "trips": [_trip(row, reader) for row in found.trips],
        "advice": [
            {
                "protection": row.protection,
                "role": row.role,
                "how": row.how if row.add_ohm is not None else "leave",
                "add": "" if row.add_ohm is None else show(row.add_ohm, "resistance"),
                "before": _degree(row.before, row.unit, reader),
                "after": _degree(row.after, row.unit, reader),
                "low": _degree(row.low, row.unit, reader),
                "high": _degree(row.high, row.unit, reader),
            }
            for row in found.advice
        ],
        "doubt": f"{abs(found.worst[1]):.1f}" if found.misfit > 2.0 else "",
    }


def _trip(row: FittedTrip, reader: Reader) -> tuple[str, str, str, str]:
    spread = show(row.uncertainty, "voltage" if row.unit == "V" else "temperature difference", 2)
    return (
        row.name,
        _degree(row.value, row.unit, reader),
        reader.say(spread),
        _degree(row.target, row.unit, reader),
    )
