"""A file is either the old one or the new one, never half of each."""

from __future__ import annotations

import contextlib
import os
import re
import time
from pathlib import Path

PART = re.compile(r"\..+\.[0-9a-f]{8}\.part")
OLD = 24 * 3600.0
"""Seconds without a change after which nobody is writing a part any more."""


def write_atomically(path: Path, data: bytes) -> None:
    """Replace the file at `path` by `data`; a crash or a full disk leaves the old file as it was.

    A link is followed: the file it points to is replaced, not the link. Permissions are kept. The folder
    must exist. Raises OSError with nothing left behind.
    """
    target = Path(os.path.realpath(path))
    part = part_beside(target)
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            part.chmod(target.stat().st_mode & 0o7777)
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    sync_folder(target.parent)


def part_beside(target: Path) -> Path:
    """A hidden name beside `target` that nobody else has, to write under until all is there."""
    return target.with_name(f".{target.name}.{os.urandom(4).hex()}.part")


def sweep(folder: Path, now: float | None = None) -> None:
    """Remove the parts that a killed process left in `folder` more than a day ago; no other file, and no link.

    Nothing reads a part, so that one which cannot be removed stays without harm. `now`: seconds since 1970.
    """
    now = time.time() if now is None else now
    with contextlib.suppress(OSError):
        for path in folder.iterdir():
            if PART.fullmatch(path.name) and path.is_file() and not path.is_symlink():
                with contextlib.suppress(OSError):
                    if now - path.stat().st_mtime > OLD:
                        path.unlink()


def sync_folder(folder: Path) -> None:
    """Make the new name survive a power cut, on systems where a folder can be opened."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network drives refuse; the file itself is on disk
            os.fsync(handle)
    finally:
        os.close(handle)
