"""Whether the axle's housing itself is bent: toe and camber of its faces that no arm or link can set.

Arms and links move the axle as one piece. What the two faces do to each other, and each to the line through the axle's
ends, stays as it is. Limits: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from measure.body import face
from measure.body.axle import square
from measure.body.check import Check, Measure
from measure.body.stand import Stand
from measure.body.words import side_of
from measure.readings.unknowns import Array
from measure.setup.axle_points import SIDE_WORDS, AxlePoints
from measure.setup.axle_pose import end_of
from measure.setup.axle_result import PRACTICE, SetupFigure
from measure.setup.figures import as_figure, judged, wobble

TOE_DEG = 0.25
CAMBER_DEG = 0.5
"""Degrees for each face of a solid axle."""


def housing_figures(axle: AxlePoints, standing: Stand, solid: bool) -> list[SetupFigure]:
    """Toe and camber of each face against the axle's own line; empty where the faces were not measured.

    Judged only on a `solid` axle: toe and camber of steered or independently sprung wheels are for setting.
    """
    wobbles = {j.check.name: wobble(standing, j) for j in standing.judged if j.check.name.startswith("face.")}
    made = []
    for check, limit in _checks(axle):
        by = wobbles.get(check.name.replace("housing.", "face."), 0.0)
        shifted = replace(check, figure=partial(_shifted, check.figure, by))
        made.append(as_figure(judged(shifted, limit if solid else None, standing), PRACTICE))
    return made


def _shifted(figure: Measure, by: float, X: Array) -> Array:
    return np.asarray(figure(X) + by)


def _checks(axle: AxlePoints) -> Iterator[tuple[Check, float]]:
    if axle.faces is None:
        return
    for side, points in zip("LR", axle.faces, strict=True):
        numbers = (*axle.ends[0], *axle.ends[1], *points)
        split = (len(axle.ends[0]), len(axle.ends[0]) + len(axle.ends[1]))
        yield _check(axle.name, side, "toe", numbers, split), TOE_DEG
        yield _check(axle.name, side, "camber", numbers, split), CAMBER_DEG


def _check(axle: str, side: str, what: str, numbers: tuple[int, ...], split: tuple[int, int]) -> Check:
    outward = face.OUTWARD[side]

    def figure(X: Array) -> Array:
        ends = np.stack([end_of(X[..., : split[0], :]), end_of(X[..., split[0] : split[1], :])], axis=-2)
        on_face = X[..., split[1] :, :]
        if what == "toe":  # of the face, against a wheel square to the axle
            return np.asarray(face.toe(on_face, side) + outward * square(ends))
        across = ends[..., 0, :] - ends[..., 1, :]
        lean = np.degrees(np.arctan2(across[..., 2], np.hypot(across[..., 0], across[..., 1])))  # + left end high
        return np.asarray(face.camber(on_face, side) + outward * lean)

    def words(value: float) -> str:
        told = ("toed in", "toed out") if what == "toe" else ("top out", "top in")
        return f"the {SIDE_WORDS[side]} face stands {abs(value):.2f} degrees {told[value < 0]} on its own axle"

    name = f"housing.{axle}.{side}.{what}"
    return Check(name, "deg", numbers, figure, words, side_of, wants_heights=True)
