"""The car measured again: a new stage from the page, with the tables that `plumbsquare new` writes and the targets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from measure.history import History
from measure.job import Job, changed_job_toml
from measure.tables import cells
from measure.tables.cells import CellError
from measure.template import stage_tables
from measure.web.api import body_of, id_in, text_in
from measure.web.entering import RefusedError
from measure.web.make_api import FOLDER_NAME
from measure.web.photo_names import RESERVED
from measure.web.sentences import say
from measure.web.shop import JOB_FILE, inside

MOST_STAGES = 40
TARGETS = "targets.csv"


async def make_stage(request: Request) -> Response:
    """Add a stage to a car, once for each id: its folder and tables first, then its name in job.toml."""
    data = await body_of(request)
    name, id_ = text_in(data, "name", most=60), id_in(data)
    by = request.client.host if request.client else ""
    shop, key = request.app.state.shop, request.path_params["job"]

    def make() -> str:
        job, findings = shop.load(key)
        findings.raise_if_errors()
        return new_stage(job, name, shop.history(key), id_=id_, by=by)

    return JSONResponse({"saved": True, "name": await run_in_threadpool(make)}, 201)


def new_stage(job: Job, name: str, history: History, *, id_: str, by: str = "") -> str:
    """Add a stage and give back its name. On disk when this returns. Raises RefusedError, OSError, BadInput."""
    name = _checked(job, name)
    with history.changing():
        if history.known(id_) is not None:
            return name
        if name in job.stages:
            raise RefusedError(say("stage_taken"))
        if len(job.stages) >= MOST_STAGES:
            raise RefusedError(say("too_many_stages"))
        _tables(job, name)

        def listed(text: str) -> str:
            mark = "\ufeff" if text.startswith("\ufeff") else ""
            return mark + changed_job_toml(text.removeprefix(mark), (), {"stages": [*job.stages, name]})

        history.change(JOB_FILE, listed, f"measure again: new stage {name}", id_=id_, by=by)
    return name


def _checked(job: Job, text: str) -> str:
    """The name of a folder in the job, wherever the job may be carried. Raises RefusedError."""
    try:
        name = cells.name(text)
    except CellError as problem:
        raise RefusedError(str(problem)) from None
    if not FOLDER_NAME.fullmatch(name) or "#" in name or name.split(".")[0].casefold() in RESERVED:
        raise RefusedError(say("stage_name_help"))
    alike = [other for other in job.stages if other.casefold() == name.casefold() and other != name]
    if alike or ((job.folder / name).exists() and not (job.folder / name).is_dir()):
        raise RefusedError(say("stage_taken"))
    inside(job.folder / name, job.folder)
    return name


def _tables(job: Job, name: str) -> None:
    """Blank tables, and the targets where they sat before: they stay on the car. What is there already is kept."""
    folder = job.folder / name
    folder.mkdir(exist_ok=True)
    tables: dict[str, Any] = stage_tables(job.points, job.units)
    for earlier in reversed(job.stages):
        targets = job.folder / earlier / TARGETS
        if targets.is_file() and not targets.is_symlink():
            tables[TARGETS] = targets.read_bytes()
            break
    for file, data in tables.items():
        _write_new(folder / file, data)


def _write_new(path: Path, data: bytes) -> None:
    """Write a file unless the same table is there in any form."""
    if any(other.stem.casefold() == path.stem and other.suffix in (".csv", ".xlsx") for other in path.parent.iterdir()):
        return
    with path.open("xb") as file:
        file.write(data)
