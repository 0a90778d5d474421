"""Plans from many starts: where lengths are few, growing point by point misses arrangements that fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.adjust.assembly import Assembly
from measure.adjust.lateration import Edges
from measure.readings.unknowns import Array

STARTS = 96
MANY_POINTS = 24
"""Points beyond which there are fewer starts, since each takes longer."""
SCATTER = (60.0, 200.0, 500.0, 1000.0)
"""mm (sd) about the expected plan, in turn; the widest is no plan at all."""
ROOM = 500.0
"""mm, half the width of a car: what is expected of a point of which nothing is said."""


def settled_plans(edges: Edges, expected: Array, given: Sequence[Array]) -> list[Array]:
    """Plans (n, 2) after a walk downhill, best first: from those given, and from the expected plan (n, 2) by lot.

    The lot is fixed, so that the same sheet is read alike each time.
    """
    n = len(expected)
    lot = np.random.default_rng(n)
    known = ~np.isnan(expected[:, 0])
    reach = float(np.max(edges.lengths, initial=2 * ROOM))
    home = expected - expected[known].mean(axis=0) if known.any() else expected
    extent = float(np.ptp(home[known, 0])) if known.any() else 0.0
    starts = [xy[None] for xy in given]
    count = int(STARTS * min(1.0, (MANY_POINTS / max(n, 1)) ** 2)) // len(SCATTER)
    for scatter in SCATTER:
        plans = np.where(known[:, None], home * [reach / max(extent, ROOM), 1.0], 0.0)
        wide = np.where(known[:, None], scatter, [reach / 2, ROOM])
        starts.append(plans + wide * lot.standard_normal((count, n, 2)))
    xy = np.concatenate(starts)
    poses = np.zeros((len(xy), n, 3, 4))
    poses[..., :3] = np.eye(3)
    poses[:, :, :2, 3] = xy
    poses, total = Assembly.of_points(edges.ends, edges.lengths, n).settled(poses)
    order = np.argsort(np.round(total, 3), kind="stable")
    return list(poses[order][:, :, :2, 3])
