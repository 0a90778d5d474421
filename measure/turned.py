"""Faces seen at two positions of the wheel, half a turn apart: their mean is free of the hub's wobble.

A face that stands crooked on its hub leans one way in one position and the other way half a turn on, and sheets glued
beside its axis stand ahead in one and behind in the other; what is left in the mean is the axle's own.
"""

from __future__ import annotations

from dataclasses import replace

from measure.body.stand import Judged, Stand
from measure.body.verdict import judge


def averaged(first: Stand, other: Stand) -> Stand:
    """The stand of the first stage with everything that is taken from the faces averaged with the other stage.

    u95 is the mean of the two: the centreline behind both is the same, so that they may err together.
    """
    theirs = {j.check.name: j for j in other.judged}
    return replace(first, judged=tuple(_mean(first, j, theirs.get(j.check.name)) for j in first.judged))


def _mean(stand: Stand, mine: Judged, other: Judged | None) -> Judged:
    if not _from_faces(mine) or other is None or not _from_faces(other):
        return mine
    if mine.figure is None or mine.u95 is None or other.figure is None or other.u95 is None:
        return mine
    value, u95 = (mine.figure.value + other.figure.value) / 2, (mine.u95 + other.u95) / 2
    verdict = judge(value, u95, mine.limit)
    if mine.limit is not None and (stand.centreline.ambiguous or stand.centreline.rests_on == "all"):
        verdict = mine.verdict if mine.verdict == verdict else "undecided"
    return replace(mine, figure=replace(mine.figure, value=value), u95=u95, verdict=verdict)


def _from_faces(judged: Judged) -> bool:
    """Whether a figure is taken from faces: their planes lean with the hub, their middles ride round the axis."""
    name = judged.check.name
    return name.startswith("face.") or (name.startswith("axle.") and len(judged.check.points) >= 6)
