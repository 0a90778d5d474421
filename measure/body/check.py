"""One check: a pure function of points in the car's axes. Its uncertainty comes by the one route here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from measure.body.frame import Frame, Pairs
from measure.body.points import CarPoints, Sources
from measure.body.words import Words
from measure.job import Job
from measure.readings.unknowns import Array

Measure = Callable[[Array], Array]
"""A pure function of coordinates (..., points, 3) in the car's axes, giving values (...)."""

STEP = 1e-2
"""mm, for central differences: every figure is smooth over far longer ways."""


@dataclass(frozen=True)
class Check:
    """What a figure is called, which points it is taken from, and how.

    `figure` maps coordinates (..., points, 3) in the car's axes to values (...). `limit` is the key of [limits]
    that judges it, None for a figure without a limit. `words` says a value as a person would; `side` names the side
    it counts to.
    """

    name: str
    unit: str  # "mm" or "deg"
    points: tuple[int, ...]
    figure: Measure
    words: Words
    side: Words
    limit: str | None = None
    wants_heights: bool = False
    worst_of: tuple[str, ...] = ()  # the checks of which this repeats the worst; their verdicts bind it
    tolerance: float | None = None  # a limit of its own, which the job may overrule by the check's name
    further: tuple[tuple[str, float], ...] = ()  # independent sources beside the points: label, effect of one sd
    otherwise: tuple[Check, ...] = ()  # the same figure under rival explanations; their verdicts bind it


@dataclass(frozen=True)
class Car:
    """What a family of checks is given: the job, the points held, the pairs held, and points in the car's axes."""

    job: Job
    points: CarPoints
    pairs: Pairs
    frame: Frame

    def held(self, name: str) -> int | None:
        """Number of a point, None where it is not held."""
        return self.points.names.index(name) if name in self.points.names else None


@dataclass(frozen=True)
class Figure:
    """A value with its standard uncertainty, all sources together, and its gradient (3n,) by the car's coordinates."""

    value: float
    sd: float
    gradient: Array
    sources: Sources
    further: tuple[tuple[str, float], ...] = ()  # sources beside those of the points, as in Check

    @property
    def effects(self) -> Array:
        """Effect (s,) of one sd of each source of the points; worked out when asked for, as a car has many figures."""
        rows = np.flatnonzero(self.gradient)
        return np.asarray(self.gradient[rows] @ self.sources.effects[rows])

    def freedom(self, of_source: Array) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, JCGM 100:2008 G.4.1); of_source (s,).

        Sources that share one estimated sd are taken together, as one component.
        """
        estimated = np.isfinite(of_source)
        if not estimated.any():
            return float("inf")
        effects, total = self.effects, 0.0
        for freedom in np.unique(of_source[estimated]):
            part = float(np.sum(effects[of_source == freedom] ** 2))
            total += part**2 / float(freedom)
        return self.sd**4 / total if total > 0 else float("inf")


def evaluate(check: Check, frame: Frame) -> Figure:
    """Value and propagated uncertainty of one check; first-order, gradient by central differences."""
    chosen = np.array(check.points)
    X = frame.xyz[chosen]
    m = X.size
    nudged = X.ravel() + STEP * np.vstack([np.eye(m), -np.eye(m)])
    values = check.figure(nudged.reshape(2 * m, len(chosen), 3))
    gradient = (values[:m] - values[m:]) / (2 * STEP)
    rows = (3 * chosen[:, None] + np.arange(3)).ravel()
    full = np.zeros(frame.xyz.size)
    np.add.at(full, rows, gradient)
    beside = np.array([effect for _, effect in check.further])
    sd = float(np.linalg.norm(np.append(gradient @ frame.sources.effects[rows], beside)))
    return Figure(float(check.figure(X)), sd, full, frame.sources, check.further)
