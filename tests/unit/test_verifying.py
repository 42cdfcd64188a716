"""Running experiments: in parallel, cancelled, out of time, without a simulator; kept whatever happens."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from patience import wait_for
from subwright import service
from subwright.base.errors import InputError, SubwrightError
from subwright.build import experiments as registry
from subwright.build.experiments import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Circuit, Part, Steady
from subwright.circuits.ngspice import Ngspice
from subwright.circuits.simulate import CancelledError, Engine, simulate
from subwright.outputs.verified import read_verified, verified_path
from subwright.parts.library import Library
from subwright.service import verifying

EXAMPLES = Path(__file__).parents[2] / "examples"
SLEEP_S = 900
GOOD = Check(quantity="rail", closed=30.0, simulated=30.1, unit="V", limit=0.02)
DIVIDER = Circuit(
    name="divider",
    parts=(
        Part(
            designator="BENCH_SOURCE",
            kind="voltage source",
            nets=("in", "0"),
            value=Steady(value=1.0),
            standing="bench",
        ),
        Part(designator="R1", kind="resistor", nets=("in", "0"), value=1e3, role="load", part_id="1k"),
    ),
)


def experiment(name: str, *cases: Case, block: str = "box", embedded: bool = True) -> Experiment:
    def of(_design: Design, _library: Library) -> tuple[Case, ...]:
        return cases

    return Experiment(name=name, block=block, title=name, about="for tests", cases=of, embedded=embedded)


def fine(name: str = "", check: Check = GOOD) -> Case:
    return Case(name=name, run=lambda engine, timeout_s: Outcome(checks=(check,), engine=engine.name))


def simulated(name: str) -> Case:
    def run(engine: Engine, timeout_s: float) -> Outcome:
        run_s = Transient(stop_s=1e-3, step_s=1e-4)
        simulate(DIVIDER, run_s, [Voltage("in")], engine, timeout_s=timeout_s)
        return Outcome(checks=(GOOD,), engine=engine.name)

    return Case(name=name, run=run)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> service.Solved:
    folder = tmp_path_factory.mktemp("van")
    for path in EXAMPLES.glob("storyteller-van.*.toml"):
        shutil.copy(path, folder)
    return service.solve(folder / "storyteller-van.build.toml")


@pytest.fixture
def van(made: service.Solved) -> Iterator[service.Solved]:
    yield made
    assert made.build is not None
    verified_path(made.build.path).unlink(missing_ok=True)


@pytest.fixture
def slow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """In place of the simulator: one that notes its process and would run for a quarter of an hour."""
    program = tmp_path / "slow"
    notes = tmp_path / "started"
    notes.mkdir()
    program.write_text(f"#!/bin/sh\ntouch {notes}/$$\nexec sleep {SLEEP_S}\n", encoding="utf-8")
    program.chmod(0o755)
    one_engine(monkeypatch, str(program))
    return notes


def one_engine(monkeypatch: pytest.MonkeyPatch, program: str) -> None:
    monkeypatch.setattr(
        verifying,
        "_engine",
        lambda name, cancel=None: Ngspice(program=program, cancel=cancel or (lambda: False)),
    )


def only(monkeypatch: pytest.MonkeyPatch, *found: Experiment) -> None:
    monkeypatch.setattr(registry, "all_experiments", lambda: found)


def saved(van: service.Solved) -> list[tuple[str, str]]:
    assert van.build is not None
    designs = read_verified(verified_path(van.build.path))
    return [(one.experiment, one.case) for design in designs for one in design.results]


def test_every_experiment_is_well_formed(van: service.Solved) -> None:
    found = registry.all_experiments()
    assert found == registry.EXPERIMENTS
    assert len({one.name for one in found}) == len(found)
    for one in found:
        assert one.name == one.name.lower().replace(" ", "-")
        assert one.block in registry.BLOCKS, f"{one.name}: add the block '{one.block}' to BLOCKS"
        assert one.title
        assert one.about.endswith(".")
    offered = service.experiments(van)
    assert "box-response" in {one.name for one in offered}
    for row in offered:
        assert len(set(row.cases)) == len(row.cases), row.name
        assert len(row.cases) == 1 or all(row.cases), row.name


def test_blocks_come_from_battery_to_air(monkeypatch: pytest.MonkeyPatch) -> None:
    ranks = [registry.BLOCKS.index(one.block) for one in registry.all_experiments()]
    assert ranks == sorted(ranks)
    with pytest.raises(SubwrightError, match=r"no such experiment.*box-response"):
        registry.experiment_named("trip")


def test_rows_come_in_the_order_of_the_experiments(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch
) -> None:
    def late(engine: Engine, timeout_s: float) -> Outcome:
        time.sleep(0.1)
        return Outcome(checks=(GOOD,), engine=engine.name)

    only(monkeypatch, experiment("a", Case(name="late", run=late), fine("early")), experiment("b", fine()))
    told: list[tuple[str, float]] = []
    done = service.verify(van, progress=lambda what, share: told.append((what, share)), jobs=2)
    assert [(row.experiment, row.case) for row in done.rows] == [("a", "late"), ("a", "early"), ("b", "")]
    assert [share for _, share in told] == pytest.approx([0.0, 1 / 3, 2 / 3, 1.0])
    assert {what for what, _ in told} == {"simulating", "a: late", "a: early", "b"}
    assert (done.failed, done.broken) == ((), ())
    assert saved(van) == [("a", "late"), ("a", "early"), ("b", "")]


def test_a_broken_limit_is_told(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", fine(), fine("bad", replace(GOOD, simulated=31.0))))
    done = service.verify(van)
    (row,) = done.broken
    assert (row.case, row.ok, row.difference) == ("bad", False, pytest.approx(1 / 30))
    assert [one.holds for one in done.ran] == [True, False]


def test_one_failure_leaves_the_others_alone(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(engine: Engine, timeout_s: float) -> Outcome:
        raise SubwrightError(message="it said: singular")

    def breaks(engine: Engine, timeout_s: float) -> Outcome:
        raise ZeroDivisionError("0")

    only(
        monkeypatch,
        experiment("a", Case(name="x", run=refuses), Case(name="y", run=breaks), fine("z")),
    )
    done = service.verify(van)
    assert [str(one.error) for one in done.failed] == [
        "it said: singular",
        "sorry, that is a fault in subwright itself (ZeroDivisionError: 0) Remedy: report it with the build "
        "file",
    ]
    assert [row.case for row in done.rows] == ["z"]
    assert saved(van) == [("a", "z")]


def test_a_failure_takes_no_earlier_result_away(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", fine()))
    service.verify(van)

    def refuses(engine: Engine, timeout_s: float) -> Outcome:
        raise SubwrightError(message="it said: singular")

    only(monkeypatch, experiment("a", Case(name="", run=refuses)))
    assert len(service.verify(van).failed) == 1
    assert saved(van) == [("a", "")]


def test_cancelled_from_outside_every_process_ends_and_the_finished_is_kept(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch, slow: Path
) -> None:
    only(monkeypatch, experiment("a", fine("done"), *(simulated(f"{k}") for k in range(4))))
    cancel = threading.Event()

    def watch(what: str, share: float) -> None:
        if what == "a: done":
            wait_for(lambda: list(slow.iterdir()), "a simulator")
            cancel.set()

    start = time.monotonic()
    with pytest.raises(CancelledError, match="cancelled"):
        service.verify(van, progress=watch, cancel=cancel.is_set, jobs=2)
    assert time.monotonic() - start < SLEEP_S / 2.0  # it did not wait for what sleeps
    assert all(not Path(f"/proc/{note.name}").exists() for note in slow.iterdir())
    assert saved(van) == [("a", "done")]


def test_interrupted_every_process_ends(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch, slow: Path
) -> None:
    only(monkeypatch, experiment("a", fine("done"), *(simulated(f"{k}") for k in range(4))))

    def interrupt(what: str, share: float) -> None:
        if what == "a: done":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        service.verify(van, progress=interrupt, jobs=2)
    assert all(not Path(f"/proc/{note.name}").exists() for note in slow.iterdir())
    assert saved(van) == [("a", "done")]


def test_out_of_time_is_that_cases_error(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch, slow: Path
) -> None:
    only(monkeypatch, experiment("a", simulated("x"), fine("y")))
    done = service.verify(van, timeout_s=0.2)
    (failed,) = done.failed
    assert "more than 0.2 s" in str(failed.error)
    assert [row.case for row in done.rows] == ["y"]


def test_one_experiment_by_name_with_its_courses(van: service.Solved) -> None:
    if service.engines_here()["ngspice"]:
        pytest.skip("NOT CHECKED BY SIMULATION: ngspice is missing.")
    (ran,) = service.run_experiment(van, "box-response", engine="ngspice", save=False)
    assert ran.outcome is not None
    assert ran.outcome.axis_unit == "Hz"
    assert all(course.shape == ran.outcome.axis.shape for course in ran.outcome.traces.values())
    assert ran.holds
    assert saved(van) == []


def test_a_case_by_name(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", fine("x"), fine("y")))
    monkeypatch.setattr(registry, "experiment_named", lambda name: None)
    assert [one.case for one in service.run_experiment(van, "a", case="y", save=False)] == ["y"]
    with pytest.raises(SubwrightError, match=r"no such case.*limit x, y"):
        service.run_experiment(van, "a", case="z")


@pytest.mark.parametrize(
    ("asked", "complaint"),
    [
        ({"names": ("trip",)}, "no such experiment.*experiment is trip"),
        ({"engine": "other"}, "no such engine.*limit ngspice, embedded, both"),
    ],
)
def test_what_is_not_there_is_refused(asked: dict[str, object], complaint: str, van: service.Solved) -> None:
    with pytest.raises(SubwrightError, match=complaint):
        service.verify(van, **asked)  # type: ignore[arg-type]


def test_a_design_without_the_block_is_told(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", fine()), experiment("none"))
    monkeypatch.setattr(registry, "experiment_named", lambda name: None)
    assert [one.name for one in service.experiments(van)] == ["a"]
    with pytest.raises(SubwrightError, match="nothing that the experiment could be made on"):
        service.run_experiment(van, "none")


def test_without_a_simulator_it_says_how_to_get_one(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch
) -> None:
    only(monkeypatch, experiment("a", fine()))
    one_engine(monkeypatch, "no-such-program")
    for engine in ("", "ngspice", "both"):
        with pytest.raises(SubwrightError, match=r"No simulation without a simulator: .*apt install ngspice"):
            service.verify(van, engine=engine)  # type: ignore[arg-type]


def test_an_engine_that_can_not_is_left_out(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    one_engine(monkeypatch, "sh")
    only(monkeypatch, experiment("a", fine(), embedded=False), experiment("b", fine()))
    done = service.verify(van, engine="both", save=False)
    assert done.left_out == (("a", "embedded"),)
    assert [(row.experiment, row.engine) for row in done.rows] == [
        ("a", "ngspice"),
        ("b", "ngspice"),
        ("b", "embedded"),
    ]
    only(monkeypatch, experiment("a", fine(), embedded=False))
    with pytest.raises(SubwrightError, match="No engine at hand can run"):
        service.verify(van, engine="embedded")


def test_results_that_can_not_be_kept_are_shown_all_the_same(
    van: service.Solved, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, text: str) -> None:
        raise InputError(message="no space left on device")

    only(monkeypatch, experiment("a", fine()))
    monkeypatch.setattr("subwright.outputs.verified.save_atomically", full)
    done = service.verify(van)
    assert str(done.unsaved) == "no space left on device"
    assert len(done.rows) == 1


def test_a_spoilt_file_is_told_before_the_work(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", Case(name="", run=lambda engine, timeout_s: pytest.fail("ran"))))
    assert van.build is not None
    verified_path(van.build.path).write_text("{", encoding="utf-8")
    with pytest.raises(InputError, match="is no JSON"):
        service.verify(van)


def test_a_design_without_a_file_keeps_nothing(van: service.Solved, monkeypatch: pytest.MonkeyPatch) -> None:
    only(monkeypatch, experiment("a", fine()))
    bare = replace(van.design, spec=van.design.spec.model_copy(update={"drawer": None}))
    done = service.verify(service.Solved(design=bare))
    assert (len(done.rows), done.unsaved) == (1, None)
    assert saved(van) == []
