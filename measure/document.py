"""The result document of a stage already surveyed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt

import numpy as np

from measure import __version__
from measure.adjust.critical import FINDABLE, sigma0_limits
from measure.adjust.explain import explain
from measure.adjust.mistakes import against_the_rest, standardised
from measure.adjust.stage import Solved
from measure.advice import Adviser
from measure.body.stand import Judged, Stand, budget
from measure.cautions import cautions
from measure.findings import Findings
from measure.job import Job, inputs_sha256
from measure.job.limits import check_names
from measure.readings.reading import Reading
from measure.result import (
    Centreline,
    CheckResult,
    Document,
    Loose,
    Network,
    NextAct,
    PointResult,
    ReadingResult,
    ScaledKind,
    Share,
    Suspect,
    TapeResult,
    Tilt,
)
from measure.survey import Surveyed

UNCHECKED = 0.1
"""Redundancy under which a reading counts as not checked by the others."""


def document(surveyed: Surveyed) -> Document:
    """The result document of a stage already surveyed."""
    return _document(
        surveyed.job, surveyed.stage, surveyed.readings, surveyed.solved, surveyed.standing, surveyed.findings
    )


def _document(
    job: Job, stage: str, readings: Sequence[Reading], solved: Solved, standing: Stand | None, findings: Findings
) -> Document:
    checks = _checks(job, solved, standing)
    frame = standing.frame if standing else None
    roll = pitch = None
    if frame is not None and frame.roll_sd is not None and _knows_gravity(readings):
        roll = float(np.degrees(np.arcsin(frame.car_from_network[1, 2])))
        if frame.pitch_sd is not None:
            pitch = float(np.degrees(np.arcsin(-frame.car_from_network[0, 2])))
    rows = _readings(solved)
    return Document(
        job=job.title, stage=stage, units=job.units, version=__version__,
        inputs_sha256=inputs_sha256(job.folder, *_stages(job, stage)), frame="car" if standing else "network",
        plan_only=frame.roll_sd is None if frame else not bool((solved.site.level_sets >= 0).any()),
        tilt=Tilt(roll, pitch), network=_network(solved, len(rows)), points=_points(job, solved, standing),
        readings=rows, suspects=_suspects(job, solved), centreline=_centreline(standing), checks=checks,
        cautions=cautions(job, stage, readings, solved, standing), notes=[f.text() for f in findings.notes],
        unchecked=[_where(r) for r in rows if r.redundancy is not None and r.redundancy < UNCHECKED],
        loose=[Loose(list(p.points), p.direction, list(p.fix)) for p in solved.loose],
        pieces=[list(p) for p in solved.pieces] if len(solved.pieces) > 1 else [],
        tapes=_tapes(solved),
    )  # fmt: skip


def _stages(job: Job, stage: str) -> list[str]:
    """The stage and that of its faces half a turn on, if any."""
    info = job.stage_info.get(stage)
    return [stage] if info is None or info.turned is None else [stage, info.turned]


def _where(reading: ReadingResult) -> str:
    """A reading named by its line, or the drop of the bob by its mark."""
    return reading.source or f"the drop of the bob at {reading.names[0]}"


def _knows_gravity(readings: Sequence[Reading]) -> bool:
    return any(r.kind in ("floor", "marks", "heights", "levels") for r in readings)


def _network(solved: Solved, readings: int) -> Network:
    stated, final = solved.as_stated, solved.final
    freedom = stated.degrees_of_freedom
    low, high = sigma0_limits(freedom)
    sigma0 = sqrt(stated.sum_of_squares / freedom) if freedom > 0 else None
    after = sqrt(final.sum_of_squares / freedom) if freedom > 0 else None
    return Network(
        points=len(solved.site.unknowns.points), readings=readings, unknowns=solved.site.unknowns.size,
        defect=final.factor.defect, degrees_of_freedom=freedom, sigma0=sigma0,
        sigma0_low=low if freedom > 0 else None, sigma0_high=high if freedom > 0 else None,
        passed=None if sigma0 is None else bool(low <= sigma0 <= high),
        scaled=[ScaledKind(s.kind, s.factor, s.degrees_of_freedom) for s in solved.scaled],
        sigma0_after=after,
    )  # fmt: skip


def _points(job: Job, solved: Solved, standing: Stand | None) -> list[PointResult]:
    """Every point of points.csv, in its order; in the car's axes where there is a centreline."""
    u = solved.site.unknowns
    made = []
    in_car = {name: i for i, name in enumerate(standing.points.names)} if standing else {}
    for point in job.points:
        place = None
        if standing is not None and point.name in in_car:
            i = in_car[point.name]
            effects = standing.frame.sources.effects[3 * i : 3 * i + 3]
            place = standing.frame.xyz[i], effects @ effects.T, bool(standing.points.height_known[i])
        elif standing is None and point.name in u.point_idx and solved.held[u.point_idx[point.name]]:
            k = u.point_idx[point.name]
            columns = u.point_columns[k]
            place = solved.final.state.positions[k], _covariance(solved.final.Q, columns), bool(columns[2] >= 0)
        made.append(_point(point.name, point.side, point.pair, point.part, place))
    return made


