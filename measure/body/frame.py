"""The car's own axes: y across the symmetry plane, x along the midpoints, origin at the first pair's midpoint.

Roll is held by the rises of the pairs, offset and yaw by their midpoints, pitch by the line through the midpoints.
In the aligned axes a small turn (roll, pitch, yaw) and shift move a point by
    x' = x - pitch*z + yaw*y,  y' = y - yaw*x + roll*z - shift,  z' = z - roll*y + pitch*x.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from measure.body.agreement import Agreement, largest_agreeing_set
from measure.body.points import CarPoints, Sources, rows_for
from measure.line import fit_line
from measure.readings.unknowns import Array, Index
from measure.rotation import rotation_matrices

ROLL, PITCH, YAW, SHIFT = range(4)
NOTHING_SPREAD = 1e-12
"""mm^2; where readings and factory are called exact, there must be something left to weigh midpoints by."""
DOUBTED = 2.0
"""Sets of rises that explain the car equally well leave the roll open where they differ by so many of its sd."""
NARROWEST = 1.0
"""mm; a pair narrower than this tells nothing of the roll."""


@dataclass(frozen=True)
class Pairs:
    """Left and right point numbers (p, 2), front first, with their keys."""

    keys: tuple[str, ...]
    ends: Index


@dataclass(frozen=True)
class Frame:
    """Points in the car's axes and their sources there.

    `car_from_network` (3, 3); `origin` (3,) in the network; `xyz` (n, 3) in the car; `sources` of xyz; `used` pair
    numbers that carry the centreline. `yaw_sd` rad and `shift_sd` mm include the factory scatter.
    `roll_sd`, `pitch_sd` rad are None where the lean was assumed, not measured.
    """

    car_from_network: Array
    origin: Array
    xyz: Array
    sources: Sources
    used: tuple[int, ...]
    yaw_sd: float
    shift_sd: float
    roll_sd: float | None
    pitch_sd: float | None
    roll_agreement: Agreement | None
    jacobian: Array  # (3n, 3n) derivatives of xyz by the network's coordinates, axes included
    bend: Array  # (3n, 4) derivatives of xyz by roll, pitch, yaw and shift of the axes
    axes_covariance: Array  # (2, 2) of yaw (rad) and shift (mm)
    stations: Array  # (used,) x of the midpoints that carry the centreline, in the car
    midpoint_variance: float  # mean variance of such a midpoint's y, mm^2


@dataclass(frozen=True)
class Aligned:
    """Points and sources in axes that already point along the car, before the centreline is chosen."""

    points: CarPoints
    pairs: Pairs
    build: float
    rotation: Array
    origin: Array
    X: Array  # (n, 3)
    sources: Sources  # with what an assumed lean or height adds
    roll_gain: Array  # (3n,) derivative of the roll by the coordinates; zeros where it is assumed
    roll_build: Array  # (3n,) the same times the factory scatter, for the pairs that carry the roll
    roll_sd: float | None
    pitch_gain: Array
    pitch_sd: float | None
    roll_agreement: Agreement | None

    def midpoints(self) -> tuple[Array, Array]:
        """Midpoints (p, 3) in the aligned axes, and the matrix (p, 3n) that gives their y."""
        ends = self.pairs.ends
        middles = (self.X[ends[:, 0]] + self.X[ends[:, 1]]) / 2
        pick = np.zeros((len(ends), self.X.size))
        k = np.arange(len(ends))
        pick[k, rows_for(ends[:, 0], 1)] = pick[k, rows_for(ends[:, 1], 1)] = 0.5
        return middles, pick

    def midpoint_covariance(self) -> Array:
        """Covariance (p, p) of the midpoints' y with the factory scatter of their points; roll's part included."""
        middles, pick = self.midpoints()
        gain = pick + np.outer(middles[:, 2], self.roll_gain)
        read = gain @ self.sources.effects
        made = np.outer(middles[:, 2], self.roll_build)
        return np.asarray(read @ read.T + made @ made.T + np.eye(len(pick)) * max(self.build**2 / 2, NOTHING_SPREAD))


def align(points: CarPoints, pairs: Pairs, build: float, level_sd: float) -> Aligned:
    """Turn the network upright and along the car. build: mm; level_sd: rad, the lean of a car never levelled.

    Needs two pairs whose midpoints do not coincide; the caller checks that.
    """
    ends = pairs.ends
    rotation = _coarse(points, pairs)
    origin = points.xyz[ends[0]].mean(axis=0)
    for _ in range(20):
        X = (points.xyz - origin) @ rotation.T
        sources = points.sources.turned(rotation)
        roll, roll_gain, roll_build, roll_sd, agreement, doubt = _roll(points, pairs, X, sources, build, level_sd)
        pitch, pitch_gain, pitch_sd = _pitch(points, pairs, X, sources, level_sd)
        middles = (X[ends[:, 0]] + X[ends[:, 1]]) / 2
        yaw = np.polyfit(middles[:, 0], middles[:, 1], 1)[0]
        turn = np.array([roll, pitch, yaw])
        rotation = rotation_matrices(-turn[None])[0] @ rotation
        if np.max(np.abs(turn)) < 1e-13:
            break
    sources = _with_lean(points, pairs, X, sources, roll_sd, pitch_sd, level_sd, doubt)
    return Aligned(
        points, pairs, build, rotation, origin, X, sources, roll_gain, roll_build, roll_sd, pitch_gain, pitch_sd,
        agreement,
    )  # fmt: skip


def place(aligned: Aligned, used: tuple[int, ...]) -> Frame:
    """The car's axes with the centreline through the used pairs (numbers into `pairs`)."""
    X, ends = aligned.X, aligned.pairs.ends
    middles, pick = aligned.midpoints()
    chosen = np.array(used)
    C = aligned.midpoint_covariance()[np.ix_(chosen, chosen)]
    line = fit_line(middles[chosen, 0], middles[chosen, 1], C)
    # once turned, the slope is nought and x of a midpoint no longer matters
    turn = rotation_matrices(np.array([[0.0, 0.0, -np.arctan(line.slope)]]))[0]
    shift = line.intercept * np.cos(np.arctan(line.slope))
    Y = X @ turn.T - [0.0, shift, 0.0]
    n = len(X)
    n_sources = len(aligned.sources.labels)
    D = np.column_stack([(Y[ends[chosen]].mean(axis=1))[:, 0], np.ones(len(chosen))])
    weighted = np.linalg.solve(C, D)
    G = np.linalg.solve(D.T @ weighted, weighted.T)  # (yaw, shift) from the midpoints' y
    height = G @ middles[chosen, 2]
    gain = np.zeros((4, 3 * n))
    gain[ROLL], gain[PITCH] = aligned.roll_gain, aligned.pitch_gain
    gain[[YAW, SHIFT]] = G @ pick[chosen] + np.outer(height, aligned.roll_gain)
    # The factory scatter acts through the frame only: where a point stands is the question, not noise.
    made = np.zeros((4, 3 * n))
    made[ROLL] = aligned.roll_build
    made[[YAW, SHIFT]] = G @ pick[chosen] * aligned.build + np.outer(height, aligned.roll_build)
    bend = _bend(Y)
    build_effects, labels = _build_columns(bend, made, aligned)
    anchored = partial(_from_first_pair, ends=ends[0])
    lift = Y[ends[0]].mean(axis=0) * [1.0, 0.0, 1.0]
    final = aligned.sources.turned(turn).joined(build_effects, labels)
    effects = final.effects[:, :n_sources]
    own = gain @ effects
    for first in range(0, n, 100):  # in slices: a large network has room for few such tables
        part = slice(3 * first, 3 * first + 300)
        effects[part] += bend[part] @ own
    anchored(final.effects)
    spread = np.linalg.inv(D.T @ weighted)
    yaw_sd, shift_sd = np.sqrt(np.sum(own[[YAW, SHIFT]] ** 2, axis=1) + np.sum(made[[YAW, SHIFT]] ** 2, axis=1))
    R = turn @ aligned.rotation
    origin = aligned.origin + R.T @ (np.array([0.0, shift, 0.0]) + lift)
    J = anchored(np.eye(3 * n) + bend @ gain)
    by_network = (J.reshape(3 * n, n, 3) @ R).reshape(3 * n, 3 * n)
    return Frame(
        R, origin, Y - lift, final, used, float(yaw_sd), float(shift_sd), aligned.roll_sd, aligned.pitch_sd,
        aligned.roll_agreement, by_network, bend, spread, D[:, 0] - lift[0], float(np.mean(np.diag(C))),
    )  # fmt: skip


