"""Set-up figures of an axle: arms alike, lateral linkage level and upright, roll centre, shock absorbers alike.

Limits and starting points are common practice, no source. None of them decides whether an axle is to be moved.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import copysign

import numpy as np

from measure.body.check import Check, Measure
from measure.body.stand import Stand
from measure.body.words import Words, side_of, whichever
from measure.readings.unknowns import Array
from measure.setup.axle_points import AxlePoints
from measure.setup.axle_pose import crank_lean, mechanism, middle
from measure.setup.axle_result import PRACTICE, SetupFigure
from measure.setup.figures import as_figure, judged

ALIKE_MM = 2.0
ALIKE_DEG = 1.0
LEVEL_DEG = 2.0
UPRIGHT_DEG = 3.0
IN_PLANE_MM = 5.0
ROLL_CENTRE_BELOW = -25.0
"""mm against the axle's centre line: a starting point for a nose-heavy car."""


def setup_figures(axle: AxlePoints, standing: Stand, goes: Mapping[int, Array]) -> list[SetupFigure]:
    """Every figure that the points of this axle allow, as it will be once each point went by `goes` (mm, (3,))."""
    checks = [*_alike(axle), *_linkage(axle)]
    made = [as_figure(judged(_moved(check, goes), limit, standing), PRACTICE) for check, limit in checks]
    if axle.rods:
        roll = _moved(_roll_centre(axle), goes)
        made.append(as_figure(judged(roll, None, standing), PRACTICE, usual=ROLL_CENTRE_BELOW))
    return made


def _moved(check: Check, goes: Mapping[int, Array]) -> Check:
    """The same check of points that were moved; what the move itself may be off by is left out, being small."""
    by = np.array([goes.get(i, np.zeros(3)) for i in check.points])
    return replace(check, figure=lambda X: check.figure(X + by))


def _alike(axle: AxlePoints) -> Iterator[tuple[Check, float | None]]:
    """Arms and shock absorbers, left against right."""
    if axle.arms:
        four = tuple(i for rod in axle.arms for i in (rod.body, rod.axle))
        name = f"setup.{axle.name}.arm"
        yield _check(
            f"{name}_length", "mm", four, lambda X: _size(_arms(X)[0]) - _size(_arms(X)[1]),
            _compared("the left arm is longer by", "the right arm is longer by", "mm", 1), heights=True,
        ), ALIKE_MM  # fmt: skip
        yield _check(
            f"{name}_slope", "deg", four, lambda X: _slope(_arms(X)[0]) - _slope(_arms(X)[1]),
            _compared("the left arm rises more towards its body end, by",
                      "the right arm rises more towards its body end, by", "degrees", 2),
            heights=True,
        ), ALIKE_DEG  # fmt: skip
        yield _check(
            f"{name}_splay", "deg", four, lambda X: _splay(_arms(X)[0], 1.0) - _splay(_arms(X)[1], -1.0),
            _compared("seen from above the left arm's body end lies farther out, by",
                      "seen from above the right arm's body end lies farther out, by", "degrees", 2),
        ), ALIKE_DEG  # fmt: skip
    if axle.shocks:
        four = tuple(i for shock in axle.shocks for i in shock)
        name = f"setup.{axle.name}.shock"
        yield _check(
            f"{name}_lean", "deg", four, lambda X: _lean_in(_shocks(X)[0], 1.0) - _lean_in(_shocks(X)[1], -1.0),
            _compared("the left shock leans inward more, by", "the right shock leans inward more, by", "degrees", 2),
            heights=True,
        ), ALIKE_DEG  # fmt: skip
        yield _check(
            f"{name}_rake", "deg", four, lambda X: _rake(_shocks(X)[0]) - _rake(_shocks(X)[1]),
            _compared("the left shock leans forward more, by", "the right shock leans forward more, by", "degrees", 2),
            heights=True,
        ), ALIKE_DEG  # fmt: skip


