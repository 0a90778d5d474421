"""Where one mount is to go, holes already drilled heard: pilots and usable holes are followed, useless ones are not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.body.stand import Stand
from measure.body.verdict import judge
from measure.findings import Findings
from measure.job import Job
from measure.readings.unknowns import Array
from measure.setup.drill_result import Existing
from measure.setup.drilled import (
    Drilled,
    deviations,
    drilled_holes,
    on_one_side,
    pose_from_holes,
    pose_from_pilot,
    rigid_rows,
)
from measure.setup.existing_use import use_of
from measure.setup.mounts import Wanted
from measure.setup.poses import Pose, between_rails, central_pose
from measure.setup.spread import expanded


@dataclass(frozen=True)
class Target:
    """A mount with the pose it is to have. `followed`: holes drilled that hold it; `existing` by number of the hole."""

    wanted: Wanted
    pose: Pose
    followed: tuple[Drilled, ...]
    existing: dict[int, Existing]
    unheld: tuple[str, ...]


def target_of(job: Job, standing: Stand, wanted: Wanted, findings: Findings) -> Target | None:
    """None after an error."""
    central = central_pose(job, standing, wanted, findings)
    if central is None:
        return None
    drilled, unheld = drilled_holes(job, standing, wanted, central, findings)
    if not drilled:
        return Target(wanted, between_rails(job, wanted, central, findings), (), {}, tuple(unheld))
    if on_one_side(wanted, drilled):
        pose, share = pose_from_pilot(standing, wanted, central, drilled), _mean_share(len(drilled))
        existing = _judged(job, standing, wanted, pose, drilled, share)
        return Target(wanted, pose, drilled, existing, tuple(unheld))
    followed = drilled
    while len(followed) > 1 and not on_one_side(wanted, followed):
        pose = pose_from_holes(standing, wanted, central, followed)
        existing = _judged(job, standing, wanted, pose, followed, _fit_share(wanted, followed))
        useless = [d for d in followed if existing[d.hole].verdict == "redrill"]
        if not useless:
            if not _outside(job, standing, wanted, pose, followed):
                others = [d for d in drilled if d not in followed]
                existing |= _judged(job, standing, wanted, pose, others, np.zeros((2 * len(others),) * 2))
                return Target(wanted, pose, followed, existing, tuple(unheld))
            break
        worst = max(useless, key=lambda d: (existing[d.hole].off, d.hole))
        followed = tuple(d for d in followed if d is not worst)
    pose = between_rails(job, wanted, central, findings)
    share = np.zeros((2 * len(drilled),) * 2)
    return Target(wanted, pose, (), _judged(job, standing, wanted, pose, drilled, share), tuple(unheld))


def _judged(
    job: Job, standing: Stand, wanted: Wanted, pose: Pose, drilled: Sequence[Drilled], share: Array
) -> dict[int, Existing]:
    """Each hole against where the pose wants it; `share` (2k, 2k) of the deviations went into the pose itself."""
    if not drilled:
        return {}
    off = deviations(standing, wanted, pose, drilled)
    sources = standing.frame.sources
    own = sources.effects.reshape(len(standing.points.names), 3, -1)
    effects = own[[d.point for d in drilled], :2].copy()
    if not share.any():  # the station, too, is only as sure as the points it is counted from
        effects[:, 0] -= own[list(pose.anchors), 0].mean(axis=0)
    flat = effects.reshape(2 * len(drilled), -1)
    effects = (flat - share @ flat).reshape(effects.shape)
    found = {}
    for d, o, e in zip(drilled, off, effects, strict=True):
        name = standing.points.names[d.point]
        hole, size = wanted.holes[d.hole], job.point(name).hole
        found[d.hole] = use_of(wanted, hole, name, size, o, e, sources.freedom)
    return found


def _mean_share(count: int) -> Array:
    return np.kron(np.full((count, count), 1.0 / count), np.eye(2))


def _fit_share(wanted: Wanted, drilled: Sequence[Drilled]) -> Array:
    rows = rigid_rows(np.array([[wanted.holes[d.hole].x, wanted.holes[d.hole].y] for d in drilled]))
    return np.asarray(rows @ np.linalg.pinv(rows))


def _outside(job: Job, standing: Stand, wanted: Wanted, pose: Pose, drilled: Sequence[Drilled]) -> bool:
    """Whether the mount, bolted to these holes, would certainly stand out of limits."""
    sources = standing.frame.sources
    own = sources.effects.reshape(len(standing.points.names), 3, -1)[[d.point for d in drilled], :2]
    rows = rigid_rows(np.array([[wanted.holes[d.hole].x, wanted.holes[d.hole].y] for d in drilled]))
    effects = np.linalg.pinv(rows) @ own.reshape(2 * len(drilled), -1)
    figures = (pose.y, effects[1], job.limits["offset"]), (
        float(np.degrees(pose.yaw)), np.degrees(effects[2]), job.limits["angle"],
    )  # fmt: skip
    return any(judge(value, expanded(row, sources.freedom), limit) == "outside" for value, row, limit in figures)
