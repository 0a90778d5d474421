"""One stage of one job, from its files to a car that stands in its own axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from measure.adjust.in_line import adjust_what_is_held
from measure.adjust.stage import ContradictionError, Solved
from measure.body.points import CarPoints
from measure.body.stand import Stand, stand
from measure.car_points import car_points
from measure.chart_answers import refuse_the_chart_of_another_car
from measure.exchanged import refuse_exchanged
from measure.findings import Findings
from measure.job import Job
from measure.photo_scale import refuse_impossible_sizes
from measure.read_job import Progress, read_job
from measure.readings.reading import Reading
from measure.refusals import (
    refuse_a_car_on_its_side,
    refuse_a_wrong_arrangement,
    refuse_contradiction,
    refuse_the_hopeless,
    refuse_unlike_sd,
)
from measure.turned import averaged


@dataclass(frozen=True)
class Surveyed:
    """A stage read, adjusted and put into the car's own axes; `standing` is None where there are no two pairs."""

    job: Job
    stage: str
    readings: Sequence[Reading]
    solved: Solved
    points: CarPoints
    standing: Stand | None
    findings: Findings


def survey(folder: Path, stage: str | None = None, progress: Progress | None = None) -> Surveyed:
    """Read, adjust and judge one stage. Raises BadInput with everything found where the input cannot be used."""
    findings = Findings()
    return surveyed(*read_job(folder, stage, findings, progress), findings, progress)


def surveyed(
    job: Job, stage: str, readings: Sequence[Reading], findings: Findings, progress: Progress | None = None
) -> Surveyed:
    """Adjust and judge a stage already read. Raises BadInput.

    Faces are averaged with those of the stage in which the wheels stood half a turn on, where job.toml names one.
    """
    one = _adjusted(job, stage, readings, findings)
    info = job.stage_info.get(stage)
    if info is None or info.turned is None or one.standing is None:
        return one
    findings = Findings()
    other = _adjusted(*read_job(job.folder, info.turned, findings, progress), findings).standing
    return one if other is None else replace(one, standing=averaged(one.standing, other))


def _adjusted(job: Job, name: str, readings: Sequence[Reading], findings: Findings) -> Surveyed:
    refuse_unlike_sd(job, name, readings, findings)
    try:
        solved = adjust_what_is_held(job, name, readings)
    except ContradictionError:
        refuse_contradiction(job, name, readings, findings)
    refuse_impossible_sizes(name, readings, solved, findings)
    points = car_points(job, solved)
    standing = stand(job, points) if len(points.names) else None
    refuse_the_hopeless(job, name, standing, solved, findings)
    refuse_the_chart_of_another_car(job, standing, findings)
    refuse_a_car_on_its_side(name, readings, standing, findings)
    refuse_exchanged(job, name, standing, findings)
    refuse_a_wrong_arrangement(name, readings, standing, findings)
    return Surveyed(job, name, readings, solved, points, standing, findings)
