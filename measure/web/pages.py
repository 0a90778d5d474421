"""The pages, rendered here whole; the script in them only adds taps, the number pad and looking again."""

from __future__ import annotations

from typing import Any, cast, get_args

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from measure.job import Job
from measure.paper import SIZES, Paper
from measure.template import LAYOUT
from measure.web import documents, photo_shelf, results_view
from measure.web.answers import BadRequestError
from measure.web.api import body_of, soon
from measure.web.entering import FORMS, RefusedError, rows_of, table_path
from measure.web.joining import COOKIE
from measure.web.live import View, revision_of, signature
from measure.web.more_pictures import missing_pictures
from measure.web.sentences import say
from measure.web.shop import NotHereError
from measure.web.sketch import sketch
from measure.web.space import scene

FRESH = {"cache-control": "no-cache"}


def page(request: Request, template: str, job: Job | None = None, **more: Any) -> Response:
    """A rendered page; with `?part=now` only the part that is looked at again."""
    key = request.path_params.get("job", "")
    context = {"job": job, "key": key, "stage": request.path_params.get("stage", ""), "here": template, **more}
    answer = request.app.state.templates.TemplateResponse(request, template, context)
    answer.headers.update(more.get("headers", {}))
    return answer  # type: ignore[no-any-return]


async def front(request: Request) -> Response:
    """The cars in the folder; where the folder is one car, that car."""
    shop = request.app.state.shop
    jobs = await run_in_threadpool(shop.jobs)
    if shop.single:
        return RedirectResponse(f"/jobs/{next(iter(jobs))}", 303)

    def listed() -> list[dict[str, Any]]:
        cards = []
        for name in jobs:
            try:
                job, findings = shop.load(name)
                cards.append({"name": name, "title": job.title, "stages": job.stages, "trouble": bool(findings.errors)})
            except NotHereError:
                cards.append({"name": name, "title": name, "stages": [], "trouble": True})
        return cards

    return page(request, "jobs.html", cards=await run_in_threadpool(listed))


async def job(request: Request) -> Response:
    """A car: on to the tape of its first stage."""
    name = request.path_params["job"]
    loaded, findings = await run_in_threadpool(request.app.state.shop.load, name)
    if not loaded.stages:
        raise RefusedError(findings.numbered())
    return RedirectResponse(f"/jobs/{name}/{loaded.stages[0]}/tape", 303)


async def _at(request: Request) -> tuple[Job, str]:
    name, stage = request.path_params["job"], request.path_params["stage"]
    shop = request.app.state.shop
    await run_in_threadpool(shop.stage, name, stage)
    loaded, _ = await run_in_threadpool(shop.load, name)
    return loaded, stage


async def _live(request: Request, template: str, job: Job, **more: Any) -> Response:
    """A page that is looked at again: 304 where nothing has changed since the revision the script names."""
    stage = request.path_params["stage"]
    view: View | None = more.pop("view")
    now = revision_of(await run_in_threadpool(signature, job.folder, stage))
    tag = f'"{view.revision}"' if view else f'"{now}-working"'
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={"etag": tag})
    more |= {"revision": tag.strip('"'), "view": view, "part": request.query_params.get("part") == "now"}
    return page(request, template, job, headers={"etag": tag, **FRESH}, **more)


async def tape(request: Request) -> Response:
    """Run the tape: the car from above, the tapes as lines, the list of them."""
    loaded, stage = await _at(request)
    view = await soon(request.app.state.stages.of(loaded.folder, stage))

    def drawn() -> dict[str, Any]:
        form, trouble = FORMS["tape"], ""
        try:
            rows = rows_of(loaded, stage, form)
            file = table_path(loaded.folder / stage, "tape").name
        except RefusedError as problem:
            rows, file, trouble = [], "tape.csv", str(problem)
        doc, fits = (view.doc, view.fits) if view else (None, {})
        return {"sketch": sketch(loaded, rows, doc, fits, file), "trouble": trouble}

    return await _live(request, "tape.html", loaded, view=view, **await run_in_threadpool(drawn))


async def heights(request: Request) -> Response:
    """Heights, levels and marks: three tables to fill in."""
    loaded, stage = await _at(request)
    view = await soon(request.app.state.stages.of(loaded.folder, stage))
    tables = await run_in_threadpool(_tables, loaded, stage, view)
    return await _live(request, "heights.html", loaded, view=view, tables=tables)


def _tables(job: Job, stage: str, view: View | None) -> list[dict[str, Any]]:
    made = []
    for name in ("levels", "heights", "marks"):
        form = FORMS[name]
        table: dict[str, Any] = {"name": name, "form": form, "rows": [], "trouble": ""}
        try:
            table["rows"] = [dict(row) for row in rows_of(job, stage, form)]
        except RefusedError as problem:
            table["trouble"] = str(problem)
        for row in table["rows"]:
            fit = view.fits.get(f"{name}.csv:{row['line']}") if view else None
            row["fit"] = fit if row[form.values[0]] else None
        made.append(table)
    return made


async def results(request: Request) -> Response:
    """How the car stands: the answer, the plan, every figure with its budget and readings."""
    loaded, stage = await _at(request)
    view = await soon(request.app.state.stages.of(loaded.folder, stage), 20.0)
    shown = await run_in_threadpool(results_view.shown, view) if view else None
    return await _live(request, "results.html", loaded, view=view, shown=shown)


