"""Who may talk to the workbench, and what can't be made to happen through it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, HOST, OWN, send, workbench

from subwright.base.errors import SubwrightError
from subwright.web.security import BODY_LIMIT_BYTES, rules_for

TOKEN = "a-long-random-word-for-tests"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        yield found


@pytest.fixture(scope="module")
def refusing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One server for all that must change nothing: each test looks whether it did."""
    with workbench(tmp_path_factory.mktemp("builds")) as found:
        yield found


@pytest.mark.parametrize("host", ["0.0.0.0", "::", ""])
def test_every_address_at_once_is_refused(host: str) -> None:
    with pytest.raises(SubwrightError, match="which address"):
        rules_for(host, 7312, TOKEN)


@pytest.mark.parametrize("host", ["192.168.1.7", "fd00::7", "workshop.example"])
def test_other_addresses_need_a_token(host: str) -> None:
    with pytest.raises(SubwrightError, match="token"):
        rules_for(host, 7312)
    with pytest.raises(SubwrightError, match="token"):
        rules_for(host, 7312, "short")
    assert rules_for(host, 7312, TOKEN).token == TOKEN


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost", "127.0.0.2"])
def test_the_loopback_address_needs_none(host: str) -> None:
    assert rules_for(host, 7312).hosts >= {"localhost:7312", "127.0.0.1:7312", "[::1]:7312"}


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:7312", "127.0.0.1", "127.0.0.1:80", "", "localhost.evil:7312"]
)
def test_a_foreign_host_name_is_refused(refusing: TestClient, host: str) -> None:
    answer = refusing.get("/builds", headers={"Host": host})
    assert answer.status_code == 421
    assert "subwright" not in answer.text


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:7312", "http://127.0.0.1:7313", ""]
)
@pytest.mark.parametrize("path", ["/set", "/undo", "/redo", "/keep", "/restore", "/duplicate", "/pack"])
def test_a_foreign_origin_changes_nothing(refusing: TestClient, origin: str, path: str) -> None:
    before = refusing.get(f"{EXAMPLE}/file").text
    body = {"revision": 0, "key": "goal.power", "value": "90 W", "title": "x", "name": "x"}
    answer = refusing.post(f"{EXAMPLE}{path}", json=body, headers={"Origin": origin})
    assert answer.status_code == 403
    assert refusing.get(f"{EXAMPLE}/file").text == before


def test_no_origin_at_all_changes_nothing(tmp_path: Path) -> None:
    with workbench(tmp_path) as client:
        del client.headers["origin"]
        assert client.post("/new", json={"name": "x", "driver": "Harbour 10"}).status_code == 403


def test_another_sites_script_reads_nothing(client: TestClient) -> None:
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert client.get("/builds", headers=headers).status_code == 403
    followed = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    assert client.get("/builds", headers=followed).status_code == 200


def test_the_token_opens_and_leaves_the_address_bar(tmp_path: Path) -> None:
    with workbench(tmp_path, token=TOKEN) as client:
        assert client.get("/builds").status_code == 401
        assert client.get("/builds?token=wrong-wrong-wrong-wrong").status_code == 401
        assert client.post("/view?token=" + TOKEN, json={"name": "units", "value": "inch"}).status_code == 401
        opened = client.get("/?token=" + TOKEN)
        assert opened.status_code == 303
        assert TOKEN not in opened.headers["location"]
        assert "HttpOnly" in opened.headers["set-cookie"]
        assert "SameSite=Strict" in opened.headers["set-cookie"]
        assert client.get("/builds").status_code == 200


