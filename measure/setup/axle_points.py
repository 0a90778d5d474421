"""Which points of a job belong to an axle and what holds it: pick-ups of arms, lateral links and shock absorbers.

Each side has one trailing arm with two points of part arm:NAME; the one farther from the axle along the car is its body
end. link:NAME is a lateral linkage: with a centre pivot (side C) and a rod on each side of two points, whose inner ends
sit on the crank; or a single rod with one point L and one point R. shock:NAME has two points on each side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from measure.body.check import Car
from measure.body.face import points_of
from measure.findings import Findings, did_you_mean
from measure.job import Axle, Job, Point
from measure.readings.unknowns import Array

SIDE_WORDS = {"L": "left", "R": "right"}


@dataclass(frozen=True)
class Rod:
    """Numbers of two held points: `body` stays, `axle` moves (with the axle, or as the crank lets it)."""

    name: str  # "left arm"
    body: int
    axle: int


@dataclass(frozen=True)
class AxlePoints:
    """The held points of one axle, as numbers in the car's frame.

    `ends` (left, right) by one point each, or three and more on each face. `arms` one each side or none; `rods` two
    with a `pivot`, one without, or none; `shocks` (upper, lower) of each side. `not_held`: names the readings do not
    hold.
    """

    name: str
    settings: Axle
    ends: tuple[tuple[int, ...], tuple[int, ...]]
    faces: tuple[tuple[int, ...], tuple[int, ...]] | None
    arms: tuple[Rod, ...]
    rods: tuple[Rod, ...]
    pivot: int | None
    shocks: tuple[tuple[int, int], ...]
    not_held: tuple[str, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        """All of them, each once: the order in which figures are given their coordinates."""
        every = [*self.ends[0], *self.ends[1]]
        if self.faces:
            every += [*self.faces[0], *self.faces[1]]
        for rod in (*self.arms, *self.rods):
            every += [rod.body, rod.axle]
        every += [self.pivot] if self.pivot is not None else []
        return tuple(dict.fromkeys(every))


def axle_names(job: Job) -> list[str]:
    """Axles with ends or faces in points.csv, in its order."""
    return list(dict.fromkeys(p.group for p in job.points if p.kind in ("axle", "face")))


def check_axle_points(job: Job, findings: Findings) -> None:
    """Tell what points.csv and job.toml lack or contradict, for the pick-ups that are there."""
    names = axle_names(job)
    if not names:
        would_do = "give each end of the axle a point with the part axle:NAME, side L and R"
        findings.error("points.csv", None, None, "no axle", would_do)
    for point in job.points:
        if point.kind in ("arm", "link", "shock") and point.group not in names and names:
            would_do = f"no point has the part axle:{point.group}{did_you_mean(point.group, names)}"
            findings.error("points.csv", point.line, "part", point.part, would_do)
    for name in names:
        for kind, words in (("arm", "its body end and its axle end"), ("shock", "its upper and its lower end")):
            by_side = {side: _of(job, kind, name, side) for side in "LR"}
            if any(by_side.values()):
                for side, found in by_side.items():
                    _count(found, by_side, f"{kind}:{name}", side, words, findings)
        _check_link(job, name, findings)


def _count(
    found: list[Point], by_side: dict[str, list[Point]], part: str, side: str, words: str, findings: Findings
) -> None:
    if len(found) == 2:
        return
    line = (found or by_side["L"] or by_side["R"])[-1].line
    names = ", ".join(p.name for p in found) or "none"
    would_do = f"on the {SIDE_WORDS[side]} it needs two points, {words}; there: {names}"
    findings.error("points.csv", line, "part", part, would_do)


def _check_link(job: Job, name: str, findings: Findings) -> None:
    by_side = {side: _of(job, "link", name, side) for side in "LRC"}
    everything = [p for points in by_side.values() for p in points]
    if not everything:
        return
    last, part = everything[-1], f"link:{name}"
    if len(by_side["C"]) > 1:
        second = by_side["C"][1]
        would_do = f"the pivot is {by_side['C'][0].name} already: a rod's ends are L or R"
        findings.error("points.csv", second.line, "side", second.side, would_do)
    elif by_side["C"]:
        for side in "LR":
            _count(by_side[side], by_side, part, side, "the rod's outer end and its end on the crank", findings)
    elif [len(by_side["L"]), len(by_side["R"])] != [1, 1]:
        would_do = (
            "a single lateral rod has one point L and one point R; a linkage with a centre pivot has "
            "that pivot (side C) and two points on each side"
        )
        findings.error("points.csv", last.line, "part", part, would_do)
    elif job.axles.get(name, Axle()).rod_body is None:
        would_do = 'say which end of the lateral rod is on the body: rod_body = "L" or "R"'
        findings.error("job.toml", None, f"axle.{name}.rod_body", "nothing", would_do)


def _of(job: Job, kind: str, name: str, side: str) -> list[Point]:
    return [p for p in job.points if p.part == f"{kind}:{name}" and p.side == side]


def axle_points(car: Car, name: str) -> AxlePoints | None:
    """The held points of an axle; None where its ends are not held. Needs points that check_axle_points let pass."""
    job, X = car.job, car.frame.xyz
    faces = tuple(points_of(car, name, side) for side in "LR")
    whole = all(len(f) >= 3 and car.points.height_known[list(f)].all() for f in faces)
    ends = [tuple(i for p in _of(job, "axle", name, side) if (i := car.held(p.name)) is not None) for side in "LR"]
    if not all(ends):
        ends = list(faces) if whole else [(), ()]
    if not all(ends):
        return None
    middle = np.mean([X[list(end)].mean(axis=0) for end in ends], axis=0)
    missing: list[str] = []
    arms = _held_rods(car, "arm", name, missing, lambda X: np.abs(X[:, 0] - middle[0]))
    shocks = _held_rods(car, "shock", name, missing, lambda X: X[:, 2])
    rods, pivot = _link(car, name, missing)
    return AxlePoints(
        name, job.axles.get(name, Axle()), (ends[0], ends[1]), (faces[0], faces[1]) if whole else None, arms, rods,
        pivot, tuple((rod.body, rod.axle) for rod in shocks), tuple(missing),
    )  # fmt: skip


def _held_rods(car: Car, kind: str, name: str, missing: list[str], order: Callable[[Array], Array]) -> tuple[Rod, ...]:
    """Two points a side, the greater by `order` first; none where any is not held."""
    made = []
    for side in "LR":
        points = _of(car.job, kind, name, side)
        held = [car.held(p.name) for p in points]
        missing += [p.name for p, i in zip(points, held, strict=True) if i is None]
        known = [i for i in held if i is not None]
        if len(known) == 2:
            first, second = order(car.frame.xyz[known])
            body, axle = (known[0], known[1]) if first >= second else (known[1], known[0])
            made.append(Rod(f"{SIDE_WORDS[side]} {kind}", body, axle))
    return tuple(made) if len(made) == 2 else ()


def _link(car: Car, name: str, missing: list[str]) -> tuple[tuple[Rod, ...], int | None]:
    points = [p for p in car.job.points if p.part == f"link:{name}"]
    held = {p.name: car.held(p.name) for p in points}
    lost = [n for n, i in held.items() if i is None]
    missing += lost
    if lost or not points:
        return (), None
    pivot = next((held[p.name] for p in points if p.side == "C"), None)
    if pivot is None:
        left, right = (next(held[p.name] for p in points if p.side == side) for side in "LR")
        assert left is not None and right is not None  # none is lost
        on_left = car.job.axles[name].rod_body == "L"
        return (Rod("lateral rod", left if on_left else right, right if on_left else left),), None
    rods = _held_rods(car, "link", name, [], lambda X: np.abs(X[:, 1] - car.frame.xyz[pivot, 1]))
    named = [Rod(rod.name.replace("link", "lateral rod"), rod.body, rod.axle) for rod in rods]
    if car.job.axles.get(name, Axle()).pivot == "body":  # the outer ends sit on the axle, the inner on the body's crank
        named = [Rod(rod.name, rod.axle, rod.body) for rod in named]
    return tuple(named), pivot
