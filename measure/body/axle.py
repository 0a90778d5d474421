"""Figures of an axle: is it central, is it square, which way does it roll."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body import face
from measure.body.check import Car, Check, Measure
from measure.body.words import ahead, pointing, said, side_of, sideways
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """For each axle: ends from part axle:NAME, else the centres of its face circles."""
    named = [p.part.partition(":")[2] for p in car.job.points if p.part.startswith(("axle:", "face:"))]
    for name in dict.fromkeys(named):
        faces = [face.points_of(car, name, side) for side in "LR"]
        whole = all(len(f) >= 3 and car.points.height_known[list(f)].all() for f in faces)
        ends = [_end(car, name, side) for side in "LR"]
        if None not in ends:
            yield from _by_ends(name, tuple(e for e in ends if e is not None), np.asarray)
        elif whole:
            yield from _by_ends(name, (*faces[0], *faces[1]), partial(_centres, split=len(faces[0])))
        if whole:
            yield _thrust_by_faces(name, faces[0], faces[1])
        elif None not in ends:
            yield Check(
                f"axle.{name}.thrust", "deg", tuple(e for e in ends if e is not None), square,
                said(f"{name} axle rolls ", pointing, " (from its ends: its faces were not measured)"),
                side_of, "angle",
            )  # fmt: skip


def _end(car: Car, name: str, side: str) -> int | None:
    found = [p.name for p in car.job.points if p.part == f"axle:{name}" and p.side == side]
    return car.held(found[0]) if found else None


def _centres(X: Array, split: int) -> Array:
    return np.stack([face.centre(X[..., :split, :]), face.centre(X[..., split:, :])], axis=-2)


def _by_ends(name: str, points: tuple[int, ...], to_ends: Measure) -> Iterator[Check]:
    yield Check(
        f"axle.{name}.offset", "mm", points, lambda X: to_ends(X)[..., 1].mean(axis=-1),
        lambda v: f"{name} axle stands {sideways(v)}", side_of, "offset",
    )  # fmt: skip
    yield Check(
        f"axle.{name}.square", "deg", points, lambda X: square(to_ends(X)),
        lambda v: f"{name} axle is out of square by {pointing(v)}", side_of, "angle",
    )  # fmt: skip
    yield Check(
        f"axle.{name}.lead", "mm", points, lambda X: to_ends(X)[..., 0, 0] - to_ends(X)[..., 1, 0],
        lambda v: f"{name} axle: {ahead(v)}", side_of,
    )  # fmt: skip


def _thrust_by_faces(name: str, left: tuple[int, ...], right: tuple[int, ...]) -> Check:
    split = len(left)

    def thrust(X: Array) -> Array:
        return (face.heading(X[..., :split, :], "L") + face.heading(X[..., split:, :], "R")) / 2

    return Check(
        f"axle.{name}.thrust", "deg", (*left, *right), thrust,
        lambda v: f"{name} axle rolls {pointing(v)} (mean of its two faces)", side_of, "angle",
    )  # fmt: skip


def square(X: Array) -> Array:
    """Yaw (degrees, + rolling direction points left) of the ends (..., 2, 3), left and right, from square."""
    across = X[..., 0, :] - X[..., 1, :]
    return np.asarray(np.degrees(np.arctan2(-across[..., 0], across[..., 1])))
