"""Shapes made up for tests: points where one likes, with a covariance one likes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from measure.compare.shape import Shape
from tests.synthetic import make_car


def shape(xyz: np.ndarray, sd: float | np.ndarray = 0.5, *, names: Sequence[str] = (), heights: bool = True) -> Shape:
    """Points of independent coordinates; `sd` one figure, or (n, 3)."""
    n = len(xyz)
    spread = np.broadcast_to(np.asarray(sd, dtype=float), (n, 3)).ravel()
    return Shape(
        tuple(names) or tuple(f"p{i}" for i in range(n)), np.array(xyz, dtype=float), np.diag(spread),
        np.full(3 * n, np.inf), np.full(n, heights), np.zeros((3 * n, 0)), "car",
    )  # fmt: skip


def car_points(pairs: int = 7) -> np.ndarray:
    """Where the points of the invented car were meant to be."""
    return make_car(np.random.default_rng(0), pairs, build=0.0).points


def measured(made: Shape, rng: np.random.Generator) -> Shape:
    """With its own noise added."""
    noise = made.effects @ rng.standard_normal(made.effects.shape[1])
    return replace(made, xyz=made.xyz + noise.reshape(-1, 3))
