"""Boards kept beside a build file: they come back the same, and a spoilt file is named, never lost."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from board_sample import SAMPLE

from subwright import __version__
from subwright.base.errors import InputError
from subwright.outputs.kept_boards import boards_path, read_boards, save_boards, usable
from subwright.outputs.made_board import MadeBoard

MADE = MadeBoard(board=SAMPLE, off_board=(("Q301", "on the heatsink"),), least_gap_um=740, seconds=1.5)
OTHER = replace(MADE, board=replace(SAMPLE, key="control", title="Switching on and off"))
WITHOUT = (("Wiring", "Cables and terminals."),)
WANTED = ("control", "line-filter")


def path_in(folder: Path) -> Path:
    return boards_path(folder / "van.build.toml")


def test_the_file_stands_beside_the_build(tmp_path: Path) -> None:
    assert path_in(tmp_path).name == "van.boards.json"
    assert read_boards(path_in(tmp_path)) is None


def test_boards_come_back_the_same(tmp_path: Path) -> None:
    path = path_in(tmp_path)
    saved = save_boards(path, "4F7K-0QZ3", (MADE,), without=WITHOUT, wanted=WANTED)
    read = read_boards(path)
    assert read == saved
    assert read.boards == (MADE,)
    assert read.missing == ("control",)
    assert (read.code, read.made_with, read.without) == ("4F7K-0QZ3", __version__, WITHOUT)


def test_another_board_of_the_same_design_joins_in_the_order_of_the_sheets(tmp_path: Path) -> None:
    path = path_in(tmp_path)
    save_boards(path, "A", (MADE,), without=(), wanted=WANTED)
    save_boards(path, "A", (OTHER,), without=(), wanted=WANTED)
    newer = replace(MADE, seconds=2.0)
    kept = save_boards(path, "A", (newer,), without=(), wanted=WANTED)
    assert kept.boards == (OTHER, newer)
    assert kept.missing == ()


def test_boards_of_another_design_go_when_new_ones_come(tmp_path: Path) -> None:
    path = path_in(tmp_path)
    save_boards(path, "A", (MADE, OTHER), without=(), wanted=WANTED)
    kept = read_boards(path)
    assert usable(kept, "A") == kept
    assert usable(kept, "B") is None
    assert usable(None, "A") is None
    save_boards(path, "B", (OTHER,), without=(), wanted=WANTED)
    assert read_boards(path).boards == (OTHER,)


def test_boards_of_another_version_are_not_used(tmp_path: Path) -> None:
    path = path_in(tmp_path)
    save_boards(path, "A", (MADE,), without=(), wanted=WANTED)
    body = json.loads(path.read_text(encoding="utf-8")) | {"made_with": "0.0.1"}
    path.write_text(json.dumps(body), encoding="utf-8")
    assert usable(read_boards(path), "A") is None


def spoilt(change: Any) -> str:
    body = json.loads(json.dumps({"format": 1, "code": "A", "made_with": "x", "without": [], "wanted": []}))
    from dataclasses import asdict

    body["boards"] = [json.loads(json.dumps(asdict(MADE)))]
    change(body)
    return json.dumps(body)


@pytest.mark.parametrize(
    "change",
    [
        lambda b: b.pop("code"),
        lambda b: b.update(more=1),
        lambda b: b["boards"][0]["board"].pop("tracks"),
        lambda b: b["boards"][0]["board"].update(width_um="50800"),
        lambda b: b["boards"][0]["board"].update(width_um=True),
        lambda b: b["boards"][0]["board"].update(width_um=-1),
        lambda b: b["boards"][0]["board"].update(width_um=10**9),
        lambda b: b["boards"][0]["board"].update(placed=[]),
        lambda b: b["boards"][0]["board"]["placed"][0].update(turn=45),
        lambda b: b["boards"][0]["board"]["placed"][0]["body"].update(points=[[0, 0], [1, 1]]),
        lambda b: b["boards"][0]["board"]["placed"][0]["pads"][0].update(hole_um=0),
        lambda b: b["boards"][0]["board"]["tracks"][0].update(points=[[0, 0]]),
        lambda b: b["boards"][0]["board"]["tracks"][0].update(points=[[0, 0, 0], [1, 1, 1]]),
        lambda b: b["boards"][0]["board"]["links"][0].update(start=[0.5, 1]),
        lambda b: b["boards"][0]["board"]["links"][0].update(start=None),
        lambda b: b["boards"][0]["board"]["wire_pads"][0].update(x_um=10**8),
        lambda b: b["boards"][0].update(seconds="long"),
        lambda b: b.update(boards={}),
    ],
)
def test_a_spoilt_file_is_named_with_the_remedy(tmp_path: Path, change: Any) -> None:
    path = path_in(tmp_path)
    text = spoilt(change)
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"van\.boards\.json:1: boards: .*move it away"):
        read_boards(path)
    with pytest.raises(InputError):
        save_boards(path, "A", (MADE,), without=(), wanted=WANTED)
    assert path.read_text(encoding="utf-8") == text  # nothing is lost


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xff\xfe", "is no text"),
        (b"{\n\n", "is no JSON"),
        (b"[]", "holds something else"),
        (b'{"format": 2}', "later version"),
        (b"[" * 100_000, "holds something else"),
        (b'{"format": 1, "code": NaN}', "lacks a field"),
    ],
)
def test_what_is_no_board_file_is_refused(tmp_path: Path, data: bytes, words: str) -> None:
    path = path_in(tmp_path)
    path.write_bytes(data)
    with pytest.raises(InputError, match=words):
        read_boards(path)
