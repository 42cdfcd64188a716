"""Every route of the workbench, without a browser."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, figures, revision, send, workbench

from patience import wait_for
from subwright import service
from subwright.web.job_routes import _Job, _make

STAGES = (
    *("supply", "wiring", "converter", "transformer", "protection", "filter", "amplifier", "heat", "driver"),
    *("enclosure", "air", "build"),
)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with workbench(tmp_path_factory.mktemp("builds")) as found:
        yield found


def test_an_empty_folder_opens_the_example(client: TestClient) -> None:
    answer = client.get("/")
    assert answer.status_code == 303
    assert answer.headers["location"] == EXAMPLE
    page = client.get(EXAMPLE)
    assert page.status_code == 200
    assert "Storyteller&#39;s van" in page.text


def test_the_page_carries_every_stage_as_a_link(client: TestClient) -> None:
    page = client.get(EXAMPLE).text
    linked = set(re.findall(r'<a href="#([a-z]+)" data-stage', page))
    assert linked >= set(STAGES)


def test_nothing_on_the_page_comes_from_elsewhere(client: TestClient) -> None:
    for path in (EXAMPLE, "/builds", "/new", "/look.css", "/static/workbench.js", "/static/plot.js"):
        text = client.get(path).text
        found = re.findall(r'(?:src|href|url|import|fetch)[=( ]+["\']?(https?:)?//[^"\')]+', text)
        assert not found, f"{path} reaches out: {found}"


@pytest.mark.parametrize("stage", STAGES)
def test_a_sheet_shows_inputs_with_ranges_and_reasons(client: TestClient, stage: str) -> None:
    sheet = client.get(f"{EXAMPLE}/sheet/{stage}")
    assert sheet.status_code == 200
    assert 'form data-key="' in sheet.text
    if stage not in ("air", "build", "driver"):
        assert "Why it came out so" in sheet.text
    assert "nan" not in re.sub(r"[a-z]{3,}", "", sheet.text.lower())


def test_every_sheet_of_the_design_can_be_opened(client: TestClient) -> None:
    listed = set(re.findall(r'data-stage="([a-z_]+)"', client.get(f"{EXAMPLE}/sheet/overview").text))
    assert len(listed) >= len(STAGES)
    for key in listed:
        assert client.get(f"{EXAMPLE}/sheet/{key}").status_code == 200, key


def test_the_slider_moves_every_number_of_the_drawing(client: TestClient) -> None:
    low = client.get(f"{EXAMPLE}/now", params={"emf": 12.1}).json()
    high = client.get(f"{EXAMPLE}/now", params={"emf": 14.4}).json()
    assert low["state"] == high["state"] == "playing"
    for key in ("w.supply.0", "w.supply.1", "w.supply.2", "w.rails.0", "w.amplifier.0", "w.air.level"):
        assert low["live"][key] != high["live"][key], key
    assert low["live"].keys() == high["live"].keys()


def test_below_the_trip_it_is_off(client: TestClient) -> None:
    off = client.get(f"{EXAMPLE}/now", params={"emf": 7}).json()
    assert off["state"] == "off low"
    assert off["live"]["w.amplifier.0"]["text"] == "off"
    assert float(off["live"]["w.flow.battery.a"]["stroke-width"]) == 0.0


def test_levels_differ(client: TestClient) -> None:
    texts = {
        level: client.get(f"{EXAMPLE}/now", params={"level": level}).json()["live"]["w.supply.1"]["text"]
        for level in ("idle", "programme", "full")
    }
    assert len(set(texts.values())) == 3


def test_a_change_moves_the_rest_and_can_be_undone(client: TestClient) -> None:
    before = figures(client.get(f"{EXAMPLE}/sheet/overview").text)
    answer = send(client, "/set", {"key": "goal.power", "value": "120 W"})
    assert answer.status_code == 200
    told = answer.json()
    assert told["count"] > 10
    assert "rails" in told["moved"]
    after = figures(client.get(f"{EXAMPLE}/sheet/overview").text)
    assert after["power at clipping"] != before["power at clipping"]
    assert after["rails"] != before["rails"]
    undone = send(client, "/undo", {}).json()
    assert figures(client.get(f"{EXAMPLE}/sheet/overview").text) == before
    assert undone["redo"]
    send(client, "/redo", {})
    assert figures(client.get(f"{EXAMPLE}/sheet/overview").text) == after
    send(client, "/undo", {})


def test_a_value_that_is_not_allowed_is_refused_beside_its_input(client: TestClient) -> None:
    was = revision(client)
    answer = send(client, "/set", {"key": "supply.cable_length", "value": "500 m"})
    assert answer.status_code == 422
    assert "30" in str(answer.json()["error"])
    assert revision(client) == was


def test_a_wish_without_a_design_says_so_and_keeps_the_page(client: TestClient) -> None:
    answer = send(client, "/set", {"key": "driver.part", "value": "No such driver"})
    assert answer.status_code == 200
    assert answer.json()["scene"] == ""
    assert "No such driver" in answer.json()["pane"]
    page = client.get(EXAMPLE)
    assert page.status_code == 200
    assert "No such driver" in page.text
    assert client.get(f"{EXAMPLE}/sheet/driver").status_code == 200
    assert send(client, "/undo", {}).json()["scene"]


def test_what_if_changes_nothing(client: TestClient) -> None:
    was = client.get(f"{EXAMPLE}/file").text
    answer = client.get(f"{EXAMPLE}/whatif", params={"key": "supply.cable_length", "value": "8 m"})
    assert answer.status_code == 200
    assert "copper section" in answer.text
    assert client.get(f"{EXAMPLE}/file").text == was


def test_other_parts_are_offered_the_drawer_first(client: TestClient) -> None:
    text = client.get(f"{EXAMPLE}/alternatives", params={"key": "transformer.core"}).text
    ids = re.findall(r'data-try="([^"]+)"', text)
    assert ids[0] == "grey ring"
    assert len(ids) > 5
    tried = client.get(f"{EXAMPLE}/whatif", params={"key": "transformer.core", "value": ids[3]})
    assert tried.status_code == 200


def test_a_stale_page_is_told_and_loses_nothing(client: TestClient) -> None:
    seen = revision(client)
    assert send(client, "/set", {"key": "filter.corner", "value": "90 Hz"}).status_code == 200
    late = client.post(f"{EXAMPLE}/set", json={"revision": seen, "key": "filter.order", "value": "2"})
    assert late.status_code == 409
    assert "nothing was lost" in late.json()["error"]["remedy"]
    assert "filter.corner" in late.json()["error"]["value"]
    assert 'corner = "90 Hz"' in client.get(f"{EXAMPLE}/file").text
    send(client, "/undo", {})


def test_versions_keep_and_come_back(client: TestClient) -> None:
    assert "first try" in client.post(f"{EXAMPLE}/keep", json={"title": "first try"}).text
    send(client, "/set", {"key": "goal.power", "value": "90 W"})
    assert send(client, "/restore", {"name": "first try"}).status_code == 200
    assert 'power = "180 W"' in client.get(f"{EXAMPLE}/file").text
    assert send(client, "/restore", {"name": "never kept"}).status_code == 422


def test_a_plot_zooms_compares_and_drops_its_band(client: TestClient) -> None:
    whole = client.get(f"{EXAMPLE}/plot/filter").text
    part = client.get(f"{EXAMPLE}/plot/filter", params={"x_low": 40, "x_high": 120}).text
    assert 'data-x="log 40 120 Hz"' in part
    assert 'data-x="log 40 120' not in whole
    assert 'class="band"' in whole
    assert 'class="band"' not in client.get(f"{EXAMPLE}/plot/filter", params={"band": "false"}).text
    send(client, "/set", {"key": "filter.corner", "value": "100 Hz"})
    pinned = client.get(f"{EXAMPLE}/plot/filter", params={"pin": "before"}).text
    against = client.get(f"{EXAMPLE}/against", params={"pin": "before"}).text
    assert "its corner" in against
    assert client.get(f"{EXAMPLE}/against").text == ""
    assert pinned.count("<polyline") == whole.count("<polyline") * 2
    send(client, "/undo", {})
    assert client.get(f"{EXAMPLE}/plot/filter", params={"x_low": 9, "x_high": 3}).status_code == 422
    assert client.get(f"{EXAMPLE}/plot/no-such").status_code == 422


def test_a_drag_on_a_battery_plot_marks_the_moment(client: TestClient) -> None:
    text = client.get(f"{EXAMPLE}/plot/clipping-power", params={"emf": 13.1}).text
    assert ">now<" in text


def test_the_pack_is_made_watched_and_saved(client: TestClient) -> None:
    job = client.post(f"{EXAMPLE}/pack", json={}).json()["job"]
    state = wait_for(lambda: (now := client.get(f"/jobs/{job}").json())["ready"] and now, "the pack")
    assert state["share"] == 1.0
    saved = client.get(f"/jobs/{job}/file")
    names = zipfile.ZipFile(io.BytesIO(saved.content)).namelist()
    assert {"summary.html", "bom.csv", "design.json"} <= set(names)
    assert client.get("/jobs/unknown").status_code == 422


def test_a_pack_that_is_ready_is_done_in_every_respect(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever watches may look between any two steps of the one who makes it."""
    seen: list[tuple[bool, float]] = []

    class Watched(_Job):
        def __setattr__(self, name: str, value: object) -> None:
            object.__setattr__(self, name, value)
            if hasattr(self, "share") and hasattr(self, "content"):
                seen.append((bool(self.content), self.share))

    monkeypatch.setattr(service, "pack_archive", lambda solved, told: told("zipping", 0.9) or b"PK")
    _make(Watched(file="x.zip"), None)  # type: ignore[arg-type]
    assert seen[-1] == (True, 1.0)
    assert all(share == 1.0 for ready, share in seen if ready)


