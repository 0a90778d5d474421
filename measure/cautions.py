"""What a person must know before believing a result: each caution one or two sentences, in shop words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from measure.adjust.critical import sigma0_limits
from measure.adjust.solver import Adjustment
from measure.adjust.stage import Solved
from measure.body.stand import Stand
from measure.chart_answers import chart_cautions
from measure.job import Job
from measure.photo_cautions import photo_cautions
from measure.readings.reading import Reading
from measure.readings.stage import unread
from measure.readings.tape import HEIGHT_SPREAD, tape_of

MOST_NAMED = 6


def cautions(job: Job, stage: str, readings: Sequence[Reading], solved: Solved, standing: Stand | None) -> list[str]:
    """All cautions of one stage, gravest first."""
    return [
        *_of_what_is_held(job, solved, readings),
        *_of_the_fit(solved),
        *(_of_the_centreline(standing) if standing else _no_centreline(job)),
        *_of_heights(job, standing, readings, solved),
        *chart_cautions(standing),
        *_of_tapes(job, stage, readings, solved),
        *photo_cautions(job, stage, readings, solved),
    ]


def _of_what_is_held(job: Job, solved: Solved, readings: Sequence[Reading]) -> list[str]:
    told = []
    if len(solved.pieces) > 1:
        parts = " | ".join(", ".join(piece) for piece in solved.pieces)
        told.append(f"The readings fall into pieces with nothing between them: {parts}. Only the largest is judged.")
    for loose in solved.loose:
        fix = f" To hold it: {' and '.join(loose.fix)}." if loose.fix else ""
        verb = "is" if len(loose.points) == 1 else "are"
        told.append(f"{', '.join(loose.points)} {verb} not held ({loose.direction}) and left out.{fix}")
    missing = [p.name for p in unread(job, readings)]
    if missing:
        told.append(f"Not measured in this stage: {', '.join(missing)}.")
    return told


def _of_the_fit(solved: Solved) -> list[str]:
    told = []
    if solved.as_stated.degrees_of_freedom < 1:
        told.append(
            "There is not one reading more than needed, so no reading is checked by another: "
            "a misread tape would not show."
        )
    for scaled in solved.scaled:
        told.append(
            f"The {scaled.kind} readings scatter {scaled.factor:.1f} times as much as stated; "
            "their uncertainty was raised to match."
        )
    if not solved.scaled and _too_wide(solved.as_stated):
        told.append(
            "The readings fit worse than their stated uncertainties allow, and nothing that may be widened "
            "explains it: drop the bob again, and measure the suspects again."
        )
    if any(not suspect.set_aside for suspect in solved.suspects):
        told.append(
            "Some suspects could not be set aside, for want of readings that check them: "
            "they still bear on the figures."
        )
    return told


def _too_wide(adjustment: Adjustment) -> bool:
    freedom = adjustment.degrees_of_freedom
    return freedom > 0 and adjustment.sum_of_squares / freedom > sigma0_limits(freedom)[1] ** 2


def _no_centreline(job: Job) -> list[str]:
    if not job.pairs():
        return [
            "points.csv lists no pair of a left and a right point: there is no centreline, "
            "and places are in the network's own axes."
        ]
    return ["No centreline can be had: it takes two pairs that stand at least 100 mm apart along the car."]


def _of_the_centreline(standing: Stand) -> list[str]:
    line = standing.centreline
    told = []
    if line.ambiguous:
        ways = line.alternatives()
        further = f"; or one of {len(line.frames) - len(ways)} other ways" if len(line.frames) > len(ways) else ""
        told.append(
            f"The readings leave a choice of centreline: either {'; or '.join(ways)}{further}. "
            "A further pair settles it, or trusted = yes in points.csv at pairs known to be undamaged."
        )
    elif line.set_aside and line.rests_on != "trusted":
        told.append(
            f"Set aside from the centreline, because they do not agree with the others: {', '.join(line.set_aside)}."
        )
    if line.rests_on == "all":
        told.append(
            "The centreline rests on two pairs, which any line fits: a pulled one would not show, so nothing is "
            "called fine or out. Measure a third, or write trusted = yes at both if they are known to be undamaged."
        )
    if line.rests_on == "disagree" and not line.ambiguous:
        told.append(
            "No three pairs agree on a centreline: treat every offset as a guess until more pairs are measured."
        )
    names, y = standing.points.names, standing.frame.xyz[:, 1]
    crossed = [f"{names[a]} stands to the right of {names[b]}" for a, b in line.pairs.ends.tolist() if y[a] < y[b]]
    if crossed:
        told.append(f"{'; '.join(crossed)}: are the two changed about?")
    agreement = standing.frame.roll_agreement
    if agreement is not None and not agreement.agrees:
        told.append("The pairs do not agree how far the car leans: the body is twisted, or heights are wrong.")
    return told


def _of_heights(job: Job, standing: Stand | None, readings: Sequence[Reading], solved: Solved) -> list[str]:
    told = []
    if standing is not None and standing.frame.roll_sd is None:
        shift = float(np.tan(np.radians(job.sd.level))) * HEIGHT_SPREAD
        known = (
            "the chart's heights"
            if solved.site.assumed_heights
            else f"heights that may differ by {HEIGHT_SPREAD:.0f} mm"
        )
        told.append(
            f"The car was not levelled: a lean of {job.sd.level:g} degrees over {known} is allowed for, which can "
            f"look like a section {shift:.1f} mm to one side. Heights of the points (water level, laser, spirit "
            "level from point to point) would take that away."
        )
    there = solved.site.unknowns.point_idx
    straight = [r for r in readings if r.kind in ("car", "bar") and all(name in there for name in r.names)]
    flat = [r for r in straight if _unlevelled(r, solved)]
    if flat:
        lines = ", ".join(r.source.replace(":", " line ") for r in flat[:MOST_NAMED])
        more = " and others" if len(flat) > MOST_NAMED else ""
        told.append(
            "Straight lengths between points whose heights were not measured together count for little "
            f"({lines}{more}): measure those heights."
        )
    return told


def _unlevelled(reading: Reading, solved: Solved) -> bool:
    u, job = solved.site.unknowns, solved.site.job
    sets = [solved.site.level_sets[u.point_idx[name]] for name in reading.names]
    pairs = {job.point(name).pair for name in reading.names}
    twins = len(pairs) == 1 and pairs != {None}
    return bool(sets[0] != sets[1] or sets[0] < 0) and not twins


def _of_tapes(job: Job, stage: str, readings: Sequence[Reading], solved: Solved) -> list[str]:
    told = []
    used = {name: tape_of(job, name) for name in sorted({r.via for r in readings if r.kind in ("floor", "car")})}
    info = job.stage_info.get(stage)
    if any(t.temperature is not None for t in used.values()) and (info is None or info.temperature is None):
        told.append(
            f"The tape's temperature is given but not the body's ([stage.{stage}] temperature): no correction was made."
        )
    if any(t.pull is not None and t.area is None for t in used.values()):
        told.append(
            "The tape's pull is given but not its cross-section (area, mm2): no correction for stretch was made."
        )
    if any(suspect.tape is not None for suspect in solved.suspects):
        told.append("A common offset of a tape was solved for and taken off; check the tape against a known length.")
    return told
