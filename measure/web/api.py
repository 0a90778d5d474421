"""What the script in the page asks for: readings in, the state of a stage out, changes taken back. JSON both ways."""

from __future__ import annotations

import asyncio
import json
import re
from typing import Any, cast

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from measure.findings import nearest
from measure.job import Job
from measure.result import as_json
from measure.web.answers import BadRequestError
from measure.web.called import by_their_points
from measure.web.entering import FORMS, Wanted, Written, enter
from measure.web.live import Stage, View, revision_of, signature
from measure.web.sentences import raw, say

SOON = 1.5
"""Seconds an answer waits for the solver; the reading is on disk before it starts to wait."""
MOST_INSTEAD = 50
_ID = re.compile(r"[A-Za-z0-9_-]{1,80}")


async def body_of(request: Request) -> dict[str, Any]:
    """The request's JSON object. Raises BadRequestError."""
    try:
        data = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise BadRequestError("no JSON") from None
    if not isinstance(data, dict):
        raise BadRequestError("no JSON object")
    return data


def text_in(data: dict[str, Any], key: str, default: str | None = None, most: int = 200) -> str:
    """A text of the request. Raises BadRequestError."""
    value = data.get(key, default)
    if not isinstance(value, str) or len(value) > most or "\0" in value or not _sound(value):
        raise BadRequestError(f"{key} is to be a text of at most {most} characters")
    return " ".join(value.split())


def _sound(text: str) -> bool:
    """Whether every letter is one: JSON can carry half of a pair."""
    return not any(0xD800 <= ord(letter) < 0xE000 for letter in text)


def id_in(data: dict[str, Any]) -> str:
    """The name that the page gave this change. Raises BadRequestError."""
    value = text_in(data, "id")
    if not _ID.fullmatch(value):
        raise BadRequestError("id is to be letters, digits, _ and -")
    return value


async def enter_reading(request: Request) -> Response:
    """Write one reading; answer when it is on disk, with its fit if that is known soon."""
    data = await body_of(request)
    wanted = _wanted(data, request)
    shop = request.app.state.shop
    name, stage = request.path_params["job"], request.path_params["stage"]

    def write() -> tuple[Job, Written]:
        shop.stage(name, stage, make=True)
        job, _ = shop.load(name)
        return job, enter(job, stage, wanted, shop.history(name))

    job, written = await run_in_threadpool(write)
    view = await soon(request.app.state.stages.of(job.folder, stage))
    answer = {"saved": True, "source": written.source, "number": written.entry.number}
    return JSONResponse({**answer, **await run_in_threadpool(fit_of, view, written.source, job, stage)})


def _wanted(data: dict[str, Any], request: Request) -> Wanted:
    form = FORMS.get(text_in(data, "table"))
    mode = text_in(data, "mode", "fill")
    cells = data.get("cells")
    line = data.get("line")
    if form is None or mode not in ("fill", "add", "clear") or not isinstance(cells, dict):
        raise BadRequestError("table, mode or cells")
    if line is not None and (not isinstance(line, int) or isinstance(line, bool) or not 0 <= line < 1_000_000):
        raise BadRequestError("line is to be a number")
    texts = {str(key): text_in(cells, key) for key in cells if len(str(key)) < 20}
    instead = data.get("instead", [])
    if not isinstance(instead, list) or len(instead) > MOST_INSTEAD or not all(isinstance(i, str) for i in instead):
        raise BadRequestError("instead is to be a list of ids")
    seen = text_in(data, "seen", "")
    return Wanted(form, cast(Any, mode), texts, line, seen, tuple(instead), id_in(data), _by(request))


def _by(request: Request) -> str:
    return request.client.host if request.client else ""


async def soon(live: Stage, seconds: float = SOON) -> View | None:
    """What the stage says now; None where the solver takes longer, and then it goes on."""
    try:
        return await asyncio.wait_for(asyncio.shield(asyncio.ensure_future(live.view())), seconds)
    except TimeoutError:
        return None


