"""A design checked by simulation: named experiments on its circuits, run on the simulators at hand."""

from __future__ import annotations

import datetime
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from subwright.base.errors import SubwrightError
from subwright.service.solved import Progress, Solved, library_of, processors, quiet

if TYPE_CHECKING:
    from subwright.build.experiments import Case, Experiment, Outcome
    from subwright.circuits.simulate import Engine
    from subwright.outputs.verified import SavedDesign
    from subwright.outputs.views import Sheet

__all__ = [
    "ENGINES",
    "TIMEOUT_S",
    "EngineChoice",
    "Offered",
    "Ran",
    "Verification",
    "VerifiedRow",
    "engines_here",
    "experiments",
    "run_experiment",
    "saved_results",
    "verified_sheet",
    "verify",
]

EngineChoice = Literal["", "ngspice", "embedded", "both"]
"""Who simulates; "" is ngspice where it is installed, else the embedded engine."""

ENGINES: Final = ("ngspice", "embedded")
TIMEOUT_S: Final = 60.0
_GLANCE_S: Final = 0.1  # how long an interrupt may go unseen


@dataclass(frozen=True, kw_only=True, slots=True)
class Offered:
    """An experiment that a design can undergo.

    Attributes
    ----------
    name, block, title, about : of the experiment.
    cases : names of its cases, "" where there is one only.
    embedded : whether the embedded engine can run it too.
    """

    name: str
    block: str
    title: str
    about: str
    cases: tuple[str, ...]
    embedded: bool


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Ran:
    """One case on one engine: either an outcome or an error.

    Attributes
    ----------
    experiment, block, case : which. engine : "ngspice" or "embedded".
    outcome : checks and courses; None where it failed. error : why it failed. seconds : it took.
    """

    experiment: str
    block: str
    case: str
    engine: str
    seconds: float
    outcome: Outcome | None = None
    error: SubwrightError | None = None

    @property
    def holds(self) -> bool:
        """Whether it ran and every check is within its limit."""
        return self.outcome is not None and all(check.holds for check in self.outcome.checks)


@dataclass(frozen=True, kw_only=True, slots=True)
class VerifiedRow:
    """One quantity by two routes: a line of the table.

    Attributes
    ----------
    closed, simulated : in ``unit``.
    difference, limit : shares of ``closed``, or in ``unit`` where ``absolute``.
    seconds : the whole case took.
    """

    block: str
    experiment: str
    case: str
    quantity: str
    unit: str
    closed: float
    simulated: float
    difference: float
    limit: float
    absolute: bool
    ok: bool
    engine: str
    seconds: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Verification:
    """What a design's experiments came to.

    Attributes
    ----------
    ran : every case on every engine, in order. engines : that simulated.
    left_out : experiments that an engine can't run, as (experiment, engine).
    unsaved : why the results could not be kept beside the build file; None where they were.
    """

    ran: tuple[Ran, ...]
    engines: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...] = ()
    unsaved: SubwrightError | None = None

    @property
    def rows(self) -> tuple[VerifiedRow, ...]:
        """The table, in order of the blocks."""
        return tuple(row for one in self.ran for row in _rows(one))

    @property
    def failed(self) -> tuple[Ran, ...]:
        """Cases that gave no answer."""
        return tuple(one for one in self.ran if one.error is not None)

    @property
    def broken(self) -> tuple[VerifiedRow, ...]:
        """Rows beyond their limit."""
        return tuple(row for row in self.rows if not row.ok)


def engines_here() -> dict[str, str]:
    """Why each engine can't run here, by its name; "" where it can."""
    return {name: _engine(name).missing() for name in ENGINES}


def experiments(solved: Solved) -> tuple[Offered, ...]:
    """The experiments that a design can undergo, in order of the blocks."""
    return tuple(
        Offered(
            name=experiment.name,
            block=experiment.block,
            title=experiment.title,
            about=experiment.about,
            cases=tuple(case.name for case in cases),
            embedded=experiment.embedded,
        )
        for experiment, cases in _offered(solved)
    )


def run_experiment(
    solved: Solved,
    name: str,
    *,
    engine: EngineChoice = "",
    case: str | None = None,
    progress: Progress = quiet,
    cancel: Callable[[], bool] | None = None,
    timeout_s: float = TIMEOUT_S,
    save: bool = True,
) -> tuple[Ran, ...]:
    """Run one named experiment and return its cases with their courses.

    Parameters
    ----------
    solved : the design. name : of the experiment. engine : who simulates.
    case : one case only, by its name. progress : told the case at work and the share done.
    cancel : asked while a simulator runs; true ends the simulator's process. An event's ``is_set`` will do.
    timeout_s : patience for each simulation, s. save : keep the results beside the build file.

    Returns
    -------
    Each case on each engine; one that failed holds its error.

    Raises
    ------
    CancelledError : ``cancel`` said so.
    SubwrightError : the design has no such experiment or case, or the engine is not installed.
    """
    return verify(
        solved,
        names=(name,),
        engine=engine,
        case=case,
        progress=progress,
        cancel=cancel,
        timeout_s=timeout_s,
        save=save,
    ).ran


