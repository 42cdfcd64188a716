"""The pack of two real designs: complete, repeatable, honest about stops, safe with hostile names."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from outputs_support import EVIL, Page

from patience import assert_within, own_s
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.result import Design, Finding
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.design_view import finding_rows, overview, pack_view, stamp_of
from subwright.outputs.folder import CHECKSUMS
from subwright.outputs.pack import design_json, pack_files, write_pack
from subwright.outputs.power_view import flow_of
from subwright.outputs.svg import Plot
from subwright.parts.library import load_library
from subwright.stages.common import Corner, Level

KINDS = ("class_d_half_bridge", "bridge_class_d")


@cache
def design(kind: str) -> Design:
    build = {
        "format_version": 1,
        "name": "Harbour van",
        "note": "Behind the bench.",
        "goal": {"power": "40 W"} if kind == "class_d_half_bridge" else {},
        "driver": {"part": "Harbour 10"},
        "amplifier": {"kind": kind},
        "enclosure": {"kind": "vented"},
    }
    return solve_build(BuildSpec.model_validate(build), load_library())


@cache
def files(kind: str) -> dict[str, bytes]:
    return dict(pack_files(design(kind)))


def with_findings(made: Design, *findings: Finding) -> Design:
    return dataclasses.replace(made, findings=findings)


STOP = Finding(
    code="TST-01",
    severity="stop",
    title="A test stop",
    message="flux is 400 mT, at most 300 mT",
    quantity="flux",
    value=0.4,
    limit=0.3,
    dimension="flux density",
    margin=-1 / 3,
    source="derived",
    remedy="Use a larger core.",
    stage="transformer",
)


@pytest.mark.parametrize("kind", KINDS)
def test_all_parts_of_the_pack_are_there(kind: str) -> None:
    expected = {
        "summary.html",
        "bom.csv",
        "panels.csv",
        "panels.svg",
        "wiring.csv",
        "sources.txt",
        "design.json",
        "box/views.svg",
        "box/taken-apart.svg",
        "box/level-by-battery.svg",
        "box/dxf/front.dxf",
        "box/dxf/cut-plan.dxf",
        "plots/power-flow.svg",
        "plots/response.svg",
        "plots/excursion.svg",
        "plots/port-speed.svg",
        "plots/impedance.svg",
        "plots/group-delay.svg",
        "plots/filter.svg",
        "plots/efficiency.svg",
        "plots/clipping-power.svg",
    }
    wound = {"winding.txt", "winding.svg", "plots/rail-against-load.svg", "plots/rail-against-battery.svg"}
    made = set(files(kind))
    assert expected <= made
    assert (wound <= made) is (design(kind).converter is not None)
    assert made.isdisjoint(wound) is (design(kind).converter is None)


@pytest.mark.parametrize("kind", KINDS)
def test_same_design_same_bytes(kind: str) -> None:
    assert dict(pack_files(design(kind))) == files(kind)


def test_how_long_the_search_took_is_not_printed() -> None:
    made = design(KINDS[0])
    assert made.transformer is not None
    slower = dataclasses.replace(made.transformer.search, seconds_s=made.transformer.search.seconds_s + 7.0)
    other = dataclasses.replace(made, transformer=dataclasses.replace(made.transformer, search=slower))
    assert dict(pack_files(other)) == files(KINDS[0])


@pytest.mark.parametrize("kind", KINDS)
def test_no_number_is_printed_as_nan_or_infinity(kind: str) -> None:
    for name, data in files(kind).items():
        found = re.search(r"(?<![A-Za-z\-])(nan|inf|infinity)(?![A-Za-z\-])", data.decode(), re.IGNORECASE)
        assert found is None, (name, found)


@pytest.mark.parametrize("kind", KINDS)
def test_drawings_are_well_formed(kind: str) -> None:
    for name, data in files(kind).items():
        if name.endswith(".svg"):
            ET.fromstring(data.decode())
            assert b"<style>" in data
            assert b"prefers-color-scheme" in data


@pytest.mark.parametrize("kind", KINDS)
def test_page_is_well_nested_links_lead_and_nothing_is_fetched(kind: str) -> None:
    text = files(kind)["summary.html"].decode()
    page = Page(text)
    assert len(set(page.ids)) == len(page.ids)
    for link in page.links:
        assert link[1:] in page.ids, link
    assert set(re.findall(r"https?://[\w.]+", text)) <= {"http://www.w3.org"}


@pytest.mark.parametrize("kind", KINDS)
def test_json_holds_the_design(kind: str) -> None:
    read: dict[str, Any] = json.loads(files(kind)["design.json"])
    made = design(kind)
    body = read["design"]
    assert body["spec"]["name"] == "Harbour van"
    assert body["supply"]["fuse_a"] == made.supply.fuse_a
    assert body["enclosure"]["frequency_hz"] == made.enclosure.frequency_hz.tolist()
    assert len(body["points"]) == len(made.points)
    assert (body["converter"] is None) is (made.converter is None)


@pytest.mark.parametrize("kind", KINDS)
def test_every_panel_has_its_dxf_in_millimetres(kind: str) -> None:
    for panel in design(kind).enclosure.panels:
        file = panel.name.replace(" ", "-")
        document = ezdxf.read(io.StringIO(files(kind)[f"box/dxf/{file}.dxf"].decode()))
        (outline,) = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
        across = max(x for x, *_ in outline.get_points())
        assert document.header["$INSUNITS"] == 4
        assert across == pytest.approx(1e3 * panel.length_m)


def test_the_summary_shows_the_box_and_its_level_by_battery() -> None:
    page = files(KINDS[0])["summary.html"].decode()
    for title in ("Box", "Box, taken apart", "Loudest programme, half space, 1 m"):
        assert f"<title>{title}</title>" in page, title
    (sheet,) = (sheet for sheet in pack_view(design(KINDS[0])).sheets if sheet.key == "enclosure")
    (plot,) = (figure for figure in sheet.figures if figure.key == "level-by-battery")
    assert isinstance(plot.drawn, Plot)
    names = {series.label for series in plot.drawn.series} - {"damage"}
    assert names == {point.corner.value for point in design(KINDS[0]).points if point.level is Level.FULL}


def test_nan_is_refused_and_the_field_named() -> None:
    made = design(KINDS[0])
    bad = dataclasses.replace(made, balance=dataclasses.replace(made.balance, radiated_w=math.nan))
    with pytest.raises(SubwrightError, match=r"design\.balance\.radiated_w"):
        design_json(bad)
    with pytest.raises(SubwrightError):
        pack_files(bad)


@pytest.mark.parametrize("kind", KINDS)
def test_bill_counts_every_part_use(kind: str) -> None:
    rows = list(csv.DictReader(io.StringIO(files(kind)["bom.csv"].decode(), newline="")))
    pieces = sum(part.quantity for _, part in design(kind).part_uses() if part.unit == "pcs")
    assert sum(int(row["quantity"]) for row in rows if row["quantity"].isdigit()) == pieces
    names = [name for row in rows for name in row["designators"].split()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("kind", KINDS)
def test_flow_starts_at_the_battery_and_ends_as_sound(kind: str) -> None:
    made = design(kind)
    flow = flow_of(made.balance, battery_v=made.supply.corners[Corner.NOMINAL])
    assert flow.source_w == made.balance.battery_w
    assert flow.sink_w == made.balance.radiated_w
    drawn = sum(peel.power_w for step in flow.steps for peel in step.losses) + flow.sink_w
    assert drawn == pytest.approx(flow.source_w, rel=made.balance.limit)
    names = [step.name for step in flow.steps]
    assert names[0] == "supply"
    assert names[-1] == "driver and box"
    assert ("transformer" in names) is (made.converter is not None)


@pytest.mark.parametrize("kind", KINDS)
def test_a_stop_is_said_on_everything_that_a_hand_builds_from(kind: str) -> None:
    made = pack_files(with_findings(design(kind), STOP))
    stamp = "NOT READY TO BUILD: TST-01"
    assert stamp_of(with_findings(design(kind), STOP)) == stamp
    told = ["summary.html", "panels.svg", "design.json", "plots/panels-sawing.svg"]
    told += [name for name in made if name.startswith("box/") and "level" not in name]
    for name in told:
        assert stamp in made[name].decode(), name
    if design(kind).transformer is not None:
        for name in ("winding.txt", "winding.svg"):
            assert stamp in made[name].decode(), name
    page = made["summary.html"].decode()
    sections = re.findall(r"<section .*?</header>", page, re.DOTALL)
    assert all(stamp in section for section in sections)
    clean = pack_files(with_findings(design(kind)))
    assert not any(b"NOT READY" in data for data in clean.values())


def test_hostile_names_stay_text() -> None:
    made = design(KINDS[0])
    evil = EVIL[:80]
    spec = made.spec.model_copy(update={"name": evil, "note": evil})
    driver = dataclasses.replace(made.driver, name=evil)
    made_files = pack_files(dataclasses.replace(made, spec=spec, driver=driver))
    page = Page(made_files["summary.html"].decode())
    assert page.tags["script"] == 0
    assert "".join(page.text).count(evil) >= 3
    for name, data in made_files.items():
        if name.endswith(".svg"):
            ET.fromstring(data.decode())


def test_findings_and_overview_agree_with_the_page() -> None:
    made = design(KINDS[0])
    rows = finding_rows(made)
    assert [row.code for row in rows] == [f.code for f in made.findings if f.severity != "ok"]
    assert len(finding_rows(made, with_passed=True)) == len(made.findings)
    told, view = overview(made), pack_view(made)
    assert told.key_figures == view.key_figures
    assert (*told.stations, view.stations[-1]) == view.stations
    assert view.stations[-1].name == "air"


def test_every_stage_has_a_sheet_and_no_limit_is_dropped() -> None:
    made = design(KINDS[0])
    view = pack_view(made)
    keys = [sheet.key for sheet in view.sheets]
    assert keys == [
        "supply",
        "battery_guard",
        "converter",
        "transformer",
        "protection",
        "input",
        "filter",
        "signal",
        "amplifier",
        "speaker_guard",
        "control",
        "driver",
        "enclosure",
        "wiring",
        "heat",
        "circuits",
        "boards",
        "checked",
    ]
    shown = sum(len(sheet.facts) for sheet in view.sheets)
    own = [f for f in made.findings if f.stage in keys and not f.code.startswith("RAT-")]
    assert shown == len(own)
    elsewhere = {f.stage for f in made.findings if f.stage not in keys}
    assert elsewhere <= {"cabin", "goal"}, elsewhere
    for sheet in view.sheets[:-3]:  # circuit diagrams, boards and simulation are no stages
        assert sheet.values, sheet.key
        assert sheet.reasons, sheet.key
        assert sheet.more, sheet.key


def test_values_are_those_of_the_result() -> None:
    """Second route: parse printed values of the page back to the design's numbers."""
    made = design(KINDS[0])
    text = "".join(Page(files(KINDS[0])["summary.html"].decode()).text)
    for value, dimension in (
        (made.supply.fuse_a, "current"),
        (made.enclosure.net_volume_m3, "volume"),
        (made.points[0].battery_w, "power"),
        (made.heat.rth_k_per_w, "thermal resistance"),
        (made.filter.corner_hz, "frequency"),
    ):
        assert show(value, dimension) in text


