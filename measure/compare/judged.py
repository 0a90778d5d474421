"""Each common point as the document tells it: figures under the best reading, verdict under all of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from measure.compare import words
from measure.compare.laid import Laid
from measure.compare.movement import Movement, Verdict, under_all
from measure.compare.result import MovementResult
from measure.job import Point
from measure.survey import Surveyed


def judged(laid: Laid) -> list[MovementResult]:
    """One result for each common point."""
    return [_one(laid, k) for k in range(len(laid.names))]


def _one(laid: Laid, k: int) -> MovementResult:
    point = laid.before.job.point(laid.names[k])
    each = [found[k] for found in laid.under]
    known = [m for m in each if m is not None]
    if each[0] is None:
        return _not_held(laid, k, point)
    alternatives: list[Verdict] = [m.verdict(laid.limit) if m is not None else "undecided" for m in each]
    verdict: Verdict = "undecided" if laid.few else under_all(alternatives)
    first = replace(each[0], significant=len(known) == len(each) and all(m.significant for m in known))
    farthest = max(known, key=lambda m: m.could_be)
    open_ = verdict == "undecided" and "moved" in alternatives and len(each) > 1
    job, most = laid.before.job, farthest.could_be
    sentence = (
        words.depends(job, farthest, most, laid.limit) if open_ else words.told(job, first, verdict, most, laid.limit)
    )
    once = verdict == "moved" and (_once(laid.before, point.name) or _once(laid.after, point.name))
    return _result(laid, k, point, first, verdict, most, sentence, once)


def _result(
    laid: Laid, k: int, point: Point, m: Movement, verdict: Verdict, could_be: float, sentence: str, once: bool
) -> MovementResult:
    unknown = [None] * (3 - len(m.vector))
    moved: list[float | None] = [*map(float, m.vector), *unknown]
    x, y = laid.overlay.place[k, :2].tolist()
    return MovementResult(
        name=point.name, dx=moved[0], dy=moved[1], dz=moved[2], length=float(np.linalg.norm(m.vector)),
        u95=[*map(float, m.u95), *unknown], significant=m.significant, could_be=could_be,
        smallest_seen=m.smallest_seen, verdict=verdict, words=sentence, stable=k in laid.agreement.best, x=x, y=y,
        plan_covariance=m.covariance[[0, 0, 1], [0, 1, 1]].tolist(), side=point.side, part=point.part,
        single_drops=once,
    )  # fmt: skip


def _not_held(laid: Laid, k: int, point: Point) -> MovementResult:
    x, y = laid.overlay.place[k, :2].tolist()
    sentence = f"{words.subject(laid.before.job, point.name)} cannot be judged: too few other points stood still"
    return MovementResult(
        name=point.name, dx=None, dy=None, dz=None, length=None, u95=[None] * 3, significant=False, could_be=None,
        smallest_seen=None, verdict="undecided", words=sentence, stable=k in laid.agreement.best, x=x, y=y,
        side=point.side, part=point.part,
    )  # fmt: skip


def _once(stage: Surveyed, name: str) -> bool:
    points = stage.points
    return name in points.names and points.dropped_once[points.names.index(name)]
