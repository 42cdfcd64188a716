"""What the tests of the workbench's server share."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx2 as httpx
from starlette.testclient import TestClient

from subwright.web.security import Rules
from subwright.web.server import create_app
from subwright.workspace import Workspace

HOST = "127.0.0.1:7312"
OWN = {"Origin": f"http://{HOST}", "X-Workbench": "1"}
EXAMPLE = "/b/~example"


@contextmanager
def workbench(folder: Path, *, token: str = "") -> Iterator[TestClient]:
    """A client of a server on ``folder`` that behaves as the server's own pages do."""
    rules = Rules(hosts=frozenset({HOST}), token=token)
    app = create_app(Workspace(folder=folder), rules)
    with TestClient(app, base_url=f"http://{HOST}", headers=OWN, follow_redirects=False) as client:  # type: ignore[arg-type]
        yield client


def revision(client: TestClient, build: str = EXAMPLE) -> int:
    found: int = client.get(f"{build}/revision").json()["revision"]
    return found


def send(client: TestClient, path: str, body: Mapping[str, Any], build: str = EXAMPLE) -> httpx.Response:
    """A change made on the newest revision."""
    return client.post(f"{build}{path}", json={"revision": revision(client, build), **body})


def figures(html: str) -> dict[str, str]:
    """Key figures of an overview by name."""
    return dict(re.findall(r'data-figure="([^"]+)">([^<]+)<', html))
