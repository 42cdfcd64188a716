"""The pins, the Makefile and the checks runner: what a fresh clone relies on."""

from __future__ import annotations

import os
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PINS = sorted((ROOT / "requirements").glob("*.txt"))


def pinned(path: Path) -> dict[str, int]:
    """Package and version → number of hashes."""
    found: dict[str, int] = {}
    current = ""
    for line in path.read_text().splitlines():
        if match := re.match(r"([A-Za-z0-9._-]+==[A-Za-z0-9.+!-]+) \\$", line):
            current = match[1]
            found[current] = 0
        elif re.match(r" {4}--hash=sha256:[0-9a-f]{64}( \\)?$", line):
            found[current] += 1
        else:
            assert re.match(r"^ *#", line), f"{path.name}: {line!r} is neither pin, hash nor comment"
    return found


def wanted(path: Path) -> set[str]:
    lines = (line.split("#")[0].strip() for line in path.read_text().splitlines())
    return {line for line in lines if line and not line.startswith("-")}


def test_there_are_pins_for_users_for_developers_and_for_outside_data() -> None:
    assert [path.name for path in PINS] == ["build.txt", "demo.txt", "dev.txt", "reference.txt"]


@pytest.mark.parametrize("path", PINS, ids=lambda path: path.name)
def test_every_pin_has_hashes_and_nothing_else_is_in_the_file(path: Path) -> None:
    pins = pinned(path)
    assert pins
    assert all(count >= 1 for count in pins.values()), pins


@pytest.mark.parametrize("path", sorted((ROOT / "requirements").iterdir()), ids=lambda path: path.name)
def test_no_address_and_no_path_of_a_machine(path: Path) -> None:
    text = path.read_text()
    assert not re.search(r"://|--index|--extra|--find|--trusted|/opt/|/home/|/work/|/root/|/tmp/", text)


def test_a_user_gets_what_the_tests_ran_with() -> None:
    assert set(pinned(ROOT / "requirements/demo.txt")) <= set(pinned(ROOT / "requirements/dev.txt"))


def test_runtime_list_is_the_one_in_pyproject() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    assert wanted(ROOT / "requirements/runtime.in") == set(project["project"]["dependencies"])
    assert set(project["build-system"]["requires"]) <= wanted(ROOT / "requirements/build.in")


@pytest.mark.parametrize("path", PINS, ids=lambda path: path.name)
def test_make_installs_every_pin_file_with_its_hashes(path: Path) -> None:
    rows = [
        row for row in (ROOT / "Makefile").read_text().splitlines() if f"-r requirements/{path.name}" in row
    ]
    assert rows
    assert all("--require-hashes" in row for row in rows)


def test_every_wanted_package_is_pinned() -> None:
    names = {
        re.sub(r"[-_.]+", "-", pin.split("==")[0]).lower() for pin in pinned(ROOT / "requirements/dev.txt")
    }
    for source in (ROOT / "requirements").glob("*.in"):
        for line in wanted(source):
            name = re.split(r"[<>=!~\[;]", line)[0].strip()
            assert re.sub(r"[-_.]+", "-", name).lower() in names, f"{line} in {source.name} is not pinned"


def test_checks_runner_is_a_strict_script() -> None:
    script = ROOT / ".ci/run"
    assert os.access(script, os.X_OK)
    assert "set -euo pipefail" in script.read_text()
    subprocess.run(["bash", "-n", str(script)], check=True)


@pytest.mark.parametrize("target", ["demo", "test", "lint", "help"])
def test_make_knows_its_targets(target: str) -> None:
    plan = subprocess.run(
        ["make", "--dry-run", "--always-make", target], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert plan.stdout.strip()
    assert "://" not in plan.stdout


def test_make_tells_when_python_is_missing() -> None:
    made = subprocess.run(
        ["make", "--always-make", "VENV=/nonexistent/venv", "PYTHON=", "/nonexistent/venv/bin/python"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 2
    assert "subwright needs Python 3.11 or later" in made.stderr
