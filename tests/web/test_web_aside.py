"""Builds renamed, laid aside and brought back: nothing is ever lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, revision, workbench

from subwright.base.errors import SubwrightError
from subwright.workspace import Workspace

SOURCE = Path(__file__).parents[2] / "examples"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    for kind in ("build", "drawer"):
        text = (SOURCE / f"storyteller-van.{kind}.toml").read_text(encoding="utf-8")
        (tmp_path / ("van.build.toml" if kind == "build" else "storyteller-van.drawer.toml")).write_text(text)
    with workbench(tmp_path) as found:
        yield found


def changed(client: TestClient, build: str, value: str) -> None:
    seen = revision(client, f"/b/{build}")
    body = {"key": "filter.corner", "value": value, "revision": seen}
    assert client.post(f"/b/{build}/set", json=body).status_code == 200


def read(client: TestClient, build: str) -> None:
    body = {"unit": "1", "key": "dead-time", "value": "0.9 us", "at": "2026-03-01T10:00:00Z"}
    assert client.post(f"/b/{build}/bench/reading", json=body).status_code == 200


def test_aside_and_back_with_history_log_and_all(client: TestClient, tmp_path: Path) -> None:
    changed(client, "van", "91 Hz")
    changed(client, "van", "92 Hz")
    read(client, "van")
    text = (tmp_path / "van.build.toml").read_text()
    log = (tmp_path / "van.bench.jsonl").read_bytes()
    key = client.post("/b/van/remove").json()["key"]
    assert not list(tmp_path.glob("van.*"))
    assert client.get("/b/van/revision").status_code == 404
    assert key in client.get("/builds").text
    assert client.post("/aside/back", json={"key": key}).json() == {"name": "van"}
    assert (tmp_path / "van.build.toml").read_text() == text
    assert (tmp_path / "van.bench.jsonl").read_bytes() == log
    assert client.post("/b/van/undo", json={"revision": revision(client, "/b/van")}).status_code == 200
    assert '"91 Hz"' in (tmp_path / "van.build.toml").read_text()
    assert key not in client.get("/builds").text
    assert not list((tmp_path / ".subwright" / "aside").iterdir())


def test_brought_back_beside_a_new_one_of_its_name(client: TestClient, tmp_path: Path) -> None:
    old = (tmp_path / "van.build.toml").read_text()
    key = client.post("/b/van/remove").json()["key"]
    (tmp_path / "van.build.toml").write_text(old.replace("Storyteller's van", "Another van"))
    assert client.post("/aside/back", json={"key": key}).json() == {"name": "van-2"}
    assert "Another van" in (tmp_path / "van.build.toml").read_text()
    assert (tmp_path / "van-2.build.toml").read_text() == old


def test_twice_the_same_name_aside(client: TestClient, tmp_path: Path) -> None:
    keys = []
    for title in ("First", "Second"):
        (tmp_path / "van.build.toml").write_text(
            (SOURCE / "storyteller-van.build.toml").read_text().replace("Storyteller's van", title)
        )
        keys.append(client.post("/b/van/remove").json()["key"])
    assert len(set(keys)) == 2
    page = client.get("/builds").text
    assert "First" in page
    assert "Second" in page


def test_renamed_with_everything_that_belongs_to_it(client: TestClient, tmp_path: Path) -> None:
    changed(client, "van", "93 Hz")
    read(client, "van")
    name = client.post("/b/van/rename", json={"title": "Night van"}).json()["name"]
    assert name == "night-van"
    assert {p.name for p in tmp_path.glob("*van.*") if "drawer" not in p.name} == {
        "night-van.build.toml",
        "night-van.bench.jsonl",
    }
    assert 'name = "Night van"' in (tmp_path / "night-van.build.toml").read_text()
    log = client.get("/b/night-van/bench/log", params={"unit": "1"}).json()
    assert log["count"] == 1
    seen = revision(client, "/b/night-van")
    client.post("/b/night-van/undo", json={"revision": seen})
    client.post("/b/night-van/undo", json={"revision": seen + 1})
    assert '"93 Hz"' not in (tmp_path / "night-van.build.toml").read_text()
    again = client.post("/b/night-van/rename", json={"title": "Night Van!"}).json()["name"]
    assert again == "night-van"


def test_a_late_change_in_another_window_writes_nothing(tmp_path: Path) -> None:
    """A window that still holds the old build must not bring its file back from the dead."""
    (tmp_path / "van.build.toml").write_text(
        (SOURCE / "storyteller-van.build.toml").read_text().replace("drawer =", "# drawer =")
    )
    workspace = Workspace(folder=tmp_path)
    late = workspace.session("van")
    seen = late.revision
    workspace.remove("van")
    with pytest.raises(SubwrightError, match="laid aside"):
        late.change("filter.corner", "99 Hz", seen)
    with pytest.raises(SubwrightError, match="laid aside"):
        late.keep("too late")
    assert not list(tmp_path.glob("van.*"))


@pytest.mark.parametrize("key", ["../van", "20260101T000000000000 nothing", "x", "/etc"])
def test_only_what_was_laid_aside_comes_back(client: TestClient, key: str) -> None:
    assert client.post("/aside/back", json={"key": key}).status_code == 422


def test_the_example_stays(client: TestClient) -> None:
    assert client.post(f"{EXAMPLE}/remove").status_code == 422
    assert client.post(f"{EXAMPLE}/rename", json={"title": "Mine"}).status_code == 422
    assert client.post("/b/van/rename", json={"title": "  "}).status_code == 422


def test_a_stranger_cant_lay_aside(tmp_path: Path) -> None:
    (tmp_path / "van.build.toml").write_text('format_version = 1\nname = "Van"\n')
    with workbench(tmp_path) as client:
        answer = client.post("/b/van/remove", headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403
    assert (tmp_path / "van.build.toml").exists()
