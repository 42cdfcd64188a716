"""The bench page in a real browser: a phone, two devices, a server that goes away in the middle."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_support import Desk, Served, expect, serve
from playwright.sync_api import Browser, Page

from subwright import service
from subwright.outputs.benchlog import log_path, read_log

pytestmark = pytest.mark.browser

SOURCE = Path(__file__).parents[2] / "examples"
BENCH = "/b/van/bench"
ACTIVE = """() => {
  const here = document.activeElement;
  return `${here.name} ${here.closest("form")?.dataset.reading ?? ""}`;
}"""


@pytest.fixture
def van(folder: Path) -> Iterator[Served]:
    for kind in ("build", "drawer"):
        text = (SOURCE / f"storyteller-van.{kind}.toml").read_text(encoding="utf-8")
        (folder / ("van.build.toml" if kind == "build" else "storyteller-van.drawer.toml")).write_text(text)
    with serve(folder) as served:
        yield served


def phone(browser: Browser, served: Served, **more: object) -> Desk:
    return Desk.open(
        browser,
        served.address,
        viewport={"width": 360, "height": 780},
        has_touch=True,
        is_mobile=True,
        **more,
    )


def opened(desk: Desk, unit: str = "7") -> Page:
    page = desk.page
    page.goto(desk.base.rstrip("/") + BENCH)
    expect(page.locator("#bench-page")).to_have_attribute("data-ready", "yes")
    with page.expect_response(lambda one: one.url.endswith(f"/log?unit={unit}")):
        page.locator("#who [name=unit]").fill(unit)
        page.locator("#who [name=unit]").blur()
    return page


def enter(page: Page, key: str, value: str) -> None:
    form = page.locator(f'form[data-reading="{key}"]')
    form.locator("[name=value]").fill(value)
    form.get_by_role("button", name="enter").click()


def logged(folder: Path) -> list[tuple[str, str, float]]:
    return [(e.unit, e.key, e.value) for e in read_log(log_path(folder / "van.build.toml"))]


def test_a_whole_step_on_a_phone(browser: Browser, van: Served, folder: Path) -> None:
    desk = phone(browser, van)
    page = opened(desk)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    step = page.locator(".step:not([hidden])")
    expect(step.locator("h2")).to_contain_text("without power")
    expect(step.locator(".care")).to_be_visible()
    desk.shot("bench-phone-step", full=True)
    procedure = service.bring_up(service.solve(folder / "van.build.toml"))
    first = procedure.steps[0]
    for reading in first.readings:
        form = page.locator(f'form[data-reading="{reading.key}"]')
        size = form.locator("[name=value]").bounding_box()
        assert size is not None
        assert size["height"] >= 44  # a finger's width, WCAG 2.2, success criterion 2.5.5
        scale = float(form.locator("[name=scale]").input_value())
        good = reading.low * 1.2 if reading.high is None else reading.expected
        form.locator("[name=value]").fill(f"{good / scale:.3f}")
        expect(form.locator(".verdict")).to_have_text("inside the window")
        form.get_by_role("button", name="enter").tap()
        expect(form.locator(".had")).to_contain_text("inside the window")
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    expect(page.locator(f'[data-go="{first.key}"]')).to_have_class(re.compile("done"))
    assert [row[1] for row in logged(folder)] == [reading.key for reading in first.readings]
    page.get_by_role("button", name="next step").tap()
    expect(page.locator(".step:not([hidden]) h2")).to_contain_text("2")
    expect(page.locator(".step:not([hidden]) .ahead")).to_be_hidden()
    page.locator('[data-go="rails"]').tap()
    expect(page.locator(".step:not([hidden]) .ahead")).to_be_visible()
    expect(page.locator(".step:not([hidden]) .set")).to_contain_text("14.4 V")
    desk.shot("bench-phone-ahead")
    page.reload()
    expect(page.locator("#bench-page")).to_have_attribute("data-ready", "yes")
    expect(page.locator("#who [name=unit]")).to_have_value("7")
    expect(page.locator(f'[data-go="{first.key}"]')).to_have_class(re.compile("done"))
    desk.close()


def test_a_wrong_reading_says_what_it_points_at(browser: Browser, van: Served) -> None:
    desk = Desk.open(browser, van.address, viewport={"width": 820, "height": 1180})
    page = opened(desk, "w")
    page.locator('[data-go="rails"]').click()
    form = page.locator('form[data-reading="rail-positive"]')
    form.locator("[name=value]").fill("30,2")  # a comma, as half the world types
    expect(form.locator(".verdict")).to_have_text("OUTSIDE the window")
    expect(page.locator(".step:not([hidden]) .wrong")).to_have_attribute("open", "")
    form.get_by_role("button", name="enter").click()
    expect(page.locator("#suspects")).to_be_visible()
    expect(page.locator("#suspects li").first).to_contain_text("%")
    expect(page.locator('[data-go="rails"]')).to_have_class(re.compile("bad"))
    desk.shot("bench-wrong", full=True)
    page.locator("#who [name=accuracy]").fill("60 %")
    form.locator("[name=value]").fill("60")
    form.get_by_role("button", name="enter").click()
    expect(page.locator("#waiting")).to_contain_text("refused")
    page.locator("#waiting").get_by_role("button", name="throw it away").click()
    expect(page.locator("#waiting")).to_be_hidden()
    desk.excuse("422")
    desk.close()


def test_readings_wait_while_the_server_is_away(browser: Browser, van: Served, folder: Path) -> None:
    desk = phone(browser, van, color_scheme="dark")
    page = opened(desk)
    enter(page, "gate-pull-down-A", "5")
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    van.kill()
    enter(page, "gate-pull-down-B", "5.02")
    enter(page, "bleeder-positive", "4.7")
    expect(page.locator("#traffic")).to_contain_text("2 × not yet in the bench log")
    expect(page.locator("#waiting")).to_contain_text("gate-pull-down-B = 5.02 kΩ")
    desk.shot("bench-away")
    page.locator('[data-go="controller"]').tap()  # the page goes on working
    expect(page.locator(".step:not([hidden]) h2")).to_contain_text("Controller")
    assert len(logged(folder)) == 1
    van.start()
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    assert [row[1] for row in logged(folder)] == ["gate-pull-down-A", "gate-pull-down-B", "bleeder-positive"]
    desk.excuse_the_server()
    desk.close()


def test_unsent_readings_survive_the_closed_page(browser: Browser, van: Served, folder: Path) -> None:
    desk = phone(browser, van)
    page = opened(desk)
    van.kill()
    enter(page, "bleeder-negative", "4.71")
    expect(page.locator("#traffic")).to_contain_text("1 × not yet in the bench log")
    van.start()
    page.goto(desk.base.rstrip("/") + BENCH)
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    assert logged(folder) == [("7", "bleeder-negative", 4710.0)]
    desk.excuse_the_server()
    desk.close()


def test_two_devices_at_one_bench(browser: Browser, van: Served, folder: Path) -> None:
    one, two = phone(browser, van), Desk.open(browser, van.address, viewport={"width": 820, "height": 1180})
    first, second = opened(one), opened(two)
    enter(first, "gate-pull-down-A", "5")
    expect(second.locator("#talk")).to_contain_text("gate-pull-down-A")
    had = second.locator('form[data-reading="gate-pull-down-A"] .had')
    expect(had).to_contain_text("5.000 kΩ")
    two.shot("bench-two-devices")
    enter(second, "gate-pull-down-B", "5.1")
    expect(first.locator('form[data-reading="gate-pull-down-B"] .had')).to_contain_text("5.100")
    assert len(logged(folder)) == 2
    one.close()
    two.close()


def test_what_the_unit_says_at_the_end(browser: Browser, van: Served, folder: Path) -> None:
    procedure = service.bring_up(service.solve(folder / "van.build.toml"))
    trip = procedure.reading("under-voltage-trip")
    assert trip is not None
    service.bench_add(folder / "van.build.toml", {trip.key: f"{trip.expected * 1.02:.4f} V"}, unit="7")
    desk = Desk.open(browser, van.address, viewport={"width": 820, "height": 1180})
    page = opened(desk)
    page.locator('[data-go="fit"]').click()
    expect(page.locator("#fit")).to_contain_text("under-voltage")
    desk.shot("bench-fit")
    desk.close()


def test_the_bench_by_keyboard_alone(browser: Browser, van: Served, folder: Path) -> None:
    desk = Desk.open(browser, van.address)
    page = desk.page
    page.goto(desk.base.rstrip("/") + BENCH)
    expect(page.locator("#bench-page")).to_have_attribute("data-ready", "yes")

    def tab_to(name: str, key: str = "") -> None:
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate(ACTIVE).strip() == f"{name} {key}".strip():
                return
        raise AssertionError(f"no way to {name} {key} by keyboard")

    tab_to("unit")
    page.keyboard.type("9")
    tab_to("value", "gate-pull-down-A")
    page.keyboard.type("5")
    page.keyboard.press("Enter")
    expect(page.locator('form[data-reading="gate-pull-down-A"] .had')).to_contain_text("inside the window")
    assert logged(folder)[0][:2] == ("9", "gate-pull-down-A")
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset?.turn ?? ''") == "1":
            break
    page.keyboard.press("Enter")
    expect(page.locator(".step:not([hidden]) h2")).to_be_focused()
    expect(page.locator(".step:not([hidden]) h2")).to_contain_text("2")
    desk.close()


def test_a_browser_that_keeps_nothing_still_loses_nothing(
    browser: Browser, van: Served, folder: Path
) -> None:
    desk = phone(browser, van)
    refuse = "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };"
    desk.page.add_init_script(refuse)
    page = opened(desk)
    van.kill()
    enter(page, "gate-pull-down-A", "5")
    expect(page.locator("#talk")).to_contain_text("leave the page open")
    expect(page.locator("#traffic")).to_contain_text("1 × not yet in the bench log")
    van.start()
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    assert [row[1] for row in logged(folder)] == ["gate-pull-down-A"]
    desk.excuse_the_server()
    desk.close()
