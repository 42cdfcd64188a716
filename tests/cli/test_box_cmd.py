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
