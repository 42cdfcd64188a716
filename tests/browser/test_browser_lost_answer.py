"""A change whose server is away is kept in sight and made when it is back; the keys can be looked up."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_support import Desk, expect, serve
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

EXAMPLE = "/b/~example"


def test_what_was_typed_while_the_server_was_away_is_made_afterwards(browser: Browser, folder: Path) -> None:
    with serve(folder) as served:
        desk = Desk.open(browser, served.address)
        page = desk.go(EXAMPLE)
        page.locator("[data-duplicate] [name=title]").first.fill("Ferry")
        page.locator("[data-duplicate] button").first.click()
        expect(page.locator("h1")).to_have_text("Ferry")
        desk.go("/b/ferry#filter")
        served.kill()
        value = page.locator('form[data-key="filter.corner"] [name=value]')
        value.fill("97 Hz")
        value.press("Enter")
        expect(page.locator("#talk")).to_contain_text("filter.corner = 97 Hz")
        expect(value).to_have_value("97 Hz")
        page.locator("#talk").get_by_role("button", name="try again").click()
        expect(page.locator("#talk")).to_contain_text("filter.corner = 97 Hz")  # it is still away
        served.start()
        page.locator("#talk").get_by_role("button", name="try again").click()
        expect(page.locator(".moved")).to_contain_text("filter.corner")
        expect(value).to_have_value("97 Hz")
        assert 'corner = "97 Hz"' in (folder / "ferry.build.toml").read_text(encoding="utf-8")
        desk.faults.clear()  # the browser notes each request that found nobody
        desk.close()


def test_the_keys_can_be_looked_up(desk: Desk) -> None:
    page = desk.go(EXAMPLE)
    page.keyboard.press("?")
    expect(page.locator("#page")).to_contain_text("Ctrl Z")
    desk.shot("keys")
    page.keyboard.press("Escape")
    expect(page.locator("#page")).to_be_hidden()
    page.locator("#show-keys").click()
    expect(page.locator("#page")).to_be_visible()
    page.locator("#page [data-shut]").click()
    expect(page.locator("#page")).to_be_hidden()
