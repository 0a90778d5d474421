"""Are planted mistakes found? Simulated sheets of the sizes people write, clean, with one and with two mistakes."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from measure.check import check
from measure.result import Document
from tests.synthetic import Car, Survey, make_car, survey, write_job

LEAST, MOST = 1.2, 3.0
"""A planted mistake in units of the reading's findable size: evenly between these."""


@dataclass(frozen=True)
class Found:
    """Shares of sheets: clean ones that raise nobody, single mistakes named first, two mistakes both named."""

    clean: float
    first: float
    both: float


def one_sheet(seed: int) -> tuple[bool, bool, bool]:
    """Whether the clean sheet stays quiet, the one mistake is the first suspect, and two are both named."""
    rng = np.random.default_rng(10_000 + seed)
    car = make_car(rng, pairs=7, build=1.0)
    tapes = int(rng.integers(45, 76))
    roll, pitch = rng.uniform(-1.0, 1.0, 2)
    sheet = survey(car, rng, tapes=tapes, roll_deg=roll, pitch_deg=pitch, heights=True)
    clean = _check(car, sheet)
    checked = [r for r in clean.readings if r.kind == "floor" and r.findable is not None and (r.redundancy or 0) > 0.1]
    planted = []
    told = []
    for k in rng.choice(len(checked), 2, replace=False):
        reading = checked[k]
        size = rng.uniform(LEAST, MOST) * (reading.findable or 0.0) * rng.choice([-1.0, 1.0])
        sheet.tape[int(reading.source.rpartition(":")[2]) - 2]["length"] += size
        planted.append(reading.source)
        told.append(_check(car, sheet))
    one, two = told
    named = {s.source for s in two.suspects} | {other for s in two.suspects for other in s.with_}
    return not clean.suspects, bool(one.suspects) and one.suspects[0].source == planted[0], set(planted) <= named


def _check(car: Car, sheet: Survey) -> Document:
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job"
        write_job(job, car, sheet, title="simulated")
        return check(job)


def mistakes(sheets: int, processes: int = 2) -> Found:
    """Shares over `sheets` sheets."""
    with Pool(processes) as pool:
        outcome = np.array(pool.map(one_sheet, range(sheets), chunksize=5), dtype=float)
    clean, first, both = outcome.mean(axis=0)
    return Found(float(clean), float(first), float(both))
