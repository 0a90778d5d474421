"""The driveline of each driven axle: crank line, propshaft and pinion line, the joints between them, the ripple left.

Each line goes through two or more points (part crank, shaft:NAME, pinion:NAME). Angles and ripple are lengths of small
vectors, so they are judged by the 95 % region of the vector, never by a length against its sd.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import pi, sqrt
from pathlib import Path

import numpy as np

from measure import __version__
from measure.adjust.critical import K95
from measure.body.check import Check, Figure, evaluate
from measure.body.stand import Stand
from measure.body.verdict import Verdict, worst
from measure.body.words import side_of, whichever
from measure.cautions import cautions
from measure.compare.ellipsoid import distances
from measure.findings import Findings, did_you_mean
from measure.job import Axle, Job, inputs_sha256
from measure.read_job import Progress
from measure.readings.unknowns import Array
from measure.setup.axle_result import PRACTICE, SetupFigure
from measure.setup.driveline_result import (
    DrivelineDocument,
    DrivelineResult,
    JointResult,
    LineResult,
    RippleResult,
)
from measure.setup.figures import as_figure, judged
from measure.setup.joints import bend, chain, equivalent_angle, fluctuation, ripple_vector
from measure.setup.level import UNLEVELLED, knows_level, levelled
from measure.setup.spread import IN_PLANE, factor
from measure.setup.standing import standing_car
from measure.survey import Surveyed, survey

ENGINE_DOWN = 3.0
ENGINE_JOINT = 5.0
PINION_JOINT = 6.0
LEAST_ANGLE = 0.5
LEFT_OVER = 3.0
"""Degrees: the engine's usual drop, the joints' limits, what a needle bearing wants, and the joint that may be left."""
STEADIEST = 400.0
"""rad/s^2 of the shaft's own angular acceleration, on speed squared times the ripple."""
STRAIGHT = 3.0
"""mm a point may lie off its line before it is asked about; common practice, no source."""
GUIDE = 'Engineers Edge, "Design Guidelines for Drive Shaft Installation Angle", after SAE AE-7 3.1.1 (itself not seen)'
FROM_MEMORY = "from memory: three degrees or less for a road car; no source"
ALWAYS = (
    "Engine, gearbox and axle at ride height, with their weight on the mounts and springs: the angles change as they "
    "move.",
    "Stands on firm ground and wheels chocked before you go under; gearbox in neutral, so that the shaft can be "
    "turned, and nobody at the starter.",
    "Mark the shaft against its flanges before it comes off, fit new bolts and lock nuts to the maker's torque, and "
    "look that the sliding joint has travel left both ways.",
    "A shaft that breaks loose can kill: a loop round its front end, and balance and speed rating by its maker.",
    "A change to the driveline of a road car is for local codes and licensed practice to decide.",
)


@dataclass(frozen=True)
class _Line:
    """A named line and the numbers of its points in the car's frame."""

    name: str
    points: tuple[int, ...]


def driveline_document(
    folder: Path, stage: str | None = None, progress: Progress | None = None
) -> DrivelineDocument:  # fmt: skip
    """Every driven axle of one stage. Raises BadInput with everything found where the input cannot be used."""
    surveyed = survey(folder, stage, progress)
    job, findings = surveyed.job, Findings(surveyed.findings)
    names = _check_points(job, findings)
    findings.raise_if_errors()
    standing = standing_car(surveyed, findings, "angles count from the car's line")
    level = knows_level(surveyed.readings)
    own = standing.frame.xyz
    standing = levelled(standing) if level else standing

    def by_pairs(points: tuple[int, ...]) -> float | None:
        return float(drop(own[list(points)])) if level else None

    lines = [_driveline(surveyed, standing, name, by_pairs, findings) for name in names]
    in_line = [name for name in names if job.axles.get(name, Axle()).phase == 0.0]
    told = [
        f"The shaft's yokes are taken to be in line; if they are not, write phase = DEGREES in [axle.{n}]."
        for n in in_line
    ]
    told += [] if level else [UNLEVELLED]
    told += [*cautions(job, surveyed.stage, surveyed.readings, surveyed.solved, standing), *ALWAYS]
    return DrivelineDocument(
        job.title, surveyed.stage, job.units, __version__, inputs_sha256(job.folder, surveyed.stage), lines, told,
        [f.text() for f in findings.notes],
    )  # fmt: skip


