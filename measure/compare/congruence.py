"""Which common points stood still: the global congruence test, and the largest set that kept its shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from measure.adjust.critical import FAMILY
from measure.body.agreement import Agreement, largest_agreeing_set
from measure.body.misfit import Members
from measure.compare.overlay import Overlay, Pair
from measure.compare.significance import improbable
from measure.readings.unknowns import Array, Index

TURNED = 1e-3
"""rad; a pose that turned less needs no second look: what is left out is its square."""
MOST_ROUNDS = 4
A_PIECE = 3
"""Points that make a part of the car of their own."""


@dataclass(frozen=True)
class GlobalTest:
    """Whether all common points together kept their shape. `freedom_of_sd` is infinite where every sd was stated."""

    square: float
    freedom: int
    freedom_of_sd: float
    chance: float

    @property
    def passed(self) -> bool:
        """At 5 %."""
        return self.chance >= FAMILY


def congruent(pair: Pair) -> tuple[Overlay, Agreement]:
    """The overlay under the pose of the largest congruent set, and that set with its rivals."""
    for _ in range(MOST_ROUNDS):
        overlay = pair.overlay()
        found = largest_agreeing_set(overlay.difference, overlay.design, overlay.covariance, overlay.rows)
        if pair.refined(overlay, found.best) < TURNED:
            break
    return pair.overlay(), replace(found, rivals=_rivals(found))


def _rivals(found: Agreement) -> tuple[tuple[int, ...], ...]:
    """Sets of equal size that may as well be the ones that stood still.

    Where three points or more are exchanged, both parts kept their shape while they moved against each other: whose
    misfit is smaller says nothing of which moved.
    """
    best = set(found.best)
    return tuple(s for s in found.as_large if s in found.rivals or len(best.difference(s)) >= A_PIECE)


def global_test(overlay: Overlay) -> GlobalTest:
    """The congruence test over all common points."""
    everything = Members.of(overlay.difference, overlay.design, overlay.covariance, overlay.rows)
    square, freedom = everything.misfit(range(len(everything)))
    of_sd = effective_freedom(overlay.effects, overlay.freedom)
    return GlobalTest(square, freedom, of_sd, improbable(square, freedom, of_sd) if freedom else 1.0)


def moves_together(overlay: Overlay, points: Sequence[int]) -> tuple[int, ...]:
    """The largest part of some points, three or more, that kept its shape: it moved as one piece."""
    rows = [overlay.rows[k] for k in points]
    if len(rows) < A_PIECE:
        return ()
    i: Index = np.concatenate(rows)
    ends = np.cumsum([0, *map(len, rows)])
    own = [np.arange(a, b) for a, b in pairwise(ends)]
    found = largest_agreeing_set(overlay.difference[i], overlay.design[i], overlay.covariance[np.ix_(i, i)], own)
    return tuple(points[k] for k in found.best) if found.agrees and len(found.best) >= A_PIECE else ()


def effective_freedom(effects: Array, freedom: Array) -> float:
    """Degrees of freedom of a covariance effects @ effects.T (Welch-Satterthwaite on its trace).

    effects (k, s), freedom (s,): sources that share one estimated sd are one component (JCGM 100:2008 G.4.1).
    """
    estimated = np.isfinite(freedom)
    size = np.sum(effects**2, axis=0)
    each = sum(float(size[freedom == f].sum()) ** 2 / float(f) for f in np.unique(freedom[estimated]))
    return float(size.sum()) ** 2 / each if each > 0 else float("inf")
