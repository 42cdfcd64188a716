"""A real browser on a real server: how the tests start both, and what they watch all the time."""

from __future__ import annotations

import os
import random
import re
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, Request, expect

from patience import PATIENCE_S

__all__ = ["FLAGS", "SHOTS", "Desk", "Served", "choose_level", "drag", "expect", "serve", "spent_s"]

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SHOTS = Path(__file__).parents[2] / ".test-output" / "browser"
PATIENCE_MS = 1e3 * PATIENCE_S
SERVER_AWAY = re.compile(
    r"net::ERR_(CONNECTION_\w+|EMPTY_RESPONSE|SOCKET_NOT_CONNECTED|INCOMPLETE_CHUNKED_ENCODING|"
    r"CONTENT_LENGTH_MISMATCH|NETWORK_CHANGED)"
)
"""What the browser notes when a server is killed: before, while or after it answers."""
STANDS_STILL = """async (node) => {
  const places = document.querySelectorAll("[data-circuit]");
  const near = [...places].filter((one) => {
    const box = one.getBoundingClientRect();
    return box.bottom > -300 && box.top < innerHeight + 300;
  });
  if (near.some((one) => one.dataset.there !== "yes")) return false;
  const before = node.getBoundingClientRect();
  for (let frame = 0; frame < 3; frame += 1) await new Promise((done) => requestAnimationFrame(done));
  const after = node.getBoundingClientRect();
  return before.top === after.top && before.height === after.height && before.left === after.left;
}"""
"""What is fetched when it comes into sight is there (300 px around it), and the place keeps its place."""

expect.set_options(timeout=PATIENCE_MS)


def free_port() -> int:
    """A port that nobody is given by chance: a killed server must find it free when it comes back.

    Outgoing connections get theirs from 32768 up (Linux' net.ipv4.ip_local_port_range), also those
    that the browser tries while the server is away.
    """
    while True:
        port = random.SystemRandom().randrange(15_000, 32_000)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
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
        with tempfile.TemporaryFile("w+") as said:
            self.process = subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=said, text=True, env={**kept, "LC_ALL": "C.UTF-8"}
            )
            assert self.process.stdout is not None
            self.address = self.process.stdout.readline().strip()
            said.seek(0)
            assert self.address.startswith("http://127.0.0.1:"), f"{self.address}\n{said.read()}"
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
        context.set_default_timeout(PATIENCE_MS)
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
        """Open a page of the server, and wait until it and the sheet behind the "#" are there."""
        self.page.goto(self.base.rstrip("/") + path)
        place, _, sheet = path.partition("#")
        if re.fullmatch(r"/|/b/[^/]+", place):
            self.ready(sheet.partition("/")[0])
        return self.page

    def ready(self, sheet: str = "") -> None:
        """Wait until the workbench's page works, and shows a sheet."""
        expect(self.page.locator("#bench")).to_have_attribute("data-ready", "yes")
        expect(self.page.locator("#sheet")).to_have_attribute("data-shown", sheet or "overview")

    def arrived(self, title: str) -> None:
        """Wait until a page that was asked for by a click is there, with all that its buttons do."""
        expect(self.page.locator("h1")).to_have_text(title)
        self.page.wait_for_load_state("load")

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
        with self.changed():
            field.fill(value)
            field.press("Enter")

    def step(self, button: str) -> None:
        """Undo or redo, until it is done."""
        with self.changed():
            self.page.locator(f"#{button}").click()

    @contextmanager
    def changed(self) -> Iterator[None]:
        """Wait until what is done within has changed the build, and the page shows it."""
        revision = self.page.locator("#bench").get_attribute("data-revision")
        yield
        expect(self.page.locator("#bench")).not_to_have_attribute("data-revision", revision or "")

    def excuse(self, *faults: str) -> None:
        """Leave out what the browser notes of an answer that the test asked for, such as "422"."""
        self.faults[:] = [one for one in self.faults if not any(fault in one for fault in faults)]

    def excuse_the_server(self) -> None:
        """Leave out what the browser notes while there is no server."""
        self.faults[:] = [one for one in self.faults if not SERVER_AWAY.search(one)]


def choose_level(page: Page, level: str) -> None:
    page.locator(f'#moment input[name=level][value="{level}"]').check()


def drag(page: Page, figure: Locator, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Drag from one place of a figure's canvas to another, once nothing above or in it moves any more."""
    canvas = figure.locator(".canvas")
    canvas.scroll_into_view_if_needed()
    page.wait_for_function(STANDS_STILL, arg=canvas.element_handle())
    box = canvas.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + start[0], box["y"] + start[1])
    page.mouse.down()
    page.mouse.move(box["x"] + end[0], box["y"] + end[1], steps=4)
    page.mouse.up()


def spent_s(browser: Browser, served: Served, run: Callable[[], object]) -> float:
    """Processor time that the server and every process of the browser take for ``run``, s."""
    session = browser.new_browser_cdp_session()

    def so_far() -> float:
        assert served.process is not None
        place = Path(f"/proc/{served.process.pid}/task")
        server_ns = sum(int((task / "schedstat").read_text().split()[0]) for task in place.iterdir())
        processes = session.send("SystemInfo.getProcessInfo")["processInfo"]
        return 1e-9 * server_ns + sum(float(one["cpuTime"]) for one in processes)

    before = so_far()
    run()
    spent = so_far() - before
    session.detach()
    return spent
