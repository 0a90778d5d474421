"""Lengths of chart.csv against the car: no centreline and no fit, each length by itself."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import Words, whichever
from measure.job import ChartLength
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """`chart.FROM.TO`: measured less charted length, + the car's is longer. Straight from point to point, in space."""
    for length in car.job.chart:
        ends = car.held(length.start), car.held(length.end)
        if ends[0] is None or ends[1] is None:
            continue
        yield Check(
            length.check_name, "mm", (ends[0], ends[1]), partial(_beyond, charted=length.length), _told(length),
            whichever("longer", "shorter"), "chart", wants_heights=True, tolerance=length.tolerance,
        )  # fmt: skip


def _beyond(X: Array, charted: float) -> Array:
    return np.asarray(np.linalg.norm(X[..., 0, :] - X[..., 1, :], axis=-1) - charted)


def _told(length: ChartLength) -> Words:
    def told(value: float) -> str:
        run = f"{length.start} to {length.end}"
        if abs(value) < 0.05:
            return f"{run} is as long as the chart has it"
        return f"{run} is {abs(value):.1f} mm too {'long' if value > 0 else 'short'}"

    return told
