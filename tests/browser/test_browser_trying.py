"""Trying things, and plots that fit: in a real browser."""

from __future__ import annotations

import re

import pytest
from browser_support import Desk, Served, expect
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

EXAMPLE = "/b/~example"
SMALLEST = """() => Math.min(...[...document.querySelectorAll("figure[data-plot] svg text")].map((word) =>
  parseFloat(getComputedStyle(word).fontSize) * word.getScreenCTM().a))"""
DRAWN = """() => [...document.querySelectorAll("figure[data-plot] .canvas")].every((canvas) => {
  const drawn = canvas.querySelector("svg").viewBox.baseVal.width, letters = 15;
  const page = parseFloat(getComputedStyle(document.documentElement).fontSize);
  return Math.abs(canvas.clientWidth * letters / page - drawn) <= 0.05 * drawn;
})"""


def test_a_remedy_is_tried_taken_and_undone(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    finding = page.locator(".finding", has_text="DRV-06")
    finding.locator("[data-remedies]").focus()
    page.keyboard.press("Enter")
    tried = finding.locator('[data-take-key="driver.count"]')
    expect(finding.locator(".cured")).to_have_count(2)
    desk.shot("remedies")
    with desk.changed():
        tried.click()
    expect(page.locator(".moved")).to_contain_text("driver.count")
    expect(page.locator(".finding", has_text="DRV-06")).to_have_count(0)
    with desk.changed():
        page.locator(".moved [data-undo]").click()
    expect(page.locator(".finding", has_text="DRV-06")).to_have_count(1)


def test_changes_are_put_side_by_side_and_kept_over_a_reload(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#air")
    field = page.locator(".field", has=page.locator('form[data-key="goal.power"]'))
    for watts in ("120 W", "100 W"):
        field.locator("[name=value]").fill(watts)
        field.locator("[data-whatif]").click()
        field.locator("[data-beside-key]").click()
        expect(page.locator(".beside thead th").last).to_contain_text(watts)
        expect(field.locator("[name=value]")).to_have_value("180 W")
    expect(page.locator(".beside thead th")).to_have_count(3)
    desk.shot("beside")
    page.reload()
    desk.ready("air")
    expect(page.locator(".beside thead th")).to_have_count(3)
    page.locator(".beside tbody button", has_text="drop").first.click()
    expect(page.locator(".beside thead th")).to_have_count(2)
    with desk.changed():
        page.locator(".beside tbody button", has_text="take it").click()
    expect(page.locator(".beside")).to_have_count(0)
    expect(page.locator('form[data-key="goal.power"] [name=value]')).to_have_value("100 W")
    desk.step("undo")


@pytest.mark.parametrize("width", [360, 1280, 1920])
def test_plots_fit_their_place_with_letters_that_can_be_read(
    browser: Browser, served: Served, width: int
) -> None:
    desk = Desk.open(browser, served.address, viewport={"width": width, "height": 900})
    page = desk.go(f"{EXAMPLE}#enclosure")
    assert page.locator("figure[data-plot]").count() > 3
    assert page.evaluate(DRAWN)
    assert page.evaluate(SMALLEST) >= 10.95
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    if width == 1280:
        page.locator("#wider").click()
        plot = page.locator("figure[data-plot]").first.locator("svg").first
        expect(plot).to_have_attribute("viewBox", re.compile(r"0 0 [56]\d\d "))
        assert page.evaluate(SMALLEST) >= 10.95
    desk.close()
