"""The bench on the command line: entering, judging, refitting, comparing; versions and substitutes."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cli_support import EXAMPLES, Command


@pytest.fixture
def van(tmp_path: Path) -> Path:
    for file in EXAMPLES.glob("storyteller-van.*"):
        shutil.copy(file, tmp_path)
    return tmp_path / "storyteller-van.build.toml"


def test_readings_are_entered_judged_and_refitted(subwright: Command, van: Path, tmp_path: Path) -> None:
    empty = subwright("bench", "show", van)
    assert "rail-positive" in empty.stdout
    added = subwright(
        "bench", "add", van, "rail-positive=63.9 V", "under-voltage-trip=10.7 V", "--unit", "7",
        "--accuracy", "0.3 %",
    )  # fmt: skip
    assert added.returncode == 0, added.stderr
    assert added.stdout.count("ok") == 2
    table = tmp_path / "r.csv"
    table.write_text("key,value,accuracy,note\nreference-voltage,5.13 V,0.1 %,warm\n")
    assert subwright("bench", "load", van, table, "--unit", "7").returncode == 0
    fit = subwright("bench", "fit", van, "--unit", "7", "--json")
    body = json.loads(fit.stdout)
    assert body["command"] == "bench"
    assert set(body["fit"]["used"]) == {"rail-positive", "under-voltage-trip", "reference-voltage"}
    assert "under-voltage" in subwright("bench", "fit", van, "--unit", "7").stdout
    assert len((tmp_path / "storyteller-van.bench.jsonl").read_text().splitlines()) == 3


def test_two_units_are_compared(subwright: Command, van: Path) -> None:
    for unit, value in (("1", "63.9 V"), ("2", "62.1 V")):
        subwright("bench", "add", van, f"rail-positive={value}", "--unit", unit)
    assert "meter errors apart" in subwright("bench", "compare", van, "1", "2").stdout
    assert subwright("bench", "compare", van, "1", "3").returncode == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("rail-positve=63 V", "rail-positive"),
        ("rail-positive=63 A", "63 A"),
        ("rail-positive", "equals sign"),
        ("leakage=50 H", "prefix"),
    ],
)
def test_a_wrong_reading_is_refused_and_nothing_is_written(
    subwright: Command, van: Path, words: str, said: str
) -> None:
    done = subwright("bench", "add", van, words)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not van.with_name("storyteller-van.bench.jsonl").exists()


def test_a_table_with_one_bad_line_enters_nothing(subwright: Command, van: Path, tmp_path: Path) -> None:
    table = tmp_path / "r.csv"
    table.write_text("key,value\nrail-positive,63.9 V\nrail-negative,x\n")
    done = subwright("bench", "load", van, table)
    assert done.returncode == 2
    assert "r.csv:3: rail-negative" in done.stderr
    assert not van.with_name("storyteller-van.bench.jsonl").exists()


def test_versions_and_substitutes(subwright: Command, van: Path, tmp_path: Path) -> None:
    other = tmp_path / "b.build.toml"
    other.write_text(van.read_text().replace('corner = "80 Hz"', 'corner = "95 Hz"'))
    told = subwright("difference", van, other)
    assert "exchange: low-pass A" in told.stdout
    assert "exchange" in subwright("substitute", van, "LM339").stdout
    assert subwright("substitute", van, "LM338").returncode == 2
    each = subwright("substitute", van, "LM339", "-n", "3", "--each")
    assert "With LM2901: yes" in each.stdout
    tried = json.loads(subwright("substitute", van, "LM339", "-n", "3", "--each", "--json").stdout)["tried"]
    assert len(tried) == 3


def test_a_wrong_reading_is_traced_and_the_next_step_told(subwright: Command, van: Path) -> None:
    assert "no readings yet" in subwright("bench", "tell", van, "--unit", "7").stderr
    subwright(
        "bench",
        "add",
        van,
        "primary-phase=0.01",
        "primary-phase-voltage=0.02",
        "primary-halves=1.0",
        "--unit",
        "7",
    )
    told = subwright("bench", "tell", van, "--unit", "7").stdout
    assert "half-primary is reversed" in told.split("  2. ")[0]
    found = json.loads(subwright("bench", "tell", van, "--unit", "7", "--json").stdout)["diagnosis"]
    assert found["suspects"][0]["fault"]["key"] == "half-primary-reversed"
    after = subwright("bench", "next", van, "--unit", "7").stdout
    assert "The transformer on its own" in after
    assert "failed" in after
    fresh = json.loads(subwright("bench", "next", van, "--unit", "8", "--json").stdout)
    assert fresh["next"]["step"]["key"] == "bare-board"
    subwright("bench", "add", van, "primary-halves=open", "--unit", "9")
    assert "many times too high" in subwright("bench", "tell", van, "--unit", "9").stdout
