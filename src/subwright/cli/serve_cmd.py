"""``subwright serve``: the workbench on a local page."""

from __future__ import annotations

import os
import socket
import sys
from contextlib import suppress
from pathlib import Path

from subwright.base.errors import SubwrightError
from subwright.cli.answer import Answer

__all__ = ["PORT", "serve"]

PORT = 7312
_TRIED = 20
_WAITING = 2048  # connections that may wait to be answered


def serve(folder: Path, host: str, port: int, *, browser: bool) -> Answer:
    """Serve the builds of ``folder`` until interrupted.

    Parameters
    ----------
    folder : where the builds lie; made if missing.
    host : address to listen on; off the loopback address SUBWRIGHT_TOKEN must be set.
    port : 0 takes the usual one, or the next that is free.
    browser : whether to open the page.

    Raises
    ------
    SubwrightError : the address may not or can't be used, or the folder is none.
    """
    from rich.text import Text

    from subwright.web.security import rules_for
    from subwright.web.server import create_app, listen
    from subwright.workspace import Workspace

    token = os.environ.get("SUBWRIGHT_TOKEN", "")
    rules_for(host, port or PORT, token)  # before anything is touched
    if folder.exists() and not folder.is_dir():
        raise SubwrightError(
            message="that is not a folder",
            quantity="folder",
            value=str(folder),
            remedy="name the folder of builds",
        )
    folder.mkdir(parents=True, exist_ok=True)
    bound = _bound(host, port)
    port = bound.getsockname()[1]
    rules = rules_for(host, port, token)
    place = f"[{host}]" if ":" in host else host
    address = f"http://{place}:{port}/" + (f"?token={token}" if rules.token else "")

    def ready() -> None:
        sys.stdout.write(f"{address}\n")
        sys.stdout.flush()
        sys.stderr.write(f"The workbench on {folder.resolve()} is open at this address; Ctrl+C closes it.\n")
        sys.stderr.flush()
        if browser:
            import webbrowser

            webbrowser.open(address)

    with bound, suppress(KeyboardInterrupt):  # that is how it is closed
        listen(create_app(Workspace(folder=folder.resolve()), rules), bound, ready)
    return Answer(command="serve", data=lambda: {"address": address}, text=lambda: Text("closed"))


def _bound(host: str, wanted: int) -> socket.socket:
    """A socket that listens at the port wanted, or at the usual one or the next free after it.

    Kept open from here on: of two workbenches that start at once only one gets a port. Raises SubwrightError.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for port in (wanted,) if wanted else range(PORT, PORT + _TRIED):
        # the protocol is said, or the server wouldn't switch off its wait for more to send (40 ms an answer)
        place = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            place.bind((host, port))
            place.listen(_WAITING)
        except OSError:
            place.close()
            continue
        return place
    raise SubwrightError(
        message="no port is free to listen on",
        quantity="port",
        value=str(wanted or f"{PORT} to {PORT + _TRIED - 1}"),
        remedy="close what uses it, or name another with --port",
    )
