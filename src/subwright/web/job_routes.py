"""The build pack as a job: begun by one request, watched by others, saved by the last."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Literal

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.web.desk import Desk
from subwright.web.refusals import error_json

__all__ = ["Form", "Jobs", "job_routes"]

_KEPT = 4


class Form(BaseModel):
    """What the pack is wanted as: an archive of every file, or a print on A4 or Letter paper."""

    model_config = ConfigDict(extra="forbid")

    form: Literal["zip", "a4", "letter"] = "zip"


@dataclass(kw_only=True, slots=True)
class _Job:
    """One pack being made."""

    file: str
    form: Literal["zip", "a4", "letter"] = "zip"
    doing: str = ""
    share: float = 0.0
    content: bytes = b""
    error: SubwrightError | None = None
    stamp: str = ""
    cancelled: bool = False

    def told(self, doing: str, share: float) -> None:
        if self.cancelled:
            raise SubwrightError(message="the pack was cancelled", remedy="make it again when you want it")
        self.doing, self.share = doing, share


@dataclass(kw_only=True, slots=True)
class Jobs:
    """The latest packs; older ones are forgotten."""

    held: OrderedDict[str, _Job] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, solved: service.Solved, file: str, form: Literal["zip", "a4", "letter"]) -> str:
        """Start making the pack of a design and return the job's name."""
        job = _Job(file=file, form=form, stamp="stop" if solved.has_stop else "")
        name = secrets.token_urlsafe(12)
        with self.lock:
            self.held[name] = job
            while len(self.held) > _KEPT:
                self.held.popitem(last=False)
        threading.Thread(target=_make, args=(job, solved), daemon=True).start()
        return name

    def of(self, name: str) -> _Job:
        """A job by name. Raises SubwrightError where it is unknown or forgotten."""
        with self.lock:
            job = self.held.get(name)
        if job is None:
            raise SubwrightError(message="there is no such pack any more", remedy="make it again")
        return job


def _make(job: _Job, solved: service.Solved) -> None:
    try:
        if job.form == "zip":
            content = service.pack_archive(solved, job.told)
        else:
            job.told("printing", 0.3)
            content = service.pack_pdf(solved, job.form)
        job.told("", 1.0)
        job.content = content  # last: whoever sees it finds all else in its final state
    except SubwrightError as error:
        job.error = error
    except Exception as error:  # whoever waits for the pack must be told, whatever went wrong
        job.error = SubwrightError(
            message=f"sorry, that is a fault in subwright itself ({type(error).__name__})",
            remedy="report it with the build file",
        )


def job_routes(desk: Desk) -> APIRouter:
    """Begin, watch, save."""
    routes, jobs = APIRouter(), Jobs()

    @routes.post("/b/{name}/pack")
    def begin(name: str, wanted: Form) -> JSONResponse:
        """Begin to make the pack."""
        session = desk.session(name)
        kind = "zip" if wanted.form == "zip" else "pdf"
        file = f"{session.path.name.removesuffix('.build.toml')}-pack.{kind}"
        outcome = session.outcome()
        solved = service.Solved(design=outcome.design, build=outcome.build)
        return JSONResponse({"job": jobs.begin(solved, file, wanted.form)})

    @routes.get("/jobs/{job}")
    def watch(job: str) -> JSONResponse:
        """How far it is."""
        found = jobs.of(job)
        error = None if found.error is None else error_json(found.error)
        return JSONResponse(
            {"doing": found.doing, "share": found.share, "ready": bool(found.content), "error": error}
            | {"stamp": found.stamp, "bytes": len(found.content)}
        )

    @routes.post("/jobs/{job}/cancel")
    def cancel(job: str) -> JSONResponse:
        """Make no more of it."""
        jobs.of(job).cancelled = True
        return JSONResponse({})

    @routes.get("/jobs/{job}/file")
    def save(job: str) -> Response:
        """The finished archive."""
        found = jobs.of(job)
        if not found.content:
            raise SubwrightError(message="the pack is not ready yet", remedy="wait until it is")
        plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in found.file)
        headers = {"Content-Disposition": f'attachment; filename="{plain}"'}
        media = "application/zip" if found.form == "zip" else "application/pdf"
        return Response(found.content, media_type=media, headers=headers)

    return routes
