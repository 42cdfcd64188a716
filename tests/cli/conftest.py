from __future__ import annotations

import contextlib
import io
import os
import shutil
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest
from cli_support import COMMAND, EXAMPLES, Command

from patience import PATIENCE_S
from subwright.cli import main

ASK_WHAT_IT_ANSWERS = {
    "test_bench_commands",
    "test_box_cmd",
    "test_core_commands",
    "test_driver_measure",
    "test_errors",
    "test_fitted_command",
    "test_json",
}
"""Files that ask what a command answers, not how its process behaves: it runs here, without a start."""


@pytest.fixture
def subwright(request: pytest.FixtureRequest, tmp_path: Path) -> Command:
    """Run the command in an empty folder with a plain environment, in its own process where it matters."""
    run = _here if request.module.__name__ in ASK_WHAT_IT_ANSWERS else _apart

    def call(*arguments: str | Path, **extra: str) -> subprocess.CompletedProcess[str]:
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "PYTHONPATH") if name in os.environ}
        return run(list(map(str, arguments)), tmp_path, {**kept, "LC_ALL": "C.UTF-8", **extra})

    return call


def _apart(
    arguments: list[str], folder: Path, environment: dict[str, str]
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *arguments],
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=5 * PATIENCE_S,
        check=False,
    )


def _here(
    arguments: list[str], folder: Path, environment: dict[str, str]
) -> subprocess.CompletedProcess[str]:
    out, err = io.StringIO(), io.StringIO()
    with (
        Path(os.devnull).open() as nothing,
        mock.patch.object(sys, "stdin", nothing),
        mock.patch.dict(os.environ, environment, clear=True),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = main.run(arguments)
    return subprocess.CompletedProcess(arguments, code, out.getvalue(), err.getvalue())


@pytest.fixture
def van(tmp_path: Path) -> Path:
    """A copy of the van example with its drawer file."""
    for name in ("storyteller-van.build.toml", "storyteller-van.drawer.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "storyteller-van.build.toml"