def _from_first_pair(effects: Array, ends: Array) -> Array:
    """Effects (3n, k), changed in place, on coordinates whose x and z count from the first pair's midpoint."""
    apart = effects.reshape(-1, 3, effects.shape[1])
    for axis in (0, 2):
        apart[:, axis] -= apart[ends, axis].mean(axis=0)
    return effects


def _bend(Y: Array) -> Array:
    """Derivatives (3n, 4) of the coordinates by (roll, pitch, yaw, shift) of the axes."""
    n = len(Y)
    x, y, z = Y.T
    bend = np.zeros((n, 3, 4))
    bend[:, 0, PITCH], bend[:, 0, YAW] = -z, y
    bend[:, 1, YAW], bend[:, 1, ROLL], bend[:, 1, SHIFT] = -x, z, -1.0
    bend[:, 2, ROLL], bend[:, 2, PITCH] = -y, x
    return bend.reshape(3 * n, 4)


def _build_columns(bend: Array, made: Array, aligned: Aligned) -> tuple[Array, tuple[str, ...]]:
    """Factory scatter as sources: the columns of points that carry the axes, labelled by pair."""
    columns = np.flatnonzero(np.any(made != 0, axis=0))
    pair_of = {int(i): key for key, ends in zip(aligned.pairs.keys, aligned.pairs.ends, strict=True) for i in ends}
    labels = tuple(f"factory scatter of pair {pair_of[int(c) // 3]}" for c in columns)
    return bend @ made[:, columns], labels


