"""Circuits and parts on the sheets, a part that can't be had, states compared, and printed packs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, revision, send, workbench

from patience import PATIENCE_S, wait_for
from subwright import service
from subwright.outputs.schematic_blocks import blocks
from subwright.outputs.schematics import schematics
from subwright.service.solved import library_of

VAN = Path(__file__).parents[2] / "examples" / "storyteller-van.build.toml"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with workbench(tmp_path_factory.mktemp("circuits")) as found:
        yield found


@pytest.fixture(scope="module")
def solved() -> service.Solved:
    return service.solve(VAN)


@pytest.mark.parametrize("stage", ["converter", "protection", "filter", "amplifier"])
def test_a_stage_shows_its_diagram_and_parts(client: TestClient, solved: service.Solved, stage: str) -> None:
    html = client.get(f"{EXAMPLE}/circuit/{stage}").text
    drawn = schematics(solved.design, library_of(solved))
    own = [sheet for sheet in drawn.sheets if sheet.key.partition("-")[0] == stage]
    assert own
    for sheet in own:
        assert f'data-sheet="{sheet.key}"' in html
        for name in re.findall(r'data-part="([^"]+)"', sheet.svg):
            assert f'data-part="{name}"' in html
    bought = {name for sheet in own for name in sheet.circuit.bought()}
    roles = {part.role for name, part in solved.design.part_uses() if name == stage}
    assert html.count("data-parts=") == len(roles)
    assert bought


def test_every_part_in_a_diagram_is_on_the_list_of_its_stage(client: TestClient) -> None:
    """Touching a resistor or capacitor in the diagram lights a line of the list."""
    for stage in ("protection", "filter", "amplifier"):
        html = client.get(f"{EXAMPLE}/circuit/{stage}").text
        rows = set(" ".join(re.findall(r'data-parts="([^"]*)"', html)).split())
        drawn = [n for n in re.findall(r'data-part="([^"]+)"', html) if re.fullmatch(r"[RC]\d+", n)]
        assert drawn
        assert set(drawn) <= rows, stage


def test_a_stage_without_a_diagram_lists_its_parts(client: TestClient, solved: service.Solved) -> None:
    drawn = {block.stage for block in blocks(solved.design, library_of(solved))[0]}
    bare = [name for name in dict(solved.design.part_uses()) if name not in drawn]
    assert bare
    for stage in bare:
        html = client.get(f"{EXAMPLE}/circuit/{stage}").text
        assert "data-sheet" not in html
        assert "data-parts" in html
        assert f'data-circuit="{stage}"' in client.get(f"{EXAMPLE}/sheet/{stage}").text


def test_a_part_that_cant_be_had(client: TestClient, solved: service.Solved) -> None:
    part = "IRFB5620"
    html = client.get(f"{EXAMPLE}/without", params={"part": part}).text
    found = service.substitute(solved, part)
    for row in found.candidates:
        assert row.part_id in html
    assert found.moves is not None
    for change in found.moves.changes:
        assert change.sentence in html
    for one in service.try_substitutes(solved, part, [row.part_id for row in found.candidates]):
        told = unescape(html)
        assert one.refusal in told
        if one.moves is not None:
            assert f"{len(one.moves.changes)} changes for the hand" in told
            assert all(after in told for _, _, after in one.moves.figures[:4])
    key = re.search(r'data-put-key="([^"]+)" data-put-value="([^"]+)"', html)
    assert key is not None
    taken = send(client, "/set", {"key": key[1], "value": key[2]})
    assert taken.status_code == 200
    assert part not in client.get(f"{EXAMPLE}/circuit/amplifier").text.split("partlist")[1]
    client.post(f"{EXAMPLE}/undo", json={"revision": revision(client)})


def test_a_part_that_the_build_has_not(client: TestClient) -> None:
    answer = client.get(f"{EXAMPLE}/without", params={"part": "no such part"})
    assert answer.status_code == 422
    assert "no such part" in answer.json()["error"]["message"]


def test_the_difference_is_told_as_work_for_the_hand(
    client: TestClient, solved: service.Solved, tmp_path: Path
) -> None:
    client.post(f"{EXAMPLE}/keep", json={"title": "as first drawn"})
    send(client, "/set", {"key": "goal.power", "value": "120 W"})
    changed = tmp_path / "van.build.toml"
    changed.write_text(client.get(f"{EXAMPLE}/file").text, encoding="utf-8")
    drawer = VAN.with_name("storyteller-van.drawer.toml")
    (tmp_path / drawer.name).write_text(drawer.read_text(encoding="utf-8"), encoding="utf-8")
    found, _ = service.builds_apart(solved, service.solve(changed))
    html = unescape(client.get(f"{EXAMPLE}/difference", params={"pin": "version:as first drawn"}).text)
    last = unescape(client.get(f"{EXAMPLE}/difference").text)
    client.post(f"{EXAMPLE}/undo", json={"revision": revision(client)})
    assert any(change.act == "re-wind" and "turns" in change.what for change in found.changes)
    for change in found.changes:
        assert change.what in html
        assert change.what in last
    for name, before, after in found.figures:
        assert name in html
        assert before in html
        assert after in html
    same = client.get(f"{EXAMPLE}/difference", params={"pin": "version:as first drawn"}).text
    assert "Nothing: a unit built to one is built to the other." in same


def test_a_change_that_leaves_no_design_says_so(client: TestClient) -> None:
    told = send(client, "/set", {"key": "driver.part", "value": "No such driver"}).json()
    client.post(f"{EXAMPLE}/undo", json={"revision": revision(client)})
    assert "leaves no design" in told["moved"]
    assert "Nothing else moved" not in told["moved"]


def test_two_builds_compared(client: TestClient) -> None:
    one = client.post("/new", json={"name": "One", "driver": "Harbour 10"}).json()["name"]
    two = client.post("/new", json={"name": "Two", "driver": "Harbour 10", "box": "vented"}).json()["name"]
    html = client.get(f"/b/{two}/difference", params={"pin": f"build:{one}"}).text
    assert "re-cut" in html or "cut" in html
    assert 'href="/b/two#enclosure"' in html


@pytest.mark.parametrize(("form", "width_pt", "height_pt"), [("a4", 595, 842), ("letter", 612, 792)])
def test_the_pack_printed(client: TestClient, form: str, width_pt: int, height_pt: int) -> None:
    """Paper sizes: ISO 216 A4 is 210 mm by 297 mm, US Letter 8.5 in by 11 in; a point is 1/72 in."""
    job = client.post(f"{EXAMPLE}/pack", json={"form": form}).json()["job"]

    def over() -> Any:
        now = client.get(f"/jobs/{job}").json()
        return (now["ready"] or now["error"]) and now

    assert wait_for(over, "the print", 5 * PATIENCE_S)["error"] is None
    answer = client.get(f"/jobs/{job}/file")
    assert answer.headers["content-type"] == "application/pdf"
    assert unquote(answer.headers["content-disposition"]).endswith('-pack.pdf"')
    assert answer.content.startswith(b"%PDF-")
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", answer.content)
    assert boxes
    assert any(abs(float(w) - width_pt) < 1.0 and abs(float(h) - height_pt) < 1.0 for w, h in boxes)


def test_a_form_that_nobody_prints(client: TestClient) -> None:
    assert client.post(f"{EXAMPLE}/pack", json={"form": "a0"}).status_code == 422
