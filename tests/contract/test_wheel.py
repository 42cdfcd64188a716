"""The wheel holds everything that the code reads at run time, and nothing else."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from codebase import PACKAGE, ROOT

BUILD = "import sys, hatchling.build; print(hatchling.build.build_wheel(sys.argv[1]))"


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    target = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-c", BUILD, str(target)], cwd=ROOT, check=True, capture_output=True, timeout=300
    )
    (wheel,) = target.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def wanted() -> set[str]:
    files = (path for path in PACKAGE.rglob("*") if path.is_file())
    return {
        path.relative_to(PACKAGE.parent).as_posix()
        for path in files
        if "__pycache__" not in path.parts and not path.name.startswith(".")
    }


def test_every_file_of_the_package_is_in_the_wheel(names: set[str]) -> None:
    assert not wanted() - names


def test_typing_marker_bibliography_and_licence_are_in_it(names: set[str]) -> None:
    assert "subwright/py.typed" in names
    for file in ("standards", "practice", "power", "analog", "acoustics"):
        assert f"subwright/base/bibliography/{file}.toml" in names
    assert any(name.endswith("LICENSE") for name in names)


@pytest.mark.parametrize(("folder", "suffix"), [("parts/data", ".toml"), ("outputs/templates", "")])
def test_data_and_templates_are_in_it(names: set[str], folder: str, suffix: str) -> None:
    if not (PACKAGE / folder).exists():
        pytest.skip(f"there is no {folder} yet")
    found = [name for name in names if name.startswith(f"subwright/{folder}/") and name.endswith(suffix)]
    assert found


def test_nothing_else_is_in_it(names: set[str]) -> None:
    strange = [name for name in names if Path(name).parts[0] != "subwright" and ".dist-info" not in name]
    assert not strange
    assert not [name for name in names if "__pycache__" in name or "test" in Path(name).parts]