def _check_points(job: Job, findings: Findings) -> list[str]:
    """Names of the driven axles; what their lines lack goes to `findings`."""
    names = list(dict.fromkeys(p.group for p in job.points if p.kind in ("shaft", "pinion")))
    if not names:
        would_do = "give two points on each line the parts crank, shaft:NAME and pinion:NAME"
        findings.error("points.csv", None, None, "no driveline", would_do)
    for part in [*(["crank"] if names else []), *(f"{kind}:{name}" for name in names for kind in ("shaft", "pinion"))]:
        points = [p for p in job.points if p.part == part]
        if len(points) < 2:
            there = ", ".join(p.name for p in points) or "none"
            near = "" if points else did_you_mean(part, {p.part for p in job.points} - {part, ""})
            would_do = f"a line takes two or more points of this part; there: {there}{near}"
            findings.error("points.csv", points[0].line if points else None, "part", part, would_do)
    return names


def _driveline(
    surveyed: Surveyed, standing: Stand, name: str, by_pairs: Callable[[tuple[int, ...]], float | None],
    findings: Findings,
) -> DrivelineResult:  # fmt: skip
    job = surveyed.job
    parts = {"crank line": "crank", "propshaft": f"shaft:{name}", "pinion line": f"pinion:{name}"}
    lines: list[_Line] = []
    missing: list[str] = []
    for title, part in parts.items():
        wanted = [p.name for p in job.points if p.part == part]
        held = [n for n in wanted if n in standing.points.names]
        missing += [n for n in wanted if n not in held]
        lines.append(_Line(title, tuple(standing.points.index(n) for n in held)))
    phase = job.axles.get(name, Axle()).phase
    numbers = [i for line in lines for i in line.points]
    if any(len(line.points) < 2 for line in lines):
        words = f"the driveline to the {name} axle is not held by the readings: {', '.join(missing)}"
        return DrivelineResult(name, "undecided", words, [], None, [], phase, None, missing)
    if not standing.points.height_known[numbers].all():
        low = [standing.points.names[i] for i in numbers if not standing.points.height_known[i]]
        words = f"the driveline to the {name} axle cannot be judged from the side: no heights of {', '.join(low)}"
        return DrivelineResult(name, "undecided", words, [], None, [], phase, None, low)
    for line in lines:
        _refuse_no_line(standing, line, findings)
    findings.raise_if_errors()
    shown = [_line_result(standing, line) for line in lines]
    for one in shown:
        if one.crooked is not None and one.crooked > STRAIGHT:
            would_do = f"a point lies {one.crooked:.1f} mm off the {one.name}: is each taken on the shaft's own middle?"
            findings.note("points.csv", None, "part", ", ".join(one.points), would_do)
    engine = _engine(standing, lines[0], name, by_pairs(lines[0].points))
    joints = [
        _joint(standing, lines[0], lines[1], "joint between engine and shaft", ENGINE_JOINT, PRACTICE),
        _joint(standing, lines[1], lines[2], "joint between shaft and pinion", PINION_JOINT, GUIDE),
    ]
    ripple = _ripple(standing, lines, phase)
    verdict = worst([*(j.verdict for j in joints), ripple.verdict])
    return DrivelineResult(name, verdict, _words(name, joints, ripple), shown, engine, joints, phase, ripple, missing)


