"""The workbench as a builder uses it, in a real browser."""

from __future__ import annotations

import json
import re
import zipfile
from pathlib import Path

import pytest
from browser_support import Desk, Served, choose_level, drag, expect, serve
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

EXAMPLE = "/b/~example"
BEHIND = "Object.defineProperty(document, 'hidden', { value: true });"
"""For a window that lies behind another: it doesn't look by itself whether the build was changed."""


def test_first_visit_to_finished_pack(browser: Browser, folder: Path) -> None:
    with serve(folder) as served:
        desk = Desk.open(browser, served.address)
        page = desk.go("/")
        expect(page.locator("h1")).to_have_text("Storyteller's van")
        desk.shot("first-visit")
        page.get_by_role("link", name=re.compile("five questions")).click()
        page.wait_for_url("**/new")
        page.locator("[name=battery]").select_option("lead-acid")
        page.locator("[name=driver]").select_option("Harbour 10")
        page.locator("[name=width]").fill("840 mm")
        page.locator("[name=height]").fill("400 mm")
        page.locator("[name=depth]").fill("400 mm")
        page.locator("[name=loudness]").select_option("watts")
        page.locator("[name=loud_value]").fill("120 W")
        page.locator("[name=drawer]").select_option("pick")
        page.get_by_text("mosfet", exact=True).click()
        page.locator('[data-part="IRF3205"]').fill("6")
        page.locator("[name=name]").fill("Ferry stage")
        desk.shot("guided", full=True)
        page.get_by_role("button", name="design it").click()
        desk.arrived("Ferry stage")
        desk.ready()
        assert desk.figure("power at clipping").endswith("W")
        with page.expect_download() as saved:
            page.locator("#packs summary").click()
            page.locator("#pack").click()
        path = folder / "saved.zip"
        saved.value.save_as(path)
        names = zipfile.ZipFile(path).namelist()
        assert {"summary.html", "bom.csv", "wiring.csv", "winding.txt", "design.json"} <= set(names)
        design = json.loads(zipfile.ZipFile(path).read("design.json"))
        assert design["design"]["spec"]["name"] == "Ferry stage"
        desk.close()


