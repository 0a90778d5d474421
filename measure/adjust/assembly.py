"""Rigid bodies, single points among them, put together by lengths from many starts at once.

One call walks all starts side by side: arrays have the starts first. Loss and damping are those of
`measure.adjust.lateration.polish`: absolute deviations, which beyond CAP count by their logarithm only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.adjust.lateration import CAP
from measure.readings.unknowns import NOWHERE, Array, Index
from measure.rotation import rotation_matrices

STEPS = 60
ENOUGH = 1e-4
"""mm of total misfit; a start that gains less in a step has arrived."""
STUCK = 1e6
"""Damping from which a start will not move any more."""
FINE = 0.5
"""mm under which a misfit is taken as noise."""


@dataclass(frozen=True)
class Assembly:
    """What holds the bodies together. A spot is a point as one body carries it.

    Poses are (starts, bodies, 3, 4): rotation and shift, network from body.
    """

    body: Index  # (spots,) of each spot
    local: Array  # (spots, 3) mm in the body's axes
    ends: Index  # (lengths, 2) spots
    axes: Array  # (lengths, 3) 1 where an axis counts: a plan length leaves z out
    lengths: Array  # (lengths,) mm
    ties: Index  # (ties, 2) spots, the second NOWHERE for the origin
    along: Index  # (ties,) axis of each tie
    values: Array  # (ties,) mm, first less second
    columns: Index  # (bodies, 6) turn and shift among the unknowns, NOWHERE where fixed

    @property
    def size(self) -> int:
        """How many unknowns there are."""
        return int(self.columns.max()) + 1

    @staticmethod
    def of_points(ends: Index, lengths: Array, n: int) -> Assembly:
        """N points in plan and the lengths (k,) between them."""
        columns = np.full((n, 6), NOWHERE)
        columns[:, 3:5] = np.arange(2 * n).reshape(n, 2)
        return Assembly(
            np.arange(n), np.zeros((n, 3)), ends, np.tile([1.0, 1.0, 0.0], (len(ends), 1)), lengths,
            np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0), columns,
        )  # fmt: skip

    def arms(self, poses: Array) -> Array:
        """Each spot (starts, spots, 3) as seen from its body's origin, in the network's axes."""
        return np.asarray(np.einsum("skij,kj->ski", poses[:, self.body, :, :3], self.local))

    def places(self, poses: Array) -> Array:
        """Each spot (starts, spots, 3) in the network."""
        return self.arms(poses) + poses[..., 3][:, self.body]

    def misses(self, poses: Array) -> Array:
        """Wanted less present value (starts, lengths + ties) in mm."""
        places = self.places(poses)
        leg = (places[:, self.ends[:, 1]] - places[:, self.ends[:, 0]]) * self.axes
        short = self.lengths - np.linalg.norm(leg, axis=2)
        return np.concatenate([short, self.values - self._along(places)], axis=1)

    def _along(self, places: Array) -> Array:
        first = places[:, self.ties[:, 0], self.along]
        return first - np.where(self.ties[:, 1] == NOWHERE, 0.0, places[:, self.ties[:, 1], self.along])

    def jacobian(self, poses: Array) -> Array:
        """Derivatives (starts, lengths + ties, unknowns) of the present values."""
        arms = self.arms(poses)
        places = arms + poses[..., 3][:, self.body]
        leg = (places[:, self.ends[:, 1]] - places[:, self.ends[:, 0]]) * self.axes
        unit = leg / np.maximum(np.linalg.norm(leg, axis=2), 1e-9)[:, :, None]
        pull = np.concatenate([unit, np.broadcast_to(np.eye(3)[self.along], (len(poses), len(self.along), 3))], axis=1)
        J = np.zeros((len(poses), pull.shape[1], self.size + 1))  # the last column takes what is fixed
        row = np.arange(pull.shape[1])[:, None]
        spots = np.concatenate([self.ends[:, ::-1], self.ties])
        for side, sign in ((0, 1.0), (1, -1.0)):
            on = spots[:, side] != NOWHERE
            mine, force = spots[on, side], sign * pull[:, on]
            columns = self.columns[self.body[mine]]
            # turning a body by w moves its spot by w x arm, and force . (w x arm) = w . (arm x force)
            J[:, row[on], columns] = np.concatenate([np.cross(arms[:, mine], force), force], axis=2)
        return J[:, :, :-1]

    def moved(self, poses: Array, step: Array) -> Array:
        """The poses after a step (starts, unknowns); turns are applied on the left."""
        own = np.concatenate([step, np.zeros((len(step), 1))], axis=1)[:, self.columns]
        turned = poses.copy()
        if (self.columns[:, :3] != NOWHERE).any():
            turn = rotation_matrices(own[:, :, :3].reshape(-1, 3)).reshape(*own.shape[:2], 3, 3)
            turned[..., :3] = turn @ poses[..., :3]
        turned[..., 3] += own[:, :, 3:]
        return turned

    def settled(self, poses: Array) -> tuple[Array, Array]:
        """All starts walked downhill: (poses, total misfit (starts,) in mm)."""
        poses, total = poses.copy(), total_misfit(self.misses(poses))
        damping = np.full(len(poses), 1e-3)
        walking = np.arange(len(poses))
        for _ in range(STEPS):
            now = poses[walking]
            miss, J = self.misses(now), self.jacobian(now)
            size = np.maximum(np.abs(miss), FINE)
            weighted = J / (size * np.maximum(size / CAP, 1.0))[:, :, None]
            N = np.swapaxes(J, 1, 2) @ weighted
            slope = np.einsum("sij,si->sj", weighted, miss)
            diagonal = np.einsum("sii->si", N)
            N[:, np.arange(self.size), np.arange(self.size)] += damping[walking, None] * diagonal + 1e-9
            trial = self.moved(now, np.linalg.solve(N, slope[:, :, None])[:, :, 0])
            then = total_misfit(self.misses(trial))
            gain = total[walking] - then
            better = gain > 0
            poses[walking[better]], total[walking[better]] = trial[better], then[better]
            damping[walking] = np.where(better, np.maximum(damping[walking] / 10, 1e-9), damping[walking] * 10)
            walking = walking[np.where(better, gain > ENOUGH, damping[walking] < STUCK)]
            if not len(walking):
                break
        return poses, total


def total_misfit(misses: Array) -> Array:
    """Sum of absolute misfits (starts,) in mm, by their logarithm beyond CAP."""
    miss = np.abs(misses)
    return np.asarray(np.where(miss > CAP, CAP * (1.0 + np.log(np.maximum(miss, CAP) / CAP)), miss).sum(axis=1))
