"""What was found in a picture, remembered by the picture's content in the user's cache folder.

Everything here may be deleted at any time; a damaged or foreign file is as good as none.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from measure.photo.target_image import TargetImage, from_rows, to_rows

FINDER = 4
"""Raised whenever the finder would find something else in the same picture."""


def folder() -> Path:
    """The user's cache folder for found targets."""
    from platformdirs import user_cache_path  # only pictures want it

    return user_cache_path("plumbsquare") / f"targets-{FINDER}"


def recall(sha256: str) -> list[TargetImage] | None:
    """What was found in the picture of this content; None where nothing is remembered."""
    try:
        rows: Any = json.loads((folder() / f"{sha256}.json").read_text(encoding="utf-8"))
        return from_rows(rows["targets"])
    except (OSError, ValueError, LookupError, TypeError):
        return None


def remember(sha256: str, targets: Sequence[TargetImage]) -> None:
    """Keep what was found; where the folder cannot be written nothing is kept, and nothing is said."""
    with contextlib.suppress(OSError):
        folder().mkdir(parents=True, exist_ok=True)
        path = folder() / f"{sha256}.json"
        part = path.with_suffix(f".{os.getpid()}-{threading.get_ident()}.part")
        part.write_text(json.dumps({"targets": to_rows(targets)}), encoding="utf-8")
        part.replace(path)  # whole or not at all; what a power cut takes is found again
