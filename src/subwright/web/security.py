"""Who may talk to the workbench: its own pages on this machine, and nobody else's.

A page from anywhere can make a browser send requests to this machine. So the Host must be one that we were
started under (a foreign name that resolves here is refused), and whatever changes anything must come from our
own origin. Away from the loopback address nothing is served without the token.
"""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from types import MappingProxyType
from typing import Any
from urllib.parse import parse_qs, quote

from starlette.exceptions import HTTPException

from subwright.base.errors import SubwrightError

__all__ = ["BODY_LIMIT_BYTES", "COOKIE", "LARGER_BODIES", "Guard", "Rules", "is_loopback", "rules_for"]

BODY_LIMIT_BYTES = 1_500_000
"""The largest upload is a measuring file of 1 MB; nothing else comes near it."""

LARGER_BODIES: Mapping[str, int] = MappingProxyType({"/recording": 26_000_000})
"""Addresses that take more: a sound recording. The route itself holds the file to its own limit."""

COOKIE = "subwright_token"

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"content-security-policy", _POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
)

_TRUSTED_ONLY = b"cross-origin-opener-policy"
"""Browsers take it from the loopback address or under HTTPS only, and complain elsewhere."""

_TOO_MUCH = (413, "That is more than a build file, a drawer or a measurement holds.")

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[MutableMapping[str, Any], Receive, Send], Awaitable[None]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Rules:
    """Under which names the server answers, and the token that it asks for ("" on the loopback address)."""

    hosts: frozenset[str]
    token: str = ""


def is_loopback(host: str) -> bool:
    """Whether an address to bind is reachable from this machine only.

    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def rules_for(host: str, port: int, token: str = "", names: frozenset[str] = frozenset()) -> Rules:
    """The rules of a server bound to ``host``.

    Parameters
    ----------
    host, port : where it listens.
    token : secret of at least 16 signs; needed off the loopback address.
    names : further host names, without port, under which it may be called.

    Raises
    ------
    SubwrightError : off the loopback address without a token, or with one that is too short; any address at
        once.
    """
    if _is_wildcard(host):
        raise SubwrightError(
            message="the workbench has to know under which address it is called",
            quantity="address",
            value=host,
            limit="one address of this machine",
            remedy="name the one that the other machine reaches, --host 192.168.1.7, or leave --host out",
        )
    if not is_loopback(host) and len(token) < 16:
        raise SubwrightError(
            message="the workbench listens on this machine only, unless a token keeps strangers out",
            quantity="token",
            value="none" if not token else f"{len(token)} signs",
            limit="at least 16 signs",
            remedy="leave out --host, or set the environment variable SUBWRIGHT_TOKEN to a long random word",
        )
    known = {"localhost", "127.0.0.1", "[::1]"} if is_loopback(host) else {_bracketed(host), *names}
    return Rules(hosts=frozenset(f"{name}:{port}" for name in known), token=token)


def _is_wildcard(host: str) -> bool:
    try:
        return ip_address(host).is_unspecified
    except ValueError:
        return host == ""


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host


@dataclass(kw_only=True, slots=True)
class Guard:
    """ASGI middleware that holds the rules."""

    app: App
    rules: Rules
    headers: Mapping[bytes, bytes] = field(default_factory=lambda: dict(_HEADERS))

    async def __call__(self, scope: MutableMapping[str, Any], receive: Receive, send: Send) -> None:
        """Refuse, or pass on with the safety headers added."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no websockets here
        found = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        refusal = self._refusal(scope, found)
        sending = self._with_headers(send, found.get(b"host", ""))
        if refusal is not None:
            await _answer(sending, *refusal)
            return
        given = self._token_in_query(scope)
        if given:  # the token leaves the address bar as soon as it has been shown
            cookie = f"{COOKIE}={self.rules.token}; Path=/; HttpOnly; SameSite=Strict"
            there = quote("/" + scope["path"].lstrip("/\\"))  # the same page, never another host
            await _answer(sending, 303, "", {b"location": there.encode(), b"set-cookie": cookie.encode()})
            return
        try:
            await self.app(scope, _limited(receive, _most(scope)), sending)
        except Exception:  # the reader has been told; a traceback is for those who ask for one
            if os.environ.get("SUBWRIGHT_DEBUG") == "1":
                raise

    def _refusal(self, scope: MutableMapping[str, Any], found: Mapping[bytes, str]) -> tuple[int, str] | None:
        host = found.get(b"host", "")
        if host not in self.rules.hosts:
            return 421, "This address is not one that the workbench answers to."
        if self.rules.token and not (self._token_in_cookie(found) or self._token_in_query(scope)):
            return 401, "Open the workbench with the whole address that it printed; it holds the token."
        if scope["method"] not in _SAFE and found.get(b"origin") != f"http://{host}":
            return 403, "Changes are taken from the workbench's own pages only."
        if found.get(b"sec-fetch-site", "same-origin") not in {"same-origin", "none"} and not (
            scope["method"] in _SAFE and found.get(b"sec-fetch-mode") == "navigate"
        ):
            return 403, "Another site asked for this."
        length = found.get(b"content-length", "0")
        if not length.isdigit() or int(length) > _most(scope):
            return _TOO_MUCH
        return None

    def _token_in_cookie(self, found: Mapping[bytes, str]) -> bool:
        try:
            held = SimpleCookie(found.get(b"cookie", "")).get(COOKIE)
        except CookieError:
            return False
        return held is not None and compare_digest(held.value.encode(), self.rules.token.encode())

    def _token_in_query(self, scope: MutableMapping[str, Any]) -> bool:
        if not self.rules.token or scope["method"] != "GET":
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        return bool(given) and compare_digest(given.encode(), self.rules.token.encode())

    def _with_headers(self, send: Send, host: str) -> Send:
        trusted = is_loopback(host.rpartition(":")[0].strip("[]"))
        added = [row for row in self.headers.items() if trusted or row[0] != _TRUSTED_ONLY]

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = {name.lower() for name, _ in message["headers"]}
                extra = [(name, value) for name, value in added if name not in own]
                message["headers"] = [*message["headers"], *extra]
            await send(message)

        return sending


def _most(scope: MutableMapping[str, Any]) -> int:
    return LARGER_BODIES.get(scope["path"], BODY_LIMIT_BYTES)


def _limited(receive: Receive, most: int) -> Receive:
    got = 0

    async def counted() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > most:
            raise HTTPException(*_TOO_MUCH)  # more was sent than was announced
        return message

    return counted


async def _answer(send: Send, status: int, text: str, extra: Mapping[bytes, bytes] | None = None) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *(extra or {}).items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