def test_a_folder_that_can_not_be_is_refused_before_anything_is_drawn(tmp_path: Path) -> None:
    told: list[str] = []
    (tmp_path / "pack").write_text("mine", encoding="utf-8")
    with pytest.raises(SubwrightError, match="file where the folder"):
        write_pack(design(KINDS[1]), tmp_path / "pack", lambda what, _share: told.append(what))
    assert told == []
    assert (tmp_path / "pack").read_text(encoding="utf-8") == "mine"


def test_write_pack_swaps_in_the_folder(tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    report = write_pack(design(KINDS[1]), tmp_path / "pack", lambda what, share: told.append((what, share)))
    assert set(report.files) == {*files(KINDS[1]), CHECKSUMS}
    assert (report.folder / "summary.html").read_bytes() == files(KINDS[1])["summary.html"]
    assert 0.0 < report.seconds_s < 60.0
    assert told
    again = write_pack(design(KINDS[1]), tmp_path / "pack", made_on="2031-05-06")
    assert again.files == report.files
    assert b"2031-05-06" in (again.folder / "summary.html").read_bytes()


def test_fast_enough() -> None:
    pack_files(design(KINDS[0]))
    assert_within(1.0, lambda: own_s(lambda: pack_files(design(KINDS[0]))))  # about 0.4 s
