"""Results on stdout, talk on stderr; pipes that close, Ctrl-C, no colours, narrow terminals, full disks."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from cli_support import COMMAND, Command, terminal

from patience import assert_within, children_s


def test_help_and_version(subwright: Command) -> None:
    for arguments in (["--help"], ["-h"], ["design", "--help"], ["drawer", "--help"]):
        done = subwright(*arguments)
        assert done.returncode == 0
        assert done.stdout.startswith("Usage: subwright")
        assert done.stderr == ""
    done = subwright("--version")
    assert done.stdout.startswith("subwright 0.")


def test_help_is_quick(subwright: Command) -> None:
    """At most 0.3 s of work, counted in processor time so that a busy machine doesn't decide."""
    assert_within(0.3, lambda: children_s(lambda: subwright("--help")))


def test_help_loads_no_numerics(subwright: Command) -> None:
    """Importing the command brings in neither numbers nor models, whatever the machine's speed."""
    code = (
        "import sys, subwright.cli.main; "
        "print(sorted({'numpy', 'scipy', 'pydantic', 'tomlkit', 'rich.console'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_design_goes_to_stdout_and_notes_to_stderr(subwright: Command, van: Path) -> None:
    done = subwright("design", van)
    assert done.returncode in {0, 1}
    assert "battery" in done.stdout
    assert "air" in done.stdout
    assert "\x1b" not in done.stdout
    assert done.stderr.count("\n") <= 1


@pytest.mark.parametrize("command", ["design", "findings", "sources"])
def test_json_is_json_and_nothing_else(subwright: Command, van: Path, command: str) -> None:
    done = subwright(command, van, "--json")
    body = json.loads(done.stdout, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
    assert body["format_version"] == 1
    assert body["command"] == command


def test_same_input_same_bytes(subwright: Command, van: Path) -> None:
    first, second = (subwright("design", van, "--json").stdout for _ in range(2))
    assert first == second


@pytest.mark.parametrize("columns", ["30", "50", "80", "160"])
def test_fits_the_terminal(subwright: Command, van: Path, columns: str) -> None:
    done = subwright("design", van, COLUMNS=columns)
    assert max(map(len, done.stdout.splitlines())) <= int(columns)


def test_ascii_terminal(subwright: Command, van: Path) -> None:
    done = subwright("design", van, PYTHONIOENCODING="ascii")
    assert done.returncode in {0, 1}
    assert done.stdout.isascii()


def test_colour_on_a_terminal_and_none_with_no_color(van: Path) -> None:
    with terminal("design", van) as coloured:
        assert coloured.finish() in {0, 1}
    assert b"\x1b[1" in coloured.seen
    with terminal("design", van, NO_COLOR="1") as plain:
        plain.finish()
    assert b"38;5" not in plain.seen


@pytest.mark.parametrize("command", ["design", "sources"])
def test_reader_that_leaves_early(van: Path, command: str) -> None:
    with subprocess.Popen(
        [*COMMAND, command, str(van), "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as child:
        assert child.stdout is not None
        assert child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() in {b"", b"Don't build this yet; see: subwright findings FILE\n"}
        assert child.wait(60) in {0, 1}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_full_disk_is_told(van: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [*COMMAND, "design", str(van)], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "subwright: output: no space left on device\n"


def test_closed_stdout_is_no_traceback(van: Path) -> None:
    done = subprocess.run(
        ["/bin/sh", "-c", '"$@" >&-', "sh", *COMMAND, "explain", "supply.battery"],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert done.returncode in {0, 2}
    assert "Traceback" not in done.stderr
    assert "sorry" not in done.stderr


def test_ctrl_c_is_130_and_silent(tmp_path: Path) -> None:
    """Interrupted while it waits for an answer on the terminal."""
    with terminal("new", tmp_path / "x.build.toml") as asked:
        asked.until(b"What is the build called")
        asked.process.send_signal(signal.SIGINT)
        assert asked.finish() == 130
    assert b"Traceback" not in asked.seen
    assert not (tmp_path / "x.build.toml").exists()


def test_new_asks_again_after_an_answer_that_will_not_do(tmp_path: Path) -> None:
    path = tmp_path / "x.build.toml"
    answers = {
        b"What is the build called": ["Two skerries"],
        b"Which kind of battery": ["gel", "lfp"],
        b"System voltage": ["13", "12"],
        b"One-way cable run": ["3", "3 m"],
        b"Which driver": ["Skery 8", "Skerry 8"],
        b"Which kind of enclosure": ["sealed"],
        b"Net volume": [""],
        b"Power wanted": ["1 MW", "20 W"],
    }
    with terminal("new", path) as asked:
        for question, typed in answers.items():
            for answer in typed:
                asked.until(question)
                asked.seen = b""
                asked.type(answer)
        assert asked.finish() == 0
    text = path.read_text()
    for line in ('name = "Two skerries"', 'battery = "lfp"', 'cable_length = "3 m"', 'power = "20 W"'):
        assert f"\n{line}\n" in text