def _coarse(points: CarPoints, pairs: Pairs) -> Array:
    """Rotation (3, 3) that points x from the last pair to the first and y to the left."""
    ends = pairs.ends
    across = points.xyz[ends[:, 0]] - points.xyz[ends[:, 1]]
    levelled = np.asarray(points.height_known[ends].all(axis=1))
    across = np.where((np.arange(3) < 2) | levelled[:, None], across, 0.0)
    left = across.mean(axis=0)
    left = left / np.linalg.norm(left)
    middles = points.xyz[ends].mean(axis=1)
    forward = middles[0] - middles[-1]
    if not levelled.any():
        forward[2] = 0.0
    forward -= left * (forward @ left)
    forward /= np.linalg.norm(forward)
    return np.array([forward, left, np.cross(forward, left)])


def _roll(
    points: CarPoints, pairs: Pairs, X: Array, sources: Sources, build: float, level_sd: float
) -> tuple[float, Array, Array, float | None, Agreement | None, float]:
    """Roll (rad) from the rises of the pairs that agree: value, gain, factory part, sd, which agree, and doubt.

    Doubt (rad) is what the pairs' not agreeing adds to the sd: a body twisted half against half has two rolls that
    explain it equally well, and the truth is either.
    """
    n = len(X)
    width = X[pairs.ends[:, 0], 1] - X[pairs.ends[:, 1], 1]
    levelled = np.flatnonzero(points.height_known[pairs.ends].all(axis=1) & (np.abs(width) > NARROWEST))
    nothing = (0.0, np.zeros(3 * n), np.zeros(3 * n), None, None, 0.0)
    if not len(levelled):
        return nothing
    left, right = pairs.ends[levelled].T
    width = width[levelled]
    pick = np.zeros((len(levelled), 3 * n))
    k = np.arange(len(levelled))
    pick[k, rows_for(left, 2)], pick[k, rows_for(right, 2)] = 1.0 / width, -1.0 / width
    read = pick @ sources.effects
    C = read @ read.T + np.diag(2 * build**2 / width**2)
    C += 1e-14 * np.eye(len(C))  # exact heights and no factory scatter leave nothing to weigh by
    lean = pick @ X.ravel()
    agreement = largest_agreeing_set(lean, np.ones((len(lean), 1)), C)
    sets = (agreement.best, *agreement.rivals)
    leans = np.array([_weights(C, s)[0] @ lean[list(s)] for s in sets])
    if agreement.agrees and np.ptp(leans) > DOUBTED * _weights(C, agreement.best)[1]:
        agreement = replace(agreement, best=tuple(range(len(lean))), rivals=(), agrees=False)
    use = np.array(agreement.best if agreement.agrees else range(len(lean)))
    weight, sd = _weights(C, use)
    doubt = 0.0
    if not agreement.agrees and len(lean) > 1:  # a twisted body: its scatter is what the roll is worth
        misfit = float(np.sum((lean - weight @ lean) ** 2 / np.diag(C))) / (len(lean) - 1)
        doubt = sd * np.sqrt(max(misfit - 1.0, 0.0))
        if len(sets) > 1:
            doubt = max(doubt, float(np.max(np.abs(leans - weight @ lean))))
        sd = float(np.hypot(sd, doubt))
    if sd > level_sd and len(sets) == 1:
        return nothing
    gain = weight @ pick[use]
    return float(weight @ lean[use]), gain, gain * build, sd, agreement, float(doubt)


