from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from cli_support import COMMAND, EXAMPLES, Command

from patience import PATIENCE_S


@pytest.fixture
def subwright(tmp_path: Path) -> Command:
    """Run the command in a process of its own, in an empty folder, with a plain environment."""

    def call(*arguments: str | Path, **extra: str) -> subprocess.CompletedProcess[str]:
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "PYTHONPATH") if name in os.environ}
        return subprocess.run(
            [*COMMAND, *map(str, arguments)],
            cwd=tmp_path,
            env={**kept, "LC_ALL": "C.UTF-8", **extra},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=5 * PATIENCE_S,
            check=False,
        )

    return call


@pytest.fixture
def van(tmp_path: Path) -> Path:
    """A copy of the van example with its drawer file."""
    for name in ("storyteller-van.build.toml", "storyteller-van.drawer.toml"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    return tmp_path / "storyteller-van.build.toml"
