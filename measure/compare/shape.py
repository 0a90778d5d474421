"""The points of one stage as a shape: upright axes along the car, and every source of uncertainty but the factory's.

The factory scatter plays no part: both stages measure the same body. Nor does the uncertainty of the car's axes, since
one shape is laid over the other anyway.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from measure.adjust.rises import rises_held
from measure.body.points import rows_for
from measure.readings.tape import HEIGHT_SPREAD
from measure.readings.unknowns import Array
from measure.survey import Surveyed


@dataclass(frozen=True)
class Shape:
    """Points (n,) in upright axes, the car's own where `frame` is "car"; mm.

    `effects` (3n, s) of one sd of each source; `freedom` (s,) degrees of freedom of a source whose sd was estimated,
    else infinite. `lean` (3n, k): what a lean that was not measured does in plan; it matters only where heights are
    missing, for two shapes with heights are turned onto each other in space.
    """

    names: tuple[str, ...]
    xyz: Array
    effects: Array
    freedom: Array
    height_known: np.ndarray
    lean: Array
    frame: Literal["car", "network"]


def shape_of(surveyed: Surveyed) -> Shape:
    """The held points of a stage."""
    points, standing = surveyed.points, surveyed.standing
    level_sd = float(np.radians(surveyed.job.sd.level))
    if standing is None:
        return _in_the_network(surveyed, level_sd)
    frame = standing.frame
    effects = points.sources.turned(frame.car_from_network).effects
    lean_sd = (frame.pitch_sd or level_sd, frame.roll_sd or level_sd)
    height = frame.xyz[:, 2] - frame.xyz[:, 2].mean()
    lean = _lean(height, lean_sd)
    # an uncertain lean of a point of uncertain height: a product that no first derivative shows
    assumed = points.assumed_heights
    products = np.zeros((effects.shape[0], 2 * assumed.shape[1]))
    for axis in (0, 1):
        part = slice(axis * assumed.shape[1], (axis + 1) * assumed.shape[1])
        products[rows_for(np.arange(len(height)), axis), part] = lean_sd[axis] * assumed
    return Shape(
        points.names, frame.xyz, np.hstack([effects, products]),
        np.append(points.sources.freedom, np.full(products.shape[1], np.inf)), points.height_known, lean, "car",
    )  # fmt: skip


def _in_the_network(surveyed: Surveyed, level_sd: float) -> Shape:
    """Where there is no centreline: every held point in the axes of the network."""
    solved = surveyed.solved
    final, u = solved.final, solved.site.unknowns
    wanted = [p.name for p in surveyed.job.points if p.name in u.point_idx and solved.held[u.point_idx[p.name]]]
    idx = np.array([u.point_idx[name] for name in wanted], dtype=np.int64)
    columns = u.point_columns[idx].ravel()
    effects = np.zeros((len(columns), len(final.network.rows)))
    there = columns >= 0
    effects[there] = np.asarray(final.A @ final.Q[:, columns[there]]).T
    levelled = rises_held(final, solved.held, solved.site.level_sets)[idx]
    sets = np.where(levelled, solved.site.level_sets[idx], -1)
    known = levelled & (sets == _commonest(sets[levelled]))
    xyz = final.state.positions[idx].copy()
    lean = _lean(np.where(known, xyz[:, 2] - (xyz[known, 2].mean() if known.any() else 0.0), 0.0), (level_sd,) * 2)
    apart = np.zeros((len(columns), 2 * len(idx)))  # each point whose height is not known leans by itself
    for axis in (0, 1):
        for k in np.flatnonzero(~known):
            apart[3 * k + axis, axis * len(idx) + k] = level_sd * HEIGHT_SPREAD
    return Shape(
        tuple(wanted), xyz, effects, np.full(effects.shape[1], np.inf), known, np.hstack([lean, apart]), "network"
    )


def _lean(height: Array, lean_sd: tuple[float, float]) -> Array:
    """(3n, 2): one sd of lean fore and aft moves x, one sd sideways moves y, by height."""
    lean = np.zeros((3 * len(height), 2))
    for axis in (0, 1):
        lean[rows_for(np.arange(len(height)), axis), axis] = lean_sd[axis] * height
    return lean


def _commonest(labels: np.ndarray) -> int:
    values, counts = np.unique(labels, return_counts=True)
    return int(values[np.argmax(counts)]) if len(values) else -1
