"""Routes of the folder: its builds and drawers, the guided start, what is taken in, the reader's wishes."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.quantities import dimension_of, words_of
from subwright.base.sources import bibliography
from subwright.base.units import show
from subwright.stages.driver_recording_file import write_sweep_file
from subwright.web.catalogue import LANGUAGES
from subwright.web.desk import Desk, Reader, style_sheet
from subwright.web.glance import Glances
from subwright.web.guided import Answers, answers_to_keys, guided_choices
from subwright.web.linking import place_of
from subwright.web.measuring import Runs, fitted
from subwright.workspace import EXAMPLE, check_size

__all__ = ["Back", "Name", "Stock", "Wanted", "Wish", "folder_routes"]

_SWEEP = {"low_hz": 10.0, "high_hz": 2000.0, "length_s": 10.0, "rate_hz": 44_100.0, "peak": 0.5}
_YEAR_S = 31_536_000
_MOST_PARTS = 40
_GLANCE_PATIENCE_S = 5.0  # then the page asks again: a proxy or a sleeping tablet may have given up


class Wish(BaseModel):
    """How the reader wants to see things."""

    model_config = ConfigDict(extra="forbid")

    name: str
    value: str


class Stock(BaseModel):
    """How many of a part lie in a drawer."""

    model_config = ConfigDict(extra="forbid")

    part: str = Field(max_length=120)
    quantity: int = Field(ge=0, le=100_000)


class Name(BaseModel):
    """A name for a drawer."""

    model_config = ConfigDict(extra="forbid")

    title: str = Field(min_length=1, max_length=80)


class Wanted(BaseModel):
    """Builds whose figures are wanted."""

    model_config = ConfigDict(extra="forbid")

    names: list[Annotated[str, Field(max_length=100)]] = Field(max_length=2000)


class Back(BaseModel):
    """Which build to bring back."""

    model_config = ConfigDict(extra="forbid")

    key: str = Field(min_length=1, max_length=160)


def folder_routes(desk: Desk, glances: Glances) -> APIRouter:
    """The routes at the top."""
    routes = APIRouter()
    routes.include_router(_pages(desk, glances))
    routes.include_router(_drawers(desk))
    routes.include_router(_taking_in(desk))
    return routes


def _pages(desk: Desk, glances: Glances) -> APIRouter:
    routes = APIRouter()

    @routes.get("/")
    def first() -> Response:
        """The latest build; the example where there is none."""
        builds = desk.workspace.builds()
        return RedirectResponse(f"/b/{builds[0].name if builds else EXAMPLE}", status_code=303)

    @routes.get("/builds")
    def builds(request: Request) -> HTMLResponse:
        """What the folder holds; figures that are not known yet follow by `glance`."""
        rows = desk.workspace.builds()
        known = glances.look([row.name for row in rows])
        return desk.page(
            request,
            "builds.html.j2",
            folder=str(desk.workspace.folder),
            builds=rows,
            glances=known,
            waiting=sum(1 for found in known.values() if found is None),
            drawers=desk.workspace.drawers(),
            aside=desk.workspace.aside(),
        )

    @routes.post("/builds/glance")
    def glance(request: Request, wanted: Wanted) -> JSONResponse:
        """Figures of builds as they become known, by name; asked again for those that are still missing."""
        reader = Reader.of(request)
        found = glances.wait(wanted.names, _GLANCE_PATIENCE_S)
        return JSONResponse(
            {
                name: desk.fragment(reader, "glance.html.j2", glance=one)
                for name, one in found.items()
                if one is not None
            }
        )

    @routes.post("/b/{name}/rename")
    def rename(name: str, wanted: Name) -> JSONResponse:
        """Another title, and files named after it."""
        return JSONResponse({"name": desk.workspace.rename(name, wanted.title)})

    @routes.post("/b/{name}/remove")
    def remove(name: str) -> JSONResponse:
        """Lay a build aside; it can be brought back."""
        return JSONResponse({"key": desk.workspace.remove(name)})

    @routes.post("/aside/back")
    def back(wanted: Back) -> JSONResponse:
        """Bring a build back that was laid aside."""
        return JSONResponse({"name": desk.workspace.bring_back(wanted.key)})

    @routes.get("/new")
    def guided(request: Request) -> HTMLResponse:
        """Five questions that lead to a whole first design."""
        return desk.page(request, "guided.html.j2", drawers=desk.workspace.drawers(), **guided_choices())

    @routes.post("/new")
    def start(answers: Answers) -> JSONResponse:
        """The first design, from the answers."""
        keys = answers_to_keys(answers)
        if answers.parts and answers.drawer == "pick":
            file = desk.workspace.free_drawer(answers.name)
            for part, quantity in answers.parts.items():
                desk.workspace.set_stock(file, part, quantity)
            keys["drawer"] = file
        elif answers.drawer not in ("", "pick"):
            keys["drawer"] = desk.workspace.drawer_path(answers.drawer).name
        return JSONResponse({"name": desk.workspace.first_design(keys)})

    @routes.post("/view")
    def view(wish: Wish) -> Response:
        """Remember the reader's language, units or paper in a cookie."""
        allowed = {"language": LANGUAGES, "units": ("metric", "inch"), "paper": ("light", "dark", "system")}
        if wish.value not in allowed.get(wish.name, ()):
            raise SubwrightError(message="there is no such view", quantity=wish.name, value=repr(wish.value))
        answer = JSONResponse({})
        answer.set_cookie(wish.name, wish.value, max_age=_YEAR_S, path="/", httponly=True, samesite="strict")
        return answer

    @routes.get("/look.css")
    def look() -> Response:
        """The style sheet."""
        return Response(style_sheet(), media_type="text/css", headers={"cache-control": "no-cache"})

    @routes.get("/explain")
    def explain_all(request: Request) -> HTMLResponse:
        """Everything that can be explained."""
        return _explained(desk, request, "")

    @routes.get("/explain/{code}")
    def explain(request: Request, code: str) -> HTMLResponse:
        """The page of a finding, a key or a source."""
        return _explained(desk, request, code)

    return routes


