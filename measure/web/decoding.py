"""Decoding pictures in a process of its own: a file made to kill or to swell its reader takes that, and not the page.

The process starts with the first picture and stays, so that the next is looked through at once. It may use only so much
memory, and so much time for a picture, where the system can hold it to that; Windows cannot, and there it may swell.
It is no prison: it runs with the rights of the server.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from typing import TypeVar

from measure.photo.picture import PictureError

MEMORY = 2_500_000_000
"""Bytes; a picture of 200 million pixels was seen to want 1.1."""
SECONDS = 120
"""Of reckoning for one picture; 200 million pixels were seen to take 10."""
UNREADABLE = ("a picture that cannot be decoded", "copy it over again, or save it anew as JPEG")
T = TypeVar("T")
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class _Trouble:
    """A PictureError on its way between the processes."""

    found: str
    would_do: str


class Decoder:
    """One process that takes one picture at a time, in the order they came; begun anew after one that ended it."""

    def __init__(self) -> None:
        # one at a time, so that it is clear which picture ended the process
        self._turns = ThreadPoolExecutor(1, thread_name_prefix="decoder")
        self._process: ProcessPoolExecutor | None = None

    def submit(self, work: Callable[[], T]) -> Future[T | PictureError]:
        """Have `work` done there; it and what it gives must be such as can be sent to a process."""
        return self._turns.submit(self._one, work)

    def _one(self, work: Callable[[], T]) -> T | PictureError:
        try:
            future = self._begun().submit(_held, work)
        except BrokenProcessPool:  # it ended between two pictures: neither is to blame
            self._process = None
            future = self._begun().submit(_held, work)
        try:
            got = future.result()
        except BrokenProcessPool:
            self._process = None
            return PictureError(*UNREADABLE)
        return PictureError(got.found, got.would_do) if isinstance(got, _Trouble) else got

    def _begun(self) -> ProcessPoolExecutor:
        if self._process is None:  # spawned, not forked: the server has threads
            self._process = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_confine)
        return self._process


def _confine() -> None:
    """Runs first in the process: what it may use, and when it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for the server, which ends this one
    threading.Thread(target=_end_with_the_server, daemon=True).start()
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        # of what it writes to, where that can be held: address space is reserved by each thread of a large computer
        memory = resource.RLIMIT_DATA if sys.platform == "linux" else resource.RLIMIT_AS
        resource.setrlimit(memory, (MEMORY, MEMORY))


def _end_with_the_server() -> None:
    """A server that was killed ends nothing itself."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(0)


def _held(work: Callable[[], T]) -> T | _Trouble:
    """One picture, in the process."""
    with suppress(ImportError, ValueError, OSError):
        import resource

        _, most = resource.getrlimit(resource.RLIMIT_CPU)
        resource.setrlimit(resource.RLIMIT_CPU, (int(time.process_time()) + SECONDS, most))
    try:
        return work()
    except PictureError as problem:
        return _Trouble(problem.found, problem.would_do)
    except MemoryError:
        return _Trouble("a picture too large for this computer", "use a smaller one")
    except Exception:  # one picture must not keep the others from being shown
        log.exception("the program failed at a picture")
        return _Trouble("a picture at which the program failed", "take another of the same place")
