"""The folder's routes: builds, copies, files taken in, drawers, the guided start."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from starlette.testclient import TestClient
from web_support import EXAMPLE, figures, send, workbench

from subwright.physics.batteries import BatteryKind
from subwright.service import list_parts
from subwright.stages.amplifier_spec import AmplifierKind
from subwright.stages.enclosure_spec import BoxKind
from subwright.web.guided import SHEET

ANSWERS = {"name": "Harbour bar", "driver": "Harbour 10"}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with workbench(tmp_path) as found:
        yield found


def test_five_questions_make_a_whole_design(client: TestClient, tmp_path: Path) -> None:
    made = client.post("/new", json=ANSWERS)
    assert made.json() == {"name": "harbour-bar"}
    assert (tmp_path / "harbour-bar.build.toml").is_file()
    assert len(figures(client.get("/b/harbour-bar/sheet/overview").text)) == 8
    again = client.post("/new", json=ANSWERS).json()["name"]
    assert again == "harbour-bar-2"


@pytest.mark.parametrize("driver", [row.id for row in list_parts("driver")])
@pytest.mark.parametrize("system", ["12", "24"])
def test_every_driver_gets_a_first_design(client: TestClient, driver: str, system: str) -> None:
    name = client.post("/new", json=ANSWERS | {"driver": driver, "system": system}).json()["name"]
    assert len(figures(client.get(f"/b/{name}/sheet/overview").text)) == 8


RADIATOR_10 = {  # invented, about the size of the driver
    "radiator_diameter": "210 mm",
    "radiator_mass": "120 g",
    "radiator_resonance": "18 Hz",
    "radiator_frame": "266 mm",
    "radiator_hole": "233 mm",
    "radiator_xmax": "18 mm",
}


@pytest.mark.parametrize("box", get_args(BoxKind))
def test_every_kind_of_box_gets_a_first_design(client: TestClient, box: str) -> None:
    answers = ANSWERS | {"box": box, "radiator": RADIATOR_10 if box == "passive-radiator" else {}}
    answer = client.post("/new", json=answers)
    assert answer.status_code == 200, answer.text
    name = answer.json()["name"]
    assert f'kind = "{box}"' in client.get(f"/b/{name}/file").text
    assert len(figures(client.get(f"/b/{name}/sheet/overview").text)) == 8


@pytest.mark.parametrize("kind", get_args(AmplifierKind))
def test_every_kind_of_amplifier_gets_a_first_design(client: TestClient, kind: str) -> None:
    """Where nobody asks for a power, it is what the amplifier reaches: no stop about too little of it."""
    name = client.post("/new", json=ANSWERS | {"amplifier": kind}).json()["name"]
    page = client.get(f"/b/{name}/sheet/overview").text
    assert len(figures(page)) == 8
    found = re.findall(
        r'<li class="finding (?:stop|warn|note)"><a class="code" href="/explain/([^"]+)"', page
    )
    assert found  # every first design has notes: without one, the pattern reads nothing
    assert "AMP-01" not in found  # met by 3 %, it may stand in the list of the tightest checks
    assert not re.search(r'<li class="tight"><span class="q">(?:(?!</li>).)*AMP-01', page)
    text = client.get(f"/b/{name}/file").text
    assert f'\nkind = "{kind}"' in text


def test_a_passive_radiator_without_its_data_is_refused_by_name(client: TestClient, tmp_path: Path) -> None:
    given = RADIATOR_10 | {"radiator_mass": "", "radiator_xmax": ""}
    answer = client.post("/new", json=ANSWERS | {"box": "passive-radiator", "radiator": given})
    assert answer.status_code == 422
    assert answer.json()["error"]["quantity"] == "enclosure.radiator_mass"
    assert not list(tmp_path.glob("*.build.toml"))
    strange = client.post("/new", json=ANSWERS | {"box": "passive-radiator", "radiator": {"colour": "red"}})
    assert strange.status_code == 422
    assert client.post("/new", json=ANSWERS | {"box": "barrel"}).status_code == 422


def test_every_choice_of_the_guided_start_is_explained(client: TestClient) -> None:
    for language in ("en", "de"):
        client.cookies["language"] = language
        page = client.get("/new").text
        for name, kinds in (("battery", BatteryKind), ("box", BoxKind), ("amplifier", AmplifierKind)):
            for value in get_args(kinds):
                assert f'<option value="{value}"' in page
                assert re.search(rf'data-when="{name}={value}">[^<]{{40,}}<', page), value


def test_every_answer_arrives_in_the_file(client: TestClient, tmp_path: Path) -> None:
    answers = ANSWERS | {
        "battery": "lfp",
        "system": "24",
        "capacity": "100 Ah",
        "cable": "2 m",
        "box": "vented",
        "width": "600 mm",
        "height": "500 mm",
        "depth": "450 mm",
        "cabin": "cabin",
        "cabin_length": "4 m",
        "loudness": "watts",
        "loud_value": "100 W",
        "drawer": "pick",
        "parts": {"IRF3205": 6},
    }
    name = client.post("/new", json=answers).json()["name"]
    text = (tmp_path / f"{name}.build.toml").read_text()
    for said in ('"lfp"', "system = 24", '"100 Ah"', '"2 m"', '"vented"', '"600 mm"', '"4 m"', '"100 W"'):
        assert said in text, said
    assert 'drawer = "harbour-bar.drawer.toml"' in text
    assert "IRF3205" in (tmp_path / "harbour-bar.drawer.toml").read_text()


def test_the_guided_start_refuses_what_the_file_would(client: TestClient, tmp_path: Path) -> None:
    answer = client.post("/new", json=ANSWERS | {"cable": "500 m"})
    assert answer.status_code == 422
    assert not list(tmp_path.glob("*.build.toml"))
    assert client.post("/new", json={"name": "x" * 200, "driver": "Harbour 10"}).status_code == 422


def test_a_driver_by_its_data_sheet(client: TestClient, tmp_path: Path) -> None:
    answers = {
        "name": "Attic find",
        "driver": "",
        "sheet": dict(SHEET),
        "loudness": "watts",
        "loud_value": "60 W",
    }
    name = client.post("/new", json=answers).json()["name"]
    assert "qes = 0.42" in (tmp_path / f"{name}.build.toml").read_text()
    assert len(figures(client.get(f"/b/{name}/sheet/overview").text)) == 8
    strange = client.post("/new", json=answers | {"sheet": {"colour": "red"}})
    assert strange.status_code == 422


def test_names_cannot_break_out_of_the_file(client: TestClient, tmp_path: Path) -> None:
    title = 'A "quoted" \\ name <b>'
    name = client.post("/new", json=ANSWERS | {"name": title}).json()["name"]
    page = client.get(f"/b/{name}").text
    assert "<b>" not in page.split("<main")[0]
    assert "A &#34;quoted&#34;" in page


def test_keeping_the_example_brings_its_drawer_along(client: TestClient, tmp_path: Path) -> None:
    send(client, "/set", {"key": "goal.power", "value": "120 W"})
    name = client.post(f"{EXAMPLE}/duplicate", json={"title": "Mine now"}).json()["name"]
    assert name == "mine-now"
    assert (tmp_path / "storyteller-van.drawer.toml").is_file()
    text = (tmp_path / "mine-now.build.toml").read_text()
    assert 'power = "120 W"' in text
    assert 'name = "Mine now"' in text
    assert client.get("/b/mine-now").status_code == 200
    assert "Mine now" in client.get("/builds").text
    assert client.get("/").headers["location"] == "/b/mine-now"


def test_a_build_file_is_taken_in_and_a_spoilt_one_is_refused(client: TestClient, tmp_path: Path) -> None:
    good = client.get(f"{EXAMPLE}/file").text.replace('drawer = "storyteller-van.drawer.toml"', "")
    taken = client.post("/take-in?file=van.build.toml", content=good)
    assert taken.json() == {"name": "van"}
    assert client.get("/b/van").status_code == 200
    spoilt = client.post("/take-in?file=bad.build.toml", content=good.replace("180 W", "18 furlongs"))
    assert spoilt.status_code == 422
    assert spoilt.json()["error"]["problems"][0]["key"] == "goal.power"
    assert not (tmp_path / "bad.build.toml").exists()


@pytest.mark.parametrize(
    "name", ["../evil.build.toml", "/etc/evil.build.toml", "..\\evil.build.toml", "a/b.build.toml"]
)
def test_a_taken_in_name_stays_inside_the_folder(client: TestClient, tmp_path: Path, name: str) -> None:
    good = client.get(f"{EXAMPLE}/file").text
    answer = client.post("/take-in", params={"file": name}, content=good)
    assert answer.status_code in (200, 422)
    assert not list(tmp_path.parent.glob("*evil*"))
    assert all(path.parent == tmp_path for path in tmp_path.rglob("*.build.toml"))
    assert not Path("/etc/evil.build.toml").exists()


def test_a_drawer_is_made_filled_and_emptied(client: TestClient, tmp_path: Path) -> None:
    file = client.post("/drawer", json={"title": "Bench"}).json()["file"]
    assert file == "bench.drawer.toml"
    rows = client.post(f"/drawer/{file}", json={"part": "IRF3205", "quantity": 4}).text
    assert 'value="4"' in rows
    found = client.get(f"/drawer/{file}/parts", params={"kind": "mosfet", "words": "3205"}).text
    assert "4 at hand" in found
    assert client.get(f"/drawer/{file}").status_code == 200
    assert 'value="0"' in client.post(f"/drawer/{file}", json={"part": "IRF3205", "quantity": 0}).text
    assert client.post(f"/drawer/{file}", json={"part": "no such part", "quantity": 1}).status_code == 422
    assert client.post(f"/drawer/{file}", json={"part": "IRF3205", "quantity": -1}).status_code == 422


def test_a_changed_drawer_changes_the_designs_that_use_it(client: TestClient, tmp_path: Path) -> None:
    name = client.post(f"{EXAMPLE}/duplicate", json={"title": "Mine"}).json()["name"]
    before = client.get(f"/b/{name}/sheet/transformer").text
    assert "grey ring" in before
    path = tmp_path / "storyteller-van.drawer.toml"
    path.write_text(path.read_text().replace("quantity = 2", "quantity = 1", 1))
    client.post("/drawer/storyteller-van.drawer.toml", json={"part": "IRF540N", "quantity": 7})
    assert client.get(f"/b/{name}/sheet/transformer").text != before


def impedance_table(added_kg: float) -> str:
    """Impedance of a driver with chosen constants, from its equivalent circuit (our own, invented)."""
    re, bl, mms, cms, rms = 3.4, 12.8, 0.094 + added_kg, 3.0e-4, 2.2
    f = np.geomspace(10.0, 400.0, 160)
    s = 2j * np.pi * f
    z = re + s * 0.2e-3 + bl**2 / (rms + s * mms + 1.0 / (s * cms))
    rows = [f"{a:.5f},{abs(b):.6f},{np.degrees(np.angle(b)):.5f}" for a, b in zip(f, z, strict=True)]
    return "\n".join(["frequency_hz,impedance_ohm,phase_deg", *rows]) + "\n"


def test_dropped_impedance_tables_give_the_driver(client: TestClient) -> None:
    runs = {"free": impedance_table(0.0), "loaded": impedance_table(0.05), "mass": "50 g", "piston": "208 mm"}
    answer = client.post("/measure", json=runs)
    assert answer.status_code == 200, answer.text
    assert "94.0 g" in answer.text or "94.1 g" in answer.text or "93.9 g" in answer.text
    name = client.post("/new", json=ANSWERS | {"loudness": "watts", "loud_value": "60 W"}).json()["name"]
    kept = runs | {"id": "Attic 10", "xmax": "9 mm", "power": "150 W"}
    answer = send(client, "/measured", kept, f"/b/{name}")
    assert answer.status_code == 200, answer.text
    text = client.get(f"/b/{name}/file").text
    assert 'part = "Attic 10"' in text
    assert 'drawer = "harbour-bar.drawer.toml"' in text
    assert client.get("/drawer/harbour-bar.drawer.toml").text.count("Attic 10") >= 1
    assert "Attic 10" in client.get(f"/b/{name}/sheet/driver").text
    assert send(client, "/measured", kept | {"xmax": ""}, f"/b/{name}").status_code == 422
    incomplete = client.post("/measure", json=runs | {"mass": ""})
    assert incomplete.status_code == 422
    assert client.post("/measure", json={"free": "no, table"}).status_code == 422


@pytest.mark.parametrize(
    "answers",
    [
        {"width": "200 mm", "height": "200 mm", "depth": "200 mm"},
        {"loudness": "level", "loud_value": "118 dB"},
    ],
)
def test_answers_without_a_design_say_why_and_leave_nothing(
    client: TestClient, tmp_path: Path, answers: dict[str, str]
) -> None:
    answer = client.post("/new", json=ANSWERS | answers)
    assert answer.status_code == 422
    assert answer.json()["error"]["remedy"]
    assert not list(tmp_path.glob("*.build.toml"))
    assert not list(tmp_path.rglob("*.journal"))
    assert client.post("/new", json=ANSWERS).json() == {"name": "harbour-bar"}
