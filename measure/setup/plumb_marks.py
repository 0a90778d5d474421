"""The plumb marks on the floor as places to hold a tape at, and how uncertain each is in the car's axes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.body.frame import Frame, align, place
from measure.body.points import CarPoints, Sources
from measure.body.stand import Stand
from measure.job import Job
from measure.readings.unknowns import Array, Index
from measure.survey import Surveyed

MOST_MARKS = 60
"""The nearest so many marks are tried; farther ones are not worth a tape."""
REACH = 1000.0
"""mm between the two heights at which a plumb line is looked at; what lies between follows a straight line."""


@dataclass(frozen=True)
class Marks:
    """Plumb marks (m,): the point above, xy (m, 2) in the network, effects (m, 2, s) of the car points' sources.

    `dropped` false: this stage has no marks; they are to be dropped, and the bob's error is among the last sources.
    """

    names: tuple[str, ...]
    xy: Array
    effects: Array
    dropped: bool
    labels: tuple[str, ...] = ()


def plumb_marks(surveyed: Surveyed, standing: Stand, near: Array) -> Marks:
    """The first marks under the held points, those nearest to near (2,) in the network."""
    points, solved = standing.points, surveyed.solved
    u, state = solved.final.network.unknowns, solved.final.state
    # first drops only (NAME#2 is no point), and none under what is itself in question
    plain = [n for n in points.names if surveyed.job.point(n).kind not in ("face", "mount")]
    here = [i for i, mark in enumerate(u.marks) if mark in plain]
    if len(here) >= 2:
        idx = _nearest(state.marks[here], near)
        chosen = np.array(here)[idx]
        effects = _mark_effects(surveyed, points, state.marks[chosen], u.mark_columns[chosen])
        more = points.sources.effects.shape[1] - effects.shape[2]
        effects = np.concatenate([effects, np.zeros((len(chosen), 2, more))], axis=2)
        return Marks(tuple(u.marks[i] for i in chosen), state.marks[chosen], effects, dropped=True)
    numbers = [points.index(name) for name in plain]
    idx = np.array(numbers)[_nearest(points.xyz[numbers, :2], near)]
    own = points.sources.effects.reshape(len(points.names), 3, -1)[idx, :2]
    bob = surveyed.job.sd.plumb * np.eye(2 * len(idx)).reshape(len(idx), 2, -1)
    names = tuple(points.names[i] for i in idx)
    labels = tuple(f"the bob at {name}" for name in names for _ in "xy")
    return Marks(names, points.xyz[idx, :2], np.concatenate([own, bob], axis=2), dropped=False, labels=labels)


def _nearest(xy: Array, near: Array) -> Index:
    """Positions of the nearest MOST_MARKS, in the order given."""
    order = np.argsort(np.round(np.linalg.norm(xy - near, axis=1), 6), kind="stable")
    return np.asarray(np.sort(order[:MOST_MARKS]), dtype=np.int64)


def _mark_effects(surveyed: Surveyed, points: CarPoints, xy: Array, columns: Index) -> Array:
    """(m, 2, readings): as those of the car's points, counted from the same datum (see measure.car_points)."""
    final = surveyed.solved.final
    u = final.network.unknowns
    idx = np.array([u.point_idx[name] for name in points.names], dtype=np.int64)
    raw = _raw(surveyed, u.point_columns[idx, :2])
    arm = points.xyz[:, :2] - points.xyz[:, :2].mean(axis=0)
    rigid = np.linalg.pinv(_rigid(arm).reshape(-1, 3)) @ raw.reshape(-1, raw.shape[2])
    mine = _raw(surveyed, columns)
    return np.asarray(mine - _rigid(xy - points.xyz[:, :2].mean(axis=0)) @ rigid)


