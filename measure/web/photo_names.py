"""What a photograph is called in the job: as on the phone, where that is safe and free."""

from __future__ import annotations

import filecmp
import re
import unicodedata
from itertools import count
from pathlib import Path, PurePosixPath

from measure.history import KEPT

ENDINGS = {"JPEG": (".jpg", ".jpeg"), "PNG": (".png",), "TIFF": (".tif", ".tiff"), "HEIF": (".heic", ".heif")}
"""Of each format as it is told from the content; the first is given where the phone's does not fit."""
LONGEST = 60
"""Letters of a name without its ending; no letter takes more than four bytes, no file system takes more than 255."""
RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{d}{i}" for d in ("com", "lpt") for i in range(10))})
"""Names that are devices on Windows, whatever their ending."""
_ODD = re.compile(r"[^\w.-]+")


def safe_name(original: str, format_: str) -> str:
    """The name on the phone, of letters, digits, `-`, `_` and `.` alone, with an ending that fits the content."""
    bare = PurePosixPath(unicodedata.normalize("NFC", original).replace("\\", "/")).name
    stem, dot, ending = bare.rpartition(".")
    fits = f".{ending}".lower() in ENDINGS[format_]
    stem = _ODD.sub("_", stem if dot else bare)[:LONGEST].strip("._-") or "photograph"
    if stem.partition(".")[0].casefold() in RESERVED:
        stem = f"photograph_{stem}"
    return stem + (f".{ending}" if dot and fits else ENDINGS[format_][0])


def free_name(original: str, format_: str, folder: Path) -> str:
    """A safe name that no photograph in `folder` has, in any spelling of upper and lower case, nor one taken back."""
    taken = {_folded(path.name.removeprefix(KEPT)) for path in folder.iterdir()}
    name = safe_name(original, format_)
    stem, _, ending = name.rpartition(".")
    further = (f"{stem}-{number}.{ending}" for number in count(2))
    return name if _folded(name) not in taken else next(each for each in further if _folded(each) not in taken)


def same_content(part: Path) -> Path | None:
    """A photograph beside `part` with its very bytes, one that was taken back among them; None where there is none."""
    size = part.stat().st_size
    others = (path for path in sorted(part.parent.iterdir(), reverse=True) if path.suffix != ".part")
    plain = (path for path in others if path.is_file() and not path.is_symlink() and path.stat().st_size == size)
    return next((path for path in plain if filecmp.cmp(part, path, shallow=False)), None)


def _folded(name: str) -> str:
    return unicodedata.normalize("NFC", name).casefold()