@pytest.mark.parametrize("path", ["/builds", EXAMPLE, "/static/workbench.js", "/nowhere", f"{EXAMPLE}/now"])
def test_every_answer_has_the_policy(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert "access-control-allow-origin" not in headers


@pytest.mark.parametrize(
    "name",
    [
        "..",
        "../secret",
        "..%2fsecret",
        "%2e%2e%2fsecret",
        "/etc/passwd",
        "%2fetc%2fpasswd",
        ".hidden",
        "a%00b",
        "a%5cb",
    ],
)
@pytest.mark.parametrize("path", ["/b/{}", "/b/{}/file", "/drawer/{}.drawer.toml", "/static/{}"])
def test_no_path_leaves_the_folder(client: TestClient, tmp_path: Path, name: str, path: str) -> None:
    (tmp_path.parent / "secret.build.toml").write_text("format_version = 1\n# the secret\n")
    (tmp_path.parent / "secret.drawer.toml").write_text("format_version = 1\n# the secret\n")
    answer = client.get(path.format(name))
    assert answer.status_code in (303, 307, 404, 422)
    assert "the secret" not in answer.text
    assert "root:" not in answer.text


def test_a_link_out_of_the_folder_is_not_followed(client: TestClient, tmp_path: Path) -> None:
    outside = tmp_path.parent / "outside.build.toml"
    outside.write_text("format_version = 1\n# the secret\n")
    (tmp_path / "inside.build.toml").symlink_to(outside)
    answer = client.get("/b/inside/file")
    assert answer.status_code == 404
    assert "the secret" not in answer.text


def test_a_drawer_outside_the_folder_is_not_read(client: TestClient, tmp_path: Path) -> None:
    (tmp_path.parent / "out.drawer.toml").write_text('format_version = 1\nname = "the secret"\n')
    made = client.post("/new", json={"name": "x", "driver": "Harbour 10"}).json()["name"]
    answer = send(client, "/set", {"key": "drawer", "value": "../out.drawer.toml"}, f"/b/{made}")
    assert "the secret" not in answer.text
    assert answer.status_code == 422 or answer.json()["scene"] == ""


def test_too_much_is_refused_before_it_is_read(client: TestClient, tmp_path: Path) -> None:
    much = "x" * (BODY_LIMIT_BYTES + 1)
    assert client.post("/take-in?file=big.build.toml", content=much).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(40):
            yield b"x" * 65_536

    answer = client.post("/take-in?file=big.build.toml", content=endless())
    assert answer.status_code == 413
    assert not list(tmp_path.iterdir())


def test_uploads_are_read_as_data_and_never_run(client: TestClient, tmp_path: Path) -> None:
    script = "import os\nos.system('touch /tmp/hweb_ran')\n"
    assert client.post("/take-in?file=evil.build.toml", content=script).status_code == 422
    assert client.post("/take-in?file=evil.py", content=script).status_code == 422
    assert not list(tmp_path.iterdir())
    assert client.post("/take-in?file=x.build.toml", content=b"\xff\xfe\x00").status_code == 422


def test_a_projects_text_is_escaped_everywhere(client: TestClient) -> None:
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
    made = client.post("/new", json={"name": evil[:80], "driver": "Harbour 10"}).json()["name"]
    send(client, "/set", {"key": "note", "value": evil}, f"/b/{made}")
    client.post(f"/b/{made}/keep", json={"title": "<b>bold</b>"})
    for path in ("", "/sheet/overview", "/sheet/build", "/sheet/driver", "/versions"):
        text = client.get(f"/b/{made}{path}").text
        assert "<script>alert" not in text, path
        assert "<img src=x" not in text, path
        assert "<b>bold" not in text, path
    assert "<script>alert" not in client.get("/builds").text
    pinned = client.get(f"/b/{made}/plot/filter", params={"pin": "version:<b>bold</b>"})
    assert pinned.status_code == 200
    assert "<b>" not in pinned.text
    tried = client.get(f"/b/{made}/whatif", params={"key": "note", "value": evil})
    assert "<script>alert" not in tried.text
    refused = client.get(
        f"/b/{made}/whatif", params={"key": evil[:80], "value": "1"}, headers={"X-Workbench": ""}
    )
    assert "<script>alert" not in refused.text


def test_unknown_fields_and_methods_are_refused(client: TestClient) -> None:
    assert send(client, "/set", {"key": "goal.power", "value": "90 W", "path": "/etc"}).status_code == 422
    assert client.put(f"{EXAMPLE}/file", content="x").status_code == 405
    assert client.delete(EXAMPLE).status_code == 405
    for path in ("/docs", "/redoc", "/openapi.json"):
        assert client.get(path).status_code == 404


def test_the_origin_that_is_ours_is_needed_word_for_word() -> None:
    assert OWN["Origin"] == f"http://{HOST}"


def test_every_changing_route_refuses_a_foreign_page(tmp_path: Path) -> None:
    """Whatever is added later is held to the rule too: no POST without our own origin, none from outside."""
    from subwright.web.security import Rules
    from subwright.web.server import create_app
    from subwright.workspace import Workspace

    guard = create_app(Workspace(folder=tmp_path), Rules(hosts=frozenset({"127.0.0.1:7312"})))
    paths = guard.app.openapi()["paths"]  # type: ignore[attr-defined]
    changing = [path for path, methods in paths.items() if set(methods) - {"get", "head"}]
    assert len(changing) >= 18
    with workbench(tmp_path) as client:
        for pattern in changing:
            path = re.sub(r"\{[^}]+\}", "x", pattern)
            for headers in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": ""}):
                assert client.post(path, content=b"{}", headers=headers).status_code == 403, pattern
            away = {"Sec-Fetch-Site": "cross-site", "Origin": "http://127.0.0.1:7312"}
            assert client.post(path, content=b"{}", headers=away).status_code == 403, pattern


def test_no_page_names_a_host_or_carries_a_style(tmp_path: Path) -> None:
    """Works offline and under the content policy: nothing is fetched from elsewhere, nothing is inline."""
    with workbench(tmp_path) as client:
        for path in ("/builds", "/new", "/b/~example", "/b/~example/bench", "/b/~example/trials"):
            answer = client.get(path)
            assert "default-src 'none'" in answer.headers["content-security-policy"]
            html = answer.text.replace('xmlns="http://www.w3.org/2000/svg"', "")
            assert not re.search(r"(?:src|href|action)=[\"'](?:https?:)?//", html), path
            assert not re.search(r"<[^>]*\sstyle=", html), path
            assert not re.search(r"<script(?![^>]*(?:src=|application/json))", html), path
