"""Invented cars judged in a few words: written as a job folder without rounding, and checked."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np

from measure.check import check
from measure.result import CheckResult, Document
from tests.synthetic import Car, Survey, survey, write_job
from tests.synthetic.job_files import LENGTHS

MM_PER_INCH = 25.4


def unrounded(sheet: Survey) -> Survey:
    """The same sheet with every length as text of full precision, in the job's unit."""
    made = copy.deepcopy(sheet)
    scale = MM_PER_INCH if made.settings["units"] == "in" else 1.0
    for table in (made.points, made.tape, made.marks, made.heights, made.levels, made.xyz):
        for row in table:
            row.update({key: repr(float(row[key]) / scale) for key in LENGTHS & row.keys() if row[key] != ""})
    return made


def judged(folder: Path, car: Car, sheet: Survey, **settings: Any) -> Document:
    """check() of a sheet as it is; settings: sd, limits (dicts for job.toml)."""
    sheet = unrounded(sheet)
    for table, values in settings.items():
        sheet.settings[table] = {**sheet.settings.get(table, {}), **values}
    return check(write_job(folder, car, sheet))


def in_space(car: Car, sd: float = 0.1, seed: int = 5, **more: Any) -> Survey:
    """Every point by one instrument, sd mm in each axis; no tape, no bob."""
    rng = np.random.default_rng(seed)
    return survey(car, rng, tapes=0, heights=False, xyz={"arm": car.names}, xyz_sd=sd, **more)


def figures(doc: Document) -> dict[str, CheckResult]:
    """The checks by name."""
    return {c.name: c for c in doc.checks}


def value(check: CheckResult) -> float:
    """Its value; the test fails where it was refused."""
    assert check.value is not None, check
    return check.value


def u95(check: CheckResult) -> float:
    """Its expanded uncertainty; the test fails where it was refused."""
    assert check.u95 is not None, check
    return check.u95