def _refuse_no_line(standing: Stand, line: _Line, findings: Findings) -> None:
    X = standing.frame.xyz[list(line.points)]
    apart = float(np.ptp(X[:, 0]))
    named = ", ".join(standing.points.names[i] for i in line.points)
    if apart < 50.0 or apart < float(np.linalg.norm(np.ptp(X[:, 1:], axis=0))):
        would_do = f"they lie {apart:.0f} mm apart along the car, which is no {line.name}: take them far apart along it"
        findings.error("points.csv", None, "part", named, would_do)


def direction(X: Array) -> Array:
    """Unit direction (..., 3), forward, of the line through points (..., n, 3): least squares of the distances."""
    d = X - X.mean(axis=-2, keepdims=True)
    along = np.linalg.svd(d, full_matrices=False)[2][..., 0, :]
    return np.asarray(along * np.where(along[..., :1] < 0, -1.0, 1.0))


def drop(X: Array) -> Array:
    """Degrees by which the line drops to the rear, side view."""
    f = direction(X)
    return np.asarray(np.degrees(np.arctan2(f[..., 2], f[..., 0])))


def to_left(X: Array) -> Array:
    """Degrees by which the line's rear end runs to the left, plan view."""
    f = direction(X)
    return np.asarray(np.degrees(np.arctan2(-f[..., 1], f[..., 0])))


def _line_result(standing: Stand, line: _Line) -> LineResult:
    down = judged(Check("drop", "deg", line.points, drop, str, side_of), None, standing)
    over = judged(Check("left", "deg", line.points, to_left, str, side_of), None, standing)
    assert down.figure is not None and over.figure is not None  # heights are known
    X = standing.frame.xyz[list(line.points)]
    off = X - X.mean(axis=0)
    off = off - np.outer(off @ direction(X), direction(X))
    d, p = down.figure.value, over.figure.value
    words = (
        f"{line.name}: {abs(d):.2f} degrees {'down' if d >= 0 else 'up'} to the rear, "
        f"{abs(p):.2f} degrees to the {'left' if p >= 0 else 'right'} to the rear"
    )
    crooked = float(np.max(np.linalg.norm(off, axis=1))) if len(X) > 2 else None
    names = [standing.points.names[i] for i in line.points]
    return LineResult(line.name, names, d, down.u95 or 0.0, p, over.u95 or 0.0, words, crooked)


def _engine(standing: Stand, line: _Line, name: str, line_of_the_pairs: float | None) -> SetupFigure:
    """How far the engine points down: against level, and beside it against the car's own line."""

    def words(value: float) -> str:
        way = "down" if value >= 0 else "up"
        told = f"the engine points {abs(value):.2f} degrees {way} to the rear"
        if line_of_the_pairs is None:
            return f"{told} against the line through the middles of the pairs; {ENGINE_DOWN:g} down is usual"
        pairs = f"{abs(line_of_the_pairs):.2f} {'down' if line_of_the_pairs >= 0 else 'up'}"
        return f"{told} against level, as the car stood ({pairs} against its pairs); {ENGINE_DOWN:g} down is usual"

    check = Check(f"driveline.{name}.engine", "deg", line.points, drop, words, whichever("down", "up"))
    return as_figure(judged(check, None, standing), PRACTICE, usual=ENGINE_DOWN)


def _joint(standing: Stand, front: _Line, rear: _Line, name: str, limit: float, source: str) -> JointResult:
    split = len(front.points)

    def vector(X: Array) -> Array:
        return bend(direction(X[..., :split, :]), direction(X[..., split:, :]))

    v, least, greatest = _region(standing, front.points + rear.points, vector)
    angle = float(np.linalg.norm(v))
    verdict: Verdict = "within" if greatest <= limit else "outside" if least > limit else "undecided"
    still = ""
    if greatest < LEAST_ANGLE:
        still = f"; under {LEAST_ANGLE:g} degrees the needles hardly turn (from memory, no source)"
    words = (
        f"{name}: {angle:.2f} degrees (between {least:.2f} and {greatest:.2f}), of it "
        f"{abs(float(v[0])):.2f} seen from the side and {abs(float(v[1])):.2f} seen from above{still}"
    )
    return JointResult(name, angle, float(v[0]), float(v[1]), least, greatest, limit, verdict, words, source)


