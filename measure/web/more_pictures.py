"""Which pictures are still missing, by what the pictures show: told before, and without, a solved car.

A target is held by two pictures or more, and two pictures hang together by three targets in common.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from measure.job import Job
from measure.report.sentences import in_one_line
from measure.web.photo_shelf import Item
from measure.web.sentences import say

FEWEST_VIEWS = 2
SHARED = 3
"""Targets that two pictures must have in common."""
ROOM = 70
"""Columns of point names in a sentence."""
FROM = {"L": "where_from_left", "R": "where_from_right", "C": "where_from_anywhere"}


def missing_pictures(
    job: Job, shelf: Sequence[Item], targets: Iterable[Mapping[str, str | int]], loose: Iterable[str] = ()
) -> list[str]:
    """What to take one more picture of, in words, the most telling first. Empty while pictures are looked through.

    `loose`: points that the solved car does not hold.
    """
    point_of = {int(t["target"]): str(t["point"]) for t in targets if str(t["target"]).isdigit()}
    pictures = {item.name: set(item.numbers) & set(point_of) for item in shelf if item.state == "found"}
    if not any(pictures.values()) or any(item.state == "looking" for item in shelf):
        return []
    views = Counter(number for numbers in pictures.values() for number in numbers)
    held = {point for number, point in point_of.items() if views[number] >= FEWEST_VIEWS}
    once = {point for number, point in point_of.items() if views[number] == 1} - held
    never = {point for number, point in point_of.items() if not views[number]} - held - once
    wanted = [
        (len(names), say(key, where=say(FROM[side]), points=in_one_line(names, ROOM).replace(";", ",")))
        for key, points in (
            ("pictures_once", once), ("pictures_never", never), ("pictures_loose", set(loose) - once - never)
        )
        for side in "LRC" if (names := _of_side(job, points, side))
    ]  # fmt: skip
    apart = groups(pictures)
    told = [say("pictures_apart", n=len(apart), a=sorted(apart[0])[0], b=sorted(apart[1])[0])] if apart[1:] else []
    return told + [words for _, words in sorted(wanted, key=lambda w: -w[0])]


def _of_side(job: Job, points: set[str], side: str) -> list[str]:
    return [p.name for p in job.points if p.name in points and p.side == side]


def groups(pictures: Mapping[str, set[int]]) -> list[set[str]]:
    """Pictures that hang together by enough targets in common, the largest group first; those with none are out."""
    found: list[set[str]] = []
    for name in (name for name, numbers in pictures.items() if numbers):
        near = [group for group in found if any(len(pictures[name] & pictures[other]) >= SHARED for other in group)]
        found = [group for group in found if group not in near] + [{name}.union(*near)]
    return sorted(found, key=len, reverse=True)
