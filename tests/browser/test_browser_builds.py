"""The list of builds in a real browser: figures come by themselves, on any width, for any reader."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_support import Desk, Served, expect, serve
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

SOURCE = Path(__file__).parents[2] / "examples"
AXE = (Path(__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RUN = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(v => ['serious', 'critical'].includes(v.impact))
  .map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' | '))"""


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("list")
    for path in SOURCE.glob("*.toml"):
        shutil.copy(path, folder)
    with serve(folder) as served:
        yield served


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (360, "dark")])
@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_figures_come_by_themselves(
    browser: Browser, four: Served, width: int, scheme: str, language: str
) -> None:
    desk = Desk.open(
        browser, four.address, viewport={"width": width, "height": 800}, color_scheme=scheme, locale=language
    )
    page = desk.go("/builds")
    expect(page.locator("[data-glance] .sketch svg")).to_have_count(4)
    expect(page.locator("#figuring")).to_be_hidden()
    for name in ("power at clipping", "loudest, half space, 1 m"):
        assert page.locator(f'[data-figure="{name}"]').count() == 4
    page.evaluate(AXE)
    assert page.evaluate(RUN) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    desk.shot(f"builds-{width}-{language[:2]}", full=True)
    desk.close()
