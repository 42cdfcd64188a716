"""``subwright boards``: files, table, exit codes, and the file that it leaves beside the build."""

from __future__ import annotations

import json
from pathlib import Path

from cli_support import Command
from gerbonara import ExcellonFile, GerberFile

SMALL = "controller"  # the van's board of fewest parts


def test_a_board_is_made_kept_and_made_once(subwright: Command, van: Path) -> None:
    done = subwright("boards", van, "--block", SMALL)
    assert done.returncode == 0, done.stderr
    folder = van.with_name("storyteller-van.boards")
    kept = van.with_name("storyteller-van.boards.json")
    assert done.stdout.splitlines()[1].startswith(SMALL)
    assert "No board for: Converter power stage." in done.stderr
    assert f"Kept in {kept}" in done.stderr
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"boards.pdf", "checksums.txt", f"{SMALL}/copper-bottom.gbr", f"{SMALL}/places.csv"} <= files
    copper = GerberFile.from_string((folder / SMALL / "copper-bottom.gbr").read_text())
    holes = ExcellonFile.from_string((folder / SMALL / "holes-unplated.drl").read_text())
    assert copper.objects
    assert holes.objects
    body = json.loads(kept.read_text(encoding="utf-8"))
    assert [one["board"]["key"] for one in body["boards"]] == [SMALL]
    first = {name: (folder / name).read_bytes() for name in files}

    anew = json.loads(subwright("boards", van, "--block", SMALL, "--again", "--json").stdout)
    assert anew["boards"][0]["made_now"] is True
    assert {name: (folder / name).read_bytes() for name in files} == first  # the same design, the same bytes


def test_a_block_that_has_no_board(subwright: Command, van: Path) -> None:
    done = subwright("boards", van, "--block", "converter")
    assert done.returncode == 2
    assert "no such board" in done.stderr
    assert SMALL in done.stderr  # what there is
    assert not van.with_name("storyteller-van.boards.json").exists()


def test_a_spoilt_file_of_boards_stops_before_the_work(subwright: Command, van: Path) -> None:
    kept = van.with_name("storyteller-van.boards.json")
    kept.write_text("{}", encoding="utf-8")
    done = subwright("boards", van)
    assert done.returncode == 2
    assert f"{kept}:1: boards: holds something else; move it away" in done.stderr
    assert kept.read_text(encoding="utf-8") == "{}"


def test_a_board_that_does_not_fit_is_named_and_the_others_are_made(subwright: Command, van: Path) -> None:
    text = van.read_text(encoding="utf-8")
    van.write_text(f'{text}\n[board]\nmax_width = "62 mm"\nmax_height = "45 mm"\n', encoding="utf-8")
    done = subwright("boards", van, "--block", SMALL, "--block", "input", "--block", "control")
    assert done.returncode == 2
    assert "control: The board 'Switching on and off' doesn't fit" in done.stderr
    assert done.stdout.splitlines()[1].startswith(SMALL)


def test_no_such_paper(subwright: Command, van: Path) -> None:
    done = subwright("boards", van, "--paper", "a3")
    assert done.returncode == 2
    assert "a4, letter" in done.stderr
