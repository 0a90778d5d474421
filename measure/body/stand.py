"""How a car stands: the centreline, and every check under it and its rivals."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from measure.adjust.critical import coverage_factor
from measure.body import chart
from measure.body.centreline import Centreline, centreline_of, find_centreline
from measure.body.chart_fit import ChartFit, fit_chart
from measure.body.check import Car, Check, Figure, evaluate
from measure.body.families import FAMILIES, WITHOUT_CENTRELINE
from measure.body.frame import Frame, Pairs
from measure.body.moved import pairs_that_stayed
from measure.body.points import CarPoints, Sources
from measure.body.verdict import Verdict, agreed, judge, worst
from measure.job import Job

FEWEST_PAIRS = 4
"""Pairs by which a moved section can be told from the rest."""


@dataclass(frozen=True)
class Judged:
    """A check with its figure, its u95 and its verdict. `figure` is None where a height it wants was not measured."""

    check: Check
    figure: Figure | None
    u95: float | None
    limit: float | None
    verdict: Verdict


@dataclass(frozen=True)
class Stand:
    """The centreline, the judged checks under its first frame, and the chart, where there is one, laid over the car."""

    points: CarPoints
    centreline: Centreline
    judged: tuple[Judged, ...]
    chart: ChartFit | None = None

    @property
    def frame(self) -> Frame:
        """The car's axes."""
        return self.centreline.frames[0]


def stand(job: Job, points: CarPoints) -> Stand | None:
    """Judge a car from its points; None where no centreline can be had."""
    pairs, trusted = _pairs(job, points)
    centreline = find_centreline(points, pairs, trusted, job.sd.build, float(np.radians(job.sd.level)))
    if centreline is None:
        return None
    fit = fit_chart(job, points, centreline.frames[0])
    if not any(trusted) and len(pairs.keys) >= FEWEST_PAIRS:
        # a section a few mm off agrees with a line tilted towards it: it must be asked as one movement
        sets = pairs_that_stayed(job, points, pairs, centreline.frames[0], fit)
        stayed = centreline_of(points, pairs, sets, job.sd.build, float(np.radians(job.sd.level)), centreline.rests_on)
        if stayed is not None:
            centreline = stayed
            fit = fit_chart(job, points, centreline.frames[0], fit)
    judged = [_judge_all(job, points, pairs, frame) for frame in centreline.frames]
    first = judged[0]
    if centreline.ambiguous:
        # a check may be missing under a rival only if it is missing under all: the names are the same
        under = [{j.check.name: j.verdict for j in rival} for rival in judged]
        first = [
            Judged(j.check, j.figure, j.u95, j.limit, agreed(u.get(j.check.name, "undecided") for u in under))
            for j in first
        ]
    if centreline.rests_on == "all":
        # any line fits two pairs, so a pulled one would not show: nothing taken from it can be called fine or out
        first = [replace(j, verdict="undecided") if j.limit is not None else j for j in first]
    first = [*first, *_judge_by_chart(Car(job, points, pairs, centreline.frames[0]), fit)]
    if not points.scaled:
        first = [replace(j, verdict="undecided") if j.limit is not None and j.check.unit == "mm" else j for j in first]
    return Stand(points, centreline, tuple(first), fit)


def _judge_by_chart(car: Car, fit: ChartFit | None) -> list[Judged]:
    """The figures that the chart alone bears on, lengths first."""
    lengths = [check for family in WITHOUT_CENTRELINE for check in family(car)]
    judged = [_judge(car.job, car.points, car.frame, check) for check in lengths]
    if fit is None:
        return judged
    against = [_judge(car.job, car.points, car.frame, check) for check in chart.checks(car, fit)]
    if fit.rests_on == "disagree":  # no half of the points agrees with it: what stands off cannot be told
        against = [replace(j, verdict="undecided") for j in against]
    return judged + against


def _pairs(job: Job, points: CarPoints) -> tuple[Pairs, tuple[bool, ...]]:
    held = [(k, a, b) for k, a, b in job.pairs() if a.name in points.names and b.name in points.names]
    ends = np.array([[points.index(a.name), points.index(b.name)] for _, a, b in held], dtype=np.int64)
    return Pairs(tuple(k for k, _, _ in held), ends.reshape(-1, 2)), tuple(a.trusted or b.trusted for _, a, b in held)


def _judge_all(job: Job, points: CarPoints, pairs: Pairs, frame: Frame) -> list[Judged]:
    car = Car(job, points, pairs, frame)
    judged = [_judge(job, points, frame, check) for family in FAMILIES for check in family(car)]
    verdicts = {j.check.name: j.verdict for j in judged}
    unheld: Verdict = "undecided"
    return [
        replace(j, verdict=worst([j.verdict, *(verdicts.get(n, unheld) for n in j.check.worst_of)]))
        if j.check.worst_of else j
        for j in judged
    ]  # fmt: skip


def _judge(job: Job, points: CarPoints, frame: Frame, check: Check) -> Judged:
    limit = job.limits.get(check.name, check.tolerance)
    if limit is None and check.limit is not None:
        limit = job.limits[check.limit]
    if check.wants_heights and not points.height_known[list(check.points)].all():
        return Judged(check, None, None, limit, "no limit" if limit is None else "undecided")
    figure = evaluate(check, frame)
    u95 = coverage_factor(figure.freedom(frame.sources.freedom)) * figure.sd
    verdict = judge(figure.value, u95, limit)
    if check.otherwise:
        rivals = [_judge(job, points, frame, rival).verdict for rival in check.otherwise]
        verdict = agreed([verdict, *rivals])
    return Judged(check, figure, u95, limit, verdict)


def budget(figure: Figure, sources: Sources, most: int = 6) -> list[tuple[str, float]]:
    """(what, share of the variance) largest first; what is beyond `most` lines is put together."""
    total = figure.sd**2
    if total == 0:
        return []
    labels, which = sources.named
    shares = np.bincount(which, weights=figure.effects**2 / total, minlength=len(labels))
    labels += tuple(label for label, _ in figure.further)
    shares = np.append(shares, [effect**2 / total for _, effect in figure.further])
    told = np.flatnonzero(shares > 1e-6)
    parts = zip([labels[i] for i in told], shares[told].tolist(), strict=True)
    ranked = sorted(parts, key=lambda part: (-round(part[1], 9), part[0]))
    rest = sum(share for _, share in ranked[most:])
    return ranked[:most] + ([(f"{len(ranked) - most} other sources", rest)] if len(ranked) > most else [])
