"""``subwright verify``: table, exit codes, engines, Ctrl-C, and the file it leaves."""

from __future__ import annotations

import ctypes
import json
import os
import shutil
import signal
import subprocess
from pathlib import Path

import pytest
from cli_support import COMMAND, Command, hear_interrupts, terminal

from patience import PATIENCE_S, wait_for

ROW = {
    "block", "experiment", "case", "quantity", "unit", "closed", "simulated", "difference", "limit",
    "absolute", "ok", "engine", "seconds",
}  # fmt: skip

pytestmark = pytest.mark.spice


@pytest.fixture(autouse=True)
def _needs_ngspice() -> None:
    if not shutil.which("ngspice"):
        if os.environ.get("CI"):
            pytest.fail("ngspice is missing in CI")
        pytest.skip("NOT CHECKED BY SIMULATION: ngspice is missing.")


def test_the_table_the_exit_code_and_the_file(subwright: Command, van: Path) -> None:
    done = subwright("verify", van, "--experiment", "box-response")
    assert done.returncode == 0, done.stderr
    assert "box: box-response" in done.stdout
    assert "4 comparisons: all hold" in done.stdout
    kept = van.with_name("storyteller-van.verified.json")
    assert done.stderr == f"Kept in {kept}; the pack shows it.\n"
    assert json.loads(kept.read_text(encoding="utf-8"))["format"] == 1


def test_json(subwright: Command, van: Path) -> None:
    done = subwright("verify", van, "--experiment", "box-response", "--engine", "both", "--json")
    told = json.loads(done.stdout)
    assert told["engines"] == ["ngspice", "embedded"]
    assert {row["engine"] for row in told["rows"]} == {"ngspice", "embedded"}
    assert all(set(row) == ROW for row in told["rows"])
    assert (told["failed"], told["left_out"]) == ([], [])


def test_listing_needs_no_simulator(subwright: Command, van: Path, tmp_path: Path) -> None:
    done = subwright("verify", van, "--list", PATH=str(tmp_path))
    assert done.returncode == 0
    assert "box-response" in done.stdout
    assert "apt install ngspice" in " ".join(done.stdout.split())
    assert not van.with_name("storyteller-van.verified.json").exists()


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (["--engine", "spiffy"], "no such engine"),
        (["--experiment", "trip"], "no such experiment"),
        (["--timeout", "0 s"], "the time to finish"),
        (["--timeout", "5 V"], "time"),
    ],
)
def test_what_can_not_be_is_refused(
    options: list[str], complaint: str, subwright: Command, van: Path
) -> None:
    done = subwright("verify", van, *options)
    assert done.returncode == 2
    assert complaint in done.stderr
    assert "Traceback" not in done.stderr


def test_without_ngspice_the_reference_is_missed(subwright: Command, van: Path, tmp_path: Path) -> None:
    done = subwright("verify", van, "--engine", "ngspice", PATH=str(tmp_path))
    assert done.returncode == 2
    assert "apt install ngspice" in done.stderr


def stand_in(folder: Path, script: str) -> dict[str, str]:
    """A folder to search first, with another program in ngspice's place."""
    bin_ = folder / "bin"
    bin_.mkdir()
    program = bin_ / "ngspice"
    program.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    program.chmod(0o755)
    return {"PATH": f"{bin_}:{os.environ['PATH']}"}


def test_a_simulator_that_fails_is_no_traceback(subwright: Command, van: Path, tmp_path: Path) -> None:
    extra = stand_in(tmp_path, "echo 'Error: no memory' >&2; exit 1")
    done = subwright("verify", van, "--experiment", "box-response", "--engine", "ngspice", **extra)
    assert done.returncode == 2
    assert "1 case could not be run" in done.stdout
    assert "box-response, ngspice: ngspice gave no answer to trust" in done.stderr
    assert "no memory" in done.stderr


def test_out_of_time(subwright: Command, van: Path, tmp_path: Path) -> None:
    extra = stand_in(tmp_path, "exec sleep 900")
    done = subwright(
        "verify", van, "--experiment", "box-response", "--engine", "ngspice", "--timeout", "300 ms", **extra
    )
    assert done.returncode == 2
    assert "more than 0.3 s" in done.stderr


def interrupt(process: subprocess.Popen[str], *, main_thread: bool) -> None:
    """Interrupt one thread of a process: the kernel may choose any of them for a Ctrl-C."""
    if main_thread:
        process.send_signal(signal.SIGINT)
        return
    threads = [int(task.name) for task in Path(f"/proc/{process.pid}/task").iterdir()]
    other = next(thread for thread in threads if thread != process.pid)
    libc = ctypes.CDLL(None, use_errno=True)
    assert libc.tgkill(process.pid, other, signal.SIGINT) == 0, os.strerror(ctypes.get_errno())


@pytest.mark.parametrize("main_thread", [True, False])
def test_interrupted_it_ends_its_simulators_and_says_nothing(
    main_thread: bool, van: Path, tmp_path: Path
) -> None:
    notes = tmp_path / "notes"
    notes.mkdir()
    extra = stand_in(tmp_path, f"touch {notes}/$$\nexec sleep 900")
    with subprocess.Popen(
        [*COMMAND, "verify", str(van), "--engine", "ngspice"],
        env={**os.environ, **extra},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=hear_interrupts,
    ) as process:
        wait_for(lambda: list(notes.iterdir()), "a simulator")
        interrupt(process, main_thread=main_thread)
        out, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert (out, err) == ("", "")
    assert all(not Path(f"/proc/{note.name}").exists() for note in notes.iterdir())
    assert not van.with_name("storyteller-van.verified.json").exists()


def test_a_terminal_sees_how_far_it_is(van: Path, tmp_path: Path) -> None:
    extra = stand_in(tmp_path, "sleep 1.5; exit 1")
    with terminal("verify", van, "--experiment", "box-response", "--engine", "ngspice", **extra) as screen:
        assert screen.finish() == 2
    assert b"simulating" in screen.seen
