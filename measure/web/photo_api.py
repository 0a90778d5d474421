"""Photographs in: one request each, straight to disk, known by their content; and out again, reduced."""

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

from measure.atomic import sync_folder
from measure.history import History
from measure.job import PHOTOS
from measure.photo.picture import PictureError, open_picture
from measure.report.words import printable
from measure.web import photo_shelf
from measure.web.answers import BadRequestError
from measure.web.entering import RefusedError
from measure.web.sentences import say
from measure.web.shop import inside

MOST_PHOTOS = 1_000
MOST_BYTES = 40_000_000_000
"""Of the photographs of one stage."""
SPARE = 200_000_000
"""Bytes left free on the disk."""
ENDING = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "HEIF": ".heic"}


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

    def begin() -> tuple[Path, Path]:
        folder = shop.stage(name, stage, make=True) / PHOTOS
        inside(folder, folder.parent.parent)
        folder.mkdir(exist_ok=True)
        sizes = [path.stat().st_size for path in folder.iterdir()]
        if len(sizes) >= MOST_PHOTOS:
            raise RefusedError(say("too_many_photos", n=MOST_PHOTOS))
        if sum(sizes) + length > MOST_BYTES:
            raise RefusedError(say("too_many_bytes", n=MOST_BYTES // 1_000_000_000))
        if shutil.disk_usage(folder).free < length + SPARE:
            raise OSError(28, "the disk is full", str(folder))
        return folder, folder / f".{os.urandom(8).hex()}.part"

    folder, part = await run_in_threadpool(begin)
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
        history = shop.history(name)
        stored = await run_in_threadpool(_keep, part, folder, digest.hexdigest(), original, history)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    job, _ = await run_in_threadpool(shop.load, name)
    await run_in_threadpool(photo_shelf.listed, job, stage)  # the looking begins
    return JSONResponse({"saved": True, "name": stored, "sha256": digest.hexdigest()})


def _flush(file: Any) -> None:
    file.flush()
    os.fsync(file.fileno())


def _keep(part: Path, folder: Path, sha256: str, original: str, history: History) -> str:
    """Put a whole picture in its place under the name of its content. Raises RefusedError for what is no picture."""
    try:
        picture = open_picture(part)
    except PictureError as problem:
        raise RefusedError(str(problem)) from None
    name = sha256[:24] + ENDING[picture.format]
    target = folder / name
    with history.changing():
        if target.exists():
            return name
        part.replace(target)
        sync_folder(folder)
        file = target.relative_to(history.folder).as_posix()
        words = f"photograph {original}".rstrip()
        history.photo_added(file, words)
    return name


async def picture(request: Request) -> Response:
    """One photograph, reduced, with the targets drawn."""
    shop, name, stage = request.app.state.shop, request.path_params["job"], request.path_params["stage"]

    def made() -> bytes:
        shop.stage(name, stage)
        try:
            return photo_shelf.reduced(shop.load(name)[0], stage, request.path_params["name"])
        except PictureError as problem:
            raise RefusedError(str(problem)) from None

    return Response(
        await run_in_threadpool(made), media_type="image/jpeg", headers={"cache-control": "private, max-age=5"}
    )
