"""Photographs in: one request each, straight to disk, each content once; and out again, reduced."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from measure.atomic import part_beside
from measure.history import KEPT, History
from measure.job import PHOTOS
from measure.photo.find import FoundPicture
from measure.photo.picture import PictureError
from measure.report.words import printable
from measure.web import photo_shelf
from measure.web.answers import BadRequestError
from measure.web.entering import RefusedError
from measure.web.photo_names import free_name, same_content
from measure.web.sentences import say
from measure.web.shop import inside

MOST_PHOTOS = 1_000
MOST_BYTES = 40_000_000_000
"""Of the photographs of one stage."""
SPARE = 200_000_000
"""Bytes left free on the disk."""


async def listed(request: Request) -> Response:
    """What the stage holds, and what was found in each."""
    shop, name, stage = request.app.state.shop, request.path_params["job"], request.path_params["stage"]

    def shelf() -> list[photo_shelf.Item]:
        shop.stage(name, stage)
        return photo_shelf.listed(shop.load(name)[0], stage)

    items = await run_in_threadpool(shelf)
    keys = ("name", "state", "words", "camera", "notes")
    return JSONResponse({"photos": [{key: getattr(item, key) for key in keys} for item in items]})


async def upload(request: Request) -> Response:
    """Take one photograph. The same content again is a success and changes nothing."""
    shop, name, stage = request.app.state.shop, request.path_params["job"], request.path_params["stage"]
    length = int(request.headers["content-length"])
    if length == 0:
        raise BadRequestError("an empty photograph")

    def begin() -> Path:
        folder = shop.stage(name, stage, make=True) / PHOTOS
        inside(folder, folder.parent.parent)
        folder.mkdir(exist_ok=True)
        _refuse_too_many(folder, length)
        if shutil.disk_usage(folder).free < length + SPARE:
            raise OSError(28, "the disk is full", str(folder))
        return part_beside(folder / "photograph")

    part = await run_in_threadpool(begin)
    digest = hashlib.sha256()
    try:
        with await run_in_threadpool(part.open, "xb") as file:
            arrived = 0
            async for chunk in request.stream():
                arrived += len(chunk)
                if arrived > length:
                    raise BadRequestError("more than was said")
                digest.update(chunk)
                await run_in_threadpool(file.write, chunk)
            if arrived != length:
                raise ClientDisconnect
            await run_in_threadpool(_flush, file)
        original = printable(unquote(request.headers.get("x-name", "")))[:120]
        try:
            found = await photo_shelf.look_through(part)  # before it has its place: what the solver reads is decodable
        except PictureError as problem:
            raise RefusedError(str(problem)) from None
        kept_as = await run_in_threadpool(_keep, part, found, original, shop.history(name))
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return JSONResponse({"saved": True, "name": kept_as, "sha256": digest.hexdigest()})


def _flush(file: Any) -> None:
    file.flush()
    os.fsync(file.fileno())


def _refuse_too_many(folder: Path, length: int) -> None:
    """Raises RefusedError where a picture of `length` bytes more is too much; those still arriving are not counted."""
    sizes = [path.stat().st_size for path in folder.iterdir() if not path.name.endswith(".part")]
    if len(sizes) >= MOST_PHOTOS:
        raise RefusedError(say("too_many_photos", n=MOST_PHOTOS))
    if sum(sizes) + length > MOST_BYTES:
        raise RefusedError(say("too_many_bytes", n=MOST_BYTES // 1_000_000_000))


def _keep(part: Path, found: FoundPicture, original: str, history: History) -> str:
    """Put a whole picture in its place, under the name the phone gave it; its name. Raises RefusedError, OSError."""
    with history.changing():
        known = same_content(part)
        if known is not None and not known.name.startswith(KEPT):
            return known.name
        target = known.with_name(known.name.removeprefix(KEPT)) if known is not None else part
        if known is not None and not target.exists():  # it had been taken back, and is brought again
            source = known
        else:
            _refuse_too_many(part.parent, part.stat().st_size)  # others may have come while it was looked through
            target, source = part.with_name(free_name(original, found.picture.format, part.parent)), part
        file = target.relative_to(history.folder).as_posix()
        history.photo_added(file, f"photograph {original}".rstrip(), source)
        photo_shelf.put_in_place(target, found)
        return target.name


async def picture(request: Request) -> Response:
    """One photograph, reduced, with the targets drawn."""
    shop, name, stage = request.app.state.shop, request.path_params["job"], request.path_params["stage"]

    def found() -> Path:
        shop.stage(name, stage)
        return photo_shelf.file_of(shop.load(name)[0], stage, request.path_params["name"])

    try:
        data = await photo_shelf.reduced(await run_in_threadpool(found))
    except PictureError as problem:
        raise RefusedError(str(problem)) from None
    return Response(data, media_type="image/jpeg", headers={"cache-control": "private, max-age=5"})
