"""A real browser on a real server: how the tests start both, and what they watch all the time."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect

__all__ = ["FLAGS", "SHOTS", "Desk", "Served", "choose_level", "expect", "serve"]

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SHOTS = Path(__file__).parents[2] / ".test-output" / "browser"


def free_port() -> int:
    """A port that nobody else asks for by habit: a killed server must find it free when it comes back."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


@dataclass(kw_only=True)
class Served:
    """A server in a process of its own."""

    folder: Path
    port: int = 0
    process: subprocess.Popen[str] | None = None
    address: str = ""

    def start(self) -> str:
        self.port = self.port or free_port()
        command = [sys.executable, "-m", "subwright", "serve", str(self.folder), "--no-browser"]
        command += ["--port", str(self.port)]
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "PYTHONPATH") if name in os.environ}
        self.process = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env={**kept, "LC_ALL": "C.UTF-8"},
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        assert self.address.startswith("http://127.0.0.1:"), self.address
        self.port = urlsplit(self.address).port or 0
        return self.address

    def kill(self) -> None:
        """As a power cut does it: no farewell."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            assert self.process.stdout is not None
            self.process.stdout.close()
            self.process = None


@contextmanager
def serve(folder: Path) -> Iterator[Served]:
    served = Served(folder=folder)
    served.start()
    try:
        yield served
    finally:
        served.kill()


@dataclass(kw_only=True)
class Desk:
    """A window on the workbench; it notes what went wrong and whom it called."""

    page: Page
    base: str
    faults: list[str] = field(default_factory=list)
    called: list[str] = field(default_factory=list)

    @classmethod
    def open(cls, browser: Browser, base: str, **options: Any) -> Desk:
        options = {"viewport": {"width": 1400, "height": 900}, "accept_downloads": True, **options}
        context = browser.new_context(**options)
        context.set_default_timeout(8000)
        desk = cls(page=context.new_page(), base=base)
        desk.page.on("console", desk._heard)
        desk.page.on("pageerror", lambda error: desk.faults.append(f"script: {error}"))
        desk.page.on("request", desk._asked)
        return desk

    def _heard(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.faults.append(f"{message.type}: {message.text}")

    def _asked(self, request: Request) -> None:
        self.called.append(request.url)

    def go(self, path: str) -> Page:
        self.page.goto(self.base.rstrip("/") + path)
        if re.fullmatch(r"/|/b/[^/]+", path.partition("#")[0]):
            expect(self.page.locator("#bench")).to_have_attribute("data-ready", "yes")
        return self.page

    def shot(self, name: str, *, full: bool = False) -> None:
        SHOTS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=SHOTS / f"{name}.png", full_page=full)

    def close(self) -> None:
        """Fails on any console error and on any request that left this machine."""
        self.page.context.close()
        assert not self.faults, self.faults
        away = [
            url
            for url in self.called
            if not url.startswith(self.base) and not url.startswith(("data:", "blob:"))
        ]
        assert not away, away

    def figure(self, name: str) -> str:
        """A key figure beside the drawing."""
        return self.page.locator(f'[data-figure="{name}"]').inner_text()

    def live(self, key: str) -> str:
        """A text of the drawing."""
        return self.page.locator(f'#scene [data-k="{key}"]').text_content() or ""

    def set(self, key: str, value: str) -> None:
        """Type into an open sheet's input and leave it."""
        field = self.page.locator(f'form[data-key="{key}"] [name=value]')
        revision = self.page.locator("#bench").get_attribute("data-revision")
        field.fill(value)
        field.press("Enter")
        expect(self.page.locator("#bench")).not_to_have_attribute("data-revision", revision or "")


def choose_level(page: Page, level: str) -> None:
    page.locator(f'#moment input[name=level][value="{level}"]').check()
