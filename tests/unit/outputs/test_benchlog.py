"""The bench log: nothing is lost or overwritten, whatever kills the process."""

from __future__ import annotations

import os
import select
import signal
import time
from pathlib import Path

import pytest

from patience import PATIENCE_S
from subwright.base.errors import InputError
from subwright.build.bench import Entry
from subwright.outputs.benchlog import append_entries, log_path, read_log


def entry(number: int, unit: str = "1") -> Entry:
    return Entry(
        unit=unit,
        at=f"2031-05-06T10:00:{number % 60:02d}",
        key="rail-positive",
        value=float(number),
        accuracy=0.005,
        code="4F7K-0QZ3",
        note='warm, 30 °C "really"\nsecond line',
    )


def test_what_goes_in_comes_out_in_order(tmp_path: Path) -> None:
    path = tmp_path / "van.bench.jsonl"
    assert read_log(path) == ()
    append_entries(path, [entry(1), entry(2)])
    before = path.read_bytes()
    append_entries(path, [entry(1)])
    assert read_log(path) == (entry(1), entry(2), entry(1))
    assert path.read_bytes().startswith(before)


def test_the_log_lies_beside_the_build_file() -> None:
    assert log_path(Path("a/van.build.toml")) == Path("a/van.bench.jsonl")


def test_kill_9_at_any_moment_loses_nothing_that_was_saved(tmp_path: Path) -> None:
    """A child saves as fast as it can and tells each saved number by a pipe; it is killed again and again."""
    path = tmp_path / "van.bench.jsonl"
    saved: list[int] = []
    number = 0
    for turn in range(90):
        receive, send = os.pipe()
        child = os.fork()
        if child == 0:  # pragma: no cover
            try:
                os.close(receive)
                count = number
                while True:
                    append_entries(path, [entry(count)])
                    os.write(send, f"{count}\n".encode())
                    count += 1
            finally:
                os._exit(1)
        os.close(send)
        if turn % 3:  # two of three are left alone until they have saved once
            assert select.select([receive], [], [], PATIENCE_S)[0], "the child saves nothing"
        time.sleep(0.0007 * (turn % 13))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told = b""
        while piece := os.read(receive, 65536):
            told += piece
        os.close(receive)
        saved += [int(word) for word in told.decode().split("\n")[:-1]]
        number = 1 + max([int(e.value) for e in read_log(path)], default=-1)
    values = [int(e.value) for e in read_log(path)]
    assert len(saved) >= 60
    assert set(saved) <= set(values)
    assert values == sorted(set(values))


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_line_cut_off_is_skipped_and_the_next_entry_is_whole(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "van.bench.jsonl"
    append_entries(path, [entry(1), entry(2)])
    path.write_bytes(path.read_bytes()[:-cut] if cut > 1 else path.read_bytes()[:-2])
    append_entries(path, [entry(3)])
    assert read_log(path) == (entry(1), entry(3))


def test_an_altered_line_is_refused_by_its_number(tmp_path: Path) -> None:
    path = tmp_path / "van.bench.jsonl"
    append_entries(path, [entry(1), entry(2)])
    path.write_text(path.read_text().replace('"value": 2.0', '"value": 9.0'))
    with pytest.raises(InputError) as raised:
        read_log(path)
    assert raised.value.problems[0].line == 2
    assert "altered" in raised.value.problems[0].message


def test_another_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "van.build.toml"
    path.write_text('name = "van"\n')
    with pytest.raises(InputError, match="not a bench log"):
        read_log(path)


def test_a_folder_that_is_missing_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be written"):
        append_entries(tmp_path / "none" / "van.bench.jsonl", [entry(1)])
