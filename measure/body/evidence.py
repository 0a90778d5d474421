"""What the points say of damage, as rows: off the factory chart where there is one, off symmetry where there is none.

A row is linear in the coordinates of the points: one coordinate of a charted point, a charted length, or the offset,
lead or rise of a pair or an axle. A rigid move of the car changes what it changes and means nothing: it is free. The
factory scatter of every point of the body is noise here, since a section is to be told from a car that was built a
little crooked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from measure.body.chart_fit import ChartFit
from measure.body.frame import NOTHING_SPREAD, Frame, Pairs
from measure.body.points import CarPoints, rows_for
from measure.job import Job
from measure.readings.unknowns import Array, Index

X, Y, Z = range(3)
FIGURES = ("lead", "offset", "rise")
ROUNDED = 0.3
"""mm, sd of a charted length for being written to the millimetre or to the sixteenth."""
LEVER = 1000.0
"""mm; turns count as movements at this arm."""


@dataclass(frozen=True)
class Row:
    """One row: the point or pair it is of, which figure (x, y, z, offset, lead, rise or length), and its axis."""

    of: str
    figure: str
    axis: int


@dataclass(frozen=True)
class Evidence:
    """`observed` (r,) mm with `covariance` (r, r); `functional` (r, 3n) gives a row from movements of the points.

    `free` (r, q): what a rigid move does to the rows. `xyz` (n, 3): the points, in the chart's axes where there is one,
    else the car's. `stations`: (key, left, right, mean x) of the pairs, front first. `body` (n,): part of the body.
    """

    names: tuple[str, ...]
    xyz: Array
    rows: tuple[Row, ...]
    observed: Array
    covariance: Array
    functional: Array
    free: Array
    stations: tuple[tuple[str, int, int, float], ...]
    body: Index
    held: frozenset[int]  # points vouched for: no movement takes them along
    axles: tuple[tuple[str, int, int], ...]
    charted: tuple[bool, bool, bool]  # the chart bears on x, y, z
    laid: bool  # by coordinates: `xyz` is in the chart's axes
    heights: bool


def evidence(
    job: Job, points: CarPoints, pairs: Pairs, frame: Frame, fit: ChartFit | None, body_alone: bool = False
) -> Evidence:
    """The rows of a car in some axes of its own; which pairs carry them does not matter. `body_alone`: no axle."""
    usable = fit is not None and fit.rests_on != "disagree"
    n = len(points.names)
    R, t = (fit.chart_from_car, fit.shift) if fit is not None and usable else (np.eye(3), np.zeros(3))
    P = frame.xyz @ R.T + t
    E = (R @ frame.sources.effects.reshape(n, 3, -1)).reshape(3 * n, -1)
    target = np.full((n, 3), np.nan)
    if fit is not None and usable:
        target[fit.points] = fit.design
    pair_list = [(k, int(a), int(b)) for k, (a, b) in zip(pairs.keys, pairs.ends.tolist(), strict=True)]
    axles = [] if body_alone else _axles(job, points.names)
    middle = _chart_middle(target, pair_list)
    made: list[tuple[Row, dict[tuple[int, int], float], float]] = []
    body = np.array([job.point(name).kind in ("", "reference", "rail") for name in points.names])
    ends = {i for _, a, b in axles for i in (a, b)}
    for i, name in enumerate(points.names):
        for axis in range(3):
            if np.isfinite(target[i, axis]) and (body[i] or i in ends):
                made.append((Row(name, "xyz"[axis], axis), {(i, axis): 1.0}, P[i, axis] - target[i, axis]))
    for key, a, b in [*pair_list, *axles]:
        made += _symmetric(key, a, b, P, target, middle, points.height_known, rise=key in pairs.keys)
    lengths = _lengths(job, points.names, P, target, points.height_known)
    made += lengths
    functional = np.zeros((len(made), 3 * n))
    for r, (_, parts, _) in enumerate(made):
        for (i, axis), weight in parts.items():
            functional[r, 3 * i + axis] = weight
    rows = tuple(row for row, _, _ in made)
    charted = [bool(np.isfinite(target[body, axis]).any()) or bool(lengths and axis != Z) for axis in range(3)]
    heights = any(row.axis == Z and row.figure != "length" for row in rows)
    scatter = np.repeat(np.where(body, max(job.sd.build**2, NOTHING_SPREAD), NOTHING_SPREAD), 3)
    read = functional @ E
    written = np.array([ROUNDED**2 if row.figure == "length" else 0.0 for row in rows])
    return Evidence(
        points.names, P, rows, np.array([value for *_, value in made]),
        read @ read.T + (functional * scatter) @ functional.T + np.diag(written),
        functional, functional @ _rigid(P, heights, charted[2]),
        tuple(sorted(((k, a, b, float((P[a, X] + P[b, X]) / 2)) for k, a, b in pair_list), key=lambda s: -s[3])),
        np.flatnonzero(body), frozenset(i for i, name in enumerate(points.names) if _vouched(job, name)), tuple(axles),
        (charted[0], charted[1], charted[2]), usable, heights,
    )  # fmt: skip


def _lengths(
    job: Job, names: tuple[str, ...], P: Array, target: Array, height_known: Array
) -> list[tuple[Row, dict[tuple[int, int], float], float]]:
    """Rows of the lengths of chart.csv, but for those that the chart's coordinates say already."""
    number = {name: i for i, name in enumerate(names)}
    made = []
    for length in job.chart:
        a, b = number.get(length.start), number.get(length.end)
        if a is None or b is None or not (height_known[a] and height_known[b]):
            continue
        if np.isfinite(target[[a, b]]).all():
            continue
        leg = P[a] - P[b]
        apart = float(np.linalg.norm(leg))
        way = leg / apart
        parts = {(i, axis): float(sign * way[axis]) for i, sign in ((a, 1.0), (b, -1.0)) for axis in range(3)}
        row = Row(f"{length.start} to {length.end}", "length", int(np.argmax(np.abs(way))))
        made.append((row, parts, apart - length.length))
    return made


