"""The photographs of a stage: which are there, what was found in each, and a reduced picture with the targets drawn."""

from __future__ import annotations

import hashlib
import io
import logging
import threading
from collections import Counter, OrderedDict
from collections.abc import Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from measure.job import PHOTOS, Job
from measure.photo.find import FoundPicture, find_in
from measure.photo.picture import TURNS, PictureError, open_picture
from measure.result import Document
from measure.web.sentences import say
from measure.web.shop import NotHereError, inside

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
WIDE = 1000
"""px, the longer side of a reduced picture."""
MOST_PIXELS_SHOWN = 80_000_000
"""A larger picture that cannot be read reduced is not shown; it is still measured."""
MOST_KEPT = 48


@dataclass(frozen=True)
class Item:
    """One photograph on the page."""

    name: str
    state: Literal["looking", "found", "trouble"]
    words: str
    camera: str
    notes: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()


log = logging.getLogger(__name__)
Key = tuple[str, int, int]
_found: dict[Key, Future[FoundPicture | PictureError]] = {}
_finder = ThreadPoolExecutor(1, thread_name_prefix="finder")
_lock = threading.Lock()
_pictures: OrderedDict[Key, bytes] = OrderedDict()


def files(job: Job, stage: str) -> list[Path]:
    """The photographs of a stage, by name. Links out of the job are left out."""
    folder = job.folder / stage / PHOTOS
    if not folder.is_dir():
        return []
    inside(folder, job.folder)
    plain = [p for p in folder.iterdir() if not p.name.startswith(".") and not p.is_symlink() and p.is_file()]
    return sorted(p for p in plain if p.suffix.lower() in ENDINGS)


def listed(job: Job, stage: str) -> list[Item]:
    """What the page shows of each photograph; those not looked through yet are begun."""
    asked = [(path, _look(path)) for path in files(job, stage)]
    done = [f.result() for _, f in asked if f.done()]
    keys = Counter(p.picture.camera_key for p in done if isinstance(p, FoundPicture))
    usual = keys.most_common(1)[0][0] if keys else ""
    return [_item(path.name, future, usual) for path, future in asked]


def _item(name: str, future: Future[FoundPicture | PictureError], usual: str) -> Item:
    if not future.done():
        return Item(name, "looking", say("looking"), "")
    found = future.result()
    if isinstance(found, PictureError):
        return Item(name, "trouble", str(found), "")
    picture = found.picture
    kind = "camera_bare" if not picture.exif.make else "camera_full" if picture.camera_key == usual else "camera_other"
    camera = say(kind, width=picture.width, height=picture.height)
    numbers = ", ".join(str(t.number) for t in found.targets)
    words = say("found", n=len(found.targets), numbers=numbers) if numbers else say("found_none")
    return Item(name, "found", words, camera, found.notes, tuple(t.number for t in found.targets))


def _look(path: Path) -> Future[FoundPicture | PictureError]:
    key = _key(path)
    with _lock:
        if key not in _found:
            _found[key] = _finder.submit(_find, path)
        return _found[key]


def _find(path: Path) -> FoundPicture | PictureError:
    try:
        return find_in([path])[0]
    except Exception:  # one picture must not keep the others from being shown
        log.exception("the finder failed at %s", path)
        return PictureError("a picture at which the program failed", "it is kept; take another of the same place")


def _key(path: Path) -> Key:
    status = path.stat()
    return str(path), status.st_mtime_ns, status.st_size


def revision(*shown: object) -> str:
    """A short name for what the page shows."""
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:16]


def without_a_point(shelf: Sequence[Item], targets: Sequence[Mapping[str, str | int]]) -> list[int]:
    """Numbers that were found though targets.csv does not say where they sit."""
    known = {str(row["target"]) for row in targets}
    return sorted({number for item in shelf for number in item.numbers if str(number) not in known})


def advice(doc: Document | None) -> list[str]:
    """The further pictures that the solver asks for."""
    acts = [c.next.act for c in doc.checks if c.next] if doc else []
    return [act for act in dict.fromkeys(acts) if "picture" in act or "photograph" in act]


def reduced(job: Job, stage: str, name: str) -> bytes:
    """A JPEG of at most 1000 px, upright, the targets drawn over it. Raises NotHereError, PictureError."""
    path = next((p for p in files(job, stage) if p.name == name), None)
    if path is None:
        raise NotHereError("no such photograph")
    future = _look(path)
    done = future.result() if future.done() else None
    key = (f"{path}{'' if done is None else '+'}", *_key(path)[1:])
    with _lock:
        if key in _pictures:
            return _pictures[key]
    data = _drawn(path, done if isinstance(done, FoundPicture) else None)
    with _lock:
        _pictures[key] = data
        while len(_pictures) > MOST_KEPT:
            _pictures.popitem(last=False)
    return data


_one_decoder = threading.Lock()


def _drawn(path: Path, found: FoundPicture | None) -> bytes:
    picture = open_picture(path)  # refuses bombs by their header, before anything is decoded
    from PIL import Image, ImageDraw

    with _one_decoder, Image.open(path) as image:
        image.draft("RGB", (WIDE, WIDE))
        if image.width * image.height > MOST_PIXELS_SHOWN:
            raise PictureError("a picture too large to show", "it is measured all the same")
        small = image.convert("RGB")
    small.thumbnail((WIDE, WIDE))
    scale = max(small.size) / max(picture.width, picture.height)
    turns = TURNS.get(picture.exif.orientation, 0)
    if picture.format == "HEIF":  # its reader hands the picture out upright
        turns, found = 0, None if turns else found
    pen = ImageDraw.Draw(small)
    for target in found.targets if found else ():
        ring = [(x * scale, y * scale) for x, y in target.corners]
        pen.line([*ring, ring[0]], fill=(0, 0, 0), width=6)
        pen.line([*ring, ring[0]], fill=(255, 221, 64), width=3)
        x, y = target.centre[0] * scale, target.centre[1] * scale
        pen.line([(x - 6, y), (x + 6, y)], fill=(255, 221, 64), width=2)
        pen.line([(x, y - 6), (x, y + 6)], fill=(255, 221, 64), width=2)
    if turns:
        small = small.rotate(90 * turns, expand=True)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=80)
    return out.getvalue()
