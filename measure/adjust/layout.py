"""What points.csv says of a car's layout before anything is measured: sides, and front to back.

Used only to tell mirror images apart and to point the network; it never moves a figure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.job import Job
from measure.readings.unknowns import Array, Index
from measure.rigid_fit import rigid_fit


@dataclass(frozen=True)
class Layout:
    """Sides (n,) +1 left, -1 right, 0 centre or unknown; pairs as (front-to-back order, left node, right node).

    `factory` (n, 2) is the chart's x, y, NaN where it has none.
    """

    sides: Array
    pairs: Index  # (p, 2) left and right node, front first
    factory: Array

    @staticmethod
    def of(job: Job, names: tuple[str, ...]) -> Layout:
        """The layout of the named points."""
        idx = {name: i for i, name in enumerate(names)}
        points = {p.name: p for p in job.points}
        sides = np.array([{"L": 1.0, "R": -1.0}.get(points[n].side, 0.0) for n in names])
        pairs = [(idx[a.name], idx[b.name]) for _, a, b in job.pairs() if a.name in idx and b.name in idx]
        known = [(points[n].x, points[n].y) for n in names]
        factory = np.array([(np.nan, np.nan) if x is None or y is None else (x, y) for x, y in known])
        return Layout(sides, np.array(pairs, dtype=np.int64).reshape(-1, 2), factory.reshape(-1, 2))

    def expected(self) -> Array:
        """A rough plan (n, 2), x forward and y left, NaN where nothing is said: the chart's, else pairs in a row."""
        xy = self.factory.copy()
        if np.isnan(xy).any():
            xy[:] = np.nan
            for k, (left, right) in enumerate(self.pairs):
                xy[left], xy[right] = (-400.0 * k, 450.0), (-400.0 * k, -450.0)
        return xy

    def oriented(self, xy: Array) -> tuple[Array, float]:
        """Positions turned (and mirrored, where that fits better) so that x points forward, and their score.

        The score counts sided points on their side and consecutive pairs in their order; higher is better. Where
        both images score alike (sides alone, no pairs), the chart decides.
        """
        images = []
        for image in (xy, xy * [1.0, -1.0]):
            R, t = self.forward_from(image)
            images.append(image @ R.T + t)
        best = max(images, key=lambda turned: (self.score(turned), -self.from_chart(turned)))
        return best, self.score(best)

    def from_chart(self, xy: Array) -> float:
        """Root mean square distance (whole mm) of positions (n, 2) from the chart's; 0 where it gives too few."""
        both = ~np.isnan(self.factory[:, 0]) & ~np.isnan(xy[:, 0])
        if both.sum() < 3:
            return 0.0
        R, t = rigid_fit(xy[both], self.factory[both])
        gap = xy[both] @ R.T + t - self.factory[both]
        return round(float(np.sqrt(np.mean(np.sum(gap**2, axis=1)))))

    def forward_from(self, xy: Array) -> tuple[Array, Array]:
        """Rotation (2, 2) and shift that point positions (n, 2) as expected, never mirrored."""
        expected = self.expected()
        both = ~np.isnan(expected[:, 0]) & ~np.isnan(xy[:, 0])
        if both.sum() < 2:
            return np.eye(2), np.zeros(2)
        return rigid_fit(xy[both], expected[both])

    def score(self, xy: Array) -> float:
        """How many sided points and consecutive pairs stand as points.csv says, in axes x forward and y left."""
        pairs = self.pairs
        middle = (xy[pairs[:, 0], 1] + xy[pairs[:, 1], 1]) / 2 if len(pairs) else np.zeros(1)
        line = np.nanmedian(middle) if len(middle) and not np.isnan(middle).all() else 0.0
        right_side = np.nansum(np.sign((xy[:, 1] - line) * self.sides))
        along = (xy[pairs[:, 0], 0] + xy[pairs[:, 1], 0]) / 2
        twins = np.nansum(np.sign(xy[pairs[:, 0], 1] - xy[pairs[:, 1], 1]))
        return float(right_side + twins + np.nansum(np.sign(along[:-1] - along[1:])))
