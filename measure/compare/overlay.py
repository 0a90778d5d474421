"""One shape laid over the other: differences of the common points as rows of a linear system, with the pose open.

Rows are the coordinates of each common point in the BEFORE axes: x, y and, where both stages know the height, z.
A small pose (shift, turn) moves a row's point by shift + turn x point: six unknowns in space, three in plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from measure.compare.shape import Shape
from measure.readings.unknowns import Array, Index
from measure.rigid_fit import rigid_fit
from measure.rotation import cross_matrices, rotation_matrices

FLATTEST = 100.0
"""mm; heights of points nearer than this to one line do not hold how the car leans."""
LOOSE_POSE = 1.0
"""mm, and mm a metre: spread given to the pose, so that no covariance is singular. The pose is free: any will do."""
NOTHING_SPREAD = 1e-8
"""mm^2; where readings are called exact, there must be something left to weigh by."""
ARM = 1000.0
"""mm; turns are counted in mm at this distance."""


@dataclass(frozen=True)
class Overlay:
    """Common points (n,) and their differences AFTER minus BEFORE in the BEFORE axes.

    `place` (n, 3) BEFORE; `difference` (m,), `design` (m, 6 or 3), `effects` (m, s), `covariance` (m, m) with the pose
    made loose; `rows` those of each point; `freedom` (s,). `plan_only`: no heights in it.
    """

    names: tuple[str, ...]
    place: Array
    difference: Array
    design: Array
    effects: Array
    covariance: Array
    freedom: Array
    rows: tuple[Index, ...]
    plan_only: bool


def common_names(before: Shape, after: Shape) -> tuple[str, ...]:
    """Names that both hold, in the order of BEFORE."""
    return tuple(name for name in before.names if name in after.names)


class Pair:
    """Two shapes and the pose that lays AFTER over BEFORE, refined on the points that stand still."""

    def __init__(self, before: Shape, after: Shape) -> None:
        self._before, self._after = before, after
        self.names = common_names(before, after)
        i, j = ([s.names.index(n) for n in self.names] for s in (before, after))
        self._i, self._j = np.array(i, dtype=np.int64), np.array(j, dtype=np.int64)
        self._a, self._b = before.xyz[self._i], after.xyz[self._j]
        known = before.height_known[self._i] & after.height_known[self._j]
        self.in_space = _spread_out(self._a[known, :2])
        self._high = known & self.in_space
        self._before_from_after, self._shift = self._coarse()

    def _coarse(self) -> tuple[Array, Array]:
        """Rotation (3, 3) and shift (3,) by the half of the points that lie nearest."""
        if self.in_space:
            return _trimmed(self._b[self._high], self._a[self._high])
        R, t = _trimmed(self._b[:, :2], self._a[:, :2])
        turn, shift = np.eye(3), np.zeros(3)
        turn[:2, :2], shift[:2] = R, t
        return turn, shift

    def overlay(self) -> Overlay:
        """The rows under the present pose."""
        R, axes = self._before_from_after, [(0, 1, 2) if high else (0, 1) for high in self._high]
        effects = np.hstack([
            _picked(self._before.effects, self._i),
            _turned(_picked(self._after.effects, self._j), R),
        ])  # fmt: skip
        freedom = np.concatenate([self._before.freedom, self._after.freedom])
        if not self.in_space:
            lean = np.hstack([
                _picked(self._before.lean, self._i), _turned(_picked(self._after.lean, self._j), R)
            ])  # fmt: skip
            effects = np.hstack([effects, lean])
            freedom = np.append(freedom, np.full(lean.shape[1], np.inf))
        chosen = np.concatenate([3 * k + np.array(a) for k, a in enumerate(axes)])
        ends = np.cumsum([0, *map(len, axes)])
        rows = tuple(np.arange(a, b) for a, b in pairwise(ends))
        difference = (self._b @ R.T + self._shift - self._a).ravel()[chosen]
        design = self._design()[chosen]
        effects = effects[chosen]
        loose = LOOSE_POSE**2 * (design @ design.T) + NOTHING_SPREAD * np.eye(len(chosen))
        return Overlay(
            self.names, self._a, difference, design, effects, effects @ effects.T + loose, freedom, rows,
            not self.in_space,
        )  # fmt: skip

    def _design(self) -> Array:
        """(3n, 6 or 3): what a shift (mm) and a turn (mm at ARM) of AFTER do to each coordinate."""
        arm = (self._a - self._a.mean(axis=0)) / ARM
        design = np.concatenate([np.broadcast_to(np.eye(3), (len(arm), 3, 3)), -cross_matrices(arm)], axis=2)
        design = design.reshape(-1, 6)
        return design if self.in_space else design[:, [0, 1, 5]]

    def refined(self, overlay: Overlay, stable: Sequence[int]) -> float:
        """Move the pose so that the stable points lie over each other; the turn made, rad."""
        i = np.concatenate([overlay.rows[k] for k in stable])
        weighted = np.linalg.solve(overlay.covariance[np.ix_(i, i)], overlay.design[i])
        pose = -np.linalg.pinv(weighted.T @ overlay.design[i], hermitian=True) @ (weighted.T @ overlay.difference[i])
        turn = np.array([0.0, 0.0, pose[2]]) if overlay.plan_only else pose[3:]
        shift = np.array([pose[0], pose[1], 0.0]) if overlay.plan_only else pose[:3]
        Q = rotation_matrices(turn[None] / ARM)[0]
        middle = self._a.mean(axis=0)
        self._before_from_after = Q @ self._before_from_after
        self._shift = Q @ (self._shift - middle) + middle + shift
        return float(np.linalg.norm(turn)) / ARM


def _picked(effects: Array, points: Index) -> Array:
    """Effects (3k, s) of some points."""
    return np.asarray(effects[(3 * points[:, None] + np.arange(3)).ravel()])


def _turned(effects: Array, R: Array) -> Array:
    apart = effects.reshape(len(effects) // 3, 3, effects.shape[1])
    return np.asarray((R @ apart).reshape(effects.shape))


def _spread_out(xy: Array) -> bool:
    """Whether three points or more stand well off one line."""
    if len(xy) < 3:
        return False
    return bool(np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)[1] > FLATTEST)


def _trimmed(source: Array, target: Array) -> tuple[Array, Array]:
    """A rigid fit to the half of the points that lie nearest under it."""
    near = np.arange(len(source))
    for _ in range(8):
        R, t = rigid_fit(source[near], target[near])
        gap = np.linalg.norm(source @ R.T + t - target, axis=1)
        near = np.argsort(np.round(gap, 9), kind="stable")[: max(3, len(source) // 2 + 1)]
    return R, t
