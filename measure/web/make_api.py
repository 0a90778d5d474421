"""A new car from the page: the same files as `plumbsquare new`, with the points that were picked or imported."""

from __future__ import annotations

import base64
import csv
import io
import os
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from measure.findings import BadInput, Findings
from measure.job import load_job
from measure.template import blank_tables, new_job, renew_sheet
from measure.web.answers import BadRequestError
from measure.web.api import body_of, text_in
from measure.web.entering import RefusedError
from measure.web.photo_names import RESERVED
from measure.web.sentences import say
from measure.web.shop import JOB_FILE, Shop

FOLDER_NAME = re.compile(r"[\w][\w .\-]{0,58}[\w]|[\w]")
MOST_POINTS = 400
POINTS_FILE = "points.csv"
HEADER = ("name", "side", "pair", "part", "trusted", "x", "y", "z", "hole", "note")


async def make(request: Request) -> Response:
    """Make the car's folder, whole or not at all."""
    data = await body_of(request)
    shop: Shop = request.app.state.shop
    name = text_in(data, "name", most=60)
    if not FOLDER_NAME.fullmatch(name) or name.split(".")[0].casefold() in RESERVED:
        raise RefusedError(say("car_name_help"))
    units = text_in(data, "units", "mm")
    if units not in ("mm", "in"):
        raise BadRequestError("units")
    points = _brought(data["table"]) if data.get("table") else _points_table(data.get("points"))
    file = text_in(data, "file", "") if data.get("table") else ""
    if await run_in_threadpool(lambda: shop.single):
        raise RefusedError(say("one_job_only"))
    await run_in_threadpool(_make, shop.root, name, units, points, file or POINTS_FILE)
    return JSONResponse({"saved": True, "name": name}, 201)


def _brought(table: Any) -> bytes:
    """The bytes of a table that a person chose; the reader of tables says what letters they are.

    Raises BadRequestError.
    """
    try:
        return base64.b64decode(table, validate=True)
    except (TypeError, ValueError):
        raise BadRequestError("table is to be in base64") from None


def _points_table(points: Any) -> bytes:
    """points.csv of the points picked. Raises BadRequestError."""
    if not isinstance(points, list) or not 0 < len(points) <= MOST_POINTS:
        raise BadRequestError("points")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for point in points:
        if not isinstance(point, dict):
            raise BadRequestError("points")
        row = [text_in(point, key, "") for key in ("name", "side", "pair", "part")]
        writer.writerow([*row, *[""] * 5, text_in(point, "note", "")])
    return out.getvalue().encode()


def _make(root: Path, name: str, units: str, points: bytes, file: str) -> None:
    """Built beside, checked, then renamed; errors call the points `file`. Raises RefusedError, BadInput, OSError."""
    final = root / name
    if final.exists() or final.is_symlink():
        raise RefusedError(say("name_taken"))
    hidden = root / f".{os.urandom(6).hex()}.new"
    try:
        new_job(hidden / name, units)  # type: ignore[arg-type]
        (hidden / name / POINTS_FILE).write_bytes(points)
        findings = Findings()
        job = load_job(hidden / name, findings)
        Findings(replace(e, file=file) if e.file == POINTS_FILE else e for e in findings.errors).raise_if_errors()
        if job is None or not job.points:
            raise RefusedError(say("bad_request", what=file))
        for file, data in blank_tables(job.points, job.units).items():
            (hidden / name / job.stages[0] / file).write_bytes(data)
        renew_sheet(hidden / name, job.stages[0], "A4", None)
        if not (hidden / name / JOB_FILE).is_file():
            raise BadInput(findings)
        (hidden / name).rename(final)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)
