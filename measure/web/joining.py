"""Who may come in: one-time links for phones, and the cookie they are exchanged for.

A link carries its token behind `#`, which a browser never sends: it stays out of logs and Referer. It works once, for
ten minutes. The cookie is known to this run of the server only.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import Callable

COOKIE = "plumbsquare"
MINUTES = 10
MOST_TOKENS, MOST_PEOPLE = 20, 200


class Door:
    """The tokens given out and the cookies they were exchanged for. `locked`: without a cookie nobody gets in."""

    def __init__(self, locked: bool, now: Callable[[], float] = time.monotonic) -> None:
        self.locked = locked
        self.write_token = secrets.token_urlsafe(24)
        self._now = now
        self._tokens: dict[str, float] = {}
        self._people: set[str] = set()
        self._lock = threading.Lock()

    def invite(self) -> str:
        """A new one-time token; the oldest unused ones give way."""
        with self._lock:
            token = secrets.token_urlsafe(18)
            self._tokens[token] = self._now() + 60 * MINUTES
            while len(self._tokens) > MOST_TOKENS:
                self._tokens.pop(next(iter(self._tokens)))
            return token

    def exchange(self, token: str) -> str | None:
        """The cookie for a token, once; None for one that is unknown, used or too old."""
        with self._lock:
            known = next((each for each in self._tokens if hmac.compare_digest(each.encode(), token.encode())), None)
            if known is None or self._tokens.pop(known) < self._now() or len(self._people) >= MOST_PEOPLE:
                return None
            person = secrets.token_urlsafe(24)
            self._people.add(person)
            return person

    def knows(self, cookie: str) -> bool:
        """Whether this cookie was given out by this run of the server."""
        return any(hmac.compare_digest(each.encode(), cookie.encode()) for each in self._people)

    def may_write(self, token: str) -> bool:
        """Whether a write carries the token that the page was given."""
        return hmac.compare_digest(self.write_token.encode(), token.encode())
