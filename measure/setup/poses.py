"""Where each mount is to stand: central on the centreline and square to it, or as near as rails or holes allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.body.stand import Stand
from measure.findings import Findings
from measure.job import Job
from measure.readings.unknowns import Array
from measure.setup.between_rails import least_off, shortfall
from measure.setup.drill_result import Why
from measure.setup.mounts import Wanted
from measure.setup.rails_beside import Rail, rail_beside


@dataclass(frozen=True)
class Pose:
    """A mount in the car: its middle (mm), its turn to the left (rad), and why it is not simply central and square.

    `anchors` are the numbers of the points whose middle the station and the height come from; z stands on an assumed
    height where `z_known` is false. `rails` L and R where there are any beside it.
    """

    x: float
    y: float
    z: float
    yaw: float
    z_known: bool
    anchors: tuple[int, ...]
    rails: dict[str, Rail]
    why: Why = "central"

    def in_car(self, xy: Array) -> Array:
        """Places (..., 2) of the mount's own axes in plan in the car."""
        c, s = np.cos(self.yaw), np.sin(self.yaw)
        return np.asarray(xy @ np.array([[c, s], [-s, c]]) + [self.x, self.y])


def central_pose(job: Job, standing: Stand, wanted: Wanted, findings: Findings) -> Pose | None:
    """The mount at its station, central and square; None after an error."""
    names, xyz = standing.points.names, standing.frame.xyz
    anchors = _anchors(job, wanted)
    missing = [name for name in anchors if name not in names]
    if missing or not anchors:
        findings.error(
            "job.toml", None, f"mount.{wanted.name}.from", wanted.mount.from_ or "",
            f"{', '.join(missing) or 'its points'} not held by the readings of this stage: measure them, "
            "or place the mount from another pair",
        )  # fmt: skip
        return None
    idx = tuple(names.index(name) for name in anchors)
    left = [i for i, n in zip(idx, anchors, strict=True) if job.point(n).side == "L"]
    right = [i for i in idx if i not in left]
    middle = (xyz[left].mean(axis=0) + xyz[right].mean(axis=0)) / 2
    x = float(middle[0]) + wanted.mount.ahead
    rails = {s: r for s in "LR" if (r := rail_beside(job, names, xyz, s, x)) is not None}
    known = bool(standing.points.height_known[list(idx)].all())
    return Pose(x, 0.0, float(middle[2]) + wanted.mount.up, 0.0, known, idx, rails)


def _anchors(job: Job, wanted: Wanted) -> list[str]:
    """The points whose middle the mount is placed from: a pair, axle ends, or all points of both axle faces."""
    word, colon, axle = (wanted.mount.from_ or "").partition(":")
    if colon and word == "axle":
        ends = [p.name for p in job.points if p.part == f"axle:{axle}" and p.side in "LR"]
        return ends or [p.name for p in job.points if p.part == f"face:{axle}" and p.side in "LR"]
    return next(([left.name, right.name] for key, left, right in job.pairs() if key == wanted.mount.from_), [])


def between_rails(job: Job, wanted: Wanted, pose: Pose, findings: Findings) -> Pose:
    """The same, moved and turned as little as will do where the rails do not let it stand central and square."""
    if wanted.mount.on_rails:
        _check_on_rails(wanted, pose, findings)
        return pose
    found = least_off(wanted, pose.x, pose.rails, job.limits["offset"], job.limits["angle"])
    if found is None:
        _too_wide(wanted, pose, findings)
        return pose
    if found == (0.0, 0.0):
        return pose
    return replace(pose, y=found[0], yaw=found[1], why="rails")


def _too_wide(wanted: Wanted, pose: Pose, findings: Findings) -> None:
    line = wanted.holes[0].line
    on_edge = False
    for hole in wanted.holes:
        rail = pose.rails.get("L" if hole.y > 0 else "R")
        if rail is not None and abs(rail.y(pose.x + hole.x) - hole.y) < hole.diameter / 2:
            on_edge = True
            findings.error(
                "mounts.csv", hole.line, "hole", hole.hole,
                f"it would be drilled on the edge of the {'left' if hole.y > 0 else 'right'} rail, whose points lie "
                f"{abs(rail.y(pose.x + hole.x) - hole.y):.1f} mm from its middle: move the hole, or write "
                f"on_rails = true in [mount.{wanted.name}] with rail_width if it goes through the rail",
            )  # fmt: skip
    if len(pose.rails) == 2:
        over = shortfall(wanted, pose.x, pose.rails)
        wider = f"it is {over:.1f} mm" if over >= 0.05 else "it is just"
        told = f"{wider} wider than the rails leave" if over > 0 else "it goes between the rails at no angle"
    else:
        told = "it reaches over the rail"
    clear = f", with {wanted.mount.clearance:g} mm clear on each side" if wanted.mount.clearance else ""
    if not on_edge or "wider" in told:
        findings.error(
            "mounts.csv", line, "mount", wanted.name,
            f"{told}{clear} at its station: check y in mounts.csv and width, from and ahead in [mount.{wanted.name}]",
        )  # fmt: skip


def _check_on_rails(wanted: Wanted, pose: Pose, findings: Findings) -> None:
    """Each hole of a mount bolted to the rails goes wholly through one: its edge clear of the rail's edges."""
    for hole in wanted.holes:
        side = "L" if hole.y > 0 else "R"
        rail = pose.rails.get(side)
        if rail is None:
            continue
        into = (1.0 if side == "L" else -1.0) * (hole.y - rail.y(pose.x + hole.x))
        r, width = hole.diameter / 2, wanted.mount.rail_width
        if abs(into) < r or (width is not None and abs(into - width) < r):
            findings.error(
                "mounts.csv", hole.line, "hole", hole.hole,
                f"it would be drilled on an edge of the {'left' if side == 'L' else 'right'} rail (its middle "
                f"{abs(into):.1f} mm {'beyond' if into > 0 else 'inside'} the line of its points): move the hole",
            )  # fmt: skip


def gap(wanted: Wanted, pose: Pose, side: str) -> tuple[float, float] | None:
    """(gap mm, distance ahead of the mount's middle at which it is least) to one rail; None without it or on it."""
    if side not in pose.rails or wanted.mount.on_rails:
        return None
    out = 1.0 if side == "L" else -1.0
    found: Sequence[tuple[float, float]] = [
        (out * (pose.rails[side].y(pose.x + ahead) - (pose.y + aside + pose.yaw * ahead)), ahead)
        for ahead, aside, which in wanted.edges() if which == side
    ]  # fmt: skip
    return min(found, key=lambda g: (round(g[0], 9), g[1]))
