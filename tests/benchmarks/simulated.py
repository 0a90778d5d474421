"""One invented car, measured as the recording sheet says, and what check() makes of it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import numpy as np

from measure.check import check
from measure.findings import Findings
from measure.job import load_job
from measure.result import Document
from measure.tape_plan import tapes_to_run
from tests.synthetic import Car, Survey, make_car, survey, write_job

Given, Made = TypeVar("Given"), TypeVar("Made")
LEAN = 1.0
"""Degrees, greatest roll and pitch of a simulated car."""


def measured_car(rng: np.random.Generator) -> tuple[Car, Survey]:
    """Seven pairs and an axle, one drop of the bob each, heights, and the 64 floor tapes that the sheet asks for."""
    car = make_car(rng, pairs=7, build=1.0)
    roll, pitch = rng.uniform(-LEAN, LEAN, 2)
    sheet = survey(car, rng, tapes=60, roll_deg=float(roll), pitch_deg=float(pitch), heights=True)
    sheet.tape = [
        {"from": a, "to": b, "length": sheet.read_tape(a, b, "floor", "", rng), "where": "floor"}
        for a, b in legs_of_the_sheet(car, sheet)
    ]
    return car, sheet


def legs_of_the_sheet(car: Car, sheet: Survey) -> list[tuple[str, str]]:
    """The tapes of the recording sheet for a car whose points are listed front to back, the axle among them."""
    with tempfile.TemporaryDirectory() as folder:
        job = load_job(write_job(Path(folder) / "job", car, sheet), Findings())
    assert job is not None
    return tapes_to_run(sorted(job.points, key=lambda p: -round(car.design[car.idx(p.name), 0])))


def judged(car: Car, sheet: Survey) -> Document:
    """The whole way: written as tables, read, adjusted, judged."""
    with tempfile.TemporaryDirectory() as folder:
        return check(write_job(Path(folder) / "job", car, sheet))


def many(work: Callable[[Given], Made], over: Iterable[Given], workers: int) -> list[Made]:
    """work() of each, in order; over some processes where more than one is asked for."""
    if workers == 1:
        return [work(each) for each in over]
    with get_context("spawn").Pool(workers) as pool:
        return pool.map(work, list(over), chunksize=4)
