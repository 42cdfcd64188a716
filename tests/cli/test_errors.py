"""Each way to fail gives one clear line on stderr, nothing on stdout, exit code 2, and never a traceback."""

# ruff: noqa: E501  (a row of a table stays on one line)

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from cli_support import Command

from subwright.cli import main as cli

FILE_COMMANDS = ["design", "findings", "sources", "pack"]


def one_line(done: object, *says: str) -> str:
    code, out, err = done.returncode, done.stdout, done.stderr  # type: ignore[attr-defined]
    assert code == 2, err
    assert out == ""
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    for word in says:
        assert word in err
    return str(err)


@pytest.mark.parametrize("command", FILE_COMMANDS)
def test_missing_file(subwright: Command, command: str) -> None:
    one_line(subwright(command, "nowhere.build.toml"), "nowhere.build.toml:1: file: does not exist")


@pytest.mark.parametrize("command", FILE_COMMANDS)
def test_folder(subwright: Command, tmp_path: Path, command: str) -> None:
    one_line(subwright(command, tmp_path), "is a folder")


def test_binary_huge_and_unreadable(subwright: Command, tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(os.urandom(3000) + b"\0")
    one_line(subwright("design", "binary"), "is binary, not text")
    with (tmp_path / "huge").open("wb") as stream:
        stream.truncate(3_000_000_000)
    one_line(subwright("design", "huge"), "holds 3000.0 MB, limit 1 MB")
    os.mkfifo(tmp_path / "pipe")
    one_line(subwright("design", "pipe"), "is not a regular file")
    one_line(subwright("set", "nowhere.toml", "name", "x"), "does not exist")
    one_line(subwright("drawer", "list", "pipe"), "is not a regular file")


def test_no_permission(
    van: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In this process, because the superuser may read everything."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert cli.run(["design", str(van)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"{van}:1: file: can't be read: permission denied; give yourself read access\n"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[supply]", "[supply", r":\d+: \[supply: has a table header without its closing"),
        ('battery = "lead-acid"', "battery = lead-acid", r':\d+: battery: needs quotes round its value; write battery = "lead-acid"'),
        ('battery = "lead-acid"', 'batery = "lead-acid"', r":\d+: supply\.batery: is not a known key; did you mean 'battery'\?"),
        ('battery = "lead-acid"', 'battery = "gel"', r":\d+: supply\.battery: .*one of lead-acid, agm, lfp"),
        ('cable_length = "4 m"', 'cable_length = "4 V"', r":\d+: supply\.cable_length: '4 V' is a voltage"),
        ('cable_length = "4 m"', "cable_length = 4", r':\d+: supply\.cable_length: .*write "4 m"'),
        ('cable_length = "4 m"', 'cable_length = "4 km"', r":\d+: supply\.cable_length: .*too large .*limit"),
        ('part = "Harbour 10"', 'part = "Harbor 10"', r"Harbor 10.*Harbour 10"),
        ("storyteller-van.drawer.toml", "drawer.toml", r"drawer\.toml:1: file: does not exist"),
    ],
)  # fmt: skip
def test_mistakes_in_the_build_file(subwright: Command, van: Path, old: str, new: str, says: str) -> None:
    text = van.read_text()
    assert old in text
    van.write_text(text.replace(old, new))
    said = one_line(subwright("design", van))
    assert re.search(says, said), said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["nope"], "No such command 'nope'"),
        (["design"], "Missing argument"),
        (["design", "a", "--nope"], "No such option"),
        (["parts", "corres"], "did you mean 'core'?"),
        (["explain", "SUP-99x"], "is no finding, no key of the build file and no source"),
        (["explain", "supply.batery"], "did you mean 'supply.battery'?"),
        (["new", "x.build.toml", "--set", "a"], "has no value"),
        (["drawer", "add", "d.toml", "IRF3206"], "IRF3205"),
        (["drawer", "add", "d.toml", "IRF3205", "-n", "0"], "greater than or equal to 1"),
    ],
)
def test_wrong_use(subwright: Command, arguments: list[str], says: str) -> None:
    done = subwright(*arguments)
    assert done.returncode == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") <= 2


def test_error_as_json(subwright: Command, van: Path) -> None:
    van.write_text(van.read_text().replace('cable_length = "4 m"', 'cable_length = "4 V"'))
    done = subwright("design", van, "--json")
    assert done.returncode == 2
    body = json.loads(done.stdout)
    assert body["format_version"] == 1
    assert [problem["key"] for problem in body["error"]["problems"]] == ["supply.cable_length"]


def test_new_does_not_write_over_a_file(subwright: Command, van: Path) -> None:
    before = van.read_text()
    one_line(subwright("new", van, "--driver", "Harbour 10"), "exists already")
    assert van.read_text() == before


def test_new_without_a_terminal_names_what_it_needs(subwright: Command, tmp_path: Path) -> None:
    one_line(subwright("new", "x.build.toml"), "needed and not given: ", "driver.part")
    assert not (tmp_path / "x.build.toml").exists()


def test_unexpected_fault_is_one_apology(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from subwright import service

    def fail(*_: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(service, "explain", fail)
    monkeypatch.delenv("SUBWRIGHT_DEBUG", raising=False)
    assert cli.run(["explain", "SUP-01"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("subwright: sorry, that is a fault in subwright itself (ZeroDivisionError)")
    assert err.count("\n") == 1
    monkeypatch.setenv("SUBWRIGHT_DEBUG", "1")
    assert cli.run(["explain", "SUP-01"]) == 2
    assert "Traceback" in capsys.readouterr().err


def test_control_characters_in_a_file_do_not_reach_the_terminal(subwright: Command, van: Path) -> None:
    van.write_text(van.read_text().replace('battery = "lead-acid"', 'battery = "\\u001b[2Jx"'))
    assert "\x1b" not in subwright("design", van).stderr