def _explained(desk: Desk, request: Request, code: str) -> HTMLResponse:
    """A dialog's content for the workbench's scripts, a whole page for a tab of its own."""
    within = bool(request.headers.get("x-workbench"))
    return desk.page(
        request,
        "explain.html.j2" if within else "explain_page.html.j2",
        page=service.explain(code),
        works=bibliography(),
        place_of=place_of,
        within=within,
        how="keys" if within else "pages",
    )


def _drawers(desk: Desk) -> APIRouter:
    routes = APIRouter(prefix="/drawer")

    @routes.post("")
    def new_drawer(name: Name) -> JSONResponse:
        """An empty drawer."""
        return JSONResponse({"file": desk.workspace.new_drawer(name.title)})

    @routes.get("/{file}")
    def drawer(request: Request, file: str) -> HTMLResponse:
        """What lies in a drawer."""
        return desk.page(
            request, "drawer.html.j2", file=file, **_contents(desk, file), kinds=service.part_kinds()
        )

    @routes.get("/{file}/parts")
    def parts(
        request: Request, file: str, kind: str, words: Annotated[str, Query(max_length=100)] = ""
    ) -> HTMLResponse:
        """Parts of the library that could be put in."""
        rows = service.list_parts(kind, words, desk.workspace.drawer_path(file))
        return desk.page(
            request, "drawer_parts.html.j2", rows=rows[:_MOST_PARTS], left=max(0, len(rows) - _MOST_PARTS)
        )

    @routes.post("/{file}")
    def stock(request: Request, file: str, stock: Stock) -> HTMLResponse:
        """Set how many of a part are at hand."""
        desk.workspace.set_stock(file, stock.part, stock.quantity)
        return desk.page(request, "drawer_rows.html.j2", **_contents(desk, file))

    return routes


def _contents(desk: Desk, file: str) -> dict[str, Any]:
    drawer, rows = service.list_drawer(desk.workspace.drawer_path(file))
    return {"drawer": drawer, "rows": rows}


def _taking_in(desk: Desk) -> APIRouter:
    routes = APIRouter()

    @routes.post("/take-in")
    async def take_in(request: Request, file: Annotated[str, Query(max_length=120)]) -> JSONResponse:
        """A build or drawer file made elsewhere; it is read as data and never run."""
        text = check_size(await request.body())
        plain = Path(file.replace("\\", "/")).name
        if plain.endswith(".drawer.toml"):
            return JSONResponse({"drawer": desk.workspace.add_drawer(text, plain)})
        return JSONResponse({"name": desk.workspace.add(text, plain)})

    @routes.post("/recording")
    async def recording(request: Request) -> JSONResponse:
        """A sound recording of a sweep, kept until it is evaluated; it is read as samples and never run."""
        return JSONResponse({"recording": await desk.recordings.keep(request.stream())})

    @routes.get("/sweep.wav")
    def sweep() -> Response:
        """The measuring sweep to play."""
        with tempfile.TemporaryDirectory(prefix="subwright-") as place:
            path = Path(place) / "sweep.wav"
            write_sweep_file(path, **_SWEEP)
            content = path.read_bytes()
        headers = {"Content-Disposition": 'attachment; filename="subwright-sweep.wav"'}
        return Response(content, media_type="audio/wav", headers=headers)

    @routes.post("/measure")
    def measure(request: Request, runs: Runs) -> HTMLResponse:
        """The driver's parameters from dropped impedance tables."""
        with tempfile.TemporaryDirectory(prefix="subwright-") as place:
            found = fitted(Path(place), runs, desk.recordings)
        values = [
            (words_of(name), *(show(v, dimension_of(name)) for v in (e.value, e.low, e.high)))
            for name, e in found.measured.values.items()
        ]
        return desk.page(request, "measured.html.j2", found=found, values=values)

    return routes
