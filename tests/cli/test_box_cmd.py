"""``subwright box`` on the van example."""

from __future__ import annotations

import json
from pathlib import Path

from cli_support import Command


def test_search_lists_boxes_and_takes_one(subwright: Command, van: Path) -> None:
    done = subwright("box", "search", van, "-n", "5", "--take", "2", "--json")
    assert done.returncode == 0, done.stderr
    front = json.loads(done.stdout)["search"]["front"]
    assert 2 <= len(front) <= 5
    text = van.read_text(encoding="utf-8")
    assert f'kind = "{front[1]["kind"]}"' in text
    assert "storytell" in text.lower()  # comments stay
    again = subwright("design", van, "--json")
    assert again.returncode in (0, 1), again.stderr
    volume = json.loads(again.stdout)["design"]["enclosure"]["net_volume_m3"]
    assert abs(volume / front[1]["net_volume_m3"] - 1.0) < 0.03


def test_a_number_that_is_not_there_is_refused(subwright: Command, van: Path) -> None:
    done = subwright("box", "search", van, "--take", "99")
    assert done.returncode == 2
    assert "--take" in done.stderr


def test_limits_name_every_corner_and_what_limits(subwright: Command, van: Path) -> None:
    done = subwright("box", "limits", van, "--json")
    assert done.returncode == 0, done.stderr
    limits = json.loads(done.stdout)["limits"]
    assert {"low", "nominal", "charging", "max"} <= set(limits["corners"])
    loud = {name: max(level["level_db"]) for name, level in limits["corners"].items()}
    assert loud["low"] < loud["nominal"] < loud["charging"] < loud["max"]
    assert limits["clip_v"]["low"] < limits["clip_v"]["max"]
    courses = {course["what"]: course["coil_c"] for course in limits["heating"]}
    assert courses["full sine"][-1] > courses["programme"][-1] > courses["programme"][0]
    plain = subwright("box", "limits", van)
    assert "excursion" in plain.stdout
    assert "coil with programme" in plain.stdout


def test_draw_writes_all_files_in_either_unit(subwright: Command, van: Path, tmp_path: Path) -> None:
    for unit in ("mm", "inch"):
        folder = tmp_path / unit
        done = subwright("box", "draw", van, "-o", folder, "--unit", unit)
        assert done.returncode == 0, done.stderr
        names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
        wanted = {
            "views.svg",
            "taken-apart.svg",
            "cut-plan.svg",
            "levels.csv",
            "dxf/front.dxf",
            "dxf/cut-plan.dxf",
        }
        assert wanted <= names
    assert "eyes" in done.stderr
    refused = subwright("box", "draw", van, "--unit", "cubits")
    assert refused.returncode == 2
