"""``subwright core``: from calliper and meter to a drawer record, notes of both checks, other cores."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from cli_support import EXAMPLES, Command

from subwright.parts.drawer import load_drawer

RING = ("--outer", "42.1 mm", "--inner", "25.4 mm", "--height", "13.6 mm", "--coating", "0.3 mm")
FERRITE = (*RING, "--winding", "5=67 uH", "--winding", "10=266 uH")


def test_identify_prints_the_core_and_both_procedures(subwright: Command) -> None:
    done = subwright("core", "identify", *FERRITE)
    assert done.returncode == 0, done.stderr
    for word in (
        "power ferrite",
        "2669 nH",
        "Where does it saturate",
        "What does it lose",
        "Caution:",
        "108 mT",
    ):
        assert word in done.stdout, word


def test_identify_as_json(subwright: Command) -> None:
    done = subwright("core", "identify", *FERRITE, "--json")
    body = json.loads(done.stdout)
    assert body["command"] == "core identify"
    assert body["core"]["verdict"]["family"] == "power ferrite"
    assert 2000 < body["core"]["permeability"] < 2400
    assert len(body["core"]["pulse"]["rows"]) == 6


def test_a_core_goes_into_the_drawer_and_is_checked_there(subwright: Command, tmp_path: Path) -> None:
    file = tmp_path / "bench.drawer.toml"
    done = subwright("core", "identify", *FERRITE, "--drawer", file, "--id", "grey ring", "-n", 2)
    assert done.returncode == 0, done.stderr
    core = load_drawer(file).records["core"]["grey ring"]
    assert core.provenance.kind == "measured"
    assert core.only_identified  # type: ignore[attr-defined]
    assert load_drawer(file).quantities["grey ring"] == 2
    file.write_text(file.read_text("utf-8").replace("[[core]]", "[[core]]  # out of a welder"), "utf-8")

    pulse = ("--turns", 10, "--volts", "12 V", "--time", "36 us", "--drop", "0.2 V")
    done = subwright("core", "pulse", file, "grey ring", *pulse)
    assert done.returncode == 0, done.stderr
    assert "422 mT" in done.stdout
    drive = ("--at", "50 kHz", "--flux", "150 mT", "--temperature", "60 °C")
    done = subwright("core", "heat", file, "grey ring", *drive, "--volts", "0.5 V", "--current", "4 A")
    assert done.returncode == 0, done.stderr
    core = load_drawer(file).records["core"]["grey ring"]
    assert not core.only_identified  # type: ignore[attr-defined]
    assert 0.38 < core.checked_flux_t < 0.41  # type: ignore[attr-defined]
    assert core.loss_factor > 1.0  # type: ignore[attr-defined]
    assert "out of a welder" in file.read_text("utf-8")
    assert "pulse" in core.provenance.document


def test_iron_powder_is_refused_with_the_reason(subwright: Command, tmp_path: Path) -> None:
    file = tmp_path / "bench.drawer.toml"
    done = subwright("core", "identify", *RING, "--winding", "20=40 uH", "--drawer", file)
    assert done.returncode == 2
    assert "iron powder" in done.stderr
    assert "makes chokes" in done.stderr
    assert not file.exists()
    done = subwright("core", "identify", *RING, "--winding", "20=40 uH")
    assert done.returncode == 0
    assert "Where does it saturate" not in done.stdout


def test_a_miscount_is_named_and_not_saved(subwright: Command, tmp_path: Path) -> None:
    wrong = (*RING, "--winding", "5=67 uH", "--winding", "9=266 uH", "--winding", "20=1066 uH")
    done = subwright("core", "identify", *wrong, "--drawer", tmp_path / "d.drawer.toml")
    assert done.returncode == 2
    assert "10 would agree" in done.stderr


def test_slips_are_one_clear_line(subwright: Command, tmp_path: Path) -> None:
    for arguments, word in (
        (("core", "identify", *RING, "--winding", "ten=67 uH"), "test winding"),
        (("core", "identify", *RING, "--winding", "5=67"), "--winding"),
        (
            ("core", "identify", "--outer", "20 mm", *RING[2:], "--winding", "5=67 uH"),
            "smaller than its outside",
        ),
        (
            ("core", "pulse", "none.drawer.toml", "x", "--turns", 3, "--volts", "1 V", "--time", "1 us"),
            "none",
        ),
    ):
        done = subwright(*arguments)
        assert done.returncode == 2, arguments
        assert word in done.stderr, done.stderr
        assert "Traceback" not in done.stderr
    (tmp_path / "d.drawer.toml").write_text('format_version = 1\nname = "d"\n', "utf-8")
    done = subwright("core", "pulse", "d.drawer.toml", "x", "--turns", 3, "--volts", "1 V", "--time", "9 us")
    assert done.returncode == 2
    assert "describes no core called 'x'" in done.stderr


def test_other_cores_of_a_build(subwright: Command, tmp_path: Path) -> None:
    for file in EXAMPLES.glob("storyteller-van.*"):
        shutil.copy(file, tmp_path)
    done = subwright("core", "instead", "storyteller-van.build.toml", "E20/10/6-N87", "-c", 2, "--json")
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)["cores"]
    chosen = [row for row in rows if row["chosen"]]
    assert len(chosen) == 1
    assert next(row for row in rows if row["core_id"] == "grey ring")["in_drawer"] == 2
    small = next(row for row in rows if row["core_id"] == "E20/10/6-N87")
    assert small["broken"] or small["refused"]
    assert len({row["core_id"] for row in rows}) == len(rows) >= 4
    shutil.copy(EXAMPLES / "cargo-bike-cinema.build.toml", tmp_path)
    shutil.copy(EXAMPLES / "cargo-bike-cinema.drawer.toml", tmp_path)
    done = subwright("core", "instead", "cargo-bike-cinema.build.toml")
    assert done.returncode == 2
    assert "no transformer" in done.stderr


PAIR = ("--shape", "etd", "--outer", "39.1 mm", "--inner", "30.1 mm", "--height", "39.6 mm")
LEGS = ("--depth", "12.5 mm", "--window", "29.2 mm", "--leg", "12.5 mm")
HALVES = ("--winding", "10=265 uH", "--winding", "20=1060 uH")


def test_a_pair_of_halves_is_identified_and_put_into_the_drawer(subwright: Command, tmp_path: Path) -> None:
    file = tmp_path / "bench.drawer.toml"
    done = subwright("core", "identify", *PAIR, *LEGS, *HALVES, "--drawer", file, "--id", "grey pair")
    assert done.returncode == 0, done.stderr
    for words in ("power ferrite", "A_e 125.0 mm²", "window", "ground faces", "Where does it saturate"):
        assert words in done.stdout, words
    core = load_drawer(file).records["core"]["grey pair"]
    assert core.shape == "etd"  # type: ignore[attr-defined]
    assert core.only_identified  # type: ignore[attr-defined]


def test_a_shape_is_asked_for_what_it_needs(subwright: Command) -> None:
    for options, words in (
        ((*PAIR, *HALVES), "needs --depth, --window, --leg"),
        ((*FERRITE, "--leg", "12 mm"), "has no --leg"),
        ((*FERRITE, "--shape", "pot"), "no shape of core that is known here"),
    ):
        done = subwright("core", "identify", *options)
        assert done.returncode == 2
        assert words in " ".join(done.stderr.split()), done.stderr
        assert "Traceback" not in done.stderr
