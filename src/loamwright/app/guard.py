"""Who may talk to the app: one layer around everything, for pages and sockets alike.

This file answers "may this request come in?". A page of another site, another name for this computer, a
stranger without the code, and a body that is too large are turned away before anything of ours runs.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Awaitable, Callable, Collection, Mapping, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs, urlsplit

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Served = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Largest body of a request [bytes]: a boundary of 60,000 corners, or a large lab sheet, fits.
BODY_LIMIT = 20 * 1024 * 1024
#: How long a device stays known [s]: a long working day.
KNOWN_FOR_S = 16 * 3600

#: What a page of the app may load and do: its own scripts, styles and pictures, nothing from elsewhere.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:{origins}; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


class Passes:
    """One-time codes, each good for one device.

    Parameters
    ----------
    port
        Of the server; in the name of the cookie, so that two apps on one computer keep apart.
    """

    def __init__(self, port: int) -> None:
        self.cookie = f"loamwright-{port}"
        self._lock = threading.Lock()
        self._codes: set[str] = set()
        self._keys: set[str] = set()

    def issue(self) -> str:
        """Make a code for one more device."""
        code = secrets.token_urlsafe(18)
        with self._lock:
            self._codes.add(code)
        return code

    def spend(self, code: str) -> str | None:
        """Use a code up; the key it opens with, or None when it is spent or unknown."""
        with self._lock:
            if code not in self._codes:
                return None
            self._codes.remove(code)
            key = secrets.token_urlsafe(32)
            self._keys.add(key)
            return key

    def knows(self, key: str) -> bool:
        """Tell whether a device has come in by a code."""
        with self._lock:
            return any(hmac.compare_digest(key.encode(), one.encode()) for one in self._keys)


class Guard:
    """Turns away foreign hosts, foreign pages, strangers and oversized bodies.

    Parameters
    ----------
    served
        The app behind it.
    hosts
        Names this server answers to, as they stand in ``Host``: ``"127.0.0.1:8765"``.
    passes
        The codes.
    """

    def __init__(self, served: Served, hosts: Collection[str], passes: Passes) -> None:
        self._served = served
        self._hosts = frozenset(hosts)
        self._passes = passes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._served(scope, receive, send)
            return
        head = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        refused = self._refusal(scope, head)
        if refused is not None:
            await _refuse(scope, receive, send, *refused)
            return
        if scope["type"] == "http" and scope["path"] == "/enter":
            await self._enter(scope, receive, send)
            return
        if not self._passes.knows(_cookie(head, self._passes.cookie)):
            why = "This page opens by the address that loamwright shows when it starts, or by its code."
            await _refuse(scope, receive, send, 401, why)
            return
        if scope["type"] == "http":
            send = _sealed(send)
        await self._served(scope, receive, send)

    def _refusal(self, scope: Scope, head: Mapping[str, str]) -> tuple[int, str] | None:
        if head.get("host", "") not in self._hosts:
            return 403, "This computer is not known by that name here."
        origin, site = head.get("origin"), head.get("sec-fetch-site")
        if origin is not None and urlsplit(origin).netloc not in self._hosts:
            return 403, "A page from elsewhere may not ask this."
        writes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if writes and origin is None and site != "same-origin":
            return 403, "It is not said which page asks."
        if site in ("cross-site", "same-site") and head.get("sec-fetch-mode") != "navigate":
            return 403, "A page from elsewhere may not ask this."
        if "transfer-encoding" in head:
            return 411, "The length of what is sent is not stated."
        length = head.get("content-length", "0")
        if not length.isdecimal() or len(length) > 12 or int(length) > BODY_LIMIT:
            return 413, f"What is sent is larger than {BODY_LIMIT // 2**20} MB; send it in parts."
        return None

    async def _enter(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a device in by its code, which is spent by it."""
        code = parse_qs(scope["query_string"].decode("latin-1")).get("code", [""])[0]
        key = self._passes.spend(code)
        if key is None:
            why = "This code was used already, or is from an earlier start: ask for a new one."
            await _refuse(scope, receive, send, 403, why)
            return
        cookie = f"{self._passes.cookie}={key}; HttpOnly; SameSite=Strict; Path=/; Max-Age={KNOWN_FOR_S}"
        headers = [
            (b"location", b"/"),
            (b"set-cookie", cookie.encode("latin-1")),
            (b"cache-control", b"no-store"),
            (b"referrer-policy", b"no-referrer"),
        ]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})


#: What browsers are told about every answer.
_SEAL = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    # With no-referrer a browser sends "Origin: null" with a form of our own page.
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


def policy(origins: Collection[str] = ()) -> bytes:
    """Return the policy of a page that may fetch pictures from a few other places."""
    return POLICY.format(origins="".join(f" {origin}" for origin in origins)).encode("latin-1")


def _sealed(send: Send) -> Send:
    """Send answers with what browsers are told about them; a page may bring a policy of its own."""

    async def sealed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [*message.get("headers", ()), *_SEAL]
            if not any(name.lower() == b"content-security-policy" for name, _ in headers):
                headers.append((b"content-security-policy", policy()))
            message = {**message, "headers": headers}
        await send(message)

    return sealed


def _cookie(head: Mapping[str, str], name: str) -> str:
    try:
        jar = SimpleCookie(head.get("cookie", ""))
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, why: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4403, "reason": why})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": why.encode()})
