"""How to set the axles: from a surveyed stage to the axle document."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from measure import __version__
from measure.advice import Adviser
from measure.body.check import Car
from measure.body.stand import Judged, Stand
from measure.body.verdict import worst
from measure.cautions import cautions
from measure.findings import Findings
from measure.job import inputs_sha256
from measure.read_job import Progress
from measure.setup.axle_moves import MOST_MOVE, Plan, plan_moves
from measure.setup.axle_points import AxlePoints, axle_names, axle_points, check_axle_points
from measure.setup.axle_pose import mechanism, slackest
from measure.setup.axle_result import AxleDocument, AxleResult, PlanMark, Remeasure, SetupFigure
from measure.setup.figures import as_figure
from measure.setup.housing import housing_figures
from measure.setup.level import UNLEVELLED, knows_level, levelled
from measure.setup.linkage import setup_figures
from measure.setup.standing import refuse_unsized, standing_car
from measure.survey import Surveyed, survey

SLACK = 0.05
"""Members that hold the axle less well than this (see slackest) are a mistake in the tables, not a suspension."""
FIGURES = ("offset", "square", "thrust")
ALWAYS = (
    "Never under a car that hangs on a jack alone: stands on firm ground under the body or the axle, wheels chocked, "
    "and shake it before you go under.",
    "The suspension carries load: springs, shocks and rods may fly apart or the axle may roll when a bolt comes out. "
    "Take the load off first, and undo one adjuster at a time.",
    "Keep at least one and a half times the thread's diameter of thread engaged at every end (common practice, no "
    "source); lock nuts, bolts and pivots to the torque of whoever made the part.",
    "Tighten rubber bushes only at ride height, roll the car back and forth, bounce it, then measure again: what "
    "the bushes give and what the settled car does is in no figure here.",
    "Brake pipes, hoses, cables and the propshaft's sliding length must allow the move.",
    "A change to the suspension of a road car is for local codes and licensed practice to decide.",
)


def axle_document(folder: Path, stage: str | None = None, progress: Progress | None = None) -> AxleDocument:
    """Every axle of one stage. Raises BadInput with everything found where the input cannot be used."""
    surveyed = survey(folder, stage, progress)
    job, findings = surveyed.job, Findings(surveyed.findings)
    check_axle_points(job, findings)
    findings.raise_if_errors()
    standing = standing_car(surveyed, findings, "an axle is set from the centreline")
    refuse_unsized(surveyed, standing, findings)
    level = knows_level(surveyed.readings)
    standing = levelled(standing) if level else standing
    _refuse_slack(surveyed, standing, findings)
    axles = [_axle(surveyed, standing, name) for name in axle_names(job)]
    told = [
        *_of_the_body(standing, axles),
        *_of_this_job(axles),
        *_of_heights(surveyed, standing),
        *([] if level else [UNLEVELLED]),
        *cautions(job, surveyed.stage, surveyed.readings, surveyed.solved, standing),
        *ALWAYS,
    ]
    return AxleDocument(
        job.title, surveyed.stage, job.units, __version__, inputs_sha256(job.folder, surveyed.stage), axles, told,
        [f.text() for f in findings.notes], marks(surveyed, standing),
    )  # fmt: skip


def _refuse_slack(surveyed: Surveyed, standing: Stand, findings: Findings) -> None:
    """Raise BadInput where the pick-ups as measured would let the axle go where it likes."""
    job = surveyed.job
    car = Car(job, standing.points, standing.centreline.pairs, standing.frame)
    for name in axle_names(job):
        points = axle_points(car, name)
        if points is None:
            continue
        m = mechanism(points)
        if slackest(m, standing.frame.xyz[list(points.numbers)]) < SLACK:
            where = ", ".join(
                dict.fromkeys(standing.points.names[i] for r in (*points.arms, *points.rods) for i in (r.body, r.axle))
            )
            would_do = (
                f"arms and lateral rods that stand like these would not hold the {name} axle: look for points changed "
                "about, or a side or part in points.csv that is not theirs"
            )
            findings.error("points.csv", None, "part", where, would_do)
    findings.raise_if_errors()


def marks(surveyed: Surveyed, standing: Stand) -> list[PlanMark]:
    """The held points, for a drawing."""
    made = []
    for name, xyz, high in zip(standing.points.names, standing.frame.xyz, standing.points.height_known, strict=True):
        p = surveyed.job.point(name)
        made.append(PlanMark(name, float(xyz[0]), float(xyz[1]), float(xyz[2]) if high else None, p.part, p.side))
    return made


def _axle(surveyed: Surveyed, standing: Stand, name: str) -> AxleResult:
    job = surveyed.job
    car = Car(job, standing.points, standing.centreline.pairs, standing.frame)
    points = axle_points(car, name)
    found = {j.check.name: j for j in standing.judged}
    now = [found[f"axle.{name}.{what}"] for what in FIGURES if f"axle.{name}.{what}" in found]
    if points is None or len(now) < len(FIGURES):
        words = f"the {name} axle's ends are not held by the readings: nothing can be said of it yet"
        held = [as_figure(j) for j in now]
        return AxleResult(name, "not yet", words, held, [], [], [], None, [], [], _missing(car, name))
    offset, _, thrust = now
    plan = plan_moves(job, points, standing, offset, thrust)
    housing = housing_figures(points, standing, _solid(surveyed, points))
    return AxleResult(
        name, plan.status, _words(name, plan, now, points, housing), [as_figure(j) for j in now], list(plan.ends),
        list(plan.adjusters), [as_figure(j) for j in plan.after], _remeasure(surveyed, standing, plan, now), housing,
        setup_figures(points, standing, plan.goes), list(points.not_held),
    )  # fmt: skip


def _solid(surveyed: Surveyed, points: AxlePoints) -> bool:
    """As job.toml says; otherwise known by what hangs on it."""
    if points.settings.solid is not None:
        return points.settings.solid
    return any(p.kind in ("arm", "link", "pinion") and p.group == points.name for p in surveyed.job.points)


def _missing(car: Car, name: str) -> list[str]:
    wanted = (f"axle:{name}", f"face:{name}")
    return [p.name for p in car.job.points if p.part in wanted and car.held(p.name) is None]


def _words(name: str, plan: Plan, now: list[Judged], points: AxlePoints, housing: list[SetupFigure]) -> str:
    """The answer in a sentence or two."""
    if plan.status == "leave it":
        told = [f"the {name} axle is central and rolls straight within the limits: nothing to move"]
    else:
        off = [j for j in (now[0], now[2]) if j.verdict != "within" and j.figure is not None]
        which = " and ".join(j.check.words(j.figure.value) for j in off if j.figure is not None)
        told = [which if plan.status == "move" else f"{which}, but that is undecided"]
    if plan.sets_upright:
        told.append("the lateral rods bring the leaning crank upright as well")
    if any(f.verdict == "outside" for f in housing):
        told.append("the housing itself is bent: no arm or link sets that")
    elif now[1].verdict == "outside" and now[2].verdict == "within":
        told.append("its ends are out of square though it rolls straight: look at the housing before anything is moved")
    if plan.status != "leave it" and not points.arms:
        told.append("no arm pick-ups are known (part arm:NAME), so the moves are given at the axle's ends")
    if plan.status != "leave it" and not points.rods:
        told.append("no lateral rod is known (part link:NAME), so the sideways move is given at the axle's ends")
    return "; ".join(told)


def _remeasure(surveyed: Surveyed, standing: Stand, plan: Plan, now: list[Judged]) -> Remeasure | None:
    """Whether more measuring before the spanner would pay."""
    if not plan.after:
        return None
    then = worst([plan.after[0].verdict, plan.after[2].verdict])
    if plan.status == "not yet":
        settles = "; set as told it would be within its limit all the same" if then == "within" else ""
        return _worth(surveyed, standing, [now[0], now[2]], "is undecided", settles)
    if then == "within":
        words = "not worth it before moving: expected within the limits; measure once after the car has settled"
        return Remeasure(False, words)
    if then == "outside":
        return Remeasure(False, "it will not help: the steps of the thread are too coarse for the limit")
    return _worth(surveyed, standing, [plan.after[0], plan.after[2]], "would stay undecided even if set perfectly", "")


def _worth(surveyed: Surveyed, standing: Stand, figures: list[Judged], state: str, end: str) -> Remeasure:
    """The one act that takes most off the least certain of these figures."""
    adviser = Adviser(surveyed.job, surveyed.solved, standing)
    open_ = [(j, j.u95) for j in figures if j.verdict == "undecided" and j.u95 is not None]
    for j, u95 in sorted(open_, key=lambda pair: -pair[1] / (pair[0].limit or 1.0)):
        act = adviser.best(j)
        if act is not None:
            places = 1 if j.check.unit == "mm" else 2
            what = {"offset": "offset", "thrust": "rolling direction"}[j.check.name.rpartition(".")[2]]
            words = (
                f"worth it: the {what} {state}; {act.words}: "
                f"u95 {act.u95:.{places}f} instead of {u95:.{places}f} {j.check.unit}{end}"
            )
            return Remeasure(True, words, act.words, j.check.name, act.u95)
    return Remeasure(True, "worth it, but no single reading settles it: measure the axle's ends and the pairs anew")


def _of_heights(surveyed: Surveyed, standing: Stand) -> list[str]:
    known = dict(zip(standing.points.names, standing.points.height_known, strict=True))
    flat = [p.name for p in surveyed.job.points if p.kind in ("arm", "link") and known.get(p.name) == np.False_]
    if not flat:
        return []
    return [
        f"Heights of {', '.join(flat)} were not measured, so arms and rods are taken as level: one that slopes by 10 "
        "degrees moves the axle 1.5 % less than told. Set-up figures seen from the side want heights."
    ]


def _of_the_body(standing: Stand, axles: list[AxleResult]) -> list[str]:
    """Brackets sit on the body: a body that is to be pulled takes the axle with it."""
    outside = [
        j.check.name
        for j in standing.judged
        if j.verdict == "outside" and not j.check.name.startswith(("axle.", "face."))
    ]
    if not outside or all(axle.status == "leave it" for axle in axles):
        return []
    more = f" and {len(outside) - 3} more" if len(outside) > 3 else ""
    return [
        f"The body itself is outside its limits ({', '.join(outside[:3])}{more}): straighten it first, since arms and "
        "rods hang on it, and set the axle afterwards."
    ]


def _of_this_job(axles: list[AxleResult]) -> list[str]:
    told = []
    far = [f"{a.name} axle, {m.name}" for a in axles for m in a.adjusters if abs(m.move) > MOST_MOVE]
    if far:
        told.append(
            f"{'; '.join(far)}: a move of more than {MOST_MOVE:.0f} mm is more than adjusting (common practice, no "
            "source). Look for a bent arm or a bracket welded on in the wrong place first."
        )
    for axle in axles:
        if axle.not_held:
            told.append(f"Not held by the readings, so left out on the {axle.name} axle: {', '.join(axle.not_held)}.")
    if any(axle.status == "not yet" for axle in axles):
        told.append('Moves marked "not yet" rest on a figure that may be nothing but measuring: measure more first.')
    threaded = [a.name for a in axles for m in a.adjusters if m.turns is None]
    if threaded:
        told.append(
            f"No thread is given for some adjusters of {', '.join(dict.fromkeys(threaded))}: write it in [axle.NAME], "
            'such as arm = { pitch = 1.5, ends = "left and right" }, to have turns and flats.'
        )
    return told