def _linkage(axle: AxlePoints) -> Iterator[tuple[Check, float | None]]:
    """Each rod level, in the pivot's plane, and the crank upright."""
    for rod in axle.rods:
        word = "rod" if axle.pivot is None else f"{rod.name.split()[0]}_rod"
        yield _check(
            f"setup.{axle.name}.{word}_level", "deg", (rod.body, rod.axle),
            lambda X: np.degrees(
                np.arctan2(X[..., 0, 2] - X[..., 1, 2], np.abs(X[..., 0, 1] - X[..., 1, 1]))),
            _compared(f"the {rod.name}'s {_far_end(axle)} end is high by",
                      f"the {rod.name}'s {_far_end(axle)} end is low by", "degrees", 2), heights=True,
        ), LEVEL_DEG  # fmt: skip
        if axle.pivot is not None:
            outer = rod.body if axle.settings.pivot == "axle" else rod.axle
            yield _check(
                f"setup.{axle.name}.{word}_plane", "mm", (axle.pivot, outer),
                lambda X: X[..., 1, 0] - X[..., 0, 0],
                _compared(f"the {rod.name}'s outer end is ahead of the pivot by",
                          f"the {rod.name}'s outer end is behind the pivot by", "mm", 1),
            ), IN_PLANE_MM  # fmt: skip
    if axle.pivot is not None:
        yield upright(axle), UPRIGHT_DEG


def upright(axle: AxlePoints) -> Check:
    """The crank's lean from upright, degrees, + top to the left."""
    m = mechanism(axle)
    return _check(
        f"setup.{axle.name}.crank_upright", "deg", axle.numbers, lambda X: np.degrees(crank_lean(m, X)),
        _compared("the centre crank's top leans to the left by", "the centre crank's top leans to the right by",
                  "degrees", 2), heights=True,
    )  # fmt: skip


def _roll_centre(axle: AxlePoints) -> Check:
    """Height against the axle's centre line: of the pivot, or where a single rod crosses the middle of the car."""
    m = mechanism(axle)

    def height(X: Array) -> Array:
        if m.pivot is not None:
            return np.asarray(X[..., m.pivot, 2] - middle(m, X)[..., 2])
        a, b = X[..., m.members[-1][0], :], X[..., m.members[-1][1], :]
        crossing = a[..., 2] - a[..., 1] * (b[..., 2] - a[..., 2]) / (b[..., 1] - a[..., 1])
        return np.asarray(crossing - middle(m, X)[..., 2])

    def words(value: float) -> str:
        where = "above" if value > 0 else "below"
        return (
            f"the lateral linkage's centre, about which the rear rolls, lies {abs(value):.1f} mm {where} the axle's "
            "centre line; about 25 mm below is a starting point for a nose-heavy car"
        )

    name = f"setup.{axle.name}.roll_centre"
    return Check(name, "mm", axle.numbers, height, words, whichever("above", "below"), wants_heights=True)


def _check(
    name: str, unit: str, points: tuple[int, ...], figure: Measure, words: Words, *, heights: bool = False
) -> Check:
    return Check(name, unit, points, figure, words, side_of, wants_heights=heights)


def _far_end(axle: AxlePoints) -> str:
    """The word for the first point of a rod: its body end, or its end on the body's crank."""
    return "crank" if axle.pivot is not None and axle.settings.pivot == "body" else "body"


def _compared(positive: str, negative: str, unit: str, places: int) -> Words:
    """Which is more, and by how much."""

    def words(value: float) -> str:
        shown = f"{abs(value):.{places}f}"
        return f"{negative if value < 0 else positive} {shown} {unit}"

    return words


def _arms(X: Array) -> tuple[Array, Array]:
    """From axle end to body end, left and right (..., 3), of points (body, axle, body, axle)."""
    return X[..., 0, :] - X[..., 1, :], X[..., 2, :] - X[..., 3, :]


_shocks = _arms  # the same order: upper, lower, upper, lower


def _size(v: Array) -> Array:
    return np.asarray(np.linalg.norm(v, axis=-1))


def _slope(v: Array) -> Array:
    """Side view, degrees, + rising towards the body end."""
    return np.asarray(np.degrees(np.arctan2(v[..., 2], np.abs(v[..., 0]))))


def _splay(v: Array, outward: float) -> Array:
    """Plan view, degrees, + the body end farther out than the axle end."""
    return np.asarray(np.degrees(np.arctan2(copysign(1.0, outward) * v[..., 1], np.abs(v[..., 0]))))


def _lean_in(v: Array, outward: float) -> Array:
    """Rear view, degrees, + the upper end farther in."""
    return np.asarray(np.degrees(np.arctan2(-outward * v[..., 1], v[..., 2])))


def _rake(v: Array) -> Array:
    """Side view, degrees, + the upper end farther forward."""
    return np.asarray(np.degrees(np.arctan2(v[..., 0], v[..., 2])))
