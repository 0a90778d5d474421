"""What must come back, which way and how far, in an order that can be pulled and measured again.

The part whose return moves most comes first: while it stands off, nothing beside it can be judged. The axle comes last,
for it hangs on the body. Each step says what the checks would be afterwards, as if measured again equally well.
"""

from __future__ import annotations

from dataclasses import replace

from measure.body.stand import Judged, Stand, stand
from measure.body.verdict import judge
from measure.pattern.find import Found, find_pattern
from measure.pattern.result import Corrections, Expected, Part, Step
from measure.pattern.words import back, what, wrong
from measure.readings.unknowns import Array
from measure.survey import Surveyed

NOTICED = 0.05
"""mm or degrees a figure must change by to be worth a line."""
PULLING = (
    "Structural pulling, cutting and welding is licensed work in many places: this is a measurement, not a permission.",
    "Chains and clamps under load can let go: nobody in line with the pull.",
    "Steel springs back when the load comes off (common practice, no source): measure with the load off, every time.",
)


def find_corrections(surveyed: Surveyed) -> tuple[Corrections, Found]:
    """The steps that undo the best explanation. Raises BadInput where no centreline can be had."""
    found = find_pattern(surveyed)
    pattern, standing = found.pattern, surveyed.standing
    if standing is None:
        raise AssertionError("find_pattern refuses a car without a centreline")
    parts = list(zip(found.best.parts, found.best.sizes, pattern.best.parts, strict=True))
    wanted = [(k, size, part) for k, size, part in parts if part.verdict != "within"]
    wanted.sort(key=lambda each: _order(found, each[0], each[1]))
    steps, now, at = [], standing, found.seen.xyz.copy()
    for number, (k, size, part) in enumerate(wanted, start=1):
        move = found.moves[k]
        at -= size * move.field.reshape(-1, 3)
        then = _stood(surveyed, found, standing, at)
        expected = _expected(now, then) if then is not None else []
        by, limit = abs(size), part.limit
        steps.append(Step(
            number, move.kind, what(move), back(move, size), by, max(by - limit, 0.0), part.u95,
            part.points, wrong(move, size), _told(what(move), back(move, size), by, part), _again(found, k), expected,
        ))  # fmt: skip
        now = then or now
    other = [t.words for t in (*pattern.tied, *pattern.rivals)] if steps else []
    return Corrections(
        job=pattern.job, stage=pattern.stage, units=pattern.units, version=pattern.version,
        inputs_sha256=pattern.inputs_sha256, answer=_answer(pattern.answer, steps), steps=steps, settle_first=other,
        would_tell=pattern.would_tell, still_off=_still_off(now), points=pattern.points,
        cautions=[*(PULLING if steps else ()), *pattern.cautions], notes=pattern.notes,
    ), found  # fmt: skip


def exit_status(corrections: Corrections) -> int:
    """0 nothing to correct; 1 something is; 3 undecided."""
    return {"none": 0, "correct": 1, "undecided": 3}[corrections.answer]


def _answer(pattern: str, steps: list[Step]) -> str:
    if pattern == "found":
        return "correct"
    return "none" if pattern in ("none", "within") and not steps else "undecided"


def _order(found: Found, k: int, size: float) -> tuple[bool, float]:
    move = found.moves[k]
    return move.kind == "axle", -round(move.moved * abs(size), 6)


def _told(thing: str, way: str, by: float, part: Part) -> str:
    least = max(by - part.limit, 0.0)
    enough = f"; {least:.1f} mm brings it to its limit" if least > 0 else ""
    how = " at its links" if part.kind == "axle" else ""
    return f"Bring {thing} {way}{how} by {by:.1f} mm (± {part.u95:.1f}){enough}."


def _again(found: Found, k: int) -> list[str]:
    """What to measure after a step: what it moved, and the stations next to it."""
    move, keys = found.moves[k], [s[0] for s in found.seen.stations]
    if move.kind == "axle":
        return [found.seen.names[i] for i in move.points]
    first, last = max(keys.index(move.first) - 1, 0), min(keys.index(move.last) + 1, len(keys) - 1)
    near = {i for s in found.seen.stations[first : last + 1] for i in s[1:3]} | set(move.points)
    return [found.seen.names[i] for i in sorted(near)]


def _stood(surveyed: Surveyed, found: Found, standing: Stand, at: Array) -> Stand | None:
    """The car with its points moved to `at` (n, 3), given in the axes of the evidence."""
    frame, fit = standing.frame, standing.chart
    moved = at - found.seen.xyz
    if fit is not None and found.seen.laid:
        moved = moved @ fit.chart_from_car
    points = replace(standing.points, xyz=standing.points.xyz + moved @ frame.car_from_network)
    return stand(surveyed.job, points)


def _expected(before: Stand, after: Stand) -> list[Expected]:
    """The judged checks that a step changes, the worst first."""
    then = {j.check.name: j for j in after.judged}
    made = []
    for judged in before.judged:
        other = then.get(judged.check.name)
        row = _row(judged, other)
        if row is not None and abs(row.after - row.before) >= NOTICED:
            made.append(row)
    return sorted(made, key=lambda r: (-round(abs(r.before) / r.limit, 9), r.name))


def _still_off(standing: Stand) -> list[Expected]:
    rows = [_row(j, j) for j in standing.judged if j.verdict == "outside"]
    rows += [_row(j, j) for j in standing.judged if j.verdict == "undecided" and _beyond(j)]
    return sorted((r for r in rows if r is not None), key=lambda r: (-round(abs(r.before) / r.limit, 9), r.name))


def _beyond(judged: Judged) -> bool:
    return judged.figure is not None and judged.limit is not None and abs(judged.figure.value) > judged.limit


def _row(before: Judged, after: Judged | None) -> Expected | None:
    if after is None or before.figure is None or after.figure is None or after.u95 is None or before.limit is None:
        return None
    value = after.figure.value
    return Expected(
        before.check.name, before.check.unit, before.limit, before.figure.value, value, after.u95, before.verdict,
        after.verdict if after.verdict != "no limit" else judge(value, after.u95, before.limit),
    )  # fmt: skip
