"""The command line starts fast, because it imports little."""

from __future__ import annotations

import importlib.util
import os
import resource
import subprocess
import sys

import pytest

HELP_SECONDS = 0.3
BEST_OF = 5

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("subwright.cli") is None
    or importlib.util.find_spec("subwright.cli.main") is None,
    reason="there is no command line yet",
)


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"PYTHONWARNINGS": "error", "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, check=True, env=environment, timeout=60
    )


def test_start_up_leaves_the_slow_libraries_alone() -> None:
    done = run("-c", "import sys, subwright.cli.main; print('\\n'.join(sys.modules))")
    loaded = set(done.stdout.split())
    slow = {"scipy.signal", "scipy", "matplotlib", "numba", "fastapi", "uvicorn", "typst", "ezdxf"}
    assert not loaded & slow


def test_help_is_printed_in_time() -> None:
    """Processor time of the child, best of five: wall time would measure what else the machine does."""
    used = []
    for _ in range(BEST_OF):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = run("-c", "from subwright.cli.main import main; main()", "--help")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        assert "subwright" in done.stdout.lower()
        if used[-1] <= HELP_SECONDS:
            break
    assert min(used) <= HELP_SECONDS, f"--help took {min(used):.2f} s of processor time at best"
