"""Twist of the body: the rearmost pair turned about x against the foremost."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import side_of
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """One figure, where both pairs have heights."""
    if len(car.pairs.keys) < 2:
        return
    front, rear = car.pairs.ends[0].tolist(), car.pairs.ends[-1].tolist()
    names = car.pairs.keys[0], car.pairs.keys[-1]
    yield Check(
        "body.twist",
        "deg",
        (*front, *rear),
        twist,
        partial(_told, front=names[0], rear=names[1]),
        side_of,
        wants_heights=True,
    )


def twist(X: Array) -> Array:
    """Degrees about x, + left side up at the rear; X (..., 4, 3): left and right front, left and right rear."""
    across = X[..., [0, 2], :] - X[..., [1, 3], :]
    lean = np.degrees(np.arctan2(across[..., 2], across[..., 1]))
    return np.asarray(lean[..., 1] - lean[..., 0])


def _told(value: float, front: str, rear: str) -> str:
    if abs(value) < 0.005:
        return f"{rear} is not twisted against {front}"
    return f"{rear} is twisted {abs(value):.2f} degrees against {front}, {'left' if value > 0 else 'right'} side up"
