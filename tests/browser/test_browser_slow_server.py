"""Answers that come late, in another order, or cut short: a slow machine makes of rare moments common ones.

Each moment is made on purpose: an answer is fetched and held back until what would overtake it has happened.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from browser_support import Desk, Served, expect, serve
from playwright.sync_api import APIResponse, Browser, Page, Route

from patience import wait_for

pytestmark = pytest.mark.browser

EXAMPLE = "/b/~example"
SOURCE = Path(__file__).parents[2] / "examples"
CUT_SHORT = """(path) => {
  const plain = window.fetch;
  window.fetch = async (asked, ...rest) => {
    const answer = await plain(asked, ...rest);
    if (!String(asked).includes(path) || window.cut) return answer;
    window.cut = true;
    const broken = new ReadableStream({ start(stream) { stream.error(new TypeError("network error")); } });
    return new Response(broken, { status: answer.status, headers: answer.headers });
  };
}"""
ROUND_TRIP = """async () => {
  await (await fetch("/static/mark.svg", { cache: "no-store" })).text();
  await new Promise((done) => setTimeout(done));
}"""
SEEN_AGAIN = "document.dispatchEvent(new Event('visibilitychange'))"


@dataclass(kw_only=True)
class Held:
    """Answers of the server that are on their way, as long as the test likes."""

    page: Page
    answers: list[tuple[Route, APIResponse]] = field(default_factory=list)

    def hold(self, place: str) -> None:
        """Hold the answer to the next request whose address holds ``place``."""

        def late(route: Route) -> None:
            self.answers.append((route, route.fetch()))

        self.page.route(re.compile(re.escape(place)), late, times=1)

    def wait(self) -> None:
        """Until the server has answered."""
        wait_for(lambda: self.page.evaluate("1") and self.answers, "a held answer")

    def let_go(self) -> None:
        """Deliver them, and wait until the page has them."""
        for route, answer in self.answers:
            with self.page.expect_event("requestfinished", lambda one, asked=route.request: one == asked):
                route.fulfill(response=answer)
        self.answers.clear()
        self.page.evaluate(ROUND_TRIP)  # what waited for the answer went on before this is back


@pytest.fixture
def held(desk: Desk) -> Held:
    return Held(page=desk.page)


def test_an_answer_cut_short_is_told_as_none(desk: Desk) -> None:
    page = desk.go(f"{EXAMPLE}#filter")
    page.evaluate(CUT_SHORT, "/set")
    form = page.locator('form[data-key="filter.corner"] [name=value]')
    form.fill("97 Hz")
    form.press("Enter")
    expect(page.locator("#talk")).to_contain_text("does not answer")
    page.locator("#talk").get_by_role("button", name="try again").click()
    expect(form).to_have_value("97 Hz")
    expect(page.locator("#bench")).to_have_attribute("data-ready", "yes")
    desk.step("undo")


def test_the_sheet_asked_for_last_is_the_one_shown(desk: Desk, held: Held) -> None:
    page = desk.go(EXAMPLE)
    held.hold("/sheet/filter")
    page.locator('#scene svg.wide a[data-stage="filter"]').click()
    held.wait()
    page.locator('#scene svg.wide a[data-stage="amplifier"]').click()
    expect(page.locator("#sheet h2").first).to_have_text("Amplifier")
    held.let_go()
    expect(page.locator("#sheet h2").first).to_have_text("Amplifier")


def test_a_change_answered_late_leaves_the_sheet_opened_meanwhile(desk: Desk, held: Held) -> None:
    page = desk.go(f"{EXAMPLE}#filter")
    held.hold("/set")
    value = page.locator('form[data-key="filter.corner"] [name=value]')
    value.fill("98 Hz")
    value.press("Enter")
    held.wait()
    page.locator('#scene svg.wide a[data-stage="amplifier"]').click()
    expect(page.locator("#sheet h2").first).to_have_text("Amplifier")
    held.let_go()
    expect(page.locator(".moved")).to_contain_text("filter.corner")
    expect(page.locator("#sheet h2").first).to_have_text("Amplifier")
    desk.step("undo")


def test_a_sheet_drawn_before_a_change_does_not_cover_it(desk: Desk, held: Held) -> None:
    page = desk.go(f"{EXAMPLE}#filter")
    was = page.locator('form[data-key="filter.corner"] [name=value]').input_value()
    page.locator("[data-close]").click()
    expect(page.locator("#sheet")).to_have_attribute("data-shown", "overview")
    desk.go(f"{EXAMPLE}#filter")
    held.hold("/sheet/filter")
    page.evaluate("window.dispatchEvent(new HashChangeEvent('hashchange'))")
    held.wait()
    desk.set("filter.corner", "99 Hz")
    held.let_go()
    expect(page.locator('form[data-key="filter.corner"] [name=value]')).to_have_value("99 Hz")
    desk.step("undo")
    expect(page.locator('form[data-key="filter.corner"] [name=value]')).to_have_value(was)


def test_ones_own_change_is_not_told_as_another_windows(desk: Desk, held: Held) -> None:
    """The page looks for changes of others every few seconds, also while its own is being answered."""
    page = desk.go(f"{EXAMPLE}#filter")
    held.hold("/set")
    page.locator('form[data-key="filter.corner"] [name=value]').fill("94 Hz")
    page.locator('form[data-key="filter.corner"] [name=value]').press("Enter")
    held.wait()
    page.evaluate(SEEN_AGAIN)
    page.evaluate(f"fetch('{EXAMPLE}/revision').then((answer) => answer.json())")
    held.let_go()
    expect(page.locator(".moved")).to_contain_text("filter.corner")
    held.hold("/revision")
    page.evaluate(SEEN_AGAIN)
    held.wait()
    desk.step("undo")
    held.let_go()
    page.wait_for_function("document.getElementById('sheet').dataset.shown === 'filter'")
    assert "another window" not in (page.locator("#talk").text_content() or "")


def test_undo_pressed_twice_at_once_undoes_twice(desk: Desk, held: Held) -> None:
    page = desk.go(f"{EXAMPLE}#filter")
    was = page.locator('form[data-key="filter.corner"] [name=value]').input_value()
    desk.set("filter.corner", "92 Hz")
    desk.set("filter.corner", "93 Hz")
    held.hold("/undo")
    page.locator("#undo").click()
    held.wait()
    page.locator("#undo").click()
    held.let_go()
    expect(page.locator('form[data-key="filter.corner"] [name=value]')).to_have_value(was)
    assert "another window" not in (page.locator("#talk").text_content() or "")


@pytest.fixture
def bench(browser: Browser, folder: Path) -> Iterator[Desk]:
    shutil.copy(SOURCE / "storyteller-van.build.toml", folder / "van.build.toml")
    shutil.copy(SOURCE / "storyteller-van.drawer.toml", folder)
    with serve(folder) as served:
        desk = bench_of(browser, served)
        yield desk
        desk.close()


def bench_of(browser: Browser, served: Served) -> Desk:
    desk = Desk.open(browser, served.address)
    desk.page.goto(desk.base.rstrip("/") + "/b/van/bench")
    expect(desk.page.locator("#bench-page")).to_have_attribute("data-ready", "yes")
    return desk


def unit(page: Page, name: str) -> None:
    page.locator("#who [name=unit]").fill(name)
    page.locator("#who [name=unit]").blur()


def enter(page: Page, key: str, value: str) -> None:
    form = page.locator(f'form[data-reading="{key}"]')
    form.locator("[name=value]").fill(value)
    form.get_by_role("button", name="enter").click()


def test_readings_of_another_unit_are_not_shown_for_this_one(bench: Desk) -> None:
    page, late = bench.page, Held(page=bench.page)
    had = page.locator('form[data-reading="gate-pull-down-A"] .had')
    unit(page, "one")
    enter(page, "gate-pull-down-A", "5")
    expect(had).to_contain_text("5.000")
    late.hold("/log?unit=one")
    page.evaluate(SEEN_AGAIN)
    late.wait()
    with page.expect_response(re.compile("/log.unit=two")):
        unit(page, "two")
    expect(had).to_be_empty()
    late.let_go()
    expect(had).to_be_empty()


def test_a_log_read_before_a_reading_does_not_take_it_away(bench: Desk) -> None:
    page, late = bench.page, Held(page=bench.page)
    had = page.locator('form[data-reading="gate-pull-down-A"] .had')
    with page.expect_response(re.compile("/log.unit=one")):
        unit(page, "one")
    late.hold("/log?unit=one")
    page.evaluate(SEEN_AGAIN)
    late.wait()
    enter(page, "gate-pull-down-A", "5")
    expect(had).to_contain_text("5.000")
    late.let_go()
    expect(had).to_contain_text("5.000")
    assert "another device" not in (page.locator("#talk").text_content() or "")


def test_an_entry_answered_with_half_an_answer_is_sent_again(bench: Desk) -> None:
    page = bench.page
    unit(page, "one")
    page.evaluate(CUT_SHORT, "/reading")
    enter(page, "gate-pull-down-A", "5")
    expect(page.locator("#traffic")).to_contain_text("1 × not yet in the bench log")
    page.evaluate(SEEN_AGAIN)
    expect(page.locator("#traffic")).to_have_text("Every reading is in the bench log.")
    expect(page.locator('form[data-reading="gate-pull-down-A"] .had')).to_contain_text("5.000")
