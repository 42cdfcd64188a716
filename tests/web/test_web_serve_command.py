"""``subwright serve`` from the outside: what it refuses, and that it answers where it says."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Mapping
from pathlib import Path

import pytest

from patience import PATIENCE_S
from subwright.base.errors import SubwrightError
from subwright.cli import main, serve_cmd
from subwright.cli.serve_cmd import _bound

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
        timeout=2 * PATIENCE_S,
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
        with urllib.request.urlopen(address + "builds", timeout=PATIENCE_S) as page:
            assert b"<h1>" in page.read()
        port = address.rstrip("/").rpartition(":")[2]
        with _bound("127.0.0.1", 0) as other:  # whoever comes second gets the next
            assert other.getsockname()[1] != int(port)
        assert "no port is free" in refused(str(tmp_path), "--port", port)
    finally:
        process.terminate()
        process.communicate(timeout=PATIENCE_S)
    assert (tmp_path / "new folder").is_dir()


def test_two_that_start_at_once_get_two_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    """The port is held from the moment it was found free, before the first listens for good."""
    monkeypatch.setattr(serve_cmd, "PORT", _free_from(20_000))
    with _bound("127.0.0.1", 0) as one, _bound("127.0.0.1", 0) as two:
        assert one.getsockname()[1] < two.getsockname()[1]
        with pytest.raises(SubwrightError, match="no port is free"):
            _bound("127.0.0.1", one.getsockname()[1])


def _free_from(start: int) -> int:
    """The first of twenty ports of which the first two are free."""
    for port in range(start + os.getpid() % 5_000, 32_000, 2):
        try:
            with _bound("127.0.0.1", port), _bound("127.0.0.1", port + 1):
                return port
        except SubwrightError:
            continue
    raise AssertionError("no two ports are free")


def test_the_bare_name_on_a_terminal_opens_the_workbench(monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[list[str]] = []
    monkeypatch.setattr(main, "app", lambda args, **_: called.append(args) or 0)
    monkeypatch.setattr(main.sys.stdin, "isatty", lambda: True, raising=False)
    assert main.run([]) == 0
    monkeypatch.setattr(main.sys.stdin, "isatty", lambda: False, raising=False)
    assert main.run([]) == 0
    assert called == [["serve"], []]


def test_an_answer_does_not_wait_for_more_to_send() -> None:
    """asyncio switches that off only where a socket says that it speaks TCP; else an answer takes 40 ms."""
    with (
        _bound("127.0.0.1", 0) as place,
        socket.create_connection(place.getsockname(), timeout=PATIENCE_S),
        place.accept()[0] as answering,
    ):
        assert answering.proto == socket.IPPROTO_TCP
