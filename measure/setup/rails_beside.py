"""The two rails beside a mount: a straight line each, through the two rail points nearest to it fore and aft."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.job import Job
from measure.readings.unknowns import Array
from measure.setup.plumb_marks import SeenFromCar

BEYOND = 300.0
"""mm past its last point up to which a rail is taken to run straight on."""
APART = 50.0
"""mm along the car that two points of a rail must stand apart to give it a direction."""


@dataclass(frozen=True)
class Rail:
    """A rail in plan: y = y0 + slope (x - x0) between two of its points (numbers of the car's points), x0 rear."""

    ends: tuple[int, int]
    x0: float
    y0: float
    length: float
    slope: float

    def y(self, x: float) -> float:
        """Where the rail stands at x, mm."""
        return self.y0 + self.slope * (x - self.x0)

    def effects(self, x: float, seen: SeenFromCar) -> Array:
        """Effects (s,) on that y."""
        t = (x - self.x0) / self.length
        rear, front = (seen.point(i) for i in self.ends)
        return np.asarray((1 - t) * (rear[1] - self.slope * rear[0]) + t * (front[1] - self.slope * front[0]))


def rail_beside(job: Job, names: tuple[str, ...], xyz: Array, side: str, x: float) -> Rail | None:
    """The rail of one side at a station x; None where fewer than two of its points are held or they are too far off."""
    rail = {p.name for p in job.points if p.part == "rail" and p.side == side}
    mine = sorted((float(xyz[i, 0]), i) for i, name in enumerate(names) if name in rail)
    if len(mine) < 2 or not mine[0][0] - BEYOND <= x <= mine[-1][0] + BEYOND:
        return None
    behind = [m for m in mine if m[0] <= x] or mine[:1]
    rear = behind[-1]
    ahead = [m for m in mine if m[0] >= max(x, rear[0] + APART)]
    if not ahead:  # past the foremost point: on along the last two that stand apart
        front = mine[-1]
        before = [m for m in mine if m[0] <= front[0] - APART]
        if not before:
            return None
        rear = before[-1]
    else:
        front = ahead[0]
    length = front[0] - rear[0]
    slope = float(xyz[front[1], 1] - xyz[rear[1], 1]) / length
    return Rail((rear[1], front[1]), rear[0], float(xyz[rear[1], 1]), length, slope)