def verify(
    solved: Solved,
    *,
    names: Sequence[str] = (),
    engine: EngineChoice = "",
    case: str | None = None,
    progress: Progress = quiet,
    cancel: Callable[[], bool] | None = None,
    timeout_s: float = TIMEOUT_S,
    jobs: int | None = None,
    save: bool = True,
) -> Verification:
    """Run a design's experiments, several simulators at a time.

    What was finished is kept beside the build file, even when the run is cancelled or breaks off.

    Parameters
    ----------
    solved : the design. names : experiments to run; () for all. engine : who simulates.
    case : one case only, by its name. progress : told the case just done and the share done.
    cancel : asked while simulators run; true ends their processes. timeout_s : for each simulation, s.
    jobs : simulators at a time; None for one a processor. save : keep the results beside the build file.

    Returns
    -------
    Verification; a case that failed is among its ``failed``.

    Raises
    ------
    CancelledError : ``cancel`` said so.
    InputError : results of earlier are there and can't be used.
    SubwrightError : the design has no such experiment or case, or an engine is not installed.
    """
    from subwright.circuits.simulate import CancelledError

    if save:
        saved_results(solved)  # a file that can't be used is told of before the work, not after it
    chosen = _chosen(engine)
    stopped = False

    def stop() -> bool:
        return stopped or (cancel is not None and cancel())

    tasks, left_out = _tasks(_picked(solved, names, case), chosen)
    engines = {name: _engine(name, stop) for name in chosen}
    if not tasks:
        raise SubwrightError(
            message="No engine at hand can run what was asked for.",
            quantity="experiment",
            value=", ".join(names) or "all",
            limit=", ".join(chosen),
            remedy="Choose the engine ngspice.",
        )
    ran: dict[int, Ran] = {}
    pool = ThreadPoolExecutor(max_workers=jobs or processors())
    try:
        waiting: dict[Future[Ran], int] = {
            pool.submit(_run, experiment, case_, name, engines[name], timeout_s): number
            for number, (experiment, case_, name) in enumerate(tasks)
        }
        progress("simulating", 0.0)
        for done in _as_they_end(waiting):
            one = done.result()
            ran[waiting[done]] = one
            progress(_told(one), len(ran) / len(tasks))
            if isinstance(one.error, CancelledError):
                raise one.error
    finally:
        stopped = True
        pool.shutdown(wait=True, cancel_futures=True)
        results = tuple(ran[k] for k in sorted(ran))
        unsaved = _keep(solved, results) if save else None
    return Verification(ran=results, engines=chosen, left_out=left_out, unsaved=unsaved)


def verified_sheet(solved: Solved) -> Sheet:
    """The page "Checked by simulation" as the pack shows it: what was found, or that nothing was run.

    Raises
    ------
    InputError : the file with the results can't be used.
    """
    from subwright.outputs.sheet_checked import checked_sheet

    return checked_sheet(solved.design, library_of(solved), saved_results(solved))


def saved_results(solved: Solved) -> tuple[SavedDesign, ...]:
    """Every result kept beside the build file, () where there is none. Raises `InputError` for a bad one."""
    from subwright.outputs.verified import read_verified, verified_path

    return read_verified(verified_path(solved.build.path)) if solved.build is not None else ()


def _as_they_end(futures: Iterable[Future[Ran]]) -> Iterator[Future[Ran]]:
    """Each future when it is done, never waiting long at a time.

    An interrupt that another thread of the process takes, or that comes just before this one falls asleep,
    doesn't wake it: Python would see it only when the next simulator ends.
    """
    pending = set(futures)
    while pending:
        done, pending = wait(pending, timeout=_GLANCE_S, return_when=FIRST_COMPLETED)
        yield from done


def _keep(solved: Solved, ran: Sequence[Ran]) -> SubwrightError | None:
    """Save what was found; why it can't be, where it can't."""
    from subwright.outputs.print_code import design_code
    from subwright.outputs.verified import Saved, save_verified, verified_path

    if solved.build is None:
        return None
    at = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    results = [
        Saved(
            experiment=one.experiment,
            block=one.block,
            case=one.case,
            engine=one.engine,
            seconds=one.seconds,
            at=at,
            checks=one.outcome.checks,
        )
        for one in ran
        if one.outcome is not None
    ]
    try:
        save_verified(verified_path(solved.build.path), design_code(solved.design), results)
    except SubwrightError as error:
        return error
    return None


