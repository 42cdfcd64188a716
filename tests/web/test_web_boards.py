"""The page of boards: made in the background, shown, saved, and honest about another state of the build."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, send, workbench

from patience import PATIENCE_S, wait_for
from subwright.boards import make, workshop
from subwright.boards.record import Board
from subwright.boards.wanted import Wanted

SMALL = "controller"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        yield found


def over(client: TestClient, job: str) -> dict[str, Any]:
    def state() -> dict[str, Any]:
        now: dict[str, Any] = client.get(f"/boards/{job}").json()
        return now if now["over"] else {}

    return wait_for(state, "the end of the work", 2 * PATIENCE_S)


def test_a_board_is_made_shown_and_saved(client: TestClient) -> None:
    page = client.get(f"{EXAMPLE}/boards").text
    assert "Not made yet." in page
    assert 'data-make=""' in page
    assert "Its currents belong on thick links" in page
    assert client.get(f"{EXAMPLE}/boards/print.pdf").status_code == 422
    job = client.post(f"{EXAMPLE}/boards", json={"keys": [SMALL]}).json()["job"]
    now = over(client, job)
    assert (now["error"], now["failed"], now["cancelled"], now["share"]) == (None, [], False, 1.0)

    page = client.get(f"{EXAMPLE}/boards").text
    assert f'data-sheet="board-{SMALL}"' in page
    drawn = set(re.findall(r'<g data-part="([^"]+)">', page))
    listed = {name for row in re.findall(r'data-parts="([^"]+)"', page) for name in row.split()}
    assert drawn == listed != set()
    assert "Some boards of this design are still to be made:" in page

    printed = client.get(f"{EXAMPLE}/boards/print.pdf", params={"paper": "letter"})
    assert printed.content.startswith(b"%PDF")
    assert printed.headers["content-disposition"].endswith('-boards.pdf"')
    archive = zipfile.ZipFile(io.BytesIO(client.get(f"{EXAMPLE}/boards/files.zip?block={SMALL}").content))
    assert {f"{SMALL}/copper-bottom.gbr", f"{SMALL}/places.csv", "boards.pdf"} <= set(archive.namelist())
    assert client.get(f"{EXAMPLE}/boards/files.zip?block=converter").status_code == 422
    german = client.get(f"{EXAMPLE}/boards", headers={"accept-language": "de"}).text
    assert "Blöcke ohne Platine" in german
    assert "Seine Ströme gehören auf dicke Brücken" in german

    send(client, "/set", {"key": "enclosure.qtc", "value": "0.8"})
    page = client.get(f"{EXAMPLE}/boards").text
    assert "boards of another version of this design only" in page
    assert "data-sheet=" not in page
    assert client.get(f"{EXAMPLE}/boards/files.zip").status_code == 422


def test_cancelled_work_ends_and_says_so(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """The router asks between two attempts: here after each look at whether it was cancelled."""

    def endless(wanted: Wanted, demands: object, progress: make.Progress) -> Board:
        while True:
            progress(wanted.title, 0.5)

    monkeypatch.setattr(workshop, "make_board", endless)
    job = client.post(f"{EXAMPLE}/boards", json={"keys": [SMALL]}).json()["job"]
    wait_for(lambda: client.get(f"/boards/{job}").json()["doing"], "the work to begin", PATIENCE_S)
    assert client.post(f"{EXAMPLE}/boards", json={}).json()["job"] == job  # one at a time
    assert f'data-running="{job}"' in client.get(f"{EXAMPLE}/boards").text
    client.post(f"/boards/{job}/cancel", json={})
    now = over(client, job)
    assert (now["cancelled"], now["error"]) == (True, None)
    assert "Not made yet." in client.get(f"{EXAMPLE}/boards").text


def test_what_there_is_not(client: TestClient) -> None:
    job = client.post(f"{EXAMPLE}/boards", json={"keys": ["no-such"]}).json()["job"]
    assert "no such board" in over(client, job)["error"]["message"]
    assert client.post(f"{EXAMPLE}/boards", json={"keys": "controller"}).status_code == 422
    assert client.get("/boards/nothing").status_code == 422
    assert client.post("/boards/nothing/cancel").status_code == 422
    assert client.get(f"{EXAMPLE}/boards/print.pdf?paper=a3").status_code == 422
