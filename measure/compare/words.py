"""Movements in the shop's words."""

from __future__ import annotations

from collections.abc import Sequence

from measure.compare.movement import Movement, Verdict
from measure.job import Job
from measure.readings.unknowns import Array

WAYS = (("forward", "back"), ("to the left", "to the right"), ("up", "down"))
TELLING = 0.3
"""Share of the whole movement under which a direction is left unsaid."""
SIDES = {"L": "left", "R": "right"}
CLEAR = 30.0
"""mm between two groups of points for one to be called the front, the rear, the left or the right."""


def subject(job: Job, name: str) -> str:
    """Where a point sits: "the rear end of the left rail (tailL)", "the left end of axle rear", or its name."""
    point = job.point(name)
    side = SIDES.get(point.side)
    if point.kind == "axle" and side:
        return f"the {side} end of axle {point.group}"
    if point.kind != "rail" or side is None:
        return name
    rail = [p.name for p in job.points if p.kind == "rail" and p.side == point.side]
    if len(rail) > 1 and name in (rail[0], rail[-1]):
        return f"the {'front' if name == rail[0] else 'rear'} end of the {side} rail ({name})"
    return f"the {side} rail at {name}"


def way(vector: Array) -> str:
    """(6.1 to the left, 2.0 up): the directions that make up a movement, largest first."""
    length = float((vector @ vector) ** 0.5)
    order = sorted(range(len(vector)), key=lambda k: -abs(round(float(vector[k]), 9)))
    told = [k for k in order if abs(vector[k]) >= max(TELLING * length, 0.05)] or order[:1]
    parts = [f"{abs(vector[k]):.1f} mm {WAYS[k][0 if vector[k] > 0 else 1]}" for k in told]
    return " and ".join(parts) if len(parts) < 3 else f"{parts[0]}, {parts[1]} and {parts[2]}"


def rounded(mm: float, limit: float) -> str:
    """One decimal, or as many as show on which side of the limit a figure lies: 3.02 is no 3.0 where 3 is the limit."""
    for places in range(1, 4):
        text = f"{mm:.{places}f}"
        if (float(text) > limit) == (mm > limit):
            return text
    return f"{mm:.1f}"


def told(job: Job, movement: Movement, verdict: Verdict, longest: float, limit: float) -> str:
    """One point's movement as a sentence without a full stop; `longest` mm is the largest it could be."""
    who, could_be = subject(job, movement.name), rounded(longest, limit)
    if verdict == "held":
        return f"{who} held: it moved {could_be} mm at most"
    if verdict == "moved":
        return f"{who} moved {way(movement.vector)} (could be as much as {could_be} mm)"
    if movement.significant:
        most = f"{could_be} mm at most"
        return f"{who} moved {way(movement.vector)}, but whether by more than the limit is open ({most})"
    return f"{who} shows no movement, but {could_be} mm could hide in the readings"


def depends(job: Job, movement: Movement, longest: float, limit: float) -> str:
    """A point that moved under one alternative and held under another, `movement` being the largest."""
    most = f"{rounded(longest, limit)} mm at most"
    return (
        f"{subject(job, movement.name)} moved {way(movement.vector)}, or not: "
        f"that depends on which part stood still ({most})"
    )


def either_way(job: Job, places: dict[str, Array], sets: Sequence[Sequence[str]]) -> list[str]:
    """Each alternative in words: what moved and what stood still, and what moved under all of them."""
    alternatives = []
    anyhow = [name for name in places if not any(name in kept for kept in sets)]
    for kept in sets:
        moved = [name for name in places if name not in kept and name not in anyhow]
        body = {name: place for name, place in places.items() if job.point(name).kind not in ("axle", "face")}
        what = _part_of_the_car(body, [n for n in moved if n in body], [n for n in kept if n in body])
        who = f"{what} ({_few(moved)})" if what else _few(moved)
        besides = f", besides {_few(anyhow)}," if anyhow else ""
        alternatives.append(f"{who} moved{besides} and {_few(kept)} held")
    return alternatives


def _part_of_the_car(places: dict[str, Array], moved: Sequence[str], kept: Sequence[str]) -> str:
    """The rear, if all that moved lies behind all that stood still; and so on; else nothing."""
    if not moved or not kept:
        return ""
    for axis, more, less in ((0, "the front", "the rear"), (1, "the left side", "the right side")):
        a, b = [places[n][axis] for n in moved], [places[n][axis] for n in kept]
        if min(a) > max(b) + CLEAR:
            return more
        if max(a) < min(b) - CLEAR:
            return less
    return ""


def _few(names: Sequence[str], most: int = 6) -> str:
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"
