"""The photographs of a stage: which are there, what was found in each, and a reduced picture with the targets drawn."""

from __future__ import annotations

import hashlib
import threading
from asyncio import wrap_future
from collections import Counter, OrderedDict
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Literal

from measure.job import PHOTOS, Job
from measure.photo.find import FoundPicture
from measure.photo.picture import PictureError
from measure.result import Document
from measure.web.decoded import drawn, looked
from measure.web.decoding import Decoder
from measure.web.sentences import say
from measure.web.shop import NotHereError, inside

ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
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


Key = tuple[str, int, int]
_found: dict[Key, Future[FoundPicture | PictureError]] = {}
_waited_for, _by_and_by = Decoder(), Decoder()
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


async def look_through(path: Path) -> FoundPicture:
    """What a picture that was just sent shows. Raises PictureError for what is no usable picture."""
    found = await wrap_future(_waited_for.submit(partial(looked, path)))
    if isinstance(found, PictureError):
        raise found
    return found


def put_in_place(path: Path, found: FoundPicture) -> None:
    """Remember what was found in a picture before it was given its name."""
    known: Future[FoundPicture | PictureError] = Future()
    known.set_result(replace(found, picture=replace(found.picture, path=path)))
    with _lock:
        _found[_key(path)] = known


def _look(path: Path) -> Future[FoundPicture | PictureError]:
    key = _key(path)
    with _lock:
        if key not in _found:
            _found[key] = _by_and_by.submit(partial(looked, path))
        return _found[key]


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
    acts = [c.next for c in doc.checks if c.next and c.next.kind == "picture"] if doc else []
    return list(dict.fromkeys(act.act for act in acts))


def file_of(job: Job, stage: str, name: str) -> Path:
    """A photograph by the name that `files` lists. Raises NotHereError."""
    path = next((p for p in files(job, stage) if p.name == name), None)
    if path is None:
        raise NotHereError("no such photograph")
    return path


async def reduced(path: Path) -> bytes:
    """A JPEG of at most 1000 px, upright, the targets drawn over it. Raises PictureError, OSError."""
    future = _look(path)
    found = future.result() if future.done() else None
    key = (f"{path}{'' if found is None else '+'}", *_key(path)[1:])
    if key in _pictures:
        return _pictures[key]
    work = partial(drawn, path, found if isinstance(found, FoundPicture) else None)
    data = await wrap_future(_waited_for.submit(work))
    if isinstance(data, PictureError):
        raise data
    _pictures[key] = data
    while len(_pictures) > MOST_KEPT:
        _pictures.popitem(last=False)
    return data