def test_an_edit_is_seen_in_many_places_and_undone(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    figure, rails, fuse = desk.figure("rails"), desk.live("w.rails.0"), desk.live("w.wiring.0")
    page.locator('#scene svg.wide a[data-stage="air"]').click()
    desk.set("goal.power", "120 W")
    expect(page.locator(".moved")).to_contain_text("goal.power")
    assert desk.live("w.rails.0") != rails
    assert desk.live("w.wiring.0") != fuse
    assert page.locator("#scene svg.wide text.changed").count() >= 3
    assert "→" in page.locator(".moved").inner_text()
    desk.shot("edited")
    page.locator("[data-close]").click()
    expect(page.locator('[data-figure="rails"]')).not_to_have_text(figure)
    page.keyboard.press("Control+z")
    expect(page.locator('[data-figure="rails"]')).to_have_text(figure)
    assert desk.live("w.rails.0") == rails
    page.keyboard.press("Control+Shift+z")
    expect(page.locator('[data-figure="rails"]')).not_to_have_text(figure)
    page.locator("#undo").click()
    expect(page.locator('[data-figure="rails"]')).to_have_text(figure)


def test_the_battery_slider_moves_the_whole_drawing(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    keys = ("w.supply.0", "w.supply.1", "w.rails.0", "w.amplifier.0", "w.air.level")
    nominal = {key: desk.live(key) for key in keys}
    slider = page.locator("#emf")
    slider.focus()
    for _ in range(40):
        slider.press("ArrowRight")
    expect(page.locator('#scene [data-k="w.supply.0"]')).to_have_text("14.0 V")
    assert all(desk.live(key) != nominal[key] for key in keys)
    desk.shot("charging")
    choose_level(page, "programme")
    expect(page.locator('#scene [data-k="w.supply.1"]')).not_to_have_text(nominal["w.supply.1"])
    slider.press("Home")
    expect(page.locator("#state")).to_contain_text("under-voltage")
    assert desk.live("w.amplifier.0") == "off"
    desk.shot("cranking")


def test_a_wrong_value_is_told_beside_its_input(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#supply")
    page.locator('form[data-key="supply.cable_length"] [name=value]').fill("500 m")
    page.locator('form[data-key="supply.cable_length"] [name=value]').press("Enter")
    expect(page.locator(".bad")).to_contain_text("30")
    desk.shot("refused")
    desk.excuse("422")  # the browser notes the refusal


def test_without_a_design_the_last_drawing_stays_faded(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#driver")
    was = desk.live("w.driver.0")
    desk.set("driver.part", "No such driver")
    expect(page.locator("#bench")).to_have_class("stale")
    expect(page.locator("#sheet .stopbox")).to_contain_text("No such driver")
    assert desk.live("w.driver.0") == was
    desk.shot("no-design")
    page.locator("#undo").click()
    expect(page.locator("#bench")).not_to_have_class("stale")
    assert desk.live("w.driver.0") == was


def test_what_if_with_another_core_then_taking_it(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#transformer")
    before = desk.live("w.transformer.1")
    page.locator('[data-alternatives="transformer.core"]').click()
    page.locator('[data-try^="ETD"]').first.click()
    expect(page.locator(".whatif")).to_contain_text("transformer.core")
    assert desk.live("w.transformer.1") == before
    desk.shot("what-if")
    page.locator("[data-leave]").click()
    expect(page.locator(".whatif")).to_have_count(0)


def test_plots_zoom_read_and_compare(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#filter")
    plot = page.locator('[data-plot="filter"]')
    box = plot.locator(".canvas").bounding_box()
    assert box is not None
    width, middle = box["width"], box["height"] / 2
    drag(page, plot, (0.5 * width, middle), (0.7 * width, middle))
    expect(plot.locator("output")).to_contain_text("Hz")
    expect(plot.locator("[data-whole]")).to_be_visible()
    desk.shot("zoomed")
    if plot.locator("[data-band]").count():
        plot.locator("[data-band]").uncheck()
        expect(plot.locator(".band")).to_have_count(0)
    plot.locator("[data-whole]").click()
    expect(plot.locator("[data-whole]")).to_be_hidden()
    plot.locator(".canvas").focus()
    page.keyboard.press("ArrowRight")
    expect(plot.locator("output")).not_to_be_empty()
    was = page.locator('form[data-key="filter.corner"] [name=value]').input_value()
    desk.set("filter.corner", "100 Hz")
    lines = page.locator('[data-plot="filter"] polyline').count()
    page.locator("#pin").select_option("before")
    expect(page.locator('[data-plot="filter"] polyline')).to_have_count(2 * lines)
    desk.shot("compared")
    page.locator("#undo").click()
    expect(page.locator('form[data-key="filter.corner"] [name=value]')).to_have_value(was)


def test_two_tabs_on_one_build(browser: Browser, served: Served) -> None:
    one, two = Desk.open(browser, served.address), Desk.open(browser, served.address)
    two.page.add_init_script(BEHIND)
    one.go(f"{EXAMPLE}#filter")
    two.go(f"{EXAMPLE}#filter")
    one.set("filter.corner", "95 Hz")
    late = two.page.locator('form[data-key="filter.sensitivity"] [name=value]')
    late.fill("700 mV")
    late.press("Enter")
    expect(two.page.locator("#talk")).to_contain_text("nothing was lost")
    two.shot("two-tabs")
    two.page.get_by_role("button", name="make it now").click()
    expect(two.page.locator('form[data-key="filter.sensitivity"] [name=value]')).to_have_value("700 mV")
    expect(two.page.locator('form[data-key="filter.corner"] [name=value]')).to_have_value("95 Hz")
    for _ in range(2):
        two.step("undo")
    two.excuse("409")
    one.close()
    two.close()


def test_killing_the_server_in_the_middle_loses_nothing(browser: Browser, folder: Path) -> None:
    with serve(folder) as served:
        desk = Desk.open(browser, served.address)
        page = desk.go(EXAMPLE)
        page.locator("form[data-duplicate] [name=title]").fill("Night market")
        page.locator("form[data-duplicate] button").click()
        desk.arrived("Night market")
        desk.ready()
        page.locator('#scene svg.wide a[data-stage="air"]').click()
        first = {
            key: page.locator(f'form[data-key="goal.{key}"] [name=value]') for key in ("power", "lowest_note")
        }
        was = {key: field.input_value() for key, field in first.items()}
        desk.set("goal.power", "110 W")
        desk.set("goal.lowest_note", "35 Hz")
        served.kill()
        field = page.locator('form[data-key="goal.crest_factor"] [name=value]')
        field.fill("10 dB")
        field.press("Enter")
        expect(page.locator("#talk")).to_contain_text("does not answer")
        desk.shot("killed")
        served.start()
        page.reload()
        desk.ready("air")
        expect(page.locator('form[data-key="goal.power"] [name=value]')).to_have_value("110 W")
        expect(page.locator('form[data-key="goal.lowest_note"] [name=value]')).to_have_value("35 Hz")
        page.locator("#undo").click()
        expect(first["lowest_note"]).to_have_value(was["lowest_note"])
        page.locator("#undo").click()
        expect(first["power"]).to_have_value(was["power"])
        desk.excuse_the_server()
        desk.close()


def test_versions_in_the_page(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    page.get_by_role("button", name="versions").click()
    page.locator("form[data-keep] [name=title]").fill("before the storm")
    page.locator("form[data-keep] button").click()
    expect(page.locator("dialog")).to_contain_text("before the storm")
    desk.shot("versions")
    page.locator("[data-shut]").click()
    expect(page.locator("dialog")).to_be_hidden()


def test_a_drawer_is_edited_and_a_file_dropped(browser: Browser, folder: Path) -> None:
    with serve(folder) as served:
        desk = Desk.open(browser, served.address)
        page = desk.go("/builds")
        page.locator("#new-drawer [name=title]").fill("Bench")
        page.locator("#new-drawer button").click()
        desk.arrived("Bench")
        page.locator("#find [name=kind]").select_option("mosfet")
        page.locator("#find [name=words]").fill("3205")
        page.locator("#find button").click()
        page.locator('[data-put="IRF3205"]').click()
        expect(page.locator('[data-stock="IRF3205"] input')).to_have_value("1")
        desk.shot("drawer")
        build = folder.parent / "dropped.build.toml"
        build.write_text(
            'format_version = 1\nname = "Dropped"\n[driver]\npart = "Skerry 8"\ncount = 2\n'
            '[amplifier]\nkind = "bridge_class_d"\n[goal]\npower = "20 W"\n'
        )
        page = desk.go("/builds")
        page.locator("#take-in input").set_input_files(build)
        expect(page.locator("h1")).to_have_text("Dropped")
        desk.close()


def test_from_a_remedy_to_its_input_and_around_a_sheet(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    page.locator("#sheet a", has_text="goal.power").first.click()
    expect(page.locator("#in-goal-power")).to_be_focused()
    page.locator("#wider").click()
    width = page.locator("#pane").bounding_box()
    assert width is not None
    assert width["width"] > 600
    page.locator('#scene svg.wide a[data-stage="transformer"]').click()
    page.locator("#sheet nav a", has_text="sources").click()
    expect(page.locator("#s-sources")).to_be_in_viewport()
    page.locator("#s-plots [data-large]").first.click()
    expect(page.locator("figure.large")).to_have_count(1)
    desk.shot("large-figure")
    page.keyboard.press("Escape")
    expect(page.locator("figure.large")).to_have_count(0)
    assert page.url.partition("#")[2].startswith("transformer"), "Escape closes what lies on top only"
    page.locator("#in-transformer-core").focus()
    expect(page.locator("#in-transformer-core-l option").first).to_be_attached()


def test_print_is_on_white_without_what_only_a_screen_can_do(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#supply")
    page.emulate_media(media="print", color_scheme="dark")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor.match(/\\d+/g).map(Number)")
    assert min(ground) > 200
    for gone in ("#undo", "#sheet [data-whatif]", "#moment", ".sheethead nav"):
        expect(page.locator(gone).first).to_be_hidden()
    expect(page.locator("#s-came")).to_be_visible()
