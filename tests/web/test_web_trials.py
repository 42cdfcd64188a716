"""Simulation runs from the page: begun, watched, cancelled with the simulator's process gone, and kept."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, send, workbench

from patience import PATIENCE_S, wait_for
from subwright.build import experiments
from subwright.build.experiments import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Transient
from subwright.circuits.simulate import Engine, simulate
from subwright.outputs.schematic_blocks import blocks
from subwright.outputs.svg import Plot
from subwright.parts.library import Library
from subwright.web.trial_view import courses

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        yield found


def over(client: TestClient, job: str) -> dict[str, Any]:
    def state() -> dict[str, Any]:
        now: dict[str, Any] = client.get(f"/trials/{job}").json()
        return now if now["over"] else {}

    return wait_for(state, "the end of the run", 2 * PATIENCE_S)


@needs_ngspice
def test_a_run_is_shown_and_kept(client: TestClient) -> None:
    page = client.get(f"{EXAMPLE}/trials").text
    assert 'data-run="box-response"' in page
    assert "not run yet" in page
    job = client.post(f"{EXAMPLE}/trials", json={"names": ["box-response"]}).json()["job"]
    now = over(client, job)
    assert (now["error"], now["cancelled"], now["share"]) == (None, False, 1.0)
    html = client.get(f"/trials/{job}/result").text
    assert "impedance, 10 to 500 Hz" in html
    assert html.count("data-of=") >= 4
    assert "closed form" in html
    key = html.split('data-plot="')[1].split('"')[0]
    near = client.get(f"/trials/{job}/plot/{key}", params={"x_low": 30, "x_high": 90}).text
    assert 'data-x="log 30 90 Hz"' in near
    assert client.get(f"/trials/{job}/plot/9-9").status_code == 422
    again = client.get(f"{EXAMPLE}/trials").text
    assert '<li class="holds">' in again


@needs_ngspice
def test_results_of_another_state_are_marked(client: TestClient) -> None:
    over(client, client.post(f"{EXAMPLE}/trials", json={"names": ["box-response"]}).json()["job"])
    send(client, "/set", {"key": "enclosure.qtc", "value": "0.8"})
    page = client.get(f"{EXAMPLE}/trials").text
    assert '<li class="other-version">' in page
    assert "other version" in page
    assert "Found on other versions" in page


def test_an_experiment_that_is_none_and_a_job_that_is_none(client: TestClient) -> None:
    assert client.post(f"{EXAMPLE}/trials", json={"names": ["no-such"]}).status_code == 422
    assert client.post(f"{EXAMPLE}/trials", json={"engine": "a big one"}).status_code == 422
    for path in ("", "/result", "/plot/0-0"):
        assert client.get(f"/trials/nothing{path}").status_code == 422
    assert client.post("/trials/nothing/cancel").status_code == 422
    refused = client.post(f"{EXAMPLE}/trials", json={}, headers={"Origin": "http://evil.example"})
    assert refused.status_code == 403


def slow() -> Experiment:
    """A converter simulated for a minute of its own time: hours, unless somebody cancels."""

    def cases(design: Design, library: Library) -> tuple[Case, ...]:
        def run(engine: Engine, timeout_s: float) -> Outcome:
            block = next(b for b in blocks(design, library)[0] if b.key == "converter")
            assert isinstance(block.analysis, Transient)
            analysis = replace(block.analysis, stop_s=60.0, keep_from_s=59.999)
            simulate(block.circuit, analysis, block.probes, engine, timeout_s=timeout_s)
            raise AssertionError("it was not cancelled")

        return (Case(name="", run=run),)

    return Experiment(name="slow-one", block="box", title="Slow", about="Slow.", cases=cases)


def simulators() -> set[int]:
    """Processes of ngspice that this process started, at whatever depth."""
    found = set()
    for place in Path("/proc").iterdir():
        if place.name.isdigit():
            try:
                name = (place / "comm").read_text().strip()
                parent = int((place / "stat").read_text().rpartition(")")[2].split()[1])
            except (OSError, IndexError):
                continue
            if name == "ngspice" and parent == os.getpid():
                found.add(int(place.name))
    return found


@needs_ngspice
def test_cancelling_kills_the_simulator(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    one = slow()
    monkeypatch.setattr(experiments, "all_experiments", lambda: (one,))
    job = client.post(f"{EXAMPLE}/trials", json={"names": ["slow-one"]}).json()["job"]
    wait_for(simulators, "a simulator")
    now = client.get(f"/trials/{job}").json()
    assert (now["over"], now["share"]) == (False, 0.0)
    assert f'data-running="{job}"' in client.get(f"{EXAMPLE}/trials").text
    again = client.post(f"{EXAMPLE}/trials", json={"names": ["slow-one"]}).json()["job"]
    assert again == job  # a second window joins the run that is going
    assert client.get(f"/trials/{job}/result").status_code == 422
    client.post(f"/trials/{job}/cancel")
    assert over(client, job)["cancelled"] is True
    assert not simulators()
    assert "slow-one" not in client.get(f"{EXAMPLE}/file").text


@needs_ngspice
def test_closing_the_server_ends_the_simulators(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = slow()
    monkeypatch.setattr(experiments, "all_experiments", lambda: (one,))
    with workbench(tmp_path) as client:
        client.post(f"{EXAMPLE}/trials", json={})
        wait_for(simulators, "a simulator")
    wait_for(lambda: not simulators(), "the simulators' end")


def test_courses_keep_their_peaks_and_their_units() -> None:
    """Fifty thousand points drawn as some hundreds; a spike of one point must survive."""
    axis = np.linspace(0.0, 2e-3, 50_000)
    drain = np.sin(axis * 1e5)
    drain[31_234] = 55.0
    outcome = Outcome(
        checks=(Check(quantity="x", closed=1.0, simulated=1.0, unit="V", limit=0.1),),
        engine="ngspice",
        axis=axis,
        traces={"drain, V": drain, "drain by the closed form, V": drain, "coil, A": drain / 10.0},
    )
    plots = courses(outcome, "slow")
    assert all(isinstance(plot, Plot) for plot in plots)
    assert [plot.y.unit for plot in plots] == ["V", "A"]
    assert plots[0].x.unit == "ms"
    first, second = plots[0].series
    assert first.y.max() == 55.0
    assert first.x.size < 3000
    assert (first.style, second.style) == ("main", "dotted")
    at = float(first.x[np.argmax(first.y)])
    assert at == pytest.approx(1e3 * axis[31_234], rel=1e-9)
