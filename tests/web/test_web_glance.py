"""The figures of every build in the list: worked out behind the page and kept by content."""

from __future__ import annotations

import re
import shutil
import threading
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_support import figures, send, workbench

from patience import PATIENCE_S, wait_for
from subwright import service
from subwright.build.spec import BuildSpec
from subwright.outputs.project import read_build

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = ("storyteller-van", "cargo-bike-cinema")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in NAMES:
        for kind in ("build", "drawer"):
            shutil.copy(EXAMPLES / f"{name}.{kind}.toml", tmp_path)
    return tmp_path


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the builds that were designed, in turn."""
    told: list[str] = []
    solve = service.solve

    def noted(build: Any, *rest: Any) -> Any:
        told.append(build if isinstance(build, BuildSpec) else build.spec.name)
        return solve(build, *rest)

    monkeypatch.setattr(service, "solve", noted)
    return told


def all_glances(client: TestClient, names: tuple[str, ...] = NAMES) -> dict[str, str]:
    """Every build's fragment, asked for as the page does it."""
    found: dict[str, str] = {}

    def more() -> bool:
        left = [name for name in names if name not in found]
        found.update(client.post("/builds/glance", json={"names": left}).json())
        return len(found) == len(names)

    wait_for(more, "the figures of every build")
    return found


def test_the_list_does_not_wait_for_its_figures(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    go, solve = threading.Event(), service.solve

    def held(build: Any, *rest: Any) -> Any:
        assert go.wait(PATIENCE_S)
        return solve(build, *rest)

    monkeypatch.setattr(service, "solve", held)
    with workbench(folder) as client:
        page = client.get("/builds").text
        assert page.count("aria-busy") == len(NAMES)
        assert f'<output class="m" for="figured">0 / {len(NAMES)}</output>' in page
        assert "<svg xmlns" not in page.split("<ul", 1)[1]
        go.set()
        all_glances(client)
        page = client.get("/builds").text
        assert "aria-busy" not in page
        assert '<p id="figuring" class="row figuring" hidden>' in page


def test_the_figures_are_the_builds_own(folder: Path) -> None:
    with workbench(folder) as client:
        found = all_glances(client)
        for name in NAMES:
            known = figures(client.get(f"/b/{name}/sheet/overview").text)
            assert len(figures(found[name])) == 2
            assert figures(found[name]).items() <= known.items()
            design = service.solve(read_build(folder / f"{name}.build.toml")).design
            least = design.tightest()
            assert least is not None
            assert least.judged
            assert least.quantity.partition(" (")[0] in found[name]
            for severity, word in (("warn", "to mind"), ("note", "to note")):
                shown = re.search(rf"(\d+) {word}", found[name])
                count = sum(1 for f in service.finding_rows(design) if f.severity == severity)
                assert (int(shown[1]) if shown else 0) == count
            assert 'class="sw outline"' in found[name]


def test_figures_are_worked_out_once_for_each_content(folder: Path, solved: list[str]) -> None:
    with workbench(folder) as client:
        first = all_glances(client)
        assert sorted(solved) == ["Cargo-bike cinema", "Storyteller's van"]
        assert all_glances(client) == first
        client.get("/builds")
        assert len(solved) == 2
        send(client, "/set", {"key": "goal.power", "value": "120 W"}, "/b/storyteller-van")
        solved.clear()
        second = all_glances(client)
        assert solved == []  # the workbench has that design already
        assert second["storyteller-van"] != first["storyteller-van"]
        assert second["cargo-bike-cinema"] == first["cargo-bike-cinema"]
        path = folder / "cargo-bike-cinema.drawer.toml"
        path.write_text(path.read_text(encoding="utf-8") + "\n# counted again\n", encoding="utf-8")
        all_glances(client)
        assert solved == ["Cargo-bike cinema"]


def test_a_build_without_a_design_says_why(folder: Path) -> None:
    path = folder / "storyteller-van.build.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("Harbour 10", "No such driver"), encoding="utf-8"
    )
    with workbench(folder) as client:
        client.get("/builds")
        found = all_glances(client)
        assert "No design" in found["storyteller-van"]
        assert "No such driver" in found["storyteller-van"]
        assert 'data-figure="power at clipping"' in found["cargo-bike-cinema"]
        answer = client.post("/builds/glance", json={"names": ["../elsewhere", "gone"]}).json()
        assert all("No design" in html for html in answer.values())


def test_the_list_tells_the_last_change(folder: Path) -> None:
    with workbench(folder) as client:
        assert "goal.power" not in client.get("/builds").text
        send(client, "/set", {"key": "goal.power", "value": "120 W"}, "/b/storyteller-van")
        assert "goal.power = &#34;120 W&#34;" in client.get("/builds").text
        send(client, "/undo", {}, "/b/storyteller-van")
        page = client.get("/builds").text
        assert "goal.power" not in page
        assert "taken back" in page


def test_in_german_and_inches(folder: Path) -> None:
    with workbench(folder) as client:
        all_glances(client)
        client.cookies.update({"language": "de", "units": "inch"})
        page = client.get("/builds").text
        assert "engste Reserve" in page
        assert "ft³" in page
        assert "geschlossen" in page
