"""The factory chart laid over the car: which points carry it, and how far every point stands off it.

A point of the car X (car's axes) belongs at d (chart's axes). The chart lies where the points that carry it fit best,
weighted by their full covariance with the factory scatter of each:
    e = R X + t - d,   p = -(B' C^-1 B)^-1 B' C^-1 e,   deviation = e + B p,
p a small shift and turn, B its derivatives. In space there are six of them; in plan, where too few heights are known
or charted, three. The chart is the design: the scatter of the points that carry the fit is part of the uncertainty of
every deviation, that of the point itself is not, for where it stands is the question.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from measure.body.chart_carriers import carriers
from measure.body.frame import NOTHING_SPREAD, Frame
from measure.body.misfit import Members
from measure.body.points import CarPoints
from measure.job import Job
from measure.readings.unknowns import Array, Index
from measure.rotation import rotation_matrices

STEPS = 40
FINE = 5.0
"""mm off the chart below which all count alike."""
LEVER = 1000.0
"""mm; turns are solved for as movements at this arm, so that the columns of B are of one size."""
SMALLEST_ARM = 0.05
"""Least singular value of B per row below which the points do not hold the chart: all in a line, or too few."""


@dataclass(frozen=True)
class ChartFit:
    """The chart on the car. `points` (m,) are numbers into the car's points, `design` (m, 3) where they belong.

    NaN in `design` and `deviations` where the chart or the car has no such coordinate. `chart_from_car` (3, 3) turns
    the car's axes into the chart's, `shift` (3,) mm. `used`: positions in `points` that carry the fit; `rivals`: other
    sets that fit as well. `rests_on`: "trusted", "agree" or "disagree" (all carry it then).
    """

    points: Index
    names: tuple[str, ...]
    design: Array
    placed: Array  # (m, 3) the points in the chart's axes
    effects: Array  # (3m, s) their sources there
    chart_from_car: Array
    shift: Array
    in_space: bool
    used: tuple[int, ...]
    rivals: tuple[tuple[int, ...], ...]
    rests_on: str
    body: tuple[int, ...]  # positions in `points` that may carry the fit
    build: float

    @property
    def set_aside(self) -> tuple[str, ...]:
        """Names of the body's points that do not carry the chart."""
        return tuple(self.names[i] for i in self.body if i not in self.used)

    @cached_property
    def deviations(self) -> Array:
        """(m, 3) mm in the chart's axes, NaN where there is none."""
        return self.under(self.used)[0]

    def under(self, used: tuple[int, ...]) -> tuple[Array, Array, Index]:
        """(deviations (m, 3), gain (3m, r), rows (r,)): the chart carried by `used`.

        `gain` says how each deviation follows the misfit of the r coordinates in `rows` (of 3m) that carry the chart,
        besides its own.
        """
        misfit = (self.placed - self.design).ravel()
        B = _moves(self.placed, self.in_space)
        rows = np.array([3 * i + k for i in used for k in range(3) if np.isfinite(misfit[3 * i + k])], dtype=np.int64)
        weighted = np.linalg.solve(_covariance(self.effects[rows], self.build), B[rows])
        gain = -B @ np.linalg.solve(B[rows].T @ weighted, weighted.T)
        return (misfit + gain @ misfit[rows]).reshape(-1, 3), gain, rows


def fit_chart(job: Job, points: CarPoints, frame: Frame, known: ChartFit | None = None) -> ChartFit | None:
    """Lay the chart of points.csv over the car; None where it charts too few of the points that are held.

    Points of part reference, rail or blank carry it: those that are trusted alone, else the largest set that agrees,
    which a fit of the same points that is `known` from other axes has found already.
    """
    charted = [
        (i, p) for i, name in enumerate(points.names)
        if (p := job.point(name)).x is not None or p.y is not None or p.z is not None
    ]  # fmt: skip
    numbers = np.array([i for i, _ in charted], dtype=np.int64)
    design = np.array([[_nan(p.x), _nan(p.y), _nan(p.z)] for _, p in charted], dtype=np.float64).reshape(-1, 3)
    design[points.height_known[numbers] == 0, 2] = np.nan
    body = [k for k, (_, p) in enumerate(charted) if p.kind in ("", "reference", "rail")]
    vouched = {key for key, a, b in job.pairs() if a.trusted or b.trusted}
    trusted = [k for k in body if charted[k][1].trusted or charted[k][1].pair in vouched]
    X = frame.xyz[numbers]
    for carrying, in_space in ((trusted, True), (trusted, False), (body, True), (body, False)):
        seen = design if in_space else design * [1.0, 1.0, np.nan]
        if carrying and _holds(X, seen, carrying, in_space):
            break
    else:
        return None
    chart_from_car, shift = _laid_over(X, seen, carrying, in_space)
    placed = X @ chart_from_car.T + shift
    own = frame.sources.effects.reshape(-1, 3, frame.sources.effects.shape[1])[numbers]
    effects = (chart_from_car @ own).reshape(3 * len(numbers), -1)
    chosen: tuple[int, ...] = tuple(carrying)
    rivals: tuple[tuple[int, ...], ...] = ()
    why = "trusted"
    if carrying is body and known is not None and known.in_space == in_space:
        chosen, rivals, why = known.used, known.rivals, known.rests_on
    elif carrying is body:
        pairs = [p.pair or p.name for _, p in charted]
        chosen, rivals, why = _agreeing(placed, seen, effects, carrying, in_space, job.sd.build, pairs)
    return ChartFit(
        numbers, tuple(p.name for _, p in charted), seen, placed, effects, chart_from_car, shift, in_space,
        chosen, rivals, why, tuple(body), job.sd.build,
    )  # fmt: skip