def _told(one: Ran) -> str:
    return f"{one.experiment}: {one.case}" if one.case else one.experiment


def _rows(one: Ran) -> Iterator[VerifiedRow]:
    for check in one.outcome.checks if one.outcome is not None else ():
        yield VerifiedRow(
            block=one.block,
            experiment=one.experiment,
            case=one.case,
            quantity=check.quantity,
            unit=check.unit,
            closed=check.closed,
            simulated=check.simulated,
            difference=check.difference,
            limit=check.limit,
            absolute=check.absolute,
            ok=check.holds,
            engine=one.engine,
            seconds=one.seconds,
        )


def _engine(name: str, cancel: Callable[[], bool] | None = None) -> Engine:
    from subwright.circuits.embedded import Embedded
    from subwright.circuits.ngspice import Ngspice
    from subwright.circuits.simulate import never

    made: Engine = Ngspice(cancel=cancel or never) if name == "ngspice" else Embedded(cancel=cancel or never)
    return made


def _chosen(engine: str) -> tuple[str, ...]:
    """Names of the engines to use, all of them installed."""
    if engine not in ("", "both", *ENGINES):
        raise SubwrightError(
            message="There is no such engine.",
            quantity="engine",
            value=engine,
            limit="ngspice, embedded, both",
        )
    missing = engines_here()
    if engine == "":
        present = tuple(name for name in ENGINES if not missing[name])
        wanted = present[:1] or ENGINES
    else:
        wanted = ENGINES if engine == "both" else (engine,)
    absent = [why for name in wanted if (why := missing[name])]
    if absent:
        raise SubwrightError(
            message=f"No simulation without a simulator: {'; '.join(absent)}.",
            quantity="circuit simulator",
            value=", ".join(name for name in wanted if missing[name]),
            remedy="Install it, or choose the other engine; the design itself doesn't need it.",
        )
    return wanted


def _offered(solved: Solved) -> Iterator[tuple[Experiment, tuple[Case, ...]]]:
    from subwright.build.experiments import all_experiments

    library = library_of(solved)
    for experiment in all_experiments():
        cases = experiment.cases(solved.design, library)
        if cases:
            yield experiment, cases


def _picked(
    solved: Solved, names: Sequence[str], case: str | None
) -> Iterable[tuple[Experiment, tuple[Case, ...]]]:
    from subwright.build.experiments import experiment_named

    for name in names:
        experiment_named(name)
    offered = [(experiment, cases) for experiment, cases in _offered(solved)]
    have = {experiment.name for experiment, _ in offered}
    absent = [name for name in names if name not in have]
    if absent:
        raise SubwrightError(
            message="This design has nothing that the experiment could be made on.",
            quantity="experiment",
            value=", ".join(absent),
            limit=", ".join(sorted(have)),
        )
    picked = [(experiment, cases) for experiment, cases in offered if not names or experiment.name in names]
    if case is None:
        return picked
    known = [one.name for _, cases in picked for one in cases]
    if case not in known:
        raise SubwrightError(
            message="The experiment has no such case.",
            quantity="case",
            value=case,
            limit=", ".join(name or "(unnamed)" for name in known),
        )
    return [(experiment, tuple(one for one in cases if one.name == case)) for experiment, cases in picked]


def _tasks(
    picked: Iterable[tuple[Experiment, tuple[Case, ...]]], chosen: tuple[str, ...]
) -> tuple[list[tuple[Experiment, Case, str]], tuple[tuple[str, str], ...]]:
    """Every case on every engine that can run it, and the pairs left out."""
    tasks, left_out = [], []
    for experiment, cases in picked:
        for name in chosen:
            if name == "embedded" and not experiment.embedded:
                left_out.append((experiment.name, name))
            else:
                tasks += [(experiment, case, name) for case in cases]
    return tasks, tuple(left_out)


def _run(experiment: Experiment, case: Case, name: str, engine: Engine, timeout_s: float) -> Ran:
    """One case; whatever goes wrong becomes its error."""
    start = time.perf_counter()
    outcome: Outcome | None = None
    failure: SubwrightError | None = None
    try:
        outcome = case.run(engine, timeout_s)
    except SubwrightError as error:
        failure = error
    except Exception as error:  # the other cases go on
        failure = SubwrightError(
            message=f"sorry, that is a fault in subwright itself ({type(error).__name__}: {error})",
            remedy="report it with the build file",
        )
    return Ran(
        experiment=experiment.name,
        block=experiment.block,
        case=case.name,
        engine=name,
        seconds=time.perf_counter() - start,
        outcome=outcome,
        error=failure,
    )
