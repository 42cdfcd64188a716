"""Simulations of a build's circuits beside the closed forms: choose, run, watch, cancel, see."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse
from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.experiments import experiment_named
from subwright.circuits.simulate import CancelledError
from subwright.outputs.print_code import design_code
from subwright.outputs.svg import Plot
from subwright.service.verifying import saved_results
from subwright.web.desk import Desk
from subwright.web.pane import Wide
from subwright.web.plotting import PlotWish, redrawn
from subwright.web.refusals import error_json
from subwright.web.trial_jobs import Trial, Trials
from subwright.web.trial_view import case_rows, courses, earlier, standings

__all__ = ["Wanted", "trial_routes"]


class Wanted(BaseModel):
    """Which experiments to run (none: all), and on which engine ("" for the one at hand)."""

    model_config = ConfigDict(extra="forbid")

    names: list[str] = Field(default_factory=list, max_length=60)
    engine: Literal["", "ngspice", "embedded", "both"] = ""


def trial_routes(desk: Desk, trials: Trials[service.Verification]) -> APIRouter:
    """The page under ``/b/{name}/trials`` and the runs under ``/trials/{job}``."""
    routes = APIRouter()
    routes.include_router(_of_build(desk, trials))
    routes.include_router(_of_run(desk, trials))
    return routes


def _of_build(desk: Desk, trials: Trials[service.Verification]) -> APIRouter:
    routes = APIRouter(prefix="/b/{name}/trials")

    @routes.get("")
    def page(request: Request, name: str) -> HTMLResponse:
        """What can be simulated, what was, and what came of it."""
        solved = desk.session(name).outcome().solution
        code = design_code(solved.design)
        designs = saved_results(solved)
        offered = service.experiments(solved)
        running = trials.running(name)
        return desk.page(
            request,
            "trials.html.j2",
            name=name,
            title=solved.design.spec.name,
            code=code,
            offered=offered,
            blocks=list(dict.fromkeys(one.block for one in offered)),
            standings=standings(designs, code),
            kept=service.verified_sheet(solved),
            earlier=earlier(designs, code),
            engines=service.engines_here(),
            running="" if running is None else running.name,
        )

    @routes.get("/kept")
    def kept(request: Request, name: str) -> HTMLResponse:
        """The results kept beside the build file."""
        solved = desk.session(name).outcome().solution
        designs = saved_results(solved)
        return desk.page(
            request,
            "trials_kept.html.j2",
            kept=service.verified_sheet(solved),
            earlier=earlier(designs, design_code(solved.design)),
        )

    @routes.post("")
    def begin(name: str, wanted: Wanted) -> JSONResponse:
        """Start a run; a build that has one going goes on with that."""
        solved = desk.session(name).outcome().solution
        known = {one.name for one in service.experiments(solved)}
        strange = [one for one in wanted.names if one not in known]
        if strange:
            raise SubwrightError(
                message="this build has no such experiment", quantity="experiment", value=", ".join(strange)
            )

        def run(trial: Trial[service.Verification]) -> service.Verification:
            return service.verify(
                solved,
                names=tuple(wanted.names),
                engine=wanted.engine,
                progress=trial.told,
                cancel=trial.cancel.is_set,
            )

        return JSONResponse({"job": trials.begin(name, run).name})

    return routes


def _of_run(desk: Desk, trials: Trials[service.Verification]) -> APIRouter:
    routes = APIRouter(prefix="/trials/{job}")

    @routes.get("")
    def watch(job: str) -> JSONResponse:
        """How far it is."""
        trial = trials.of(job)
        cancelled = isinstance(trial.error, CancelledError)
        return JSONResponse(
            {
                "doing": trial.doing,
                "share": trial.share,
                "seconds": round(trial.seconds, 1),
                "over": trial.over,
                "cancelled": cancelled,
                "error": None if trial.error is None or cancelled else error_json(trial.error),
                "experiments": [] if trial.found is None else list(case_rows(trial.found.ran)),
            }
        )

    @routes.post("/cancel")
    def cancel(job: str) -> JSONResponse:
        """End it; the simulators' processes are killed."""
        trials.of(job).cancel.set()
        return JSONResponse({})

    @routes.get("/result")
    def result(request: Request, job: str, wide: Wide = None) -> HTMLResponse:
        """Both routes side by side, and the courses."""
        trial = trials.of(job)
        found = _found(trial)
        drawn = [
            {
                "key": f"{at}-{number}",
                "svg": redrawn(plot, PlotWish(width=wide)),
                "experiment": experiment,
                "of": of,
            }
            for at, number, plot, experiment, of in _drawn(found)
        ]
        titles = {one.experiment: experiment_named(one.experiment).title for one in found.ran}
        return desk.page(
            request,
            "trials_result.html.j2",
            job=job,
            cases=case_rows(found.ran),
            titles=titles,
            left_out=found.left_out,
            unsaved=found.unsaved,
            drawn=drawn,
        )

    @routes.get("/plot/{at}-{number}")
    def plot(
        job: str,
        at: int,
        number: int,
        x_low: float | None = None,
        x_high: float | None = None,
        wide: Wide = None,
    ) -> PlainTextResponse:
        """One plot of a run over a range."""
        for a, n, found, _, _ in _drawn(_found(trials.of(job))):
            if (a, n) == (at, number):
                svg = redrawn(found, PlotWish(x_low=x_low, x_high=x_high, width=wide))
                return PlainTextResponse(svg, media_type="image/svg+xml")
        raise SubwrightError(message="there is no such plot", quantity="plot", value=f"{at}-{number}")

    return routes


def _found(trial: Trial[service.Verification]) -> service.Verification:
    if trial.found is None:
        raise trial.error or SubwrightError(
            message="the simulation is not over yet", remedy="wait until it is"
        )
    return trial.found


def _drawn(found: service.Verification) -> list[tuple[int, int, Plot, str, str]]:
    """Every plot of a run: number of the case, number of the plot, the plot, its experiment, of what."""
    rows = []
    for at, one in enumerate(found.ran):
        if one.outcome is None:
            continue
        of = ", ".join(word for word in (one.case, one.engine) if word)
        for number, drawn in enumerate(courses(one.outcome, one.case or one.experiment)):
            rows.append((at, number, drawn, one.experiment, of))
    return rows
