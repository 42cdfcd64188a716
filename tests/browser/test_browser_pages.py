"""Circuits, simulations, states compared, builds laid aside, printed packs: each in a real browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_support import Desk, Served, drag, expect, serve
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

EXAMPLE = "/b/~example"
SOURCE = Path(__file__).parents[2] / "examples"
AXE = (Path(__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RUN = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(v => ['serious', 'critical'].includes(v.impact))
  .map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | '))"""


@pytest.fixture
def own(folder: Path) -> Iterator[Served]:
    for name in ("storyteller-van", "canal-workboat"):
        for kind in ("build", "drawer"):
            shutil.copy(SOURCE / f"{name}.{kind}.toml", folder)
    with serve(folder) as served:
        yield served


def test_a_circuit_and_its_parts_light_each_other(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#protection")
    circuit = page.locator('[data-circuit="protection"]')
    circuit.scroll_into_view_if_needed()
    expect(circuit).to_have_attribute("data-there", "yes")
    row = circuit.locator("[data-lit]", has_text=re.compile(r"^R\d+$")).first
    name = row.inner_text()
    row.click()
    expect(circuit.locator(f'g[data-part="{name}"]')).to_have_class(re.compile("lit"))
    expect(row).to_have_attribute("aria-pressed", "true")
    desk.shot("circuit-lit")
    figure = circuit.locator("figure").first
    svg = figure.locator(".canvas > svg")
    whole = svg.get_attribute("viewBox")
    figure.get_by_role("button", name="zoom in").click()
    figure.get_by_role("button", name="zoom in").click()
    near = svg.get_attribute("viewBox")
    assert near != whole
    drag(page, figure, (200, 120), (120, 90))
    assert svg.get_attribute("viewBox") not in (whole, near)
    figure.locator(".canvas").focus()
    page.keyboard.press("0")
    assert [float(v) for v in (svg.get_attribute("viewBox") or "").split()] == [
        float(v) for v in (whole or "").split()
    ]
    figure.get_by_role("button", name="large").click()
    expect(figure).to_have_class(re.compile("large"))
    desk.shot("circuit-large")
    figure.locator(".canvas").focus()
    page.keyboard.press("Escape")
    expect(figure).not_to_have_class(re.compile("large"))
    part = circuit.locator('g[data-part^="R2"]').nth(3)
    touched = part.get_attribute("data-part") or ""
    part.dispatch_event("click")
    expect(circuit.locator(f'li[data-parts~="{touched}"]')).to_have_class(re.compile("lit"))


def test_a_test_point_says_what_it_reads(desk: Desk) -> None:
    """Pointed at, stepped to by keyboard, and from the table below the sheet."""
    page = desk.go(f"{EXAMPLE}#amplifier")
    circuit = page.locator('[data-circuit="amplifier"]')
    circuit.scroll_into_view_if_needed()
    expect(circuit).to_have_attribute("data-there", "yes")
    node = circuit.locator('.reach[data-of="TP501"]')
    tip = circuit.locator(".pointtip")
    node.scroll_into_view_if_needed()
    node.hover()
    expect(tip).to_contain_text("switched node of leg A")
    expect(tip).to_contain_text("nominal battery, full sine")
    desk.shot("test-point")
    page.mouse.move(0, 0)
    expect(tip).to_have_count(0)
    circuit.get_by_text("Test points (").click()
    row = circuit.locator('[data-point-row="TP502"]')
    row.get_by_role("button").click()
    expect(circuit.locator('.reach[data-of="TP502"]')).to_be_focused()
    expect(tip).to_contain_text("filter output")
    expect(row).to_have_class(re.compile("lit"))
    assert "full sine" in (circuit.locator('.reach[data-of="TP502"]').get_attribute("aria-label") or "")
    page.keyboard.press("Escape")
    expect(tip).to_have_count(0)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_part_that_cant_be_had_is_replaced(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#amplifier")
    circuit = page.locator('[data-circuit="amplifier"]')
    circuit.scroll_into_view_if_needed()
    circuit.locator("[data-without]").first.click()
    expect(circuit.locator(".whatif")).to_be_visible()
    desk.shot("without")
    take = circuit.locator("[data-put-key]")
    key, value = take.get_attribute("data-put-key"), take.get_attribute("data-put-value")
    take.click()
    expect(page.locator(f'form[data-key="{key}"] [name=value]')).to_have_value(value or "")
    page.locator("#undo").click()
    expect(page.locator(f'form[data-key="{key}"] [name=value]')).not_to_have_value(value or "")


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_a_simulation_runs_shows_and_cancels(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}/trials")
    expect(page.locator("#trials")).to_have_attribute("data-ready", "yes")
    page.locator('[data-run="box-response"]').click()
    expect(page.locator("#result table").first).to_be_visible()
    expect(page.locator("#result figure").first).to_be_visible()
    expect(page.locator("#running")).to_be_hidden()
    desk.shot("trials-result", full=True)
    plot = page.locator("#result figure").first
    drag(page, plot, (250, 150), (400, 150))
    expect(plot.locator("output")).to_contain_text("Hz")
    expect(plot.locator("[data-whole]")).to_be_visible()
    page.get_by_role("button", name="run every experiment").click()
    expect(page.locator("#running")).to_be_visible()
    desk.shot("trials-running")
    page.get_by_role("button", name="cancel").click()
    expect(page.locator("#running")).to_be_hidden()
    expect(page.locator("#talk")).to_contain_text("Cancelled")


def test_boards_are_made_and_their_parts_lit(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}/boards")
    expect(page.locator("#boards")).to_have_attribute("data-ready", "yes")
    # the smallest board alone: the button makes them all
    page.evaluate("""document.querySelector("[data-make]").dataset.make = "controller" """)
    page.locator("[data-make]").click()
    board = page.locator('[data-circuit="controller"]')
    expect(board.locator("svg.sw")).to_be_visible(timeout=120_000)
    expect(page.locator("#running")).to_be_hidden()
    board.locator("summary").first.click()
    row = board.locator("[data-lit]").first
    name = row.inner_text()
    row.click()
    expect(board.locator(f'g[data-part="{name}"]').first).to_have_class(re.compile("lit"))
    figure = board.locator("figure")
    whole = figure.locator("svg").get_attribute("viewBox")
    figure.get_by_role("button", name="zoom in").click()
    assert figure.locator("svg").get_attribute("viewBox") != whole
    desk.shot("boards", full=True)


def test_builds_renamed_aside_and_back(browser: Browser, own: Served, folder: Path) -> None:
    desk = Desk.open(browser, own.address)
    page = desk.go("/builds")
    row = page.locator("li", has_text="Canal workboat")
    row.get_by_text("more", exact=True).click()
    row.locator("form[data-rename] [name=title]").fill("Canal barge")
    desk.shot("builds-more")
    row.get_by_role("button", name="rename").click()
    expect(page.locator("li", has_text="Canal barge")).to_contain_text("canal-barge.build.toml")
    late = Desk.open(browser, own.address)
    late.go("/b/canal-barge#filter")
    row = page.locator("li", has_text="Canal barge")
    row.get_by_text("more", exact=True).click()
    row.get_by_role("button", name="lay aside").click()
    expect(page.locator("#talk")).to_contain_text("brought back")
    assert not (folder / "canal-barge.build.toml").exists()
    expect(late.page.locator("#talk")).to_contain_text("renamed or laid aside")
    page.locator("#talk").get_by_role("button", name="bring it back").click()
    expect(page.locator("li", has_text="Canal barge")).to_be_visible()
    assert (folder / "canal-barge.build.toml").exists()
    for one in (desk, late):
        one.excuse("404")
        one.close()


def test_two_builds_side_by_side(browser: Browser, own: Served) -> None:
    desk = Desk.open(browser, own.address)
    page = desk.go("/builds")
    page.get_by_role("link", name="compare two builds").click()
    expect(page.locator("main")).to_contain_text("What the hand has to do")
    expect(page.locator("main")).to_contain_text("re-wind")
    desk.shot("difference", full=True)
    desk.close()


def test_the_pack_as_pdf(desk: Desk, tmp_path: Path) -> None:
    page = desk.go(EXAMPLE)
    page.locator("#packs summary").click()
    with page.expect_download() as saved:
        page.locator('[data-pack="letter"]').click()
    saved.value.save_as(tmp_path / "pack.pdf")
    assert (tmp_path / "pack.pdf").read_bytes().startswith(b"%PDF-")
    assert saved.value.suggested_filename.endswith("-pack.pdf")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1400, 360])
def test_no_serious_fault_on_the_other_pages(
    browser: Browser, served: Served, scheme: str, width: int
) -> None:
    desk = Desk.open(browser, served.address, viewport={"width": width, "height": 800}, color_scheme=scheme)
    for path in (
        "/bench",
        "/bench#",
        "/trials",
        "/boards",
        "/difference",
        "#protection",
        "#transformer",
        "#build",
    ):
        page = desk.go(f"{EXAMPLE}{path}")
        page.wait_for_load_state("networkidle")
        page.evaluate(AXE)
        assert page.evaluate(RUN) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        if path == "/trials":
            desk.shot(f"trials-{scheme}-{width}", full=True)
    desk.close()


@pytest.mark.parametrize("path", ["", "#converter", "/bench", "/trials", "/boards", "/difference"])
def test_on_a_wall(browser: Browser, served: Served, path: str) -> None:
    desk = Desk.open(browser, served.address, viewport={"width": 3840, "height": 2160})
    page = desk.go(f"{EXAMPLE}{path}")
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= 3840
    desk.shot("wall" + re.sub(r"\W", "-", path))
    desk.close()
