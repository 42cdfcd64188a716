"""The bench page's routes: the procedure, readings into the same log as the command line, and the fit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
from starlette.testclient import TestClient
from web_support import workbench

from subwright import service
from subwright.base.units import parse, show
from subwright.build.bringup_records import Reading
from subwright.outputs.benchlog import log_path, read_log
from subwright.web.bench_view import step_pages

VAN = "/b/van"
AT = "2026-03-01T10:00:00.250Z"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = tmp_path_factory.mktemp("bench")
    source = Path(__file__).parents[2] / "examples"
    for kind in ("build", "drawer"):
        text = (source / f"storyteller-van.{kind}.toml").read_text(encoding="utf-8")
        name = "van.build.toml" if kind == "build" else "storyteller-van.drawer.toml"
        (folder / name).write_text(text, encoding="utf-8")
    with workbench(folder) as client:
        client.folder = folder  # type: ignore[attr-defined]
        yield client


def file_of(client: TestClient) -> Path:
    found: Path = client.folder / "van.build.toml"  # type: ignore[attr-defined]
    return found


def entered(client: TestClient, key: str, value: str, **more: str) -> httpx.Response:
    body: dict[str, Any] = {"unit": "7", "key": key, "value": value, "accuracy": "0.5 %", "at": AT, **more}
    return client.post(f"{VAN}/bench/reading", json=body)


def readings(client: TestClient) -> tuple[Reading, ...]:
    return service.bring_up(service.solve(file_of(client))).readings


def test_the_page_holds_the_whole_procedure(client: TestClient) -> None:
    html = client.get(f"{VAN}/bench").text
    procedure = service.bring_up(service.solve(file_of(client)))
    for step in procedure.steps:
        assert f'data-step="{step.key}"' in html
        assert html.count(f'data-act="{step.key}.') == len(step.actions)
    found = re.findall(r'data-reading="([^"]+)" data-low="([^"]+)" data-high="([^"]*)"', html)
    assert [key for key, _, _ in found] == [reading.key for reading in procedure.readings]
    for (_, low, high), reading in zip(found, procedure.readings, strict=True):
        assert float(low) == reading.low
        assert (float(high) if high else None) == reading.high
    powered = next(step for step in procedure.steps if step.supply)
    assert powered.supply is not None
    assert show(powered.supply.limit_a, "current") in html
    first = procedure.discharges[0]
    assert show(first.resistor_ohm, "resistance") in html


def test_every_offered_unit_reads_back_as_it_is_worth(client: TestClient) -> None:
    """What the page multiplies by is what the programme reads the typed text as."""
    procedure = service.bring_up(service.solve(file_of(client)))
    for page in step_pages(procedure):
        for blank in page.blanks:
            assert blank.usual in {scale.label for scale in blank.scales}
            for scale in blank.scales:
                read = parse(f"3 {scale.label}".strip(), blank.reading.dimension)
                assert read == pytest.approx(3.0 * scale.worth, rel=1e-12), (blank.reading.key, scale)


def test_readings_go_into_the_log_of_the_command_line(client: TestClient) -> None:
    rail = next(r for r in readings(client) if r.key == "rail-positive")
    answer = entered(client, "rail-positive", f"{rail.expected:.2f} V", note="warm room").json()
    row = next(row for row in answer["rows"] if row["key"] == "rail-positive")
    assert row["verdict"] == "passes"
    assert row["current"] is True
    log = read_log(log_path(file_of(client)))
    assert (log[-1].unit, log[-1].key, log[-1].note) == ("7", "rail-positive", "warm room")
    assert log[-1].value == pytest.approx(rail.expected, abs=0.01)
    assert log[-1].accuracy == pytest.approx(0.005, rel=1e-12)
    assert datetime.fromisoformat(log[-1].at) == datetime(2026, 3, 1, 10, 0, 0, 250_000, tzinfo=UTC)


def test_a_reading_sent_twice_is_entered_once(client: TestClient) -> None:
    """A device that never heard the answer sends it again."""
    key = "rail-negative"
    for _ in range(3):
        assert entered(client, key, "64 V", at="2026-03-01T10:05:00Z").status_code == 200
    log = [entry for entry in read_log(log_path(file_of(client))) if entry.key == key]
    assert len(log) == 1
    entered(client, key, "64 V", at="2026-03-01T10:06:00Z")
    assert len([e for e in read_log(log_path(file_of(client))) if e.key == key]) == 2


def test_outside_and_on_the_edge(client: TestClient) -> None:
    rail = next(r for r in readings(client) if r.key == "loaded-rail-positive")
    assert rail.high is not None
    for value, verdict, side in (
        (0.5 * rail.low, "fails", "low"),
        (1.2 * rail.high, "fails", "high"),
        (rail.low * 1.001, "on the edge", ""),
    ):
        at = f"2026-03-01T11:00:0{len(side)}Z" if verdict == "fails" else "2026-03-01T11:01:00Z"
        rows = entered(client, rail.key, f"{value:.3f} V", at=at).json()["rows"]
        row = next(row for row in rows if row["key"] == rail.key)
        assert (row["verdict"], row["side"]) == (verdict, side)


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({"key": "no-such-reading"}, "no-such-reading"),
        ({"value": "64 bananas"}, "bananas"),
        ({"value": "1e9 V"}, "thousand times"),
        ({"accuracy": "80 %"}, "accuracy"),
        ({"at": "yesterday about ten"}, "time"),
        ({"at": "2099-01-01T00:00:00Z"}, "clock"),
        ({"at": "1999-01-01T00:00:00Z"}, "clock"),
        ({"unit": "   "}, "unit"),
        ({"value": ""}, "value"),
    ],
)
def test_what_is_no_reading_is_refused(client: TestClient, body: dict[str, str], told: str) -> None:
    before = read_log(log_path(file_of(client)))
    answer = client.post(
        f"{VAN}/bench/reading",
        json={"unit": "8", "key": "rail-positive", "value": "64 V", "at": AT, **body},
    )
    assert answer.status_code == 422
    assert told in str(answer.json()["error"])
    assert read_log(log_path(file_of(client))) == before


def test_two_devices_see_each_others_readings(client: TestClient) -> None:
    entered(client, "dead-time", "0.9 us", unit="two")
    entered(client, "dead-time", "0.8 us", unit="7")
    rows = client.get(f"{VAN}/bench/log", params={"unit": "two"}).json()
    assert [row["key"] for row in rows["rows"]] == ["dead-time"]
    assert {"7", "two"} <= set(rows["units"])


def test_a_changed_build_has_another_code(client: TestClient) -> None:
    entered(client, "dead-time", "0.8 us", unit="7")
    before = client.get(f"{VAN}/bench/log", params={"unit": "7"}).json()["code"]
    seen = client.get(f"{VAN}/revision").json()["revision"]
    client.post(f"{VAN}/set", json={"key": "filter.corner", "value": "97 Hz", "revision": seen})
    after = client.get(f"{VAN}/bench/log", params={"unit": "7"}).json()
    assert after["code"] != before
    assert not any(row["current"] for row in after["rows"])
    client.post(f"{VAN}/undo", json={"revision": seen + 1})
    assert client.get(f"{VAN}/bench/log", params={"unit": "7"}).json()["code"] == before


def test_the_fit_says_what_to_change(client: TestClient) -> None:
    trip = next(r for r in readings(client) if r.key == "under-voltage-trip")
    entered(client, trip.key, f"{1.02 * trip.expected:.4f} V", unit="fit")
    html = client.get(f"{VAN}/bench/fit", params={"unit": "fit"}).text
    found = service.bench_fit(service.solve(file_of(client)), service.bench_log(file_of(client)), "fit")
    assert found.advice
    for row in found.advice:
        assert row.protection in html
        assert show(row.before, "voltage" if row.unit == "V" else "temperature", 4) in html
    assert "no readings yet" in client.get(f"{VAN}/bench/fit", params={"unit": "nobody"}).text


def test_the_phone_square_is_shown_off_the_loopback_address_only(tmp_path: Path) -> None:
    from subwright.web.security import Rules
    from subwright.web.server import create_app
    from subwright.workspace import Workspace

    host, token = "192.168.4.9:7312", "a-long-random-word-for-this"
    app = create_app(Workspace(folder=tmp_path), Rules(hosts=frozenset({host}), token=token))
    with TestClient(app, base_url=f"http://{host}", follow_redirects=False) as client:  # type: ignore[arg-type]
        assert client.get("/b/~example/bench").status_code == 401
        opened = client.get(f"/b/~example/bench?token={token}")
        assert opened.status_code == 303
        assert opened.headers["location"] == "/b/~example/bench"
        answer = client.get("/b/~example/bench")
        page = answer.text
        assert "cross-origin-opener-policy" not in answer.headers  # browsers complain of it there
        assert answer.headers["x-frame-options"] == "DENY"
    assert f"http://{host}/b/~example/bench?token={token}" in page
    assert 'class="square"><svg' in page


def test_a_token_sends_nobody_elsewhere(tmp_path: Path) -> None:
    token = "a-long-random-word-for-this"
    with workbench(tmp_path, token=token) as client:
        for path in ("//evil.example", "/\\evil.example", "/%2F%2Fevil.example"):
            there = client.get(f"http://127.0.0.1:7312{path}?token={token}").headers["location"]
            assert there.startswith("/")
            assert not re.match(r"/[/\\]", there)


def test_units_stand_beside_each_other(client: TestClient) -> None:
    rail = next(r for r in readings(client) if r.key == "rail-positive")
    entered(client, rail.key, f"{rail.expected:.2f} V", unit="left")
    entered(client, rail.key, f"{0.96 * rail.expected:.2f} V", unit="right")
    html = client.get(f"{VAN}/bench/fit", params={"unit": "left"}).text
    assert "Beside unit right" in html
    entries = service.bench_log(file_of(client))
    rows = service.bench_units_apart(service.solve(file_of(client)), entries, "left", "right")
    assert rows[0].apart > 1.0
    assert f"{rows[0].apart:.1f}</span> meter errors" in html