def fit_of(view: View | None, source: str, job: Job, stage: str) -> dict[str, Any]:
    """How a reading fits, in words that call readings by their points."""
    if view is None:
        return {"how": "working", "words": say("working")}
    fit = view.fits.get(source)
    if fit is not None:
        return {"how": fit.how, "words": by_their_points(fit.words, job, stage), "revision": view.revision}
    words = say("not_solved", why=view.why or view.first) if view.trouble else say("saved")
    return {"how": "unsolved", "words": by_their_points(words, job, stage), "revision": view.revision}


async def state(request: Request) -> Response:
    """The revision of a stage, and the fit of every reading. 304 where the page has it already."""
    folder, stage = await _stage(request)
    live = request.app.state.stages.of(folder, stage)
    now = revision_of(await run_in_threadpool(signature, folder, stage))
    view = await soon(live)
    tag = f'"{view.revision}"' if view else f'"{now}-working"'
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={"etag": tag})
    fits = {source: {"how": f.how, "words": f.words} for source, f in view.fits.items()} if view else {}
    data = {"revision": tag.strip('"'), "solved": bool(view and view.doc), "trouble": view.trouble if view else ""}
    return JSONResponse({**data, "fits": fits}, headers={"etag": tag, "cache-control": "no-cache"})


async def fit(request: Request) -> Response:
    """How one reading fits, in the words that its entry is answered with: for one whose answer could not wait."""
    folder, stage = await _stage(request)
    view = await soon(request.app.state.stages.of(folder, stage))
    job, _ = await run_in_threadpool(request.app.state.shop.load, request.path_params["job"])
    return JSONResponse(await run_in_threadpool(fit_of, view, request.path_params["source"], job, stage))


async def like(request: Request) -> Response:
    """The point of a job whose name is nearest to what was typed; "" where none is near."""
    job, _ = await run_in_threadpool(request.app.state.shop.load, request.path_params["job"])
    return JSONResponse({"name": nearest(request.path_params["name"], (point.name for point in job.points)) or ""})


async def whole_document(request: Request) -> Response:
    """The result document, the same bytes as `plumbsquare check --json`; 422 with the reasons where there is none."""
    folder, stage = await _stage(request)
    view = await request.app.state.stages.of(folder, stage).view()
    if view.doc is None:
        return JSONResponse({"error": view.trouble}, 422)
    return Response(as_json(view.doc), media_type="application/json")


async def _stage(request: Request) -> tuple[Any, str]:
    name, stage = request.path_params["job"], request.path_params["stage"]
    path = await run_in_threadpool(request.app.state.shop.stage, name, stage)
    return path.parent, stage


async def history(request: Request) -> Response:
    """Every change of a job, oldest first."""
    kept = await run_in_threadpool(request.app.state.shop.history, request.path_params["job"])
    entries = await run_in_threadpool(kept.entries)
    undone = await run_in_threadpool(kept.taken_back)
    keys = ("number", "when", "kind", "file", "words", "id", "by", "undoes")
    listed = [{**{key: getattr(e, key) for key in keys}, "undone": e.number in undone} for e in entries]
    return JSONResponse({"changes": listed})


async def undo(request: Request) -> Response:
    """Take one change back, once for each id."""
    data = await body_of(request)
    number = data.get("number")
    if not isinstance(number, int) or isinstance(number, bool):
        raise BadRequestError("number is to be that of a change")
    id_, by = id_in(data), _by(request)
    kept = await run_in_threadpool(request.app.state.shop.history, request.path_params["job"])

    def take_back() -> Any:
        with kept.changing():
            return kept.known(id_) or kept.undo(number, id_=id_, by=by)

    entry = await run_in_threadpool(take_back)
    return JSONResponse({"saved": True, "number": entry.number, "words": entry.words})


async def sentences(request: Request) -> Response:
    """All sentences of the page, for its script."""
    return JSONResponse(raw())


async def token(request: Request) -> Response:
    """The token that writes carry; a page that outlived a restart of the server asks for the new one."""
    return JSONResponse({"token": request.app.state.door.write_token})
