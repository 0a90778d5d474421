"""A check of the set-up judged as every check is: u95 by the one route, its verdict under every rival centreline."""

from __future__ import annotations

from measure.adjust.critical import coverage_factor
from measure.body.check import Check, evaluate
from measure.body.frame import Frame
from measure.body.stand import Judged, Stand
from measure.body.verdict import agreed, judge
from measure.setup.axle_result import SetupFigure


def judged(check: Check, limit: float | None, standing: Stand) -> Judged:
    """The check with figure, u95 and verdict against `limit`; no figure where a height it wants was not measured."""
    if check.wants_heights and not standing.points.height_known[list(check.points)].all():
        return Judged(check, None, None, limit, "no limit" if limit is None else "undecided")
    under = [_under(check, limit, frame) for frame in standing.centreline.frames]
    first = under[0]
    verdict = agreed(j.verdict for j in under)
    unsure = standing.centreline.rests_on == "all" or (check.unit == "mm" and not standing.points.scaled)
    if limit is not None and unsure:
        verdict = "undecided"
    return Judged(check, first.figure, first.u95, limit, verdict)


def _under(check: Check, limit: float | None, frame: Frame) -> Judged:
    figure = evaluate(check, frame)
    u95 = coverage_factor(figure.freedom(frame.sources.freedom)) * figure.sd
    return Judged(check, figure, u95, limit, judge(figure.value, u95, limit))


def as_figure(j: Judged, source: str = "", usual: float | None = None) -> SetupFigure:
    """A judged check as the document holds it."""
    if j.figure is None:
        words = "heights were not measured"
        return SetupFigure(j.check.name, None, j.check.unit, None, j.limit, j.verdict, words, usual, source)
    value = j.figure.value
    return SetupFigure(
        j.check.name, value, j.check.unit, j.u95, j.limit, j.verdict, j.check.words(value), usual, source
    )  # fmt: skip


def wobble(standing: Stand, j: Judged) -> float:
    """What averaging with a second stage added to a figure of this one (measure.turned); mostly nought."""
    if j.figure is None:
        return 0.0
    return j.figure.value - float(j.check.figure(standing.frame.xyz[list(j.check.points)]))