def test_explanations_and_errors_have_pages(client: TestClient) -> None:
    assert "fuse" in client.get("/explain/SUP-03").text
    lost = client.get("/b/nowhere", headers={"X-Workbench": ""})
    assert lost.status_code == 404
    assert "<html" in lost.text
    assert client.get("/b/nowhere/revision").json()["error"]["message"]


def test_inches_and_german(client: TestClient) -> None:
    assert client.post("/view", json={"name": "units", "value": "inch"}).status_code == 200
    assert "ft³" in client.get(f"{EXAMPLE}/sheet/overview").text
    client.post("/view", json={"name": "language", "value": "de"})
    page = client.get(EXAMPLE).text
    assert 'lang="de"' in page
    assert "Batterie" in page
    client.post("/view", json={"name": "units", "value": "metric"})
    client.post("/view", json={"name": "language", "value": "en"})
    assert client.post("/view", json={"name": "units", "value": "furlong"}).status_code == 422


def test_the_folder_of_the_reader_stays_empty_while_they_play(
    client: TestClient, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.getbasetemp() / "builds0"
    assert not [path for path in Path(folder).rglob("*") if path.is_file()]


def test_a_fault_of_ours_is_owned_up_to(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(code: str) -> None:
        raise ZeroDivisionError(code)

    monkeypatch.setattr(service, "explain", broken)
    told = client.get("/explain/SUP-03")
    assert told.status_code == 500
    assert "ZeroDivisionError" in told.json()["error"]["message"]
    page = client.get("/explain/SUP-03", headers={"X-Workbench": ""})
    assert "<html" in page.text
    assert "Traceback" not in page.text
    assert "default-src 'none'" in page.headers["content-security-policy"]


def test_a_boost_build_has_one_sheet_for_its_converter(tmp_path: Path) -> None:
    """Both share a table of the build file: a remedy's link finds the inputs on the sheet that is there."""
    for path in (Path(__file__).parents[2] / "examples").glob("harvest-wagon.*"):
        shutil.copy(path, tmp_path)
    with workbench(tmp_path) as client:
        cover = client.get("/b/harvest-wagon/sheet/overview").text
        assert 'href="#boost"' in cover
        assert 'href="#converter"' not in cover
        sheet = client.get("/b/harvest-wagon/sheet/converter").text
        assert 'id="in-converter-choke_core"' in sheet
        assert 'data-circuit="boost"' in sheet