async def space(request: Request) -> Response:
    """The car in space."""
    loaded, stage = await _at(request)
    view = await soon(request.app.state.stages.of(loaded.folder, stage), 20.0)
    return await _live(request, "space.html", loaded, view=view, scene=scene(view) if view else None)


async def more(request: Request) -> Response:
    """Before and after, kind of damage, drilling, axle: what their commands say."""
    loaded, stage = await _at(request)
    stages = request.app.state.stages
    view = await soon(stages.of(loaded.folder, stage), 20.0)
    before = request.query_params.get("before", "")
    both = documents.compared_stages(loaded, stage, before) or ()
    views = [view if name == stage else await soon(stages.of(loaded.folder, name), 20.0) for name in both]
    pair = (views[0], views[1]) if len(views) == 2 else (None, None)
    sections = await run_in_threadpool(documents.sections, loaded, stage, view, before, pair)
    sections.sort(key=lambda section: bool(section["trouble"]))  # first what can be said
    return page(request, "more.html", loaded, sections=sections)


async def drawing(request: Request) -> Response:
    """A drawing of the commands, as SVG."""
    loaded, stage = await _at(request)
    name, before = request.path_params["name"], request.query_params.get("before", "")
    data = await run_in_threadpool(documents.drawing, loaded, stage, name, before)
    policy = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}
    return Response(data, media_type="image/svg+xml", headers=policy)


async def sheet(request: Request) -> Response:
    """The sheet that leaves the shop, as a file to keep: `?paper=A4` or `Letter`, `?kind=pdf` or `html`."""
    loaded, stage = await _at(request)
    paper, kind = request.query_params.get("paper", "A4"), request.query_params.get("kind", "pdf")
    if paper not in SIZES or kind not in get_args(documents.SheetKind):
        raise BadRequestError("paper or kind")
    data = await run_in_threadpool(documents.sheet, loaded, stage, cast(Paper, paper), cast(documents.SheetKind, kind))
    media = "application/pdf" if kind == "pdf" else "text/html"
    return Response(data, media_type=media, headers={"content-disposition": f'attachment; filename="report.{kind}"'})


async def photos(request: Request) -> Response:
    """Photographs: take, choose, and what was found in them."""
    loaded, stage = await _at(request)
    view = await soon(request.app.state.stages.of(loaded.folder, stage), 0.3)
    shelf = await run_in_threadpool(photo_shelf.listed, loaded, stage)
    advice = photo_shelf.advice(view.doc) if view else []
    try:
        targets = await run_in_threadpool(rows_of, loaded, stage, FORMS["targets"])
    except RefusedError:  # a spreadsheet: it is read all the same, and only not written to
        targets = []
    lonely = photo_shelf.without_a_point(shelf, targets)
    loose = [name for each in view.doc.loose for name in each.points] if view and view.doc else []
    missing = missing_pictures(loaded, shelf, targets, loose)
    trouble = view if view and view.doc is None and shelf else None
    tag = photo_shelf.revision(shelf, advice, missing, lonely, targets, trouble.trouble if trouble else "")
    if request.headers.get("if-none-match") == f'"{tag}"':
        return Response(status_code=304, headers={"etag": f'"{tag}"'})
    part = request.query_params.get("part") == "now"
    shown = {
        "shelf": shelf, "advice": advice, "missing": missing, "lonely": lonely, "targets": targets, "trouble": trouble,
    }  # fmt: skip
    headers = {"etag": f'"{tag}"', **FRESH}
    return page(request, "photos.html", loaded, part=part, revision=tag, headers=headers, **shown)


async def changes(request: Request) -> Response:
    """Every change, each to be taken back."""
    loaded, _ = await _at(request)
    kept = request.app.state.shop.history(request.path_params["job"])
    entries = list(reversed(await run_in_threadpool(kept.entries)))
    undone = await run_in_threadpool(kept.taken_back)
    return page(request, "changes.html", loaded, entries=entries[:500], undone=undone)


async def new(request: Request) -> Response:
    """Make a car."""
    return page(request, "new.html", layout=LAYOUT)


async def invite(request: Request) -> Response:
    """A code for one more phone."""
    if not request.app.state.door.locked:
        return page(request, "invite.html", code="")
    import segno

    host = next((h for h in request.app.state.hosts if not h.startswith(("127.", "localhost"))), "")
    link = f"http://{host}/join#{request.app.state.door.invite()}"
    return page(request, "invite.html", code=segno.make(link, error="m").svg_data_uri(scale=6, border=4))


async def join(request: Request) -> Response:
    """Where the code leads: the script there hands in what stands behind the #."""
    return page(request, "join.html")


async def joined(request: Request) -> Response:
    """Exchange a one-time token for a cookie."""
    data = await body_of(request)
    token = data.get("token")
    if not isinstance(token, str) or len(token) > 200:
        raise BadRequestError("token")
    cookie = request.app.state.door.exchange(token)
    if cookie is None:
        return HTMLResponse(say("join_bad"), 403)
    answer = HTMLResponse("", 204)
    answer.set_cookie(COOKIE, cookie, httponly=True, samesite="strict", path="/")
    return answer
