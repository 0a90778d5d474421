"""Where the holes of a mount come out if marked as told, with every source of the uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from measure.findings import Findings
from measure.job import Job
from measure.readings.tape import HEIGHT_SPREAD
from measure.readings.unknowns import Array
from measure.setup.arcs import Crossing, best_crossing, widest_angle
from measure.setup.drilled import Drilled, rigid_rows
from measure.setup.mounts import Wanted
from measure.setup.plumb_marks import Marks, SeenFromCar
from measure.setup.poses import Pose

PAPER = 0.3
"""mm, sd of a hole of the printed template, one axis: the print, the joins, the centre punch (common practice, no
source)."""


@dataclass(frozen=True)
class Places:
    """Holes (h,) of one mount, under one of the car's axes.

    `xyz` (h, 3) in the car, mm. `effects` (h, 2, s) of the sources (labels, freedom) on where each comes out in plan,
    estimate less truth: car, marks, and the marking itself. `z_effects` (s,) on the height of all.
    """

    xyz: Array
    crossings: tuple[Crossing, ...]
    effects: Array
    z_effects: Array
    labels: tuple[str, ...]
    freedom: Array

    def pose_effects(self, wanted: Wanted) -> Array:
        """Effects (3, s) on the mount as its holes take it: x, y (mm) and turn (rad; nought for a single hole)."""
        return np.asarray(pose_gain(wanted) @ self.effects.reshape(2 * len(self.effects), -1))

    def misfit(self, wanted: Wanted) -> Array:
        """Effects (h, 2, s) on how far each hole comes out from where the mount, laid best over all, wants it."""
        apart = self.effects.reshape(2 * len(self.effects), -1)
        rest = apart - _rows(wanted) @ (pose_gain(wanted) @ apart)
        return np.asarray(rest.reshape(self.effects.shape))


def _rows(wanted: Wanted) -> Array:
    rows = rigid_rows(np.array([[h.x, h.y] for h in wanted.holes]))
    if len(wanted.holes) == 1:
        rows[:, 2] = 0.0
    return rows


def pose_gain(wanted: Wanted) -> Array:
    """(3, 2h): the mount's shift and turn from the shifts of its holes, least squares."""
    return np.asarray(np.linalg.pinv(_rows(wanted)))


def strike(
    job: Job, seen: SeenFromCar, marks: Marks, wanted: Wanted, pose: Pose, findings: Findings
) -> tuple[tuple[Crossing, ...], Array]:
    """The arcs of every hole, and the holes' places (h, 3) in the car. An error for a hole where no arcs cross well."""
    flat = pose.in_car(np.array([[h.x, h.y] for h in wanted.holes]))
    xyz = np.column_stack([flat, [pose.z + (h.z or 0.0) for h in wanted.holes]])
    placed = seen.to_network(xyz)
    crossings = []
    for hole, place in zip(wanted.holes, placed, strict=True):
        lines = seen.plumb_lines(float(place[2]))
        found = best_crossing(job, place[:2], marks.xy, lines, seen.plan)
        if found is None:
            angle = widest_angle(place[:2], marks.xy)
            findings.error(
                "mounts.csv", hole.line, "hole", hole.hole,
                "no two plumb marks within 0.1 to 5 m have arcs that cross there at 60 to 120 degrees "
                f"(the best cross at {angle:.0f}): drop the bob at a further point to one side of it, and tape to it",
            )  # fmt: skip
        else:
            crossings.append(found)
    return tuple(crossings), xyz


def places(
    job: Job, seen: SeenFromCar, wanted: Wanted, pose: Pose, crossings: Sequence[Crossing], xyz: Array,
    drilled: Sequence[Drilled], drops: int | None = None, template: bool | None = None,
) -> Places:  # fmt: skip
    """Every source of where the holes come out. Holes drilled stand where they were measured; the others are marked.

    `drops` and `template` in place of the mount's own settings: to see what they would bring.
    """
    drops = wanted.mount.drops if drops is None else drops
    template = wanted.mount.template if template is None else template
    frame = seen.frame.sources
    heights = seen.to_network(xyz)[:, 2]
    lines = [seen.plumb_lines(float(z)) for z in heights]
    count, sources = len(wanted.holes), frame.effects.shape[1]
    there = {d.hole: d.point for d in drilled}
    columns = [np.zeros((count, 2, sources))]
    labels, freedom = list(frame.labels), list(frame.freedom)
    for i, (hole, crossing) in enumerate(zip(wanted.holes, crossings, strict=True)):
        if i in there:
            columns[0][i] = seen.point(there[i])[:2]
            continue
        columns[0][i] = crossing.effects(lines[i])
        marked = np.zeros((count, 2, 4))
        marked[i, :, :2] = crossing.moves * crossing.tape_sd
        marked[i, :, 2:] = job.sd.plumb / sqrt(drops) * np.eye(2)
        columns.append(marked)
        labels += [f"the tape to hole {hole.hole}"] * 2 + [f"the bob at hole {hole.hole}"] * 2
    if not pose.z_known and len(there) < count:
        leans = [sd if sd is not None else np.radians(job.sd.level) for sd in (seen.frame.pitch_sd, seen.frame.roll_sd)]
        lean = np.zeros((count, 2, 2))
        lean[[i for i in range(count) if i not in there]] = HEIGHT_SPREAD * np.diag(leans)
        columns.append(lean)
        labels += ["heights not measured"] * 2
    effects = np.concatenate(columns, axis=2)
    if template:
        effects, labels = _under_template(effects, labels, wanted, there)
    freedom += [np.inf] * (len(labels) - len(freedom))
    z = np.zeros(effects.shape[2])
    z[:sources] = np.mean([seen.point(i)[2] for i in pose.anchors], axis=0)
    return Places(xyz, tuple(crossings), effects, z, tuple(labels), np.array(freedom))


def _under_template(
    effects: Array, labels: list[str], wanted: Wanted, there: dict[int, int]
) -> tuple[Array, list[str]]:
    """The template laid best over all marks carries the pattern: the marks' errors remain as far as they move it."""
    rows, gain = _rows(wanted), pose_gain(wanted)
    laid = (rows @ (gain @ effects.reshape(2 * len(effects), -1))).reshape(effects.shape)
    new = [i for i in range(len(effects)) if i not in there]
    laid[list(there)] = effects[list(there)]
    paper = np.zeros((len(effects), 2, 2 * len(new)))
    for k, i in enumerate(new):
        paper[i, 0, 2 * k] = paper[i, 1, 2 * k + 1] = PAPER
    return np.concatenate([laid, paper], axis=2), [*labels, *(["the template"] * (2 * len(new)))]