def _raw(surveyed: Surveyed, columns: Index) -> Array:
    """(k, 2, readings): what one sd of each reading does to unknowns in columns (k, 2)."""
    final = surveyed.solved.final
    effects = np.asarray(final.A @ final.Q[:, columns.ravel()]).T
    effects[columns.ravel() < 0] = 0.0
    return effects.reshape(*columns.shape, -1)


def _rigid(arm: Array) -> Array:
    """(k, 2, 3): shift along x and y, and turn about the middle, of places arm (k, 2)."""
    basis = np.zeros((len(arm), 2, 3))
    basis[:, 0, 0] = basis[:, 1, 1] = 1.0
    basis[:, 0, 2], basis[:, 1, 2] = -arm[:, 1] / 1000.0, arm[:, 0] / 1000.0
    return basis


@dataclass(frozen=True)
class SeenFromCar:
    """One of the car's axes (the first, or a rival's) with the plumb lines over the marks in it.

    `frame` holds the car's points first, then each plumb line at height `bottom` (network, mm) and REACH above it.
    """

    frame: Frame
    points: int
    marks: int
    bottom: float

    def plumb_lines(self, height: float) -> Array:
        """Effects (m, 2, s) on x and y in the car of the plumb lines at a height of the network."""
        effects = self.frame.sources.effects.reshape(self.points + 2 * self.marks, 3, -1)[self.points :, :2]
        low, high = effects[: self.marks], effects[self.marks :]
        return np.asarray(low + (high - low) * (height - self.bottom) / REACH)

    def point(self, index: int) -> Array:
        """Effects (3, s) on a point of the car."""
        return np.asarray(self.frame.sources.effects[3 * index : 3 * index + 3])

    def to_network(self, xyz: Array) -> Array:
        """Places (..., 3) of the car in the network."""
        return np.asarray(xyz @ self.frame.car_from_network + self.frame.origin)

    def to_car(self, xyz: Array) -> Array:
        """Places (..., 3) of the network in the car."""
        return np.asarray((xyz - self.frame.origin) @ self.frame.car_from_network.T)

    @property
    def plan(self) -> Array:
        """(2, 2): a direction on the floor, turned into the car's axes."""
        return self.frame.car_from_network[:2, :2]


def seen_from_car(job: Job, standing: Stand, marks: Marks) -> tuple[SeenFromCar, ...]:
    """The car's axes with the marks in them: the first frame, then its rivals. The axes rest on the pairs alone."""
    points = standing.points
    bottom = float(points.xyz[:, 2].mean())
    lines = [np.column_stack([marks.xy, np.full(len(marks.xy), z)]) for z in (bottom, bottom + REACH)]
    effects = np.zeros((len(points.names) + 2 * len(marks.names), 3, marks.effects.shape[2]))
    own = points.sources.effects.reshape(len(points.names), 3, -1)
    effects[: len(points.names), :, : own.shape[2]] = own
    effects[len(points.names) :, :2] = np.concatenate([marks.effects, marks.effects])
    freedom = np.append(points.sources.freedom, np.full(len(marks.labels), np.inf))
    sources = Sources(effects.reshape(-1, effects.shape[2]), points.sources.labels + marks.labels, freedom)
    both = _with_lines(points, np.vstack([points.xyz, *lines]), sources)
    aligned = align(both, standing.centreline.pairs, job.sd.build, float(np.radians(job.sd.level)))
    frames: Sequence[Frame] = [place(aligned, frame.used) for frame in standing.centreline.frames]
    return tuple(SeenFromCar(frame, len(points.names), len(marks.names), bottom) for frame in frames)


def _with_lines(points: CarPoints, xyz: Array, sources: Sources) -> CarPoints:
    more = len(xyz) - len(points.names)
    return CarPoints(
        points.names + ("",) * more, xyz, sources, np.append(points.height_known, np.ones(more, dtype=bool)),
        np.vstack([points.assumed_heights, np.zeros((more, points.assumed_heights.shape[1]))]),
        points.dropped_once + (False,) * more, points.scaled,
    )  # fmt: skip