def _nan(value: float | None) -> float:
    return np.nan if value is None else value


def _moves(X: Array, in_space: bool) -> Array:
    """Derivatives (3m, 6 or 3) of points (m, 3) by a shift (mm) and a turn (mm at LEVER) about their mean."""
    d = (X - X.mean(axis=0)) / LEVER
    x, y, z = d.T
    one, nought = np.ones(len(X)), np.zeros(len(X))
    columns = [
        np.column_stack([one, nought, nought]), np.column_stack([nought, one, nought]),
        np.column_stack([-y, x, nought]),
    ]  # fmt: skip
    if in_space:
        columns += [
            np.column_stack([nought, nought, one]), np.column_stack([nought, -z, y]), np.column_stack([z, nought, -x]),
        ]  # fmt: skip
    return np.stack(columns, axis=-1).reshape(3 * len(X), -1)


def _rows(design: Array, members: list[int] | tuple[int, ...]) -> Index:
    known = np.isfinite(design)
    return np.array([3 * i + k for i in members for k in range(3) if known[i, k]], dtype=np.int64)


def _holds(X: Array, design: Array, carriers: list[int], in_space: bool) -> bool:
    rows = _rows(design, carriers)
    B = _moves(X, in_space)[rows]
    if len(rows) <= B.shape[1]:
        return False
    return bool(np.linalg.svd(B, compute_uv=False)[-1] / np.sqrt(len(rows)) > SMALLEST_ARM)


def _laid_over(X: Array, design: Array, carriers: list[int], in_space: bool) -> tuple[Array, Array]:
    """(R, t) with R X + t near to the chart, good enough to be linear from there on.

    Least sum of distances rather than of squares, by weights 1/|e|: a row with a slip of metres turns nothing.
    """
    R, t = np.eye(3), np.zeros(3)
    rows = _rows(design, carriers)
    for _ in range(STEPS):
        Y = X @ R.T + t
        B = _moves(Y, in_space)
        misfit = (Y - design).ravel()[rows]
        weight = 1.0 / np.sqrt(np.maximum(np.abs(misfit), FINE))
        p = np.linalg.lstsq(B[rows] * weight[:, None], -misfit * weight, rcond=None)[0]
        turn = np.array([p[4], p[5], p[2]] if in_space else [0.0, 0.0, p[2]]) / LEVER
        move = np.array([p[0], p[1], p[3] if in_space else 0.0])
        step = rotation_matrices(turn[None])[0]
        middle = Y.mean(axis=0)
        R, t = step @ R, step @ (t - middle) + middle + move
        if np.max(np.abs(p)) < 1e-9:
            break
    return R, t


def _covariance(effects: Array, build: float) -> Array:
    return effects @ effects.T + max(build**2, NOTHING_SPREAD) * np.eye(len(effects))


def _agreeing(
    placed: Array, design: Array, effects: Array, body: list[int], in_space: bool, build: float, pairs: list[str]
) -> tuple[tuple[int, ...], tuple[tuple[int, ...], ...], str]:
    """(carriers, rivals, why): the largest set of the body's points that agrees with the chart."""
    members = [k for k in body if np.isfinite(design[k]).any()]
    each = [_rows(design, [k]) for k in members]
    rows = np.concatenate(each)
    starts = np.concatenate([[0], np.cumsum([len(e) for e in each])])
    groups = [np.arange(a, b) for a, b in pairwise(starts.tolist())]
    B = _moves(placed, in_space)
    problem = Members.of((placed - design).ravel()[rows], B[rows], _covariance(effects[rows], build), groups)
    pair = np.array([pairs.index(pairs[k]) for k in members], dtype=np.int64)
    chosen, agrees = carriers(problem, rows % 3, placed[members, 0], placed[members, 1], pair)
    sets = [tuple(members[k] for k in s) for s in chosen]
    sets = [s for s in sets if _holds(placed, design, list(s), in_space)]
    if not agrees or not sets or 2 * len(sets[0]) < len(members):
        return tuple(members), (), "disagree"
    return sets[0], tuple(sets[1:]), "agree"