def _vouched(job: Job, name: str) -> bool:
    point = job.point(name)
    twins = [p for p in job.points if point.pair is not None and p.pair == point.pair]
    return any(p.trusted for p in (point, *twins))


def _axles(job: Job, names: tuple[str, ...]) -> list[tuple[str, int, int]]:
    """(name, left, right) of the axles whose two ends are held."""
    ends: dict[str, dict[str, int]] = {}
    for i, name in enumerate(names):
        point = job.point(name)
        if point.kind == "axle":
            ends.setdefault(point.group, {})[point.side] = i
    return [(group, of["L"], of["R"]) for group, of in ends.items() if {"L", "R"} <= of.keys()]


def _chart_middle(target: Array, pairs: list[tuple[str, int, int]]) -> float:
    """Y of the chart's own plane of symmetry; 0 where no pair is charted."""
    middles = [(target[a, Y] + target[b, Y]) / 2 for _, a, b in pairs]
    known = [m for m in middles if np.isfinite(m)]
    return float(np.median(known)) if known else 0.0


def _symmetric(
    key: str, a: int, b: int, P: Array, target: Array, middle: float, height_known: Array, rise: bool
) -> Iterator[tuple[Row, dict[tuple[int, int], float], float]]:
    """Rows of one pair or axle by symmetry, for the axes that the chart does not cover."""
    covered = [bool(np.isfinite(target[[a, b], axis]).all()) for axis in range(3)]
    if not covered[Y]:
        yield Row(key, "offset", Y), {(a, Y): 0.5, (b, Y): 0.5}, float((P[a, Y] + P[b, Y]) / 2) - middle
    for axis in (X, Z):
        if covered[axis] or (axis == Z and not (rise and height_known[a] and height_known[b])):
            continue
        yield Row(key, FIGURES[axis], axis), {(a, axis): 1.0, (b, axis): -1.0}, float(P[a, axis] - P[b, axis])


def _rigid(P: Array, roll: bool, pitch: bool) -> Array:
    """(3n, 4 to 6): shifts, yaw, and where heights speak of them roll and pitch; turns as mm at LEVER."""
    n = len(P)
    x, y, z = ((P - P.mean(axis=0)) / LEVER).T
    moves = np.zeros((n, 3, 6))
    moves[:, [0, 1, 2], [0, 1, 2]] = 1.0
    moves[:, 0, 3], moves[:, 1, 3] = -y, x
    moves[:, 1, 4], moves[:, 2, 4] = -z, y
    moves[:, 0, 5], moves[:, 2, 5] = z, -x
    return moves.reshape(3 * n, 6)[:, [0, 1, 2, 3, *([4] if roll else []), *([5] if pitch else [])]]


def rows_of(points: Index, axis: int) -> Index:
    """Places of some points' coordinate in a movement (3n,)."""
    return np.asarray(rows_for(points, axis), dtype=np.int64)
