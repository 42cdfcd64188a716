"""Every test that is written is run."""

from __future__ import annotations

from fnmatch import fnmatch
from pathlib import Path

import pytest

TESTS = Path(__file__).parent.parent


def test_no_folder_of_tests_is_left_out(pytestconfig: pytest.Config) -> None:
    """Seen with pytest's own defaults: they leave out every folder called "build"."""
    patterns = pytestconfig.getini("norecursedirs")
    folders = {path.parent for path in TESTS.rglob("test_*.py")}
    names = {part for folder in folders for part in folder.relative_to(TESTS).parts}
    assert not [name for name in names if any(fnmatch(name, pattern) for pattern in patterns)]
