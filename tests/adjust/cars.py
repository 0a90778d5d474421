"""Surveys of invented cars, and bare networks of lengths, adjusted straight from memory."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from measure.adjust.network import Network
from measure.adjust.stage import Solved, adjust_stage
from measure.findings import Findings
from measure.job import Job, Point, Sd, load_job
from measure.readings.reading import Reading
from measure.readings.stage import blocks_of, read_stage, site_of
from measure.readings.unknowns import Array
from measure.rigid_fit import rigid_fit
from tests.synthetic import Car, Survey, write_job

STAGE = "before"


def loaded(car: Car, survey: Survey) -> tuple[Job, list[Reading]]:
    """The survey written as a job and read back, so that every reading has its line and its typed text."""
    with tempfile.TemporaryDirectory() as folder:
        findings = Findings()
        job = load_job(write_job(Path(folder), car, survey), findings)
        assert job is not None
        readings = read_stage(job, STAGE, findings)
        findings.raise_if_errors()
    return job, readings


def adjusted(car: Car, survey: Survey) -> tuple[Job, Solved]:
    job, readings = loaded(car, survey)
    return job, adjust_stage(job, STAGE, readings)


def floor_job(names: Sequence[str], **sd: float | str) -> Job:
    """Points for bare networks; twins by their last letter, front first. Exact drops and tape unless said."""
    points = [Point(n, n[-1], n[:-1], "reference") if n[-1] in "LR" else Point(n) for n in names]  # type: ignore[arg-type]
    return Job(Path("job"), stages=[STAGE], sd=Sd(**({"tape_class": "none"} | sd)), points=points)  # type: ignore[arg-type]


def lengths(
    places: Mapping[str, Sequence[float]], legs: Iterable[tuple[str, str]], *, wrong: Mapping[int, float] | None = None,
    noise: Sequence[float] | None = None,
) -> list[Reading]:  # fmt: skip
    """Floor tapes between places in plan; `wrong` adds mm to single ones."""
    made = []
    for k, (a, b) in enumerate(legs):
        d = float(np.linalg.norm(np.subtract(places[a], places[b])))
        d += (wrong or {}).get(k, 0.0) + (noise[k] if noise is not None else 0.0)
        made.append(Reading("floor", f"tape.csv:{k + 2}", (a, b), (d,), 0.5, "", f"{d:g}"))
    return made


def network(job: Job, readings: Sequence[Reading]) -> Network:
    site = site_of(job, STAGE, readings)
    return Network(site.unknowns, blocks_of(readings, site))


def misfit(
    solved: Solved, places: Mapping[str, Any], *, only: Iterable[str] | None = None, mirror: bool = False
) -> Array:
    """Distances (k,) in plan of the solution from the true places, after the best turn and shift."""
    u = solved.site.unknowns
    names = [n for n in u.points if only is None or n in set(only)]
    found = solved.final.state.positions[[u.point_idx[n] for n in names], :2]
    true = np.array([np.asarray(places[n], dtype=float)[:2] for n in names])
    R, t = rigid_fit(found, true, mirror=mirror)
    return np.asarray(np.linalg.norm(found @ R.T + t - true, axis=1))
