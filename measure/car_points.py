"""From an adjusted stage to the points of a car: where they stand and every source of their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.adjust.rises import rises_held
from measure.adjust.solver import Adjustment
from measure.adjust.stage import Solved
from measure.adjust.variance import COMPONENTS
from measure.body.points import CarPoints, Sources
from measure.job import Job, Point
from measure.photo_scale import disagreeing_lengths
from measure.readings.kind import point_of
from measure.readings.reading import Row
from measure.readings.tape import HEIGHT_SPREAD
from measure.readings.unknowns import Array


def car_points(job: Job, solved: Solved) -> CarPoints:
    """The held points of a car, in the order of points.csv; none where there are no two pairs to see it by."""
    u = solved.site.unknowns
    wanted = [p for p in job.points if p.name in u.point_idx and solved.held[u.point_idx[p.name]]]
    if len(job.pairs()) < 2:
        wanted = []
    idx = np.array([u.point_idx[p.name] for p in wanted], dtype=np.int64)
    xyz = solved.final.state.positions[idx].copy()
    effects = _without_datum(_reading_effects(solved.final, idx), xyz)
    labels = tuple(source_label(row) for row in solved.final.network.rows)
    by_kind = {s.kind: s.degrees_of_freedom for s in solved.scaled}
    freedom = np.array([by_kind.get(COMPONENTS.get(kind, ""), np.inf) for kind in solved.final.network.kinds])
    assumed, known = _assume_heights(job, solved, wanted, idx, xyz)
    sources = Sources(effects, labels, freedom)
    if assumed.shape[1]:
        columns = np.zeros((xyz.size, assumed.shape[1]))
        columns[2::3] = assumed
        sources = sources.joined(columns, ("heights not measured",) * assumed.shape[1])
    return CarPoints(
        tuple(p.name for p in wanted), xyz, sources, known, assumed,
        _dropped_once(solved, [p.name for p in wanted]),
        scaled="printed" not in solved.final.network.kinds and not disagreeing_lengths(solved),
    )  # fmt: skip


def _reading_effects(adjustment: Adjustment, idx: np.ndarray) -> Array:
    """(3p, m): what one sd of each reading does to the points. Effects @ effects.T is their covariance."""
    columns = adjustment.network.unknowns.point_columns[idx].ravel()
    there = columns >= 0
    effects = np.zeros((len(columns), len(adjustment.network.rows)))
    for rows in np.array_split(np.flatnonzero(there), 1 + len(columns) // 300):  # in slices: it may be a large table
        effects[rows] = np.asarray(adjustment.A @ adjustment.Q[:, columns[rows]]).T
    return effects


def _without_datum(effects: Array, xyz: Array) -> Array:
    """Effects (3p, m), changed in place, less the part that shifts and turns all points together in plan.

    No figure of the car depends on where the network was held, but the weights of the centreline would: with two marks
    called exact, or a base line, they would differ from those of the same tapes in a free network.
    """
    if not len(xyz):
        return effects
    arm = xyz[:, :2] - xyz[:, :2].mean(axis=0)
    rigid = np.zeros((len(xyz), 3, 3))
    rigid[:, 0, 0] = rigid[:, 1, 1] = 1.0
    rigid[:, 0, 2], rigid[:, 1, 2] = -arm[:, 1] / 1000.0, arm[:, 0] / 1000.0
    basis = rigid.reshape(-1, 3)
    effects -= basis @ (np.linalg.pinv(basis) @ effects)
    return effects


def _assume_heights(
    job: Job, solved: Solved, wanted: Sequence[Point], idx: np.ndarray, xyz: Array
) -> tuple[Array, np.ndarray]:
    """Fill in heights that were not measured, changing z of xyz: effects (p, k) of each assumption, and what is known.

    Heights that hang together only among themselves keep their differences; how they stand to the rest is assumed.
    """
    measured = rises_held(solved.final, solved.held, solved.site.level_sets)[idx]
    sets = np.where(measured, solved.site.level_sets[idx], -1)
    main, count = -1, 0
    for label in np.unique(sets[measured]):
        if int(np.sum(sets == label)) > count:
            main, count = int(label), int(np.sum(sets == label))
    typical = float(xyz[sets == main, 2].mean()) if count else 0.0
    columns: list[Array] = []
    for label in np.unique(sets[measured]):
        if label != main:
            mine = sets == label
            xyz[mine, 2] += typical - xyz[mine, 2].mean()
            columns.append(np.where(mine, HEIGHT_SPREAD, 0.0))
    groups: dict[str, list[int]] = {}
    for i, point in enumerate(wanted):
        if not measured[i]:
            groups.setdefault(point.pair or point.part or point.name, []).append(i)
    for members in groups.values():
        twin = next((k for k, p in enumerate(wanted) if measured[k] and _twins(p, wanted[members[0]])), None)
        factory = [solved.site.assumed_heights.get(wanted[i].name) for i in members]
        if twin is not None:
            xyz[members, 2] = xyz[twin, 2]
            spread = float(np.hypot(np.sqrt(2.0) * job.sd.build, np.radians(job.sd.level) * 1000.0))
        elif None not in factory:
            xyz[members, 2] = [f for f in factory if f is not None]
            spread = job.sd.build
        else:
            xyz[members, 2] = typical
            spread = HEIGHT_SPREAD
        column = np.zeros(len(wanted))
        column[members] = spread
        columns.append(column)
    assumed = np.array(columns).T.reshape(len(wanted), len(columns))
    return assumed, measured


def _twins(a: Point, b: Point) -> bool:
    return a.side != b.side and (
        (a.pair is not None and a.pair == b.pair) or (bool(a.part) and a.part == b.part and a.kind == "axle")
    )


def _dropped_once(solved: Solved, names: Sequence[str]) -> tuple[bool, ...]:
    """True for each point where one drop of the bob alone says where it stands in plan."""
    drops: dict[str, set[str]] = {}
    otherwise: set[str] = set()
    for row, on in zip(solved.final.network.rows, solved.final.active, strict=True):
        reading = row.reading
        if on and reading.kind == "plumb":
            drops.setdefault(point_of(reading.names[0]), set()).add(reading.names[0])
        elif on and reading.kind in ("xyz", "target", "car", "bar"):
            otherwise.update(reading.names)
    loose = solved.site.job.sd.plumb > 0
    return tuple(loose and len(drops.get(name, ())) == 1 and name not in otherwise for name in names)


def source_label(row: Row) -> str:
    """A row as a source of uncertainty, in shop words; the rows of one reading share it."""
    reading = row.reading
    where = f" ({reading.source.replace(':', ' line ')})" if reading.source else ""
    if reading.kind == "plumb":
        return f"the bob at {reading.names[0]}"
    if reading.kind in ("scale", "zero"):
        return f'{reading.kind} of tape "{reading.via}"' if reading.via else f"{reading.kind} of the tape"
    if reading.kind in ("floor", "car"):
        return f"tape {reading.names[0]} to {reading.names[1]}{where}"
    if reading.kind == "bar":
        return f"bar {reading.names[0]} to {reading.names[1]}{where}"
    if reading.kind == "target":
        return f"the pictures of {reading.names[0]}"
    if reading.kind == "lens":
        return "what was known of the lens beforehand"
    if reading.kind == "printed":
        return "the printed size of the targets"
    if reading.kind == "levels":
        return f"level {reading.names[0]} to {reading.names[1]}{where}"
    words = {"heights": "height of", "marks": "base-line mark of", "xyz": "place of"}
    return f"{words.get(reading.kind, reading.kind)} {reading.names[0]}{where}"
