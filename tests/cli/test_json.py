"""The JSON that programmes rely on: its names stay; a changed or removed one needs a new format_version."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from cli_support import EXAMPLES, Command

ENVELOPE = {"format_version", "command"}
STATION = {"key", "name", "figures", "tightest", "margin", "margin_text"}
FINDING = {"code", "severity", "title", "detail", "quantity", "value", "limit", "source", "remedy"}
PART = {"id", "kind", "description", "provenance", "document", "in_drawer", "values"}
SOURCE = {"key", "author", "title", "year", "where", "status"}


def body(subwright: Command, *arguments: str | Path) -> dict[str, Any]:
    done = subwright(*arguments, "--json")
    assert done.returncode in {0, 1}, done.stderr
    parsed: dict[str, Any] = json.loads(done.stdout)
    assert parsed["format_version"] == 1
    return parsed


def test_design(subwright: Command, van: Path) -> None:
    told = body(subwright, "design", van)
    assert set(told) >= ENVELOPE | {"name", "key_figures", "stations", "findings", "design"}
    assert all(set(station) >= STATION for station in told["stations"])
    assert all(set(finding) >= FINDING for finding in told["findings"])
    assert set(told["design"]) >= {"spec", "supply", "driver", "enclosure", "amplifier", "points", "balance"}


def test_findings_and_passed_checks(subwright: Command, van: Path) -> None:
    some = body(subwright, "findings", van)["findings"]
    every = body(subwright, "findings", van, "--all")["findings"]
    assert all(set(finding) >= FINDING for finding in every)
    assert {finding["severity"] for finding in some} <= {"stop", "warn", "note"}
    assert "ok" in {finding["severity"] for finding in every}
    assert len(every) > len(some)


def test_pack(subwright: Command, van: Path, tmp_path: Path) -> None:
    told = body(subwright, "pack", van, "-o", tmp_path / "made" / "here")
    assert set(told) >= ENVELOPE | {"folder", "files", "stop"}
    assert all((tmp_path / "made" / "here" / name).is_file() for name in told["files"])


def test_set(subwright: Command, van: Path) -> None:
    told = body(subwright, "set", van, "goal.power", "90 W")
    assert set(told) >= ENVELOPE | {
        "file",
        "key",
        "before",
        "after",
        "moved",
        "findings_come",
        "findings_gone",
    }
    assert (told["before"], told["after"]) == ('"180 W"', '"90 W"')
    assert set(told["moved"]["power at clipping"]) == {"before", "after"}


def test_parts_drawer_sources_and_pages(subwright: Command, van: Path) -> None:
    assert set(body(subwright, "parts", "driver")["parts"][0]) >= PART
    drawer = van.with_name("storyteller-van.drawer.toml")
    assert set(body(subwright, "drawer", "list", drawer)) >= ENVELOPE | {"name", "parts", "values"}
    added = body(subwright, "drawer", "add", drawer, "IRF3205", "-n", "2")
    assert added["part"]["in_drawer"] == 12
    assert set(body(subwright, "sources", van)["sources"][0]) >= SOURCE
    page = body(subwright, "explain", "sup-01")
    assert (page["code"], set(page) >= {"title", "sections"}) == ("SUP-01", True)


def test_new(subwright: Command, tmp_path: Path) -> None:
    told = body(subwright, "new", tmp_path / "a.build.toml", "--name", "A", "--driver", "Tern 10")
    assert (told["command"], told["name"]) == ("new", "A")


@pytest.mark.parametrize("name", ["canal-workboat", "cargo-bike-cinema", "storyteller-van"])
def test_examples_can_be_built_as_they_are(subwright: Command, name: str) -> None:
    told = body(subwright, "design", EXAMPLES / f"{name}.build.toml")
    assert [finding for finding in told["findings"] if finding["severity"] == "stop"] == []
    design = told["design"]
    assert (design["converter"] is None) == (name == "cargo-bike-cinema")
    assert (design["transformer"] is None) == (name == "cargo-bike-cinema")
