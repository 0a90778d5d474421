"""Slow clients: nobody holds a connection by sending byte by byte or by not taking the answer; a slow phone lives."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import uvicorn
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from measure.web import guard
from measure.web.guard import Guard
from measure.web.joining import Door
from measure.web.server import server
from measure.web.timed import TimedProtocol

LONG = 60.0
"""s until a test gives up; nothing waits for it where all is well."""


class Quick(TimedProtocol):
    header_seconds = 0.3
    reader_seconds = 0.3


async def large(scope: Scope, receive: Receive, send: Send) -> None:
    """Takes what is sent, and answers with more than any buffer holds."""
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"40000000")]})
    await send({"type": "http.response.body", "body": bytes(40_000_000)})


@contextmanager
def running(make: Callable[[str], ASGIApp]) -> Iterator[tuple[int, uvicorn.Server]]:
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen()
    port = listening.getsockname()[1]
    made = server(make(f"127.0.0.1:{port}"), http=Quick)
    thread = threading.Thread(target=made.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        yield port, made
    finally:
        made.should_exit = True
        thread.join()
        listening.close()


def dripped(port: int, first: bytes, drop: bytes) -> bytes:
    """Everything that comes back until the server closes, while `drop` is sent again and again."""
    back, until = b"", time.monotonic() + LONG
    with socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(first)
        caller.settimeout(0.02)
        while time.monotonic() < until:
            try:
                got = caller.recv(65_536)
                if not got:
                    return back
                back += got
            except TimeoutError:
                try:
                    caller.sendall(drop)
                except ConnectionError:
                    return back
            except ConnectionError:
                return back
    raise AssertionError("the connection is held")


def guarded(host: str) -> ASGIApp:
    return Guard(large, Door(False), [host])


def test_a_header_byte_by_byte_is_not_waited_for() -> None:
    with running(guarded) as (port, _):
        assert dripped(port, b"GET / HTTP/1.1\r\nHost: ", b"x") == b""


def test_who_says_nothing_at_all_is_not_waited_for() -> None:
    with running(guarded) as (port, _):
        assert dripped(port, b"", b"") == b""


def test_a_body_that_nobody_wanted_is_not_read_for_ever() -> None:
    with running(guarded) as (port, _):
        first = f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 200000\r\n\r\n".encode()
        assert dripped(port, first, b"x").startswith(b"HTTP/1.1 403")


def test_a_second_header_byte_by_byte_is_not_waited_for() -> None:
    with running(guarded) as (port, _):
        whole = b"GET / HTTP/1.1\r\nHost: elsewhere\r\n\r\n"
        assert dripped(port, whole, b"GET").startswith(b"HTTP/1.1 421")


def test_who_does_not_take_the_answer_is_not_waited_for() -> None:
    with running(guarded) as (port, made), socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        caller.recv(1)  # it is being answered
        until = time.monotonic() + LONG
        while made.server_state.connections:
            assert time.monotonic() < until, "the connection is held"
            time.sleep(0.02)


def test_who_takes_it_gets_it_whole() -> None:
    with running(guarded) as (port, _), socket.create_connection(("127.0.0.1", port)) as caller:
        caller.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
        length = 0
        while got := caller.recv(1_000_000):
            length += len(got)
        assert length > 40_000_000


def taken(receive: Receive) -> list[Message]:
    """What an application sees of a body until its end, or until it is given up."""

    async def all_of_it() -> list[Message]:
        patient, seen = guard._patient(receive), []
        while not seen or seen[-1].get("more_body"):
            seen.append(await patient())
        return seen

    return asyncio.run(all_of_it())


def body(parts: list[bytes], every: float, monkeypatch: pytest.MonkeyPatch) -> Receive:
    """A body that comes in parts, one in `every` seconds of a clock that is set."""
    clock, left = [0.0], list(parts)
    monkeypatch.setattr(guard.time, "monotonic", lambda: clock[0])

    async def receive() -> Message:
        clock[0] += every
        return {"type": "http.request", "body": left.pop(0), "more_body": bool(left)}

    return receive


def test_a_slow_phone_lives(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = taken(body([bytes(16_384)] * 300, 25.0, monkeypatch))  # 2 h for 5 MB
    assert len(seen) == 300 and seen[-1]["type"] == "http.request"


def test_a_body_byte_by_byte_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = taken(body([b"x"] * 300, 25.0, monkeypatch))
    assert len(seen) == 3 and seen[-1]["type"] == "http.disconnect"


def test_a_body_that_stops_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SLOW", 0.01)

    async def never() -> Message:
        await asyncio.Event().wait()
        raise AssertionError

    assert taken(never) == [{"type": "http.disconnect"}]


def test_after_its_end_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SLOW", 0.01)

    async def both() -> Message:
        news: asyncio.Queue[Message] = asyncio.Queue()
        news.put_nowait({"type": "http.request", "body": b"", "more_body": False})
        patient = guard._patient(news.get)
        await patient()
        waiting = asyncio.ensure_future(patient())
        await asyncio.sleep(0.1)
        news.put_nowait({"type": "told"})
        return await waiting

    assert asyncio.run(both()) == {"type": "told"}
