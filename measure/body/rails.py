"""Figures of the two rails: how they point, how they bow, how far they stand to one side."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from measure.body.check import Car, Check
from measure.body.words import pointing, said, side_of, sideways, whichever
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """Rails are points of part `rail`; a rail needs two, a bow three."""
    points = {p.name: p for p in car.job.points if p.part == "rail"}
    pairs = [
        (k, e) for k, e in zip(car.pairs.keys, car.pairs.ends.tolist(), strict=True) if car.points.names[e[0]] in points
    ]
    rails = {}
    for side, word in (("L", "left"), ("R", "right")):
        mine = [i for i, name in enumerate(car.points.names) if name in points and points[name].side == side]
        mine.sort(key=lambda i: -car.frame.xyz[i, 0])
        if len(mine) < 2:
            continue
        rails[side] = mine
        yield Check(
            f"rail.{side}.angle", "deg", tuple(mine), line_angle,
            said(f"{word} rail: ", pointing), side_of,
        )  # fmt: skip
        if len(mine) > 2:
            out = 1.0 if side == "L" else -1.0
            yield Check(
                f"rail.{side}.bow", "mm", tuple(mine), partial(_outward_bow, out=out),
                said(f"{word} rail bows ", _bowed),
                whichever("outward", "inward"),
            )  # fmt: skip
    if len(rails) == 2:
        if len(pairs) >= 2:  # a point without its twin would turn one rail's line and not the other's
            rails = {side: [ends[k] for _, ends in pairs] for k, side in enumerate("LR")}
        split = len(rails["L"])
        yield Check(
            "rails.yaw", "deg", (*rails["L"], *rails["R"]),
            partial(_both_angles, split=split), said("the rails together: ", pointing), side_of, "angle",
        )  # fmt: skip
    if len(pairs) >= 2:
        front, rear = pairs[0][1], pairs[-1][1]
        yield Check(
            "rails.taper", "mm", (*front, *rear),
            lambda X: (X[..., 0, 1] - X[..., 1, 1]) - (X[..., 2, 1] - X[..., 3, 1]),
            said("the rails stand ", _tapered, " at the front than at the rear"),
            whichever("", ""),
        )  # fmt: skip
    if pairs:
        yield _asymmetry(car, pairs)


def _asymmetry(car: Car, pairs: list[tuple[str, list[int]]]) -> Check:
    """The rail pair that stands farthest to one side; the offsets of all rail pairs, held or not, bind its verdict."""
    middles = np.array([car.frame.xyz[e, 1].mean() for _, e in pairs])
    worst = int(np.argmax(np.round(np.abs(middles), 6)))
    key, ends = pairs[worst]
    station = float(car.frame.xyz[ends, 0].mean())
    way = "ahead of" if station > 0 else "behind"
    return Check(
        "rails.asymmetry", "mm", (ends[0], ends[1]), lambda X: (X[..., 0, 1] + X[..., 1, 1]) / 2,
        said(f"the rails stand most to one side at {key}, {abs(station):.0f} mm {way} the first pair: ", sideways),
        side_of, "offset", worst_of=tuple(f"pair.{k}.offset" for k, a, _ in car.job.pairs() if a.part == "rail"),
    )  # fmt: skip


def _outward_bow(X: Array, out: float) -> Array:
    return bow(X) * out


def _bowed(value: float) -> str:
    return f"{abs(value):.1f} mm {'outward' if value > 0 else 'inward'}"


def _tapered(value: float) -> str:
    return f"{abs(value):.1f} mm {'wider' if value > 0 else 'narrower'}"


def _both_angles(X: Array, split: int) -> Array:
    return (line_angle(X[..., :split, :]) + line_angle(X[..., split:, :])) / 2


def line_angle(X: Array) -> Array:
    """Angle (degrees, + left at the front) of the line through points (..., m, 3) in plan, by orthogonal regression."""
    d = X[..., :2] - X[..., :2].mean(axis=-2, keepdims=True)
    xx, yy, xy = (d[..., 0] ** 2).sum(-1), (d[..., 1] ** 2).sum(-1), (d[..., 0] * d[..., 1]).sum(-1)
    return np.asarray(np.degrees(0.5 * np.arctan2(2 * xy, xx - yy)))


def bow(X: Array) -> Array:
    """Greatest distance (with its sign, + left) of the points from the line through the first and the last, plan."""
    leg = X[..., -1, :2] - X[..., 0, :2]
    leg = leg / np.linalg.norm(leg, axis=-1, keepdims=True)
    arm = X[..., 1:-1, :2] - X[..., :1, :2]
    # the first point is the front one: left of the way back is right of the car
    off = -(leg[..., None, 0] * arm[..., 1] - leg[..., None, 1] * arm[..., 0])
    far = np.argmax(np.abs(off), axis=-1)
    return np.asarray(np.take_along_axis(off, far[..., None], axis=-1)[..., 0])
