"""Axle faces: plane and circle through the points on the wheel-bolt circle; centre, toe and camber.

Toe and camber as ISO 8855:2011 (7.1.6): toe-in positive, camber positive with the top outward. Taken from the
centreline, not from the axle.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import said, whichever
from measure.readings.unknowns import Array

OUTWARD = {"L": 1.0, "R": -1.0}
LEAST_SPREAD = 10.0
"""mm (second singular value) by which points must spread across their longest line to hold a plane."""


def checks(car: Car) -> Iterator[Check]:
    """Toe and camber of each face with three or more points."""
    named = [p.part.partition(":")[2] for p in car.job.points if p.part.startswith("face:")]
    for name in dict.fromkeys(named):
        for side, word in (("L", "left"), ("R", "right")):
            points = points_of(car, name, side)
            if len(points) < 3:
                continue
            yield Check(
                f"face.{name}.{side}.toe", "deg", points, partial(toe, side=side),
                said(f"{name} axle, {word} face: ", _toed), whichever("in", "out"), wants_heights=True,
            )  # fmt: skip
            yield Check(
                f"face.{name}.{side}.camber", "deg", points, partial(camber, side=side),
                said(f"{name} axle, {word} face: top leans ", _leaning), whichever("outward", "inward"),
                wants_heights=True,
            )  # fmt: skip


def _toed(value: float) -> str:
    return f"{abs(value):.2f} degrees toe-{'in' if value >= 0 else 'out'}"


def _leaning(value: float) -> str:
    return f"{abs(value):.2f} degrees {'out' if value >= 0 else 'in'}"


def points_of(car: Car, name: str, side: str) -> tuple[int, ...]:
    """Numbers of the held points of a face; none where they lie in a line or on one spot and so span no plane."""
    mine = [car.held(p.name) for p in car.job.points if p.part == f"face:{name}" and p.side == side]
    held = tuple(i for i in mine if i is not None)
    if len(held) < 3:
        return held
    X = car.frame.xyz[list(held)]
    return held if np.linalg.svd(X - X.mean(axis=0), compute_uv=False)[1] >= LEAST_SPREAD else ()


def normal(X: Array, side: str) -> Array:
    """Unit normal (..., 3) of the plane through points (..., m, 3), pointing away from the car."""
    d = X - X.mean(axis=-2, keepdims=True)
    n = np.linalg.svd(d, full_matrices=False)[2][..., -1, :]
    return np.asarray(n * np.where(n[..., 1:2] * OUTWARD[side] < 0, -1.0, 1.0))


def heading(X: Array, side: str) -> Array:
    """Yaw (degrees, + left) of the rolling direction: level, in the plane of the face, forward."""
    n = normal(X, side) * OUTWARD[side]  # both faces' normals to the left
    return np.asarray(np.degrees(np.arctan2(-n[..., 0], n[..., 1])))


def toe(X: Array, side: str) -> Array:
    """Degrees, + turned towards the centreline at the front."""
    return np.asarray(-OUTWARD[side] * heading(X, side))


def camber(X: Array, side: str) -> Array:
    """Degrees, + top leans outward: the outward normal then points down."""
    n = normal(X, side)
    return np.asarray(np.degrees(np.arctan2(-n[..., 2], np.hypot(n[..., 0], n[..., 1]))))


def centre(X: Array) -> Array:
    """Centre (..., 3) of the circle through points (..., m, 3) in their own plane.

    Least squares of the squared radius (Kasa's fit; exact for three points), linear and so smooth.
    """
    mean = X.mean(axis=-2, keepdims=True)
    d = X - mean
    axes = np.linalg.svd(d, full_matrices=False)[2][..., :2, :]
    uv = d @ np.swapaxes(axes, -1, -2)
    A = np.concatenate([2 * uv, np.ones_like(uv[..., :1])], axis=-1)
    AtA, Atb = np.swapaxes(A, -1, -2) @ A, np.swapaxes(A, -1, -2) @ (uv**2).sum(-1)[..., None]
    c = np.linalg.solve(AtA, Atb)[..., :2, 0]
    return np.asarray(mean[..., 0, :] + (c[..., None, :] @ axes)[..., 0, :])
