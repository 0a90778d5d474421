"""How far each common point moved against the points that stood still, and what that is worth.

A point is measured against the pose of the *other* stable points, so that none vouches for itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from measure.adjust.critical import FAMILY, coverage_factor
from measure.body.misfit import RANK
from measure.compare.congruence import effective_freedom
from measure.compare.ellipsoid import distances
from measure.compare.overlay import Overlay
from measure.compare.significance import critical_square, each_of, seen_factor
from measure.readings.unknowns import Array

Verdict = Literal["moved", "held", "undecided"]


@dataclass(frozen=True)
class Movement:
    """One point's movement (k,) mm, x and y or x, y and z of the BEFORE axes, with its covariance (k, k).

    `least` and `could_be` are the shortest and longest movements of the 95 % region; `smallest_seen` the movement
    that is significant with 80 % power in the worst direction.
    """

    name: str
    vector: Array
    covariance: Array
    u95: Array
    significant: bool
    least: float
    could_be: float
    smallest_seen: float

    def verdict(self, limit: float) -> Verdict:
        """By the whole region: never by a length against its sd."""
        if self.least > limit:
            return "moved"
        return "held" if self.could_be <= limit else "undecided"


def movements(overlay: Overlay, stable: Sequence[int]) -> list[Movement | None]:
    """One for each common point; None where the other stable points do not hold the pose."""
    tests = len(overlay.names)
    return [_movement(overlay, k, [s for s in stable if s != k], tests) for k in range(tests)]


def _movement(overlay: Overlay, point: int, others: Sequence[int], tests: int) -> Movement | None:
    if not others:
        return None
    i, own = np.concatenate([overlay.rows[k] for k in others]), overlay.rows[point]
    D = overlay.design[i]
    size = np.linalg.svd(D, compute_uv=False)
    if len(i) < D.shape[1] or size[-1] <= 1e4 * RANK * size[0]:
        return None
    C = overlay.covariance[np.ix_(i, i)]
    weighted = np.linalg.solve(C, D)
    gain = np.linalg.solve(D.T @ weighted, weighted.T)
    # correlation of the point with the others: what they did not explain of themselves foretells part of it
    across = np.linalg.solve(C, overlay.covariance[np.ix_(i, own)]).T
    pick = np.zeros((len(own), len(overlay.difference)))
    pick[:, own] = np.eye(len(own))
    pick[:, i] = -overlay.design[own] @ gain - across @ (np.eye(len(i)) - D @ gain)
    vector, effects = pick @ overlay.difference, pick @ overlay.effects
    covariance = effects @ effects.T
    k, freedom = len(own), effective_freedom(effects, overlay.freedom)
    sd = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    of_axes = [coverage_factor(effective_freedom(row[None], overlay.freedom)) for row in effects]
    chance = each_of(tests)
    least, could_be = distances(vector, covariance, float(np.sqrt(critical_square(k, freedom, FAMILY))))
    region_of_all, _ = distances(vector, covariance, float(np.sqrt(critical_square(k, freedom, chance))))
    worst_sd = float(np.sqrt(max(np.linalg.eigvalsh(covariance)[-1], 0.0)))
    return Movement(
        overlay.names[point], vector, covariance, np.array(of_axes) * sd, region_of_all > 0, least, could_be,
        seen_factor(k, round(freedom, 3), chance) * worst_sd,
    )  # fmt: skip


def under_all(verdicts: Iterable[Verdict]) -> Verdict:
    """What holds under every alternative; undecided where they differ."""
    each = set(verdicts)
    return each.pop() if len(each) == 1 else "undecided"
