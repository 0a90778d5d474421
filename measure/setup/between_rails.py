"""The pose that is least off central and square and still goes between the rails."""

from __future__ import annotations

from itertools import combinations
from math import radians

import numpy as np

from measure.readings.unknowns import Array
from measure.setup.mounts import Wanted
from measure.setup.rails_beside import Rail

TOUCHING = 1e-9
"""mm by which a gap may fall short through rounding."""


def least_off(
    wanted: Wanted, x: float, rails: dict[str, Rail], offset_limit: float, angle_limit: float
) -> tuple[float, float] | None:
    """(offset mm, yaw rad) with the wanted clearance on both sides; (0, 0) where the car allows it, None where nothing.

    Least in the sense of (offset / its limit)^2 + (yaw / its limit)^2, since a millimetre and a degree weigh alike only
    by what is allowed of each. angle_limit in degrees. Each edge gives one condition, linear in offset and yaw.
    """
    scale = np.array([offset_limit or 1.0, radians(angle_limit or 1.0)])
    A, b = conditions(wanted, x, rails)
    if not len(b):
        return 0.0, 0.0
    best = _nearest_to_nought(A * scale, b)
    return None if best is None else (float(best[0] * scale[0]), float(best[1] * scale[1]))


def conditions(wanted: Wanted, x: float, rails: dict[str, Rail]) -> tuple[Array, Array]:
    """A (k, 2), b (k,): A @ (offset mm, yaw rad) <= b keeps every edge clear of its rail."""
    A, b = [], []
    for ahead, aside, side in wanted.edges():
        if side in rails:
            out = 1.0 if side == "L" else -1.0
            A.append((out, out * ahead))
            b.append(out * (rails[side].y(x + ahead) - aside) - wanted.mount.clearance)
    return np.array(A).reshape(-1, 2), np.array(b)


def shortfall(wanted: Wanted, x: float, rails: dict[str, Rail]) -> float:
    """How much too wide the mount with its clearances is for the rails where they stand closest, mm."""
    edges = wanted.edges()
    across = max(y for _, y, side in edges if side == "L") - min(y for _, y, side in edges if side == "R")
    room = min(rails["L"].y(x + ahead) - rails["R"].y(x + ahead) for ahead, _, _ in edges)
    return across + 2 * wanted.mount.clearance - room


def _nearest_to_nought(A: Array, b: Array) -> Array | None:
    """The shortest v (2,) with A v <= b: nought, a foot on one edge, or a corner of two."""

    def fits(v: Array) -> bool:
        return bool(np.all(A @ v <= b + TOUCHING))

    found = [np.zeros(2)] if fits(np.zeros(2)) else []
    found += [v for a, c in zip(A, b, strict=True) if fits(v := a * c / (a @ a))]
    for i, j in combinations(range(len(b)), 2):
        pair = A[[i, j]]
        if abs(np.linalg.det(pair)) > 1e-12 and fits(v := np.asarray(np.linalg.solve(pair, b[[i, j]]), dtype=float)):
            found.append(v)
    return min(found, key=lambda v: (round(float(v @ v), 12), tuple(v))) if found else None
