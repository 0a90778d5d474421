"""Damaged cars at the level of points: the covariance of one real sheet, the points wherever damage put them.

Written apart from `measure/pattern/movements.py`, from the words of the trade alone.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from measure.body.explanations import Explanation, Search
from measure.body.moved import explained
from measure.body.movements import Movement
from measure.body.points import CarPoints
from measure.body.stand import stand
from measure.job import Job
from measure.survey import survey as surveyed
from tests.synthetic import make_car, survey, write_job
from tests.synthetic.car import Array

KINDS = ("sway", "swing", "side", "diamond", "twist", "axle")
KINDS_OF_A_CHART = (*KINDS, "bend", "shortening")
MOST = 3  # stations of a moved end


@dataclass(frozen=True)
class Sheet:
    """One sheet as the recording sheet asks for it. `design` (n, 3): where the points belong, car axes."""

    job: Job
    points: CarPoints
    design: Array
    network_from_car: Array

    @property
    def body(self) -> Array:
        return np.array([self.job.point(name).kind in ("", "reference", "rail") for name in self.points.names])


def sheet(chart: bool) -> Sheet:
    """Seven pairs and an axle, 64 floor tapes, one drop of the bob each, heights, 1 mm of factory scatter."""
    rng = np.random.default_rng(77)
    car = make_car(rng, build=1.0)
    with tempfile.TemporaryDirectory() as folder:
        made = surveyed(write_job(Path(folder) / "job", car, survey(car, rng, tapes=64, roll_deg=0.3, chart=chart)))
    assert made.standing is not None
    design = np.array([car.design[car.idx(name)] for name in made.points.names])
    return Sheet(made.job, made.points, design, made.standing.frame.car_from_network.T)


def measured(of: Sheet, damage: Array, rng: np.random.Generator) -> CarPoints:
    """The points of a car built with scatter, damaged by (n, 3) mm, and measured."""
    build = of.job.sd.build * rng.standard_normal(of.design.shape) * of.body[:, None]
    effects = of.points.sources.effects
    noise = (effects @ rng.standard_normal(effects.shape[1])).reshape(-1, 3)
    return replace(of.points, xyz=(of.design + build + damage) @ of.network_from_car.T + noise)


def damage(of: Sheet, kind: str, rng: np.random.Generator, mm: float) -> Array:
    """(n, 3) mm in the car's axes of one kind, of random place, extent and direction; "straight": none."""
    X, body, left = of.design, of.body, of.design[:, 1] > 0
    stations = np.unique(X[body, 0])[::-1]
    k = np.argmin(np.abs(X[:, :1] - stations), axis=1)
    last = len(stations) - 1
    D, way, rear = np.zeros_like(X), float(rng.choice([-1.0, 1.0])), bool(rng.random() < 0.5)
    size = int(rng.integers(1, MOST + 1))
    end = body & (k > last - size if rear else k < size)
    if kind == "sway":
        D[end, 1] = way * mm
    elif kind in ("swing", "bend"):
        size = max(size, 2)
        hinge, far = (last - size, last) if rear else (size, 0)
        end = body & (k > hinge if rear else k < hinge)
        grown = (X[end, 0] - stations[hinge]) / (stations[far] - stations[hinge])
        D[end, 1 if kind == "swing" else 2] = way * mm * grown
        arm = X[end, 1] if kind == "swing" else X[end, 2] - X[body & (k == hinge), 2].mean()
        D[end, 0] = -way * mm * arm / (stations[far] - stations[hinge])
    elif kind == "side":
        first = int(rng.integers(0, last - size + 2))
        D[body & (k >= first) & (k < first + size) & (left == rear), 1] = way * mm
    elif kind == "diamond":
        D[body & (left == rear), 0] = -mm
    elif kind == "twist":
        hinge = int(rng.integers(0, 4))
        hinge, far = (hinge, last) if rear else (last - hinge, 0)
        end = body & (k > hinge if rear else k < hinge)
        half = float(np.abs(X[body & (k == far), 1]).mean())
        grown = way * mm / (2 * half) * (X[end, 0] - stations[hinge]) / (stations[far] - stations[hinge])
        D[end, 2], D[end, 1] = grown * X[end, 1], -grown * (X[end, 2] - X[body, 2].mean())
    elif kind == "shortening":
        D[end, 0] = mm if rear else -mm
    elif kind == "axle" and rear:
        D[~body, 1] = way * mm
    elif kind == "axle":
        D[~body, 0] = way * mm / 2 * np.where(left[~body], 1.0, -1.0)
    return D


@dataclass(frozen=True)
class Guess:
    """The likely explanations of one car, best first, in kinds."""

    moves: list[Movement]
    search: Search
    likely: list[Explanation]

    def kinds(self, e: Explanation) -> list[str]:
        return [self.moves[k].kind for k in e.parts]


def guess(of: Sheet, points: CarPoints) -> Guess:
    """What the program says of a car."""
    standing = stand(of.job, points)
    assert standing is not None
    _, moves, search, likely = explained(
        of.job, standing.points, standing.centreline.pairs, standing.frame, standing.chart
    )
    return Guess(moves, search, likely)


def wanted(kind: str) -> list[str]:
    """The kinds of the right explanation."""
    return {"straight": [], "swing": ["sway"]}.get(kind, [kind])
