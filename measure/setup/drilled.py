"""Holes of a mount that are there already: which they are, and the pose they give the mount.

A hole is known by its name: a point of part mount:NAME is called as the hole in mounts.csv, or NAME.hole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.body.stand import Stand
from measure.findings import Findings, did_you_mean
from measure.job import Job, MountHole
from measure.readings.unknowns import Array
from measure.setup.mounts import Wanted
from measure.setup.poses import Pose

FAR = 30.0
"""mm; a hole farther than this from where it is wanted is another hole, or a misread place."""


@dataclass(frozen=True)
class Drilled:
    """A hole that was measured: its number among the mount's holes, and that of its point in the car."""

    hole: int
    point: int


def drilled_holes(
    job: Job, standing: Stand, wanted: Wanted, pose: Pose, findings: Findings
) -> tuple[tuple[Drilled, ...], list[str]]:
    """Holes of a mount that the stage holds, in the mount's order, and the names of those that it does not.

    Errors: a point named like no hole, one on the other side, one far from where its hole is wanted, one named twice.
    """
    by_name = {hole.hole: i for i, hole in enumerate(wanted.holes)}
    found: dict[int, Drilled] = {}
    unheld = []
    for point in (p for p in job.points if p.part == f"mount:{wanted.name}"):
        plain = point.name.removeprefix(f"{wanted.name}.")
        name = point.name if point.name in by_name else plain
        held = point.name in standing.points.names
        if name not in by_name:
            near = did_you_mean(plain, by_name)
            where = _nearest(standing, wanted, pose, point.name) if held else ""
            known = ", ".join(by_name)
            would_do = f"call it as its hole in mounts.csv ({known}), or {wanted.name}.HOLE{near}{where}"
            findings.error("points.csv", point.line, "name", point.name, would_do)
        elif not held:
            unheld.append(point.name)
        elif by_name[name] in found:
            findings.error("points.csv", point.line, "name", point.name, f'hole "{name}" has a point already')
        else:
            hole, index = by_name[name], standing.points.index(point.name)
            found[hole] = Drilled(hole, index)
            _check_place(standing, wanted.holes[hole], point.name, point.line, index, pose, findings)
    return tuple(found[i] for i in sorted(found)), unheld


def _check_place(
    standing: Stand, hole: MountHole, name: str, line: int, index: int, pose: Pose, findings: Findings
) -> None:
    here = standing.frame.xyz[index, :2]
    off = float(np.linalg.norm(here - pose.in_car(np.array([hole.x, hole.y]))))
    if off <= FAR:
        return
    other = float(np.linalg.norm(here - pose.in_car(np.array([hole.x, -hole.y]))))
    side = "; it lies where the hole of the other side belongs: are the two changed about?" if other <= FAR else ""
    findings.error(
        "points.csv", line, "name", name,
        f'this hole was measured {off:.0f} mm from where hole "{hole.hole}" is wanted: measure it again, or check '
        f"from and ahead in job.toml{side}",
    )  # fmt: skip


def _nearest(standing: Stand, wanted: Wanted, pose: Pose, name: str) -> str:
    here = standing.frame.xyz[standing.points.index(name), :2]
    away = [(float(np.linalg.norm(here - pose.in_car(np.array([h.x, h.y])))), h.hole) for h in wanted.holes]
    distance, hole = min(away)
    far = ", far from any hole" if distance > FAR else ""
    return f'; measured {distance:.0f} mm from hole "{hole}"{far}'


def on_one_side(wanted: Wanted, drilled: Sequence[Drilled]) -> bool:
    """Whether the holes drilled all lie on one side of the mount's middle: pilots, from which the others follow."""
    sides = {np.sign(round(wanted.holes[d.hole].y, 3)) for d in drilled} - {0.0}
    return len(sides) <= 1


def pose_from_pilot(standing: Stand, wanted: Wanted, pose: Pose, drilled: Sequence[Drilled]) -> Pose:
    """Square to the centreline, and shifted so that the pattern lies on the holes as drilled."""
    square = replace(pose, y=0.0, yaw=0.0)
    off = deviations(standing, wanted, square, drilled).mean(axis=0)
    return replace(square, x=pose.x + float(off[0]), y=float(off[1]), why="pilot")


def pose_from_holes(standing: Stand, wanted: Wanted, pose: Pose, drilled: Sequence[Drilled]) -> Pose:
    """Shifted and turned so that the pattern lies best on holes of both sides."""
    start = replace(pose, y=0.0, yaw=0.0)
    off = deviations(standing, wanted, start, drilled).ravel()
    xy = np.array([[wanted.holes[d.hole].x, wanted.holes[d.hole].y] for d in drilled])
    dx, dy, yaw = np.linalg.pinv(rigid_rows(xy)) @ off
    return replace(start, x=start.x + float(dx), y=float(dy), yaw=float(yaw), why="holes")


def deviations(standing: Stand, wanted: Wanted, pose: Pose, drilled: Sequence[Drilled]) -> Array:
    """(k, 2) mm: how far each hole drilled stands from where the pose wants it, in the car's axes."""
    xy = np.array([[wanted.holes[d.hole].x, wanted.holes[d.hole].y] for d in drilled])
    return np.asarray(standing.frame.xyz[[d.point for d in drilled], :2] - pose.in_car(xy))


def rigid_rows(xy: Array) -> Array:
    """(2k, 3): what a shift along x, along y and a turn (rad) of the mount do to its holes at xy (k, 2)."""
    rows = np.zeros((len(xy), 2, 3))
    rows[:, 0, 0] = rows[:, 1, 1] = 1.0
    rows[:, 0, 2], rows[:, 1, 2] = -xy[:, 1], xy[:, 0]
    return rows.reshape(-1, 3)
