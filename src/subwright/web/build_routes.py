"""Routes of one build: its page, every change to it, and what a change would do."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi import Path as PathOf
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse
from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.session import BuildSession, Outcome, drawer_of, moved_between
from subwright.web.alternatives import alternatives_of
from subwright.web.desk import Desk, Reader
from subwright.web.measuring import Runs, fitted
from subwright.web.pane import (
    View,
    Volts,
    Wide,
    findings_apart,
    page_values,
    pane_html,
    pinned_state,
    pins_of,
    title_of,
    versions_html,
)
from subwright.web.plotting import PlotWish, find_plot, redrawn
from subwright.web.stage import PARTS
from subwright.workspace import EXAMPLE

__all__ = ["Edit", "MeasuredDriver", "Restore", "Step", "Title", "View", "build_routes"]

_PREFIX = "/b/{name}"


class Step(View):
    """An undo, a redo: which revision the page has seen."""

    revision: int


class Edit(Step):
    """One key set; an empty value leaves it to its default."""

    key: str = Field(max_length=80)
    value: str = Field(max_length=2000)


class MeasuredDriver(Step, Runs):
    """A measurement to keep: the runs, and what no sweep tells."""

    id: str = Field(min_length=1, max_length=60)
    xmax: str = Field(max_length=30)
    power: str = Field(max_length=30)


class Title(BaseModel):
    """A name for a version or a copy."""

    model_config = ConfigDict(extra="forbid")

    title: str = Field(max_length=200)


class Restore(Step):
    """Back to a named version."""

    name: str = Field(max_length=100)


def build_routes(desk: Desk) -> APIRouter:
    """The routes under ``/b/{name}``."""
    routes = APIRouter()
    routes.include_router(_pages(desk))
    routes.include_router(_changes(desk))
    routes.include_router(_questions(desk))
    return routes


def _pages(desk: Desk) -> APIRouter:
    routes = APIRouter(prefix=_PREFIX)

    @routes.get("")
    def workbench(request: Request, name: str) -> HTMLResponse:
        """The workbench on one build."""
        session, reader = desk.session(name), Reader.of(request)
        outcome = session.outcome()
        values = page_values(desk, reader, session, outcome, View())
        return desk.page(
            request,
            "workbench.html.j2",
            name=name,
            title=title_of(outcome, name),
            is_example=name == EXAMPLE,
            **values,
        )

    @routes.get("/now")
    def now(request: Request, name: str, emf: Volts = None, level: str = "full") -> JSONResponse:
        """Every number of the drawing at one battery voltage and level."""
        outcome, reader = desk.session(name).outcome(), Reader.of(request)
        moment = desk.moment(outcome, emf, level)
        wide, narrow = desk.drawn(outcome, moment, reader)
        return JSONResponse(
            {"live": {**wide.live, **narrow.live}, "state": moment.state, "emf": moment.emf_v}
        )

    @routes.get("/revision")
    def revision(name: str) -> JSONResponse:
        """Which revision the build is at, and what the last change was."""
        session = desk.session(name)
        return JSONResponse({"revision": session.revision, "last": session.history.last})

    @routes.get("/sheet/{key}")
    def sheet(
        request: Request,
        name: str,
        key: Annotated[str, PathOf(max_length=20)],
        emf: Volts = None,
        level: Annotated[str, Query(max_length=20)] = "full",
        pin: Annotated[str, Query(max_length=200)] = "",
        wide: Wide = None,
    ) -> HTMLResponse:
        """One stage's sheet; "overview" for what stands beside the drawing when none is open."""
        session, reader = desk.session(name), Reader.of(request)
        view = View(emf=emf, level=level, sheet=key, pin=pin, wide=wide)
        return HTMLResponse(pane_html(desk, reader, session, session.outcome(), view))

    @routes.get("/file")
    def file(name: str) -> PlainTextResponse:
        """The build file itself, to keep elsewhere."""
        session = desk.session(name)
        headers = {"Content-Disposition": f'attachment; filename="{_ascii(session.path.name)}"'}
        return PlainTextResponse(session.text, media_type="application/toml", headers=headers)

    return routes


