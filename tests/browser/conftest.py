from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser_support import FLAGS, PATIENCE_MS, Desk, Served, serve
from playwright.sync_api import Browser, sync_playwright


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("there is no chromium here")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS), timeout=PATIENCE_MS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serve(tmp_path_factory.mktemp("builds")) as found:
        yield found


@pytest.fixture
def desk(browser: Browser, served: Served) -> Iterator[Desk]:
    desk = Desk.open(browser, served.address)
    yield desk
    desk.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path
