"""Figures of each pair: offset, lead, rise, width; and the crossed diagonals of consecutive pairs."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import ahead, higher, said, side_of, sideways, whichever
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """Per pair, front first."""
    heights = car.points.height_known
    for key, (left, right) in zip(car.pairs.keys, car.pairs.ends.tolist(), strict=True):
        ends = (left, right)
        measured = bool(heights[left] and heights[right])
        yield Check(
            f"pair.{key}.offset", "mm", ends, lambda X: (X[..., 0, 1] + X[..., 1, 1]) / 2,
            said(f"{key} stands ", sideways), side_of, "offset",
        )  # fmt: skip
        yield Check(
            f"pair.{key}.lead", "mm", ends, lambda X: X[..., 0, 0] - X[..., 1, 0],
            said(f"{key}: ", ahead), side_of,
        )  # fmt: skip
        yield Check(
            f"pair.{key}.rise", "mm", ends, lambda X: X[..., 0, 2] - X[..., 1, 2],
            said(f"{key}: ", higher), side_of, wants_heights=True,
        )  # fmt: skip
        axes = 3 if measured else 2
        yield Check(
            f"pair.{key}.width", "mm", ends,
            partial(_width, axes=axes), said(f"{key}: ", "{:.1f} mm from left to right".format), whichever("", ""),
        )  # fmt: skip
    yield from _crossed(car)


def _crossed(car: Car) -> Iterator[Check]:
    keys, ends = car.pairs.keys, car.pairs.ends.tolist()
    for (a, front), (b, rear) in zip(zip(keys, ends, strict=True), zip(keys[1:], ends[1:], strict=True), strict=False):
        axes = 3 if car.points.height_known[[*front, *rear]].all() else 2
        yield Check(
            f"cross.{a}.{b}", "mm", (*front, *rear), partial(_diagonals, axes=axes),
            partial(_longer, front=a, rear=b), whichever("left front", "right front"),
        )  # fmt: skip


def _width(X: Array, axes: int) -> Array:
    return np.asarray(np.linalg.norm(X[..., 0, :axes] - X[..., 1, :axes], axis=-1))


def _diagonals(X: Array, axes: int) -> Array:
    return diagonals(X[..., :axes])


def diagonals(X: Array) -> Array:
    """Left-front to right-rear minus right-front to left-rear; X (..., 4, axes): front L, R, then rear L, R."""
    first = np.linalg.norm(X[..., 0, :] - X[..., 3, :], axis=-1)
    return np.asarray(first - np.linalg.norm(X[..., 1, :] - X[..., 2, :], axis=-1))


def _longer(value: float, front: str, rear: str) -> str:
    if abs(value) < 0.05:
        return f"diagonals {front}-{rear} are equal, which alone proves nothing"
    side = "left" if value > 0 else "right"
    return f"diagonals {front}-{rear}: the one from the {side} front is {abs(value):.1f} mm longer"