def _changes(desk: Desk) -> APIRouter:
    routes = APIRouter(prefix=_PREFIX)

    def told(request: Request, session: BuildSession, before: Outcome, view: View, what: str) -> JSONResponse:
        """The whole page's new state after a change, and what it moved."""
        reader, after = Reader.of(request), session.outcome()
        moved = moved_between(before, after) if before.solved and after.solved else ()
        gone, come = findings_apart(before, after)
        whole = page_values(desk, reader, session, after, view)
        lost = after.solved is None
        report = desk.fragment(
            reader,
            "moved.html.j2",
            what=what,
            moved=moved,
            come=come,
            gone=gone,
            lost=lost,
            undo=bool(whole["undo"]),
        )
        keys = ("scene", "pane", "state", "revision", "undo", "redo", "ruler", "emf")
        said = {key: whole[key] for key in keys}
        return JSONResponse({**said, "moved": report, "count": len(moved), "title": title_of(after, "")})

    @routes.post("/set")
    def set_key(request: Request, name: str, edit: Edit) -> JSONResponse:
        """Change one key."""
        session = desk.session(name)
        before = session.outcome()
        change = session.change(edit.key, edit.value, edit.revision)
        return told(request, session, before, edit, f"{change.key}: {change.before or '–'} → {change.after}")

    @routes.post("/undo")
    def undo(request: Request, name: str, step: Step) -> JSONResponse:
        """Take the last change back."""
        session = desk.session(name)
        before = session.outcome()
        return told(request, session, before, step, session.undo(step.revision))

    @routes.post("/redo")
    def redo(request: Request, name: str, step: Step) -> JSONResponse:
        """Make it again."""
        session = desk.session(name)
        before = session.outcome()
        return told(request, session, before, step, session.redo(step.revision))

    @routes.post("/restore")
    def restore(request: Request, name: str, wish: Restore) -> JSONResponse:
        """Go back to a named version."""
        session = desk.session(name)
        before = session.outcome()
        session.restore(wish.name, wish.revision)
        return told(request, session, before, wish, wish.name)

    @routes.post("/measured")
    def measured(request: Request, name: str, found: MeasuredDriver) -> JSONResponse:
        """Put a measured driver into the build's drawer and build with it."""
        session = desk.session(name)
        before = session.outcome()
        with tempfile.TemporaryDirectory(prefix="subwright-") as place:
            measurement = fitted(Path(place), found, desk.recordings)
            part = desk.workspace.keep_driver(
                session, measurement, found.id, xmax=found.xmax, power=found.power, seen=found.revision
            )
        return told(request, session, before, found, part)

    @routes.post("/keep")
    def keep(request: Request, name: str, wish: Title) -> HTMLResponse:
        """Give the present state a name."""
        session, reader = desk.session(name), Reader.of(request)
        session.keep(wish.title)
        return HTMLResponse(versions_html(desk, reader, session, name))

    @routes.post("/duplicate")
    def duplicate(name: str, wish: Title) -> JSONResponse:
        """Copy the build into the folder under a new name."""
        return JSONResponse({"name": desk.workspace.duplicate(name, wish.title)})

    return routes


