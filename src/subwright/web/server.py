"""The workbench's server: routes, errors, static files, and the one place that listens."""

from __future__ import annotations

import gc
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles

from subwright import service
from subwright.base.errors import InputError, SubwrightError
from subwright.session import Conflict
from subwright.web.bench_routes import bench_routes
from subwright.web.board_routes import board_routes
from subwright.web.build_routes import build_routes
from subwright.web.circuit_routes import circuit_routes
from subwright.web.desk import Desk, Reader
from subwright.web.folder_routes import folder_routes
from subwright.web.glance import Glances
from subwright.web.job_routes import job_routes
from subwright.web.refusals import error_json
from subwright.web.security import Guard, Rules
from subwright.web.trial_jobs import Trials
from subwright.web.trial_routes import trial_routes
from subwright.web.trying_routes import trying_routes
from subwright.workspace import Workspace

__all__ = ["create_app", "listen"]

_COLLECTED: Final = (100_000, 20, 100)
"""Objects and rounds after which Python looks for cycles, while it serves."""


def create_app(workspace: Workspace, rules: Rules) -> Guard:
    """The application with its guard.

    Parameters
    ----------
    workspace : the folder of builds.
    rules : who may talk to it.
    """
    desk, glances = Desk(workspace=workspace, rules=rules), Glances(workspace=workspace)
    trials: Trials[service.Verification] = Trials()
    boards: Trials[service.Boards] = Trials(what="making of boards")

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        yield
        trials.stop_all()
        boards.stop_all()
        glances.close()
        desk.recordings.close()
        workspace.close()

    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=life)
    app.include_router(folder_routes(desk, glances))
    app.include_router(job_routes(desk))
    app.include_router(bench_routes(desk))
    app.include_router(circuit_routes(desk))
    app.include_router(trial_routes(desk, trials))
    app.include_router(board_routes(desk, boards))
    app.include_router(trying_routes(desk))
    app.include_router(build_routes(desk))
    static = Path(str(files("subwright.web").joinpath("static")))
    app.mount("/static", StaticFiles(directory=static, follow_symlink=False), name="static")

    def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, SubwrightError)
        status = 409 if isinstance(error, Conflict) else 422
        if error.message.startswith("there is no build") or "name of a file" in error.message:
            status = 404
        return _told(desk, request, status, error)

    def misshapen(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"][1:])
        said = SubwrightError(message="the request can't be read", quantity=place, value=str(first["msg"]))
        return _told(desk, request, 422, said)

    def fault(request: Request, error: Exception) -> Response:
        said = SubwrightError(
            message=f"sorry, that is a fault in subwright itself ({type(error).__name__})",
            remedy="go back and try another way; please report it with the build file",
        )
        return _told(desk, request, 500, said)

    app.add_exception_handler(Exception, fault)
    app.add_exception_handler(SubwrightError, refused)
    app.add_exception_handler(RequestValidationError, misshapen)
    app.add_exception_handler(InputError, refused)
    return Guard(app=app, rules=rules)


def _told(desk: Desk, request: Request, status: int, error: SubwrightError) -> Response:
    """An error as JSON to our own scripts, as a page to a reader who followed an address."""
    if request.headers.get("x-workbench"):
        said = error_json(error, Reader.of(request).plain)
        return JSONResponse({"error": said}, status_code=status)
    return desk.page(
        request, "message.html.j2", status, error=error, reader_words=Reader.of(request).language
    )


def listen(app: Guard, place: socket.socket, ready: Callable[[], None]) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    app : from `create_app`.
    place : a socket bound to the address to listen on.
    ready : called once when it listens.
    """
    import uvicorn

    # A design is many small objects that live on, and hardly a cycle: looking through them all every few
    # edits costs more than the edits' own pages.
    gc.set_threshold(*_COLLECTED)

    class _Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                ready()

    config = uvicorn.Config(
        app,
        log_level="error",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=2,
        lifespan="on",
    )
    _Server(config).run(sockets=[place])
