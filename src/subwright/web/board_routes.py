"""Printed boards of a build: made in the background, looked at, saved as files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.circuits.simulate import CancelledError
from subwright.outputs.archive import zipped
from subwright.outputs.board_drawing import assembly_svg
from subwright.outputs.board_files import PRINT
from subwright.outputs.board_lists import stuffing_rows, wire_rows
from subwright.outputs.cautions import before_etching, before_wiring_a_board
from subwright.outputs.made_board import KeptBoards, MadeBoard, plain_value_mm
from subwright.session import BuildSession
from subwright.web.desk import Desk
from subwright.web.refusals import error_json
from subwright.web.trial_jobs import Trial, Trials

__all__ = ["BoardView", "Making", "board_routes"]


class Making(BaseModel):
    """Which boards to make (none: all that are still to be made)."""

    model_config = ConfigDict(extra="forbid")

    keys: list[str] = Field(default_factory=list, max_length=60)


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardView:
    """A board as its page shows it."""

    key: str
    title: str
    svg: str
    size: str
    gap: str
    parts: int
    links: int
    sleeved: int
    fitting: tuple[tuple[str, ...], ...]
    wires: tuple[tuple[str, str, str], ...]
    off_board: tuple[tuple[str, str], ...]


def board_routes(desk: Desk, boards: Trials[service.Boards]) -> APIRouter:
    """The page under ``/b/{name}/boards`` and the work under ``/boards/{job}``."""
    routes = APIRouter()
    routes.include_router(_of_build(desk, boards))
    routes.include_router(_of_work(boards))
    return routes


def _of_build(desk: Desk, boards: Trials[service.Boards]) -> APIRouter:
    routes = APIRouter(prefix="/b/{name}/boards")

    @routes.get("")
    def page(request: Request, name: str) -> HTMLResponse:
        """The boards that there are, and what is still to be made."""
        session = desk.session(name)
        solved = session.outcome().solution
        kept = service.kept_boards(solved)
        current = service.current_boards(solved)
        wanted, without = service.wanted_boards(solved, session.outcome().circuits)
        made = () if current is None else current.boards
        done = {one.board.key for one in made}
        running = boards.running(name)
        return desk.page(
            request,
            "boards.html.j2",
            name=name,
            title=solved.design.spec.name,
            state="other" if kept is not None and current is None else "" if made else "none",
            made=[_view(one) for one in made],
            missing=[(one.key, one.title) for one in wanted if one.key not in done],
            without=without,
            cautions=(before_etching(), before_wiring_a_board()),
            running="" if running is None else running.name,
        )

    @routes.post("")
    def begin(name: str, wanted: Making) -> JSONResponse:
        """Start making boards; a build whose boards are in the making goes on with those."""
        solved = desk.session(name).outcome().solution

        def run(job: Trial[service.Boards]) -> service.Boards:
            return service.make_boards(
                solved, keys=tuple(wanted.keys), progress=job.told, cancel=job.cancel.is_set
            )

        return JSONResponse({"job": boards.begin(name, run).name})

    @routes.get("/print.pdf")
    def printed(name: str, paper: Literal["a4", "letter"] = "a4") -> Response:
        """All boards at true size."""
        solved = desk.session(name).outcome().solution
        files = service.board_files(solved, _current(solved).boards, paper=paper)
        return _saved(files[PRINT], f"{_file_name(desk.session(name))}-boards.pdf", "application/pdf")

    @routes.get("/files.zip")
    def archive(name: str, block: str = "") -> Response:
        """Every board's files, or those of one."""
        solved = desk.session(name).outcome().solution
        made = [one for one in _current(solved).boards if block in ("", one.board.key)]
        if not made:
            raise SubwrightError(message="there is no such board", quantity="block", value=block)
        content = zipped(service.board_files(solved, made))
        name_of = made[0].board.key if block else "boards"
        return _saved(content, f"{_file_name(desk.session(name))}-{name_of}.zip", "application/zip")

    return routes


def _of_work(boards: Trials[service.Boards]) -> APIRouter:
    routes = APIRouter(prefix="/boards/{job}")

    @routes.get("")
    def watch(job: str) -> JSONResponse:
        """How far it is."""
        work = boards.of(job)
        cancelled = isinstance(work.error, CancelledError)
        failed = () if work.found is None else work.found.failed
        unsaved = None if work.found is None else work.found.unsaved
        error = unsaved if work.error is None or cancelled else work.error
        return JSONResponse(
            {
                "doing": work.doing,
                "share": work.share,
                "seconds": round(work.seconds, 1),
                "over": work.over,
                "cancelled": cancelled,
                "error": None if error is None else error_json(error),
                "failed": [f"{key}: {why}" for key, why in failed],
            }
        )

    @routes.post("/cancel")
    def cancel(job: str) -> JSONResponse:
        """End it after the attempt at hand; boards that are done stay."""
        boards.of(job).cancel.set()
        return JSONResponse({})

    return routes


def _current(solved: service.Solved) -> KeptBoards:
    kept = service.current_boards(solved)
    if kept is None or not kept.boards:
        raise SubwrightError(message="this design has no boards yet", remedy="make them first")
    return kept


def _view(made: MadeBoard) -> BoardView:
    board = made.board
    return BoardView(
        key=board.key,
        title=board.title,
        svg=assembly_svg(board, inline=True),
        size=f"{board.width_um / 1000:.1f} × {board.height_um / 1000:.1f} mm",
        gap=plain_value_mm(made.least_gap_um) if made.least_gap_um else "",
        parts=len(board.placed),
        links=len(board.links),
        sleeved=sum(link.insulated for link in board.links),
        fitting=tuple(row[1:] for row in stuffing_rows(board)),
        wires=wire_rows(board),
        off_board=made.off_board,
    )


def _file_name(session: BuildSession) -> str:
    stem = session.path.name.removesuffix(".toml").removesuffix(".build")
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in stem)


def _saved(content: bytes, name: str, media: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media, headers=headers)
