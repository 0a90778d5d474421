"""The points of a car as the body room sees them: where they stand, and every source of their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from measure.readings.unknowns import Array, Index


@dataclass(frozen=True)
class Sources:
    """Independent sources of uncertainty, one a column, each scaled to one standard deviation.

    `effects` (3n, s) mm: what one sd of each source does to (x, y, z) of each point; the covariance of the points is
    effects @ effects.T. `labels` says in shop words where each comes from; `freedom` (s,) the degrees of freedom of a
    source whose sd was estimated, infinite for one that was stated.
    """

    effects: Array
    labels: tuple[str, ...]
    freedom: Array

    def joined(self, effects: Array, labels: tuple[str, ...]) -> Sources:
        """With further sources whose sd are stated."""
        return Sources(
            np.hstack([self.effects, effects]),
            self.labels + labels,
            np.append(self.freedom, np.full(len(labels), np.inf)),
        )

    def turned(self, R: Array) -> Sources:
        """The same sources in axes turned by R (3, 3)."""
        apart = self.effects.reshape(-1, 3, self.effects.shape[1])
        return replace(self, effects=(R @ apart).reshape(self.effects.shape))

    @cached_property
    def named(self) -> tuple[tuple[str, ...], Index]:
        """Every label once, and for each source (s,) the number of its label."""
        numbers: dict[str, int] = {}
        which = [numbers.setdefault(label, len(numbers)) for label in self.labels]
        return tuple(numbers), np.array(which, dtype=np.int64)


@dataclass(frozen=True)
class CarPoints:
    """Points (n,) held in one rigid body. Coordinates and sources are in the network's axes, mm.

    `height_known` (n,): z was measured; elsewhere z is assumed and its uncertainty is among the sources.
    `assumed_heights` (n, k): effect of one sd of each assumed height on z, for what a lean makes of it.
    """

    names: tuple[str, ...]
    xyz: Array  # (n, 3)
    sources: Sources
    height_known: Array
    assumed_heights: Array
    dropped_once: tuple[bool, ...]  # the point's plan position rests on a single drop of the bob
    scaled: bool = True  # a measured length holds the size of it all; without one, only angles can be judged

    def index(self, name: str) -> int:
        """Number of a point; KeyError where the car does not hold it."""
        try:
            return self.names.index(name)
        except ValueError:
            raise KeyError(name) from None


def rows_for(points: np.ndarray | list[int], axis: int) -> Array:
    """Rows of the (3n,) coordinate vector of some points' x (0), y (1) or z (2)."""
    return np.asarray(3 * np.asarray(points, dtype=np.int64) + axis)
