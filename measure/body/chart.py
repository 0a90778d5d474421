"""How far each point stands off its factory position, in the chart's own axes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from measure.body.chart_fit import ChartFit
from measure.body.check import Car, Check
from measure.body.words import Words, whichever
from measure.readings.unknowns import Array, Index

AXES = "xyz"
_WAYS = (("too far forward", "too far rearward"), ("too far left", "too far right"), ("too high", "too low"))
_SIDES = (("forward", "rearward"), ("left", "right"), ("up", "down"))
LEAST = 1e-6
"""mm; a smaller share of the factory scatter is not worth a line."""


def checks(car: Car, fit: ChartFit) -> Iterator[Check]:
    """`chart.POINT.x`, y and z of every coordinate that both the chart and the car have."""
    under = [_Laid.under(car, fit, used) for used in (fit.used, *fit.rivals)]
    for i, name in enumerate(fit.names):
        for k, axis in enumerate(AXES):
            if not np.isfinite(fit.design[i, k]):
                continue
            first, *rivals = [laid.check(f"chart.{name}.{axis}", name, i, k) for laid in under]
            yield first if not rivals else _bound(first, tuple(rivals))


def _bound(first: Check, rivals: tuple[Check, ...]) -> Check:
    return Check(
        first.name, first.unit, first.points, first.figure, first.words, first.side, first.limit,
        further=first.further, otherwise=rivals,
    )  # fmt: skip


@dataclass(frozen=True)
class _Linear:
    """A figure that is linear about where the points stand: value + the sum of gradient * (X - X0), X (..., k, 3)."""

    value: float
    gradient: Array
    X0: Array

    def __call__(self, X: Array) -> Array:
        return np.asarray(self.value + ((X - self.X0) * self.gradient).sum(axis=(-2, -1)))


@dataclass(frozen=True)
class _Laid:
    """The chart carried by one set of points."""

    car: Car
    fit: ChartFit
    deviations: Array  # (m, 3)
    gain: Array  # (3m, r)
    rows: Index  # (r,)

    @staticmethod
    def under(car: Car, fit: ChartFit, used: tuple[int, ...]) -> _Laid:
        return _Laid(car, fit, *fit.under(used))

    def check(self, name: str, point: str, i: int, k: int) -> Check:
        """The deviation of point i along axis k, with all the points it follows."""
        fit, row = self.fit, 3 * i + k
        by_chart = np.zeros(fit.design.size)  # derivatives by the points' coordinates in the chart's axes
        by_chart[self.rows] = self.gain[row]
        by_chart[row] += 1.0
        by_car = by_chart.reshape(-1, 3) @ fit.chart_from_car
        moved = np.flatnonzero(np.any(by_car != 0, axis=1))
        numbers = fit.points[moved]
        figure = _Linear(float(self.deviations[i, k]), by_car[moved], self.car.frame.xyz[numbers])
        scatter = np.zeros(len(fit.points))
        np.add.at(scatter, self.rows // 3, (self.gain[row] * fit.build) ** 2)
        further = tuple(
            (f"factory scatter of {fit.names[j]}", float(np.sqrt(scatter[j])))
            for j in np.flatnonzero(scatter > LEAST**2)
        )
        return Check(
            name, "mm", tuple(numbers.tolist()), figure, _stands(point, *_WAYS[k]), whichever(*_SIDES[k]),
            "chart", further=further,
        )  # fmt: skip


def _stands(point: str, more: str, less: str) -> Words:
    def told(value: float) -> str:
        if abs(value) < 0.05:
            return f"{point} stands where the chart has it"
        return f"{point} stands {abs(value):.1f} mm {more if value > 0 else less}"

    return told