def _weights(C: Array, use: Sequence[int] | Array) -> tuple[Array, float]:
    """Weights of the best mean of some rises with covariance C, and its sd."""
    i = np.asarray(use)
    weight = np.linalg.solve(C[np.ix_(i, i)], np.ones(len(i)))
    return weight / weight.sum(), float(1.0 / np.sqrt(weight.sum()))


def _pitch(
    points: CarPoints, pairs: Pairs, X: Array, sources: Sources, level_sd: float
) -> tuple[float, Array, float | None]:
    """Pitch (rad) of the line through the midpoints of all pairs with heights: value, gain, sd."""
    n = len(X)
    levelled = np.flatnonzero(points.height_known[pairs.ends].all(axis=1))
    if len(levelled) < 2:
        return 0.0, np.zeros(3 * n), None
    middles = X[pairs.ends[levelled]].mean(axis=1)
    x = middles[:, 0] - middles[:, 0].mean()
    if x @ x < 1.0:
        return 0.0, np.zeros(3 * n), None
    slope = x / (x @ x)
    gain = np.zeros(3 * n)
    for side in (0, 1):
        gain[rows_for(pairs.ends[levelled, side], 2)] -= slope / 2
    sd = float(np.linalg.norm(gain @ sources.effects))
    if sd > level_sd:
        return 0.0, np.zeros(3 * n), None
    return float(-(slope @ middles[:, 2])), gain, sd


def _with_lean(
    points: CarPoints, pairs: Pairs, X: Array, sources: Sources, roll_sd: float | None, pitch_sd: float | None,
    level_sd: float, doubt: float,
) -> Sources:  # fmt: skip
    """Add what an unmeasured lean does to plan positions: through known heights, and through assumed ones.

    A lean d of a point z high moves it d*z in plan. Where both are uncertain and independent, the product has sd
    sd(d)*sd(z), which no first derivative shows. Heights count from the mean of the pairs: about any other axis the
    same lean would shift the whole car as well, and that is nobody's question.
    """
    n = len(X)
    height = X[:, 2] - X[pairs.ends, 2].mean()
    if doubt > 0:
        effect = np.zeros((3 * n, 1))
        effect[rows_for(np.arange(n), 1), 0] = doubt * height
        sources = sources.joined(effect, ("the pairs do not agree how far the car leans",))
    for axis, sd, words in ((1, roll_sd, "lean of the car"), (0, pitch_sd, "lean of the car fore and aft")):
        rows = rows_for(np.arange(n), axis)
        if sd is None:
            effect = np.zeros((3 * n, 1))
            effect[rows, 0] = level_sd * height
            sources = sources.joined(effect, (words,))
        if points.assumed_heights.shape[1]:
            effect = np.zeros((3 * n, points.assumed_heights.shape[1]))
            effect[rows] = (level_sd if sd is None else sd) * points.assumed_heights
            sources = sources.joined(effect, (words,) * effect.shape[1])
    return sources
