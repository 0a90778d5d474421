"""Where to drill: from a surveyed stage to the drill plan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from measure import __version__
from measure.body.stand import Stand
from measure.body.verdict import Verdict, agreed, judge, worst
from measure.findings import Findings
from measure.job import Job, inputs_sha256
from measure.readings.unknowns import Array
from measure.setup.arcs import Crossing, rounded
from measure.setup.drill_advice import next_for_fit, next_step
from measure.setup.drill_cautions import drill_cautions
from measure.setup.drill_result import (
    Arc,
    CheckArc,
    DrillPlan,
    Ellipse,
    HoleResult,
    MountResult,
    NextStep,
    PlanPoint,
    Status,
    Use,
)
from measure.setup.drill_words import fit_reason, hole_words, mount_words, reason, room_reason
from measure.setup.existing_use import radial
from measure.setup.hole_places import Places, places, strike
from measure.setup.mounts import wanted_mounts
from measure.setup.plumb_marks import Marks, SeenFromCar, plumb_marks, seen_from_car
from measure.setup.poses import gap
from measure.setup.spread import ellipse, expanded
from measure.setup.standing import refuse_unsized, standing_car
from measure.setup.target import Target, target_of
from measure.survey import Surveyed, survey


def drill(folder: Path, stage: str | None = None) -> DrillPlan:
    """The drill plan of one stage. Raises BadInput with everything found where the input cannot be used."""
    return drill_plan(survey(folder, stage))


def drill_plan(surveyed: Surveyed) -> DrillPlan:
    """The drill plan of a stage already surveyed. Raises BadInput."""
    job, findings = surveyed.job, Findings(surveyed.findings)
    wanted = wanted_mounts(job, findings)
    standing = standing_car(surveyed, findings, "a mount is set from the centreline")
    refuse_unsized(surveyed, standing, findings)
    findings.raise_if_errors()
    targets = [t for w in wanted if (t := target_of(job, standing, w, findings)) is not None]
    findings.raise_if_errors()
    middle = np.mean([[t.pose.x, t.pose.y, t.pose.z] for t in targets], axis=0)
    near = middle @ standing.frame.car_from_network + standing.frame.origin
    marks = plumb_marks(surveyed, standing, near[:2])
    views = seen_from_car(job, standing, marks)
    struck = [strike(job, views[0], marks, t.wanted, t.pose, findings) for t in targets]
    findings.raise_if_errors()
    mounts, holes = [], []
    for target, (crossings, xyz) in zip(targets, struck, strict=True):
        judged = _Judged(job, standing, views, target, crossings, xyz)
        mounts.append(judged.mount())
        holes += judged.holes(marks, mounts[-1].verdict)
    return DrillPlan(
        job=job.title, stage=surveyed.stage, units=job.units, version=__version__,
        inputs_sha256=inputs_sha256(job.folder, surveyed.stage), mounts=mounts, holes=holes,
        cautions=drill_cautions(surveyed, marks, targets), notes=[f.text() for f in findings.notes],
        points=_plan_points(job, standing), marks_dropped=marks.dropped,
    )  # fmt: skip


def _plan_points(job: Job, standing: Stand) -> list[PlanPoint]:
    made = []
    for name, xyz in zip(standing.points.names, standing.frame.xyz, strict=True):
        point = job.point(name)
        made.append(PlanPoint(name, float(xyz[0]), float(xyz[1]), point.part, point.side))
    return made


_FITS: dict[Use, Verdict] = {"use": "within", "slot": "within", "redrill": "outside", "undecided": "undecided"}


class _Judged:
    """One mount judged under the car's axes and their rivals."""

    def __init__(
        self, job: Job, standing: Stand, views: Sequence[SeenFromCar], target: Target, crossings: Sequence[Crossing],
        xyz: Array,
    ) -> None:  # fmt: skip
        self._job, self._standing, self._views, self._target = job, standing, views, target
        self._crossings, self._xyz = crossings, xyz
        self._found = self._places(views[0])

    def _places(self, view: SeenFromCar, drops: int | None = None, template: bool | None = None) -> Places:
        t = self._target
        return places(self._job, view, t.wanted, t.pose, self._crossings, self._xyz, t.followed, drops, template)

    def mount(self) -> MountResult:
        """The mount's pose, its fit and what would settle it."""
        job, pose, wanted = self._job, self._target.pose, self._target.wanted
        limits = job.limits["offset"], job.limits["angle"]
        offset, square = pose.y, float(np.degrees(pose.yaw))
        rows = self._found.pose_effects(wanted)
        offset_u95 = expanded(rows[1], self._found.freedom)
        turns = len(wanted.holes) > 1
        square_u95 = expanded(np.degrees(rows[2]), self._found.freedom) if turns else None
        offset_verdict, square_verdict = self._pose_verdicts(limits)
        fit_hole, fit_u95, fit_limit, fit_verdict = self._fit(self._found)
        gaps = {side: self._gap(side) for side in "LR"}
        room = {side: self._room(*gaps[side]) for side in "LR"}
        verdict = worst([offset_verdict, square_verdict, fit_verdict, *room.values()])
        reasons, steps = [], []
        if offset_verdict != "within":
            reasons.append(reason("sideways", offset, offset_u95, limits[0], "mm", offset_verdict))
        if square_verdict not in ("within", "no limit") and square_u95 is not None:
            reasons.append(reason("square", square, square_u95, limits[1], "degrees", square_verdict))
        there = fit_hole in {wanted.holes[d.hole].hole for d in self._target.followed}
        if fit_verdict != "within":
            reasons.append(fit_reason(fit_hole, fit_u95, fit_limit, there))
        for side, found in room.items():
            value, u95 = gaps[side]
            if found in ("outside", "undecided") and value is not None and u95 is not None:
                word = "left" if side == "L" else "right"
                reasons.append(room_reason(word, value, u95, wanted.mount.clearance, found))
        reasons += self._doubts()
        if offset_verdict == "undecided":
            steps.append(self._next("sideways", offset, offset_u95, limits[0], rows[1]))
        if square_verdict == "undecided" and square_u95 is not None:
            steps.append(self._next("square", square, square_u95, limits[1], rows[2]))
        if fit_verdict == "undecided":
            mount = wanted.mount
            steps.append(next_for_fit(fit_limit, mount.drops, mount.template, there, self._fit_with))
        left, right = gaps["L"], gaps["R"]
        return MountResult(
            wanted.name, square if turns else None, offset, left[0], right[0], verdict,
            mount_words(wanted.name, verdict, pose.why, offset, square if turns else None, reasons),
            square_u95, offset_u95, left[1], right[1], limits[1], limits[0], square_verdict, offset_verdict,
            fit_u95, fit_limit, fit_verdict, pose.why, pose.x, pose.y, pose.z if pose.z_known else None, steps,
        )  # fmt: skip

    def _next(self, what: str, value: float, u95: float, limit: float, row: Array) -> NextStep:
        if self._standing.centreline.ambiguous or self._standing.centreline.rests_on == "all":
            return NextStep(what, "measure a further pair: the centreline is not settled", None)
        drops, names = self._target.wanted.mount.drops, self._standing.points.names
        followed = [names[d.point] for d in self._target.followed]
        return next_step(what, value, u95, limit, row, self._found, drops, followed)

    def _doubts(self) -> list[str]:
        line = self._standing.centreline
        if line.ambiguous:
            return ["two centrelines explain this car equally well"]
        if line.rests_on == "all":
            return ["the centreline rests on two pairs, which any line fits"]
        return []

    def _pose_verdicts(self, limits: tuple[float, float]) -> tuple[Verdict, Verdict]:
        """Sideways and square, as they hold under every rival of the car's axes."""
        wanted, pose = self._target.wanted, self._target.pose
        under: tuple[list[Verdict], list[Verdict]] = ([], [])
        ways = np.array([[0.0, 0.0, 0.0], [1000 * np.cos(pose.yaw), 1000 * np.sin(pose.yaw), 0.0]])
        placed = self._views[0].to_network(np.array([pose.x, pose.y, pose.z]) + ways)
        for view in self._views:
            middle, ahead = view.to_car(placed)
            turn = float(np.degrees(np.arctan2(ahead[1] - middle[1], ahead[0] - middle[0])))
            found = self._found if view is self._views[0] else self._places(view)
            rows = found.pose_effects(wanted)
            under[0].append(judge(float(middle[1]), expanded(rows[1], found.freedom), limits[0]))
            square: Verdict = "no limit"
            if len(wanted.holes) > 1:
                square = judge(turn, expanded(np.degrees(rows[2]), found.freedom), limits[1])
            under[1].append(square)
        if self._standing.centreline.rests_on == "all":
            return "undecided", "undecided"
        return agreed(under[0]), agreed(under[1])

    def _fit(self, found: Places) -> tuple[str, float, float | None, Verdict]:
        """(hole, u95, what it forgives, verdict) of the hole that fits worst."""
        wanted, target = self._target.wanted, self._target
        misfit = found.misfit(wanted)
        told: list[tuple[float, str, float, float | None, Verdict]] = []
        followed = {d.hole for d in target.followed}
        for i, hole in enumerate(wanted.holes):
            forgives, u95 = wanted.forgives(hole), radial(misfit[i], found.freedom)
            if i in followed:
                existing = target.existing[i]
                verdict = _FITS[existing.verdict]
                u95 = existing.off + existing.u95
            else:
                verdict = judge(0.0, u95, forgives) if forgives is not None else "undecided"
            short = np.inf if forgives is None else u95 - forgives
            told.append((short if verdict != "within" else short - 1e6, hole.hole, u95, forgives, verdict))
        _, name, u95, forgives, _ = max(told, key=lambda each: (round(each[0], 9), each[1]))
        return name, u95, forgives, worst([each[4] for each in told])

    def _fit_with(self, drops: int, template: bool) -> float:
        """The radius that `_fit` would give with other marking; of the hole with the least to forgive."""
        return self._fit(self._places(self._views[0], drops, template))[1]

    def _room(self, value: float | None, u95: float | None) -> Verdict:
        """Whether holes drilled leave the clearance wanted; where none is drilled, the pose was chosen so."""
        if value is None or u95 is None or not self._target.followed:
            return "no limit"
        short = self._target.wanted.mount.clearance - value
        return "outside" if short > u95 else "within" if short <= -u95 else "undecided"

    def _gap(self, side: str) -> tuple[float | None, float | None]:
        wanted, pose = self._target.wanted, self._target.pose
        found = gap(wanted, pose, side)
        if found is None:
            return None, None
        value, ahead = found
        rail = pose.rails[side].effects(pose.x + ahead, self._views[0])
        rows = self._found.pose_effects(wanted)
        edge = rows[1] + rows[2] * ahead
        row = -edge
        row[: len(rail)] += rail
        return value, expanded(row, self._found.freedom)

    def holes(self, marks: Marks, verdict: Verdict) -> list[HoleResult]:
        """Every hole with its arcs."""
        job, target, found = self._job, self._target, self._found
        z_u95 = expanded(found.z_effects, found.freedom)
        made = []
        for i, (hole, crossing, place) in enumerate(zip(target.wanted.holes, found.crossings, found.xyz, strict=True)):
            effects = found.effects[i]
            existing = target.existing.get(i)
            arcs = [
                Arc(marks.names[m], rounded(length, job.units))
                for m, length in zip((crossing.a, crossing.b), crossing.lengths, strict=True)
            ]
            check = None
            if crossing.third is not None:
                third = rounded(crossing.third_length, job.units)
                check = CheckArc(marks.names[crossing.third], third, 1.96 * crossing.third_sd)
            side = "left" if crossing.left else "right"
            there = existing is not None and existing.verdict in ("use", "slot")
            status: Status = "there already" if there else "drill" if verdict == "within" else "not yet"
            known = target.pose.z_known
            words = hole_words(
                ((arcs[0].mark, arcs[0].length), (arcs[1].mark, arcs[1].length)),
                None if check is None else (check.mark, check.length, check.u95),
                side, crossing.angle, job.units, existing,
            )  # fmt: skip
            made.append(HoleResult(
                target.wanted.name, hole.hole, float(place[0]), float(place[1]), float(place[2]) if known else None,
                [*(expanded(row, found.freedom) for row in effects), z_u95 if known else None], arcs, check, side,
                crossing.angle, status, Ellipse(*ellipse(effects, found.freedom)), hole.diameter, hole.bolt, existing,
                words,
            ))  # fmt: skip
        return made
