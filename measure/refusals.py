"""What cannot be answered, in words: readings at odds, sd that drown each other, a car on its side, too little."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NoReturn

import numpy as np

from measure.adjust.stage import Solved
from measure.adjust.triangles import broken_triangles
from measure.body.stand import Stand
from measure.findings import BadInput, Findings
from measure.job import Job
from measure.readings.kind import point_of
from measure.readings.reading import Reading
from measure.readings.tape import tape_of

MOST_UNLIKE = 1e5
"""Ratio of the greatest to the least sd (0 aside) beyond which the sums cannot hold both."""
FINEST = 1e-6
"""mm; an sd under this that is not 0 is a slip of the pen."""
STEEPEST = 30.0
"""Degrees a car may lean on its stands; beyond it a height is wrong."""
FARTHEST = 200.0
"""mm to one side, and ASKEW degrees, beyond which no car on its way to be drilled is bent: it was arranged wrongly."""
ASKEW = 10.0
MOST_TOLD = 3
ONE_SPOT = 300.0
"""mm between cameras, under which they saw the car from one place."""
TOO_LITTLE = "too little to judge anything"
AMISS = "look for two points or sides changed about, or measure more lengths: so few allow another arrangement"


def refuse_unlike_sd(job: Job, stage: str, readings: Sequence[Reading], findings: Findings) -> None:
    """Raise BadInput where sd differ so much that rounding would make a held point look loose."""
    told = [_stated(job, stage, reading) for reading in readings]
    if any(r.kind in ("floor", "marks") for r in readings):
        told.append((job.sd.plumb, "job.toml", None, "sd.plumb"))
    told = [t for t in told if t[0] > 0]
    if not told:
        return
    low, high = min(told, key=lambda t: t[0]), max(told, key=lambda t: t[0])
    if low[0] >= FINEST and high[0] <= MOST_UNLIKE * low[0]:
        return
    beside = f" beside one of {high[0]:g} mm" if high[0] > low[0] else ""
    findings.error(
        low[1], low[2], low[3], f"a standard deviation of {low[0]:g} mm{beside}",
        "write 0 for what is exact, and leave out a reading that says nothing",
    )  # fmt: skip
    raise BadInput(findings)


def _stated(job: Job, stage: str, reading: Reading) -> tuple[float, str, int | None, str]:
    """(sd, file, line, column) where the sd of a reading is written: its row, else [sd] of job.toml."""
    key = "tape" if reading.kind in ("floor", "car") else reading.kind
    if reading.sd == getattr(job.sd, key):
        return reading.sd, "job.toml", None, f"sd.{key}"
    file, _, line = reading.source.rpartition(":")
    return reading.sd, f"{stage}/{file}", int(line), "sd"


def refuse_contradiction(job: Job, stage: str, readings: Sequence[Reading], findings: Findings) -> NoReturn:
    """Raise BadInput: no arrangement of the points comes near the readings. Names lengths that no triangle has."""
    _complain_of_zeros(job, stage, readings, findings)
    broken = broken_triangles(readings, job)
    for long, a, b in broken[:MOST_TOLD]:
        file, _, line = long.source.rpartition(":")
        reach = a.values[0] + b.values[0]
        findings.error(
            f"{stage}/{file}", int(line), "length", long.typed or f"{long.values[0]:g}",
            f"{long.names[0]} to {long.names[1]} cannot be longer than the way by {_shared(a, b)}, {reach:.0f} mm "
            f"(lines {a.source.rpartition(':')[2]} and {b.source.rpartition(':')[2]}): measure the three again",
        )  # fmt: skip
    exact = sum(r.sd == 0 for r in readings)
    if not broken and exact:
        findings.error(
            stage, None, None, "readings that no car could give together",
            f"{exact} of them are called exact (sd 0) and must all be met: give them an sd",
        )  # fmt: skip
    elif not broken:
        findings.error(stage, None, None, "readings that no car could give together", _what_to_look_for(readings))
    raise BadInput(findings) from None


def _what_to_look_for(readings: Sequence[Reading]) -> str:
    seen = [r.seen for r in readings if r.seen]
    if not seen:
        return "look for a length in the wrong unit, or for two points changed about"
    groups = len({s.block.name for s in seen})
    if groups > 1:
        return f"the photographs fall into {groups} groups that share no three targets: take more that show both"
    spots = np.array([place for s in seen for place in s.block.centres.values()])
    if float(np.max(np.ptp(spots, axis=0))) < ONE_SPOT:
        return "all photographs are from one spot: walk round the car, and take some from low and some from high"
    known = {s.camera.known for s in seen}
    if known - {"EXIF", "nothing"}:
        return (
            f"{' and '.join(sorted(known))} may be of another camera, zoom or picture size: take it away and ask again"
        )
    return (
        "the photographs do not fit one another: all with one lens and no zoom, as the phone took them (what it writes "
        "into them tells two cameras apart), each target in three at least, from several sides; or a length is wrong"
    )


def _complain_of_zeros(job: Job, stage: str, readings: Sequence[Reading], findings: Findings) -> None:
    """Lengths that a tape's zero error leaves nothing of."""
    swallowed = [r for r in readings if r.kind in ("floor", "car") and r.values[0] <= tape_of(job, r.via).zero]
    for reading in swallowed[:MOST_TOLD]:
        file, _, line = reading.source.rpartition(":")
        zero = tape_of(job, reading.via).zero
        findings.error(
            f"{stage}/{file}", int(line), "length", reading.typed or f"{reading.values[0]:g}",
            f"the tape's zero error, {zero:g} mm in job.toml, is more than that: check zero in [tape.{reading.via}]",
        )  # fmt: skip


