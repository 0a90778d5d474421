"""HTTP with time limits: who sends a header byte by byte, or does not take what was asked for, is not waited for.

uvicorn itself limits only the silence between two requests, and that until the next byte. The time for a body is kept
in `guard.py`, since only the application knows that it still wants one.
"""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol


class TimedProtocol(H11Protocol):
    """One connection. `header_seconds`: until a header is whole; `reader_seconds`: without anything being taken."""

    header_seconds = 15.0
    reader_seconds = 30.0
    _late: asyncio.TimerHandle | None = None
    _watch: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Somebody called: now we wait for a header."""
        super().connection_made(transport)
        self._expect_a_request()

    def data_received(self, data: bytes) -> None:
        """While nothing is being answered each byte is of the next header, or of a body that nobody wanted."""
        super().data_received(data)
        if self.cycle is None or self.cycle.response_complete:
            self._expect_a_request()
        elif self._late is not None:
            self._late.cancel()
            self._late = None

    def timeout_keep_alive_handler(self) -> None:
        """Nobody asked again: closed, once the last answer has been taken."""
        super().timeout_keep_alive_handler()
        self._watch_reader()

    def pause_writing(self) -> None:
        """More has been answered than was taken."""
        super().pause_writing()
        self._watch_reader()

    def connection_lost(self, exc: Exception | None) -> None:
        """It is over, and so are the timers."""
        for timer in (self._late, self._watch):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def _expect_a_request(self) -> None:
        """From the first call on: bytes that come meanwhile gain no time."""
        if self._late is None:
            self._late = self.loop.call_later(self.header_seconds, self._too_late)

    def _too_late(self) -> None:
        self.transport.close()
        self._watch_reader()

    def _watch_reader(self) -> None:
        left = self.transport.get_write_buffer_size()
        if left and self._watch is None:
            self._watch = self.loop.call_later(self.reader_seconds, self._look_at_reader, left)

    def _look_at_reader(self, before: int) -> None:
        self._watch = None
        if self.transport.get_write_buffer_size() >= before:
            self.transport.abort()
        else:
            self._watch_reader()
