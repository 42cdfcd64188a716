"""``subwright serve`` from the outside: what it refuses, and that it answers where it says."""

from __future__ import annotations

import os
import subprocess
import sys
import urllib.request
from collections.abc import Mapping
from pathlib import Path

import pytest

from subwright.cli import main

COMMAND = (sys.executable, "-m", "subwright", "serve")


def environment(extra: Mapping[str, str] | None = None) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "PYTHONPATH") if name in os.environ}
    return {**kept, "LC_ALL": "C.UTF-8", **(extra or {})}


def refused(*arguments: str, token: str = "") -> str:
    done = subprocess.run(
        [*COMMAND, *arguments, "--no-browser"],
        env=environment({"SUBWRIGHT_TOKEN": token}),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    return done.stderr


def test_it_does_not_listen_to_the_world_without_a_token(tmp_path: Path) -> None:
    assert "token" in refused(str(tmp_path), "--host", "192.0.2.7")
    assert "at least 16" in refused(str(tmp_path), "--host", "192.0.2.7", token="short")


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("x")
    assert "not a folder" in refused(str(file))


def test_it_answers_where_it_says(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [*COMMAND, str(tmp_path / "new folder"), "--no-browser"],
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:")
        with urllib.request.urlopen(address + "builds", timeout=20) as page:
            assert b"<h1>" in page.read()
        port = address.rstrip("/").rpartition(":")[2]
        assert "no port is free" in refused(str(tmp_path), "--port", port)
    finally:
        process.terminate()
        process.communicate(timeout=20)
    assert (tmp_path / "new folder").is_dir()


def test_the_bare_name_on_a_terminal_opens_the_workbench(monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[list[str]] = []
    monkeypatch.setattr(main, "app", lambda args, **_: called.append(args) or 0)
    monkeypatch.setattr(main.sys.stdin, "isatty", lambda: True, raising=False)
    assert main.run([]) == 0
    monkeypatch.setattr(main.sys.stdin, "isatty", lambda: False, raising=False)
    assert main.run([]) == 0
    assert called == [["serve"], []]
