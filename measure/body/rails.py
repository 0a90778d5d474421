"""Figures of the two rails: how they point, how they bow, how far they stand to one side."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from measure.body.check import Car, Check, evaluate
from measure.body.words import pointing, side_of, sideways
from measure.readings.unknowns import Array


def checks(car: Car) -> Iterator[Check]:
    """Rails are points of part `rail`; a rail needs two, a bow three."""
    points = {p.name: p for p in car.job.points if p.part == "rail"}
    pairs = [(k, e) for k, e in zip(car.pairs.keys, car.pairs.ends.tolist(), strict=True) if car.points.names[e[0]] in points]
    rails = {}
    for side, word in (("L", "left"), ("R", "right")):
        mine = [i for i, name in enumerate(car.points.names) if name in points and points[name].side == side]
        mine.sort(key=lambda i: -car.frame.xyz[i, 0])
        if len(mine) < 2:
            continue
        rails[side] = mine
        yield Check(
            f"rail.{side}.angle", "deg", tuple(mine), line_angle,
            lambda v, w=word: f"{w} rail: {pointing(v)}", side_of,
        )  # fmt: skip
        if len(mine) > 2:
            outward = 1.0 if side == "L" else -1.0
            yield Check(
                f"rail.{side}.bow", "mm", tuple(mine), lambda X, s=outward: bow(X) * s,
                lambda v, w=word: f"{w} rail bows {abs(v):.1f} mm {'outward' if v > 0 else 'inward'}",
                lambda v: "outward" if v > 0 else "inward" if v < 0 else "",
            )  # fmt: skip
    if len(rails) == 2:
        split = len(rails["L"])
        yield Check(
            "rails.yaw", "deg", (*rails["L"], *rails["R"]),
            lambda X: (line_angle(X[..., :split, :]) + line_angle(X[..., split:, :])) / 2,
            lambda v: f"the rails together: {pointing(v)}", side_of, "angle",
        )  # fmt: skip
    if len(pairs) >= 2:
        front, rear = pairs[0][1], pairs[-1][1]
        yield Check(
            "rails.taper", "mm", (*front, *rear),
            lambda X: (X[..., 0, 1] - X[..., 1, 1]) - (X[..., 2, 1] - X[..., 3, 1]),
            lambda v: f"the rails stand {abs(v):.1f} mm {'wider' if v > 0 else 'narrower'} at the front than at the rear",
            lambda v: "",
        )  # fmt: skip
    if pairs:
        yield _asymmetry(car, pairs)


def _asymmetry(car: Car, pairs: list[tuple[str, list[int]]]) -> Check:
    """The rail pair that stands farthest to one side; the offsets of all rail pairs bind its verdict."""
    offset = lambda X: (X[..., 0, 1] + X[..., 1, 1]) / 2  # noqa: E731 - the same figure as a pair's offset
    probe = [
        Check(f"pair.{key}.offset", "mm", (e[0], e[1]), offset, str, side_of) for key, e in pairs
    ]
    values = [abs(evaluate(c, car.frame).value) for c in probe]
    worst = int(np.argmax(np.round(values, 6)))
    key, ends = pairs[worst]
    station = float(car.frame.xyz[ends, 0].mean())
    return Check(
        "rails.asymmetry", "mm", (ends[0], ends[1]), offset,
        lambda v: f"the rails stand most to one side at {key}, {abs(station):.0f} mm {'ahead of' if station > 0 else 'behind'} "
        f"the first pair: {sideways(v)}",
        side_of, "offset", worst_of=tuple(c.name for c in probe),
    )  # fmt: skip


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
