"""What stands before every route: which names the page answers to, who may write, how much, and what browsers may do.

A page of another site that a browser on the bench computer has open must neither read nor write here: the Host is held
against a list (a name that was made to point here is refused), writes need the page's own Origin and its token, and no
answer allows another origin anything.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from measure.web.joining import COOKIE, Door
from measure.web.sentences import say

MOST_JSON = 256_000
MOST_PHOTO = 120_000_000
"""Bytes of one request; a photograph of 200 million pixels stays below."""
SLOW = 30.0
"""Seconds without a byte after which a request is given up."""
LEAST = 500.0
"""Bytes a second: a body that comes slower than this, the first minute aside, is given up as well."""
OPEN_TO_ALL = ("/join", "/static/")
SAFE = ("GET", "HEAD", "OPTIONS")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"geolocation=(), microphone=(), camera=(self)"),
)


class Refusal(Exception):  # noqa: N818 - it is an answer
    """An answer other than the route's: status and the sentence for it."""

    def __init__(self, status: int, words: str) -> None:
        super().__init__(words)
        self.status = status


class Guard:
    """ASGI middleware. `hosts` are the names with port, such as `127.0.0.1:8177`, that the page answers to."""

    def __init__(self, app: ASGIApp, door: Door, hosts: Iterable[str]) -> None:
        self.app, self.door = app, door
        self.hosts = frozenset(host.lower() for host in hosts)
        self.origins = frozenset(f"http://{host}" for host in self.hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no web sockets here
            await send({"type": "websocket.close", "code": 1008})
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [*message["headers"], *((n, v) for n, v in HEADERS if n not in there)]
                if b"cache-control" not in there:
                    kept = b"no-cache" if scope["path"].startswith("/static/") else b"no-store"
                    message["headers"].append((b"cache-control", kept))
            await send(message)

        try:
            self._check(scope)
        except Refusal as refusal:
            await _answer(refusal, scope, guarded)
            return
        await self.app(scope, _patient(receive), guarded)

    def _check(self, scope: Scope) -> None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        host = headers.get("host", [])
        if len(host) != 1 or host[0].lower() not in self.hosts:
            raise Refusal(421, say("refused_host"))
        path, method = scope["path"], scope["method"]
        open_to_all = any(path == each or (each.endswith("/") and path.startswith(each)) for each in OPEN_TO_ALL)
        if self.door.locked and not open_to_all and not self.door.knows(_cookie(headers)):
            raise Refusal(401, say("refused_login"))
        if method in SAFE:
            return
        origins = headers.get("origin", [])
        if len(origins) != 1 or origins[0].lower() not in self.origins:
            raise Refusal(403, say("refused_origin"))
        if path != "/join" and not self.door.may_write(headers.get("x-plumbsquare-token", [""])[0]):
            raise Refusal(403, say("refused_origin"))
        length = headers.get("content-length", [])
        if len(length) != 1 or not length[0].isdigit() or len(length[0]) > 18 or "transfer-encoding" in headers:
            raise Refusal(411, say("no_length"))
        most = MOST_PHOTO if path.endswith("/photos") else MOST_JSON
        if int(length[0]) > most:
            raise Refusal(413, say("too_long", most=f"{most / 1e6:g} MB"))


def _cookie(headers: dict[str, list[str]]) -> str:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load("; ".join(headers.get("cookie", [])))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""


def _patient(receive: Receive) -> Receive:
    """Wait for the next part of a body, but not for ever. After its end the only news is that the client has left."""
    begun, arrived, whole = time.monotonic(), 0, False

    async def receive_soon() -> Message:
        nonlocal arrived, whole
        if whole:
            return await receive()
        try:
            message = await asyncio.wait_for(receive(), SLOW)
        except TimeoutError:
            return {"type": "http.disconnect"}
        arrived += len(message.get("body", b""))
        whole = not message.get("more_body", False)
        if not whole and time.monotonic() - begun > 2 * SLOW + arrived / LEAST:
            return {"type": "http.disconnect"}
        return message

    return receive_soon


async def _answer(refusal: Refusal, scope: Scope, send: Send) -> None:
    as_data = scope["path"].startswith("/api/")
    body = json.dumps({"error": str(refusal)}).encode() if as_data else f"{refusal}\n".encode()
    kind = b"application/json" if as_data else b"text/plain; charset=utf-8"
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
