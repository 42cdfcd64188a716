"""Trying things in the workbench: remedies of a check, changes side by side, the tightest limits."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, figures, revision, send, workbench

from patience import wait_for

COIL = {"code": "DRV-06", "quantity": "voice coil (endless full sine, 32.5 Hz)"}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with workbench(tmp_path_factory.mktemp("builds")) as found:
        yield found


def button_of(html: str, code: str) -> dict[str, str]:
    """What a page's button for a check's remedies asks for."""
    found = re.search(rf'data-remedies data-code="{code}" data-quantity="([^"]*)"', html)
    assert found is not None
    return {"code": code, "quantity": unescape(found[1])}


def test_a_check_leads_to_what_settles_it(client: TestClient) -> None:
    page = client.get(EXAMPLE).text
    wish = button_of(page, "DRV-06")
    assert wish == COIL
    keys = re.findall(r'data-try-key="([^"]+)"', client.get(f"{EXAMPLE}/remedies", params=wish).text)
    assert keys == ["goal.power", "driver.count"]
    told = client.get(f"{EXAMPLE}/remedy", params={**wish, "key": "driver.count"}).text
    assert "settles it:" in told
    assert 'data-take-key="driver.count" data-take-value="2"' in told
    assert 'href="#driver/in-driver-count"' in told
    assert "power at clipping" in told


def test_what_was_tried_is_not_made(client: TestClient) -> None:
    before = revision(client)
    client.get(f"{EXAMPLE}/remedy", params={**COIL, "key": "driver.count"})
    client.get(f"{EXAMPLE}/beside", params={"key": ["goal.power"], "value": ["120 W"]})
    assert revision(client) == before


def test_a_check_without_an_input_offers_no_button(client: TestClient) -> None:
    page = client.get(EXAMPLE).text
    for item in re.findall(r'<li class="finding .*?</li>', page, re.DOTALL):
        assert ("data-remedies" in item) == ('data-stage="' in item)  # a remedy's inputs are links


def test_a_check_that_is_gone_is_refused_and_says_so(client: TestClient) -> None:
    answer = client.get(f"{EXAMPLE}/remedies", params={"code": "DRV-06", "quantity": "voice coil"})
    assert answer.status_code == 422
    assert answer.json()["error"]["remedy"] == "look at the checks again: the build was changed"
    answer = client.get(f"{EXAMPLE}/remedy", params={**COIL, "key": "no.key"})
    assert answer.status_code == 422


def test_the_overview_names_the_tightest_limits_first(client: TestClient) -> None:
    page = client.get(EXAMPLE).text
    block = page[page.index("narrowest") : page.index("What the checks found")]
    stages = re.findall(r'data-stage="(\w+)"', block)
    assert len(stages) == len(set(stages)) == 5
    assert stages[0] == "supply"  # the load dump, 40 % beyond
    assert "40 % beyond" in block
    assert block.index("beyond") < block.index("left")


def test_changes_stand_side_by_side(client: TestClient) -> None:
    tried = {"key": ["goal.power", "driver.count"], "value": ["120 W", "2"]}
    table = client.get(f"{EXAMPLE}/beside", params=tried).text
    heads = re.findall(r'<th scope="col" class="n">(.*?)</th>', table)
    assert [re.sub("<.*?>", " ", head).split() for head in heads] == [
        ["now"],
        ["air:", "power", "120", "W"],
        ["driver:", "count", "2"],
    ]
    (row,) = re.findall(r"<tr><th scope=\"row\">power at clipping</th>(.*?)</tr>", table)
    cells = re.findall(r'<td class="([^"]*)">([^<]+)</td>', row)
    assert cells[0] == ("n fig", figures(client.get(EXAMPLE).text)["power at clipping"])
    assert cells[1][0] == "n fig other"
    with_less = send(client, "/set", {"key": "goal.power", "value": "120 W"}).json()
    assert figures(with_less["pane"])["power at clipping"] == cells[1][1]
    assert "data-undo" in with_less["moved"]
    send(client, "/undo", {})


def test_a_change_that_can_not_be_made_keeps_its_column(client: TestClient) -> None:
    tried = {"key": ["goal.power", "goal.power"], "value": ["5 kg", "900 W"]}
    table = client.get(f"{EXAMPLE}/beside", params=tried).text
    assert table.count("No design:") == 2
    assert "data-take-key" not in table
    assert client.get(f"{EXAMPLE}/beside", params={"key": ["a"] * 4, "value": ["1"] * 4}).status_code == 422


def test_a_build_without_a_design_can_be_mended(client: TestClient) -> None:
    broken = send(client, "/set", {"key": "goal.power", "value": "900 W"}).json()
    try:
        assert 'data-remedies data-code="" data-quantity=""' in broken["pane"]
        keys = re.findall(r'data-try-key="([^"]+)"', client.get(f"{EXAMPLE}/remedies").text)
        assert keys == ["goal.power", "amplifier.kind"]
        told = client.get(f"{EXAMPLE}/remedy", params={"key": "amplifier.kind"}).text
        assert "class D, half-bridge" in told
    finally:
        send(client, "/undo", {})


def test_a_pack_can_be_cancelled(client: TestClient) -> None:
    job = client.post(f"{EXAMPLE}/pack", json={"form": "zip"}).json()["job"]
    assert client.post(f"/jobs/{job}/cancel", json={}).status_code == 200
    wait_for(lambda: client.get(f"/jobs/{job}").json()["error"], "the pack to be cancelled")
    told = client.get(f"/jobs/{job}").json()
    assert told["error"]["message"] == "the pack was cancelled"
    assert not told["ready"]
    assert client.get(f"/jobs/{job}/file").status_code == 422


def test_in_german(client: TestClient) -> None:
    german = {"cookie": "language=de"}
    told = client.get(f"{EXAMPLE}/remedy", params={**COIL, "key": "driver.count"}, headers=german).text
    assert "behebt es:" in told
    assert "Anzahl" in told
    assert 'lang="en"' not in told
    table = client.get(f"{EXAMPLE}/beside", params={"key": "driver.count", "value": "2"}, headers=german).text
    assert "Treiber: Anzahl" in table
    assert 'lang="en"' not in table[: table.index("weitere Werte")]