def _ripple(standing: Stand, lines: Sequence[_Line], phase: float) -> RippleResult:
    cuts = np.cumsum([len(line.points) for line in lines])[:-1]

    def vector(X: Array) -> Array:
        shafts = np.stack([direction(part) for part in np.split(X, cuts, axis=-2)], axis=-2)
        return ripple_vector(chain(shafts, [phase]))

    v, least, greatest = _region(standing, tuple(i for line in lines for i in line.points), vector)
    now = float(np.linalg.norm(v))
    most = -float(np.log(np.cos(np.radians(LEFT_OVER))))
    verdict: Verdict = "within" if greatest <= most else "outside" if least > most else "undecided"
    percent, could_be = 100 * fluctuation(now), 100 * fluctuation(greatest)
    rpm = sqrt(STEADIEST / fluctuation(greatest)) * 60 / (2 * pi) if greatest > 1e-9 else None
    told = {
        "within": "the two joints cancel", "outside": "the two joints do NOT cancel",
        "undecided": "whether the two joints cancel is undecided",
    }  # fmt: skip
    steady = ""
    if rpm is not None:
        steady = f"; the pinion runs steadily (under {STEADIEST:.0f} rad/s^2) up to {_round(rpm)} rpm of the shaft"
    words = (
        f"{told[verdict]}: the pinion's speed swings by {percent:.2f} % from least to greatest twice a turn "
        f"(at most {could_be:.2f} %), like a single joint at {equivalent_angle(now):.2f} degrees{steady}"
    )
    return RippleResult(
        percent, could_be, equivalent_angle(now), equivalent_angle(greatest), LEFT_OVER, verdict, rpm, words,
        FROM_MEMORY,
    )  # fmt: skip


def _round(rpm: float) -> str:
    return f"{int(rpm // 100) * 100:,}".replace(",", " ")


def _region(standing: Stand, points: tuple[int, ...], vector: Callable[[Array], Array]) -> tuple[Array, float, float]:
    """A two-part figure, and the least and greatest length in its 95 % region, under every rival centreline."""
    values, spans = [], []
    for frame in standing.centreline.frames:
        parts: list[Figure] = [
            evaluate(Check("", "deg", points, partial(_part, vector, k), str, side_of), frame) for k in (0, 1)
        ]
        value = np.array([p.value for p in parts])
        effects = np.array([p.effects for p in parts])
        k = max(factor(row, frame.sources.freedom) for row in effects) / K95
        values.append(value)
        spans.append(distances(value, effects @ effects.T, IN_PLANE * k))
    return values[0], min(s[0] for s in spans), max(s[1] for s in spans)


def _part(vector: Callable[[Array], Array], k: int, X: Array) -> Array:
    return np.asarray(vector(X)[..., k])


def _words(name: str, joints: Sequence[JointResult], ripple: RippleResult) -> str:
    """The answer in a sentence."""
    outside = [j.name for j in joints if j.verdict == "outside"]
    told = []
    if outside:
        many = "bend" if len(outside) > 1 else "bends"
        told.append(f"the {' and the '.join(outside)} {many} too far: vibration and a short life of the joint")
    if ripple.verdict == "outside":
        told.append("the two joints do not cancel: set the pinion or the engine, or the phase of the yokes")
    unsure = [j.name for j in joints if j.verdict == "undecided"]
    if unsure:
        told.append(f"the {' and the '.join(unsure)} is undecided: measure its lines farther apart or once more")
    if ripple.verdict == "undecided":
        told.append("whether the joints cancel is undecided")
    return "; ".join(told) or f"the {name} driveline is within the usual limits"
