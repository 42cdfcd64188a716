"""The drawing can be read: how large its words come out, and that none lies over another."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_support import Desk, Served, expect, serve
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

SOURCE = Path(__file__).parents[2] / "examples"
LEAST_PX = 12.0
WORDS = """() => {
  const all = [...document.querySelectorAll('#scene svg, #ruler svg')];
  const shown = all.filter((svg) => svg.getClientRects().length);
  const words = (svg) => [...svg.querySelectorAll('text')].filter((t) => t.textContent.trim());
  return shown.flatMap((svg) => words(svg).map((t) => {
    const box = t.getBBox(), scale = t.getScreenCTM().a, room = svg.viewBox.baseVal;
    return {
      text: t.textContent, of: svg.parentElement.id, px: parseFloat(getComputedStyle(t).fontSize) * scale,
      left: box.x, right: box.x + box.width, top: box.y + 0.2 * box.height, bottom: box.y + 0.8 * box.height,
      inside: box.x >= -0.5 && box.x + box.width <= room.width + 0.5 && box.y + box.height <= room.height + 3,
    };
  }));
}"""


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("four")
    for path in SOURCE.glob("*.toml"):
        shutil.copy(path, folder)
    with serve(folder) as served:
        yield served


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1200, 900), (360, 780), (1920, 1080)])
@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
def test_the_drawing_is_readable(
    browser: Browser, four: Served, language: str, width: int, height: int
) -> None:
    desk = Desk.open(
        browser,
        four.address,
        viewport={"width": width, "height": height},
        locale=language,
        color_scheme="dark",
    )
    least = LEAST_PX if width != 1200 else 11.0  # the narrowest page with two columns
    for path in sorted(SOURCE.glob("*.build.toml")):
        name = path.name.removesuffix(".build.toml")
        page = desk.go(f"/b/{name}")
        words = page.evaluate(WORDS)
        assert len(words) > 40
        small = [(w["text"], round(w["px"], 1)) for w in words if w["px"] < least]
        assert not small, (name, small)
        cut = [w["text"] for w in words if not w["inside"]]
        assert not cut, (name, cut)
        over = [
            (a["text"], b["text"])
            for i, a in enumerate(words)
            for b in words[i + 1 :]
            if a["of"] == b["of"]
            and min(a["right"], b["right"]) - max(a["left"], b["left"]) > 0.5
            and min(a["bottom"], b["bottom"]) - max(a["top"], b["top"]) > 0.5
        ]
        assert not over, (name, over)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        desk.shot(f"drawing-{name}-{width}-{language[:2]}")
    desk.close()


def test_the_whole_drawing_and_the_battery_are_in_sight(browser: Browser, four: Served) -> None:
    """On a small laptop the slider stays at hand while the drawing is looked at."""
    desk = Desk.open(browser, four.address, viewport={"width": 1280, "height": 720})
    page = desk.go("/b/storyteller-van")
    expect(page.locator("#emf")).to_be_in_viewport(ratio=1)
    page.set_viewport_size({"width": 1280, "height": 800})
    expect(page.locator('#scene svg.wide [data-k="w.air.level"]')).to_be_in_viewport(ratio=1)
    expect(page.locator("#emf")).to_be_in_viewport(ratio=1)
    desk.close()