def _covariance(Q: np.ndarray, columns: np.ndarray) -> np.ndarray:
    there = columns >= 0
    C = np.zeros((3, 3))
    C[np.ix_(there, there)] = Q[np.ix_(columns[there], columns[there])]
    return C


def _point(
    name: str, side: str, pair: str | None, part: str, place: tuple[np.ndarray, np.ndarray, bool] | None
) -> PointResult:
    if place is None:
        return PointResult(name, None, None, None, None, None, None, None, side, pair, part)
    xyz, C, high = place
    sd = np.sqrt(np.maximum(np.diag(C), 0.0))
    return PointResult(
        name, float(xyz[0]), float(xyz[1]), float(xyz[2]) if high else None, float(sd[0]), float(sd[1]),
        float(sd[2]) if high else None, float(C[0, 1]), side, pair, part,
    )  # fmt: skip


def _readings(solved: Solved) -> list[ReadingResult]:
    """A line for each row. Residual and w are against the a priori sd, w of a reading set aside against the rest."""
    adjustment = solved.as_stated
    w = -standardised(adjustment)
    rest = -against_the_rest(adjustment)[0]
    residual = -adjustment.residual
    redundancy = adjustment.redundancy
    made = []
    for i, row in enumerate(adjustment.network.rows):
        if not row.tested:
            continue
        active = bool(adjustment.active[i])
        sd = float(adjustment.sd[i])
        r = float(redundancy[i]) if active else None
        checked = r is not None and r > UNCHECKED / 100
        made.append(ReadingResult(
            source=row.reading.source, kind=row.reading.kind, names=[*row.reading.names, *filter(None, [row.axis])],
            value=row.shown, adjusted=row.shown + float(residual[i]), residual=float(residual[i]), sd=sd, redundancy=r,
            w=float(rest[i]) if not active else float(w[i]) if checked else None,
            findable=FINDABLE * sd / sqrt(r) if checked and r is not None else None,
        ))  # fmt: skip
    return made


def _suspects(job: Job, solved: Solved) -> list[Suspect]:
    rows = solved.as_stated.network.rows
    made = []
    for suspect in solved.suspects:
        reading = rows[suspect.rows[0]].reading
        source = (
            f"tape {suspect.tape}".rstrip()
            if suspect.tape is not None
            else reading.source or f"plumb:{reading.names[0]}"
        )
        others = dict.fromkeys(
            rows[i].reading.source or f"plumb:{rows[i].reading.names[0]}" for i in suspect.cannot_tell_from
        )
        made.append(Suspect(
            source, "tape" if suspect.tape is not None else reading.kind, suspect.w, suspect.size,
            explain(solved.as_stated, suspect, job), suspect.set_aside, list(others),
        ))  # fmt: skip
    return made


def _centreline(standing: Stand | None) -> Centreline:
    if standing is None:
        return Centreline([], [], False, [], None, None)
    line, frame = standing.centreline, standing.frame
    return Centreline(
        [line.pairs.keys[i] for i in frame.used], list(line.set_aside), line.ambiguous, line.alternatives(),
        float(np.degrees(frame.yaw_sd)), frame.shift_sd,
    )  # fmt: skip


