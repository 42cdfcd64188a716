"""The command line starts fast, because it imports little."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys

import pytest

from patience import PATIENCE_S, assert_within, children_s

HELP_SECONDS = 0.3

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("subwright.cli") is None
    or importlib.util.find_spec("subwright.cli.main") is None,
    reason="there is no command line yet",
)


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONWARNINGS": "error", "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
        timeout=PATIENCE_S,
    )


def test_start_up_leaves_the_slow_libraries_alone() -> None:
    done = run("-c", "import sys, subwright.cli.main; print('\\n'.join(sys.modules))")
    loaded = set(done.stdout.split())
    slow = {"scipy.signal", "scipy", "matplotlib", "numba", "fastapi", "uvicorn", "typst", "ezdxf"}
    assert not loaded & slow


def test_help_is_printed_in_time() -> None:
    """Processor time of the child: wall time would measure what else the machine does."""

    def help_() -> None:
        done = run("-c", "from subwright.cli.main import main; main()", "--help")
        assert "subwright" in done.stdout.lower()

    assert_within(HELP_SECONDS, lambda: children_s(help_))
