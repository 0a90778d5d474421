"""Figures of each pair: offset, lead, rise, width; and the crossed diagonals of consecutive pairs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import ahead, higher, side_of, sideways
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """Per pair, front first."""
    heights = car.points.height_known
    for key, (left, right) in zip(car.pairs.keys, car.pairs.ends.tolist(), strict=True):
        ends = (left, right)
        measured = bool(heights[left] and heights[right])
        yield Check(
            f"pair.{key}.offset", "mm", ends, lambda X: (X[..., 0, 1] + X[..., 1, 1]) / 2,
            lambda v, k=key: f"{k} stands {sideways(v)}", side_of, "offset",
        )  # fmt: skip
        yield Check(
            f"pair.{key}.lead", "mm", ends, lambda X: X[..., 0, 0] - X[..., 1, 0],
            lambda v, k=key: f"{k}: {ahead(v)}", side_of,
        )  # fmt: skip
        yield Check(
            f"pair.{key}.rise", "mm", ends, lambda X: X[..., 0, 2] - X[..., 1, 2],
            lambda v, k=key: f"{k}: {higher(v)}", side_of, wants_heights=True,
        )  # fmt: skip
        axes = 3 if measured else 2
        yield Check(
            f"pair.{key}.width", "mm", ends,
            lambda X, a=axes: np.linalg.norm(X[..., 0, :a] - X[..., 1, :a], axis=-1),
            lambda v, k=key: f"{k}: {v:.1f} mm from left to right", lambda v: "",
        )  # fmt: skip
    yield from _crossed(car)


def _crossed(car: Car) -> Iterator[Check]:
    keys, ends = car.pairs.keys, car.pairs.ends.tolist()
    for (a, front), (b, rear) in zip(zip(keys, ends, strict=True), zip(keys[1:], ends[1:], strict=True), strict=False):
        axes = 3 if car.points.height_known[[*front, *rear]].all() else 2
        yield Check(
            f"cross.{a}.{b}", "mm", (*front, *rear), lambda X, n=axes: diagonals(X[..., :n]),
            lambda v, p=a, q=b: _longer(v, p, q), lambda v: "left front" if v > 0 else "right front" if v < 0 else "",
        )  # fmt: skip


def diagonals(X: Array) -> Array:
    """Left-front to right-rear minus right-front to left-rear; X (..., 4, axes): left, right front, left, right rear."""
    first = np.linalg.norm(X[..., 0, :] - X[..., 3, :], axis=-1)
    return np.asarray(first - np.linalg.norm(X[..., 1, :] - X[..., 2, :], axis=-1))


def _longer(value: float, front: str, rear: str) -> str:
    if abs(value) < 0.05:
        return f"diagonals {front}-{rear} are equal, which alone proves nothing"
    return f"diagonals {front}-{rear}: the one from the {'left' if value > 0 else 'right'} front is {abs(value):.1f} mm longer"