def _questions(desk: Desk) -> APIRouter:
    routes = APIRouter(prefix=_PREFIX)

    @routes.get("/versions")
    def versions(request: Request, name: str) -> HTMLResponse:
        """Named versions, and the changes so far."""
        return HTMLResponse(versions_html(desk, Reader.of(request), desk.session(name), name))

    @routes.get("/whatif")
    def whatif(
        request: Request,
        name: str,
        key: Annotated[str, Query(max_length=80)],
        value: Annotated[str, Query(max_length=2000)],
    ) -> HTMLResponse:
        """What one change would move, without making it."""
        session = desk.session(name)
        before, after = session.outcome(), session.what_if(key, value)
        moved = moved_between(before, after) if before.solved and after.solved else ()
        gone, come = findings_apart(before, after)
        return desk.page(
            request,
            "whatif.html.j2",
            key=key,
            value=value,
            moved=moved,
            come=come,
            gone=gone,
            error=after.error,
        )

    @routes.get("/against")
    def against(request: Request, name: str, pin: Annotated[str, Query(max_length=200)] = "") -> HTMLResponse:
        """In which printed values the build differs from another state or build."""
        session, reader = desk.session(name), Reader.of(request)
        after = session.outcome()
        before, what = pinned_state(desk, reader, session, pin)
        if before is None or before.solved is None or after.solved is None:
            return HTMLResponse("")
        gone, come = findings_apart(before, after)
        moved = moved_between(before, after)
        return desk.page(
            request, "moved.html.j2", what=f"{what} →", moved=moved, come=come, gone=gone, lost=False
        )

    @routes.get("/difference")
    def difference(
        request: Request, name: str, pin: Annotated[str, Query(max_length=200)] = "before"
    ) -> HTMLResponse:
        """What turns a unit of another state or build into one of this, and what of the bench log stays."""
        session, reader = desk.session(name), Reader.of(request)
        after = session.outcome()
        before, what = pinned_state(desk, reader, session, pin)
        values: dict[str, Any] = {"found": None, "kept": (), "moved": (), "come": [], "gone": []}
        both = before is not None and before.solved is not None and after.solved is not None
        if both and before is not None and before.solved is not None and after.solved is not None:
            log = service.bench_log(session.path)
            found, kept = service.builds_apart(before.solved, after.solved, log)
            gone, come = findings_apart(before, after)
            moved = moved_between(before, after)
            acts = list(dict.fromkeys(change.act for change in found.changes))
            values = {"found": found, "kept": kept, "moved": moved, "come": come, "gone": gone, "acts": acts}
        return desk.page(
            request,
            "difference.html.j2",
            name=name,
            title=title_of(after, name),
            what=what,
            pin=pin,
            pins=[row for row in pins_of(desk, reader, session) if row[0]],
            error=(None if before is None else before.error) or after.error,
            **values,
        )

    @routes.get("/alternatives")
    def alternatives(request: Request, name: str, key: Annotated[str, Query(max_length=80)]) -> HTMLResponse:
        """The parts that could stand in this key's place, those at hand first."""
        kind = PARTS.get(key)
        if kind is None:
            raise SubwrightError(message=f"{key} names no part", quantity="key", value=repr(key))
        session = desk.session(name)
        return desk.page(request, "alternatives.html.j2", key=key, **alternatives_of(session, key, kind))

    @routes.get("/ids")
    def ids(name: str, key: Annotated[str, Query(max_length=80)]) -> JSONResponse:
        """The parts that can be written at a key: names and what they are, to choose from while typing."""
        build = desk.session(name).outcome().build
        drawer = None if build is None else drawer_of(build)
        rows = service.list_parts(PARTS[key], "", drawer) if key in PARTS else ()
        return JSONResponse([[row.id, row.description] for row in rows])

    @routes.get("/plot/{key}")
    def plot(
        request: Request,
        name: str,
        key: str,
        x_low: float | None = None,
        x_high: float | None = None,
        y_low: float | None = None,
        y_high: float | None = None,
        band: bool = True,
        pin: Annotated[str, Query(max_length=200)] = "",
        emf: Volts = None,
        wide: Wide = None,
    ) -> PlainTextResponse:
        """One plot over a range, with another state's curves behind it."""
        session, reader = desk.session(name), Reader.of(request)
        found = find_plot(session.outcome().sheets, key)
        if found is None:
            raise SubwrightError(message="there is no such plot", quantity="plot", value=repr(key))
        ranges = {"x_low": x_low, "x_high": x_high, "y_low": y_low, "y_high": y_high}
        wish = PlotWish(**ranges, band=band, emf_v=emf, width=wide)
        behind, behind_name = pinned_state(desk, reader, session, pin)
        other = None if behind is None or behind.solved is None else find_plot(behind.sheets, key)
        svg = redrawn(found, wish, other, behind_name, reader.language)
        return PlainTextResponse(svg, media_type="image/svg+xml")

    return routes


def _ascii(text: str) -> str:
    return "".join(c if c.isascii() and c.isprintable() and c not in '"\\' else "_" for c in text)
