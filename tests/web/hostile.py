"""What a hostile picture could do to the process that decodes it. Here, so that this process can import it."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from measure.photo.find import FoundPicture
from measure.web.decoded import looked

DEADLY = b"deadly"


def dies() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def swells() -> int:
    return len(bytearray(100_000_000_000))


def fails() -> None:
    raise ZeroDivisionError


def seconds_left() -> float:
    """Of reckoning, until the system ends this process."""
    import resource

    return resource.getrlimit(resource.RLIMIT_CPU)[0] - time.process_time()


def well() -> int:
    return os.getpid()


def looked_unless_deadly(path: Path) -> FoundPicture:
    """As the page looks through a picture; one that ends in `DEADLY` ends the process."""
    if path.read_bytes().endswith(DEADLY):
        dies()
    return looked(path)
