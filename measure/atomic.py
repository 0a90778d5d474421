"""A file is either the old one or the new one, never half of each."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def write_atomically(path: Path, data: bytes) -> None:
    """Replace the file at `path` by `data`; a crash or a full disk leaves the old file as it was.

    A link is followed: the file it points to is replaced, not the link. Permissions are kept. The folder
    must exist. Raises OSError with nothing left behind.
    """
    target = Path(os.path.realpath(path))
    part = target.with_name(f".{target.name}.{os.urandom(4).hex()}.part")
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