def _shared(a: Reading, b: Reading) -> str:
    """The point where two lengths meet."""
    ends = [{point_of(name) for name in r.names} for r in (a, b)]
    return " or ".join(sorted(ends[0] & ends[1]))


def refuse_a_car_on_its_side(
    stage: str, readings: Sequence[Reading], standing: Stand | None, findings: Findings
) -> None:
    """Raise BadInput where measured heights say that the car leans as no car on stands does."""
    if standing is None or (standing.frame.roll_sd is None and standing.frame.pitch_sd is None):
        return
    if not any(r.kind in ("floor", "marks", "heights", "levels") for r in readings):
        return  # an instrument's own axes say nothing of gravity
    lean = float(np.degrees(np.arccos(np.clip(standing.frame.car_from_network[2, 2], -1.0, 1.0))))
    if lean <= STEEPEST:
        return
    if lean > 90.0 and any(r.kind == "floor" for r in readings):
        findings.error(stage, None, None, "a car that comes out as its own mirror image", AMISS)
        raise BadInput(findings)
    found = f"heights that lean the car by {lean:.0f} degrees"
    would_do = "look for one in another unit or at the wrong point"
    rises = [r for r in readings if r.kind in ("heights", "levels")]
    if not rises:
        findings.error(stage, None, None, found, would_do)
        raise BadInput(findings)
    middle = float(np.median([r.values[0] for r in rises]))
    worst = max(rises, key=lambda r: abs(r.values[0] - middle))
    file, _, line = worst.source.rpartition(":")
    would_do += ": this line stands farthest from the rest"
    findings.error(f"{stage}/{file}", int(line), None, found, would_do)
    raise BadInput(findings)


def refuse_a_wrong_arrangement(
    stage: str, readings: Sequence[Reading], standing: Stand | None, findings: Findings
) -> None:
    """Raise BadInput where points held by lengths alone come out where no car has them.

    Lengths leave mirror images and folds open; with few of them the wrong one may fit as well as the right one, and
    its small uncertainty means nothing.
    """
    if standing is None:
        return
    placed = _placed(readings)
    for judged in standing.judged:
        figure, most = judged.figure, FARTHEST if judged.check.unit == "mm" else ASKEW
        if figure is None or judged.check.limit in (None, "chart") or abs(figure.value) <= most:
            continue
        names = {standing.points.names[i] for i in judged.check.points}
        if not any(names <= together for together in placed.values()):
            findings.error(stage, None, None, judged.check.words(figure.value), AMISS)
    findings.raise_if_errors()


def _placed(readings: Sequence[Reading]) -> dict[str, set[str]]:
    """Points by what places them against each other without lengths: the base line, a setup, a block of photographs."""
    placed: dict[str, set[str]] = {}
    for r in readings:
        if r.kind in ("marks", "xyz", "target"):
            by = r.seen.block.name if r.seen else r.via
            placed.setdefault(by, set()).add(point_of(r.names[0]))
    return placed


def refuse_the_hopeless(job: Job, stage: str, standing: Stand | None, solved: Solved, findings: Findings) -> None:
    """Raise BadInput where a stage can answer nothing; what is loose is named all the same."""
    if standing is not None and any(j.figure is not None and j.limit is not None for j in standing.judged):
        return
    if not job.pairs() and solved.held.any():
        return
    for loose in solved.loose:
        fix = "; ".join(loose.fix[:MOST_TOLD]) or "measure more"
        findings.note(stage, None, None, f"{', '.join(loose.points)} loose: {loose.direction}", fix)
    if len(solved.pieces) > 1:
        parts = " | ".join(", ".join(piece) for piece in solved.pieces)
        found = f"pieces with no reading between them: {parts}"
        findings.note(stage, None, None, found, "tape from one piece to the other")
    trusted = [key for key, left, right in job.pairs() if left.trusted or right.trusted]
    if trusted:
        findings.note(
            "points.csv", None, "trusted", f"yes at {', '.join(trusted)}",
            "a centreline takes two trusted pairs, measured and at least 100 mm apart along the car; or trust none",
        )  # fmt: skip
    findings.error(
        stage, None, None, TOO_LITTLE,
        "measure at least two pairs that stand apart along the car, each point held by three or more lengths",
    )  # fmt: skip
    raise BadInput(findings)