def _checks(job: Job, solved: Solved, standing: Stand | None) -> list[CheckResult]:
    """The checks that can be had, and those the points name but the readings do not hold, refused."""
    made = {}
    if standing is not None:
        adviser = Adviser(job, solved, standing)
        made = {j.check.name: _check(j, standing, adviser) for j in standing.judged}
    names = [n for n in check_names(job.points) if n in made or _expected(n, job)]
    names += [length.check_name for length in job.chart]
    for name in names:
        if name not in made:
            made[name] = _refused(name, job)
    order = {name: i for i, name in enumerate(names)}
    return sorted(made.values(), key=lambda c: order.get(c.name, len(order)))


def _expected(name: str, job: Job) -> bool:
    """Whether points.csv asks for this check; names of points and groups may hold dots."""
    family, _, rest = name.partition(".")
    keys = [key for key, _, _ in job.pairs()]
    if family == "chart":
        point, _, axis = rest.rpartition(".")
        return getattr(job.point(point), axis) is not None
    if family == "pair":
        return rest.rpartition(".")[0] in keys
    if family == "cross":
        return rest in {f"{front}.{rear}" for front, rear in pairwise(keys)}
    if family in ("rails", "rail"):
        wanted = rest[0] if family == "rail" else "LR"
        return all(_count(job, "rail", side) >= (3 if rest.endswith(".bow") else 2) for side in wanted)
    if family == "face":
        group, side, _ = rest.rsplit(".", 2)
        return _count(job, f"face:{group}", side) >= 3
    if family == "axle":
        group = rest.rpartition(".")[0]
        return all(_count(job, f"axle:{group}", side) or _count(job, f"face:{group}", side) >= 3 for side in "LR")
    return len(keys) >= 2  # body.twist


def _count(job: Job, part: str, side: str) -> int:
    return sum(p.part == part and p.side == side for p in job.points)


def _refused(name: str, job: Job) -> CheckResult:
    family = {"offset": "offset", "asymmetry": "offset", "square": "angle", "thrust": "angle", "yaw": "angle"}
    limit = job.limits.get(name) or job.limits.get(family.get(name.rsplit(".", 1)[1], ""), None)
    if name.startswith("chart."):
        tolerance = next((each.tolerance for each in job.chart if each.check_name == name), None)
        limit = job.limits.get(name, tolerance or job.limits["chart"])
    degrees = name.rsplit(".", 1)[1] in ("square", "thrust", "yaw", "angle", "toe", "camber", "twist")
    return CheckResult(
        name, None, "deg" if degrees else "mm", None, limit, "undecided" if limit else "no limit", "",
        "not held by the readings", estimable=False,
    )  # fmt: skip


def _check(judged: Judged, standing: Stand, adviser: Adviser) -> CheckResult:
    check, figure = judged.check, judged.figure
    if figure is None or judged.u95 is None:
        return CheckResult(
            check.name, None, check.unit, None, judged.limit, judged.verdict, "", "heights were not measured",
            estimable=False,
        )  # fmt: skip
    act = adviser.best(judged) if judged.verdict == "undecided" else None
    once = judged.verdict == "outside" and any(standing.points.dropped_once[i] for i in check.points)
    shares = budget(figure, standing.frame.sources)
    return CheckResult(
        check.name, figure.value, check.unit, judged.u95, judged.limit, judged.verdict, check.side(figure.value),
        check.words(figure.value), [Share(w, s) for w, s in shares],
        NextAct(act.words, act.u95, act.kind, list(act.names)) if act else None, once,
    )  # fmt: skip


def _tapes(solved: Solved) -> list[TapeResult]:
    u, Q = solved.site.unknowns, solved.final.Q
    made = []
    for name, columns, values in zip(u.tapes, u.tape_columns, solved.final.state.tapes, strict=True):
        sd = sqrt(Q[columns[0], columns[0]]) if columns[0] >= 0 else 0.0
        made.append(TapeResult(name, float(values[0]), sd))
    return made
