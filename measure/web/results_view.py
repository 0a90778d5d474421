"""The result document arranged for the results page. Which readings stand behind a figure is a matter of names only."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from measure.report import plan_layout as layout
from measure.report.sentences import gain, suspicion
from measure.report.words import SAFETY, label
from measure.result import CheckResult, Document, PointResult, ReadingResult
from measure.web.live import View

ORDER = ("outside", "undecided", "within")
SIGNS = {"outside": "■", "undecided": "▲", "within": "●", "no limit": "◆"}
MOST_BEHIND = 40
TALL, MARGIN = 640.0, 70.0
"""Units of the plan's drawing from the foremost to the rearmost point, and around it."""
LETTER, LINE, NAME_OFF, DOT = 13.0, 24.0, 40.0, 10.0
"""Units of the drawing: a letter's width, a line of names, a name from its point, half the width of a point."""
NAMES = 170.0
"""Units above the side view, for the names."""


ASLANT = math.radians(50.0)
"""How steeply the names of the side view rise."""


@dataclass(frozen=True)
class Mark:
    """A point of the plan: where symmetry would have it, its displacement and 95 % ellipse, in units of the drawing."""

    name: str
    x: float
    y: float
    off_x: float
    off_y: float
    major: float
    minor: float
    turn: float
    verdict: str
    named: str
    """Whether its name "start"s or "end"s beside it; "" without one."""


@dataclass(frozen=True)
class Plan:
    """The plan: marks by name, lines between them, and by how much displacements are enlarged at first."""

    marks: list[Mark]
    lines: list[tuple[str, str, str]]
    faces: list[tuple[float, float]]
    factor: int
    box: tuple[float, float, float, float]
    centred: bool


def shown(view: View) -> dict[str, Any] | None:
    """What the results page needs; None where the stage cannot be worked out."""
    doc = view.doc
    if doc is None:
        return None
    typed = typed_by_source(view)
    by_verdict = {verdict: [c for c in doc.checks if c.verdict == verdict] for verdict in (*ORDER, "no limit")}
    names = {r.source: ", ".join(r.names) for r in doc.readings}
    undecided = by_verdict["undecided"]
    acts = list(dict.fromkeys(c.next.act for c in undecided if c.next))
    return {
        "answers": [
            ("out", [_told(c) for c in by_verdict["outside"]]),
            ("undecided", [_told(c) for c in undecided]),
            ("fine", [_told(c) for c in by_verdict["within"]]),
        ],
        "judged": [_card(c, doc, typed) for verdict in ORDER for c in by_verdict[verdict]],
        "free": [_card(c, doc, typed) for c in by_verdict["no limit"]],
        "suspects": [(s, suspicion(s, names.get(s.source, ""))) for s in doc.suspects],
        "acts": [(act, [(label(c.name), gain(c)) for c in undecided if c.next and c.next.act == act]) for act in acts],
        "plan": plan(doc),
        "side": side_view(doc),
        "readings": [_shown(r, typed) for r in doc.readings],
        "safety": SAFETY,
    }  # fmt: skip


def _told(check: CheckResult) -> dict[str, Any]:
    """A line of the answer: what, where it stands with its spread and limit, and whether to drop again first."""
    again = check.verdict == "outside" and check.single_drops
    held = check.value is not None and check.estimable
    return {"name": label(check.name), "words": layout.judged(check), "again": again, "held": held}


def typed_by_source(view: View) -> dict[str, str]:
    """The cell's own text of each reading that was typed."""
    readings = view.surveyed.readings if view.surveyed else ()
    return {r.source: " / ".join(r.typed.split("\t")) for r in readings if r.typed}


def _shown(reading: ReadingResult, typed: Mapping[str, str]) -> dict[str, Any]:
    """A reading as it was typed; one that was not, such as a target image, as its figure and unit."""
    unit = "px" if reading.kind == "target" else "mm"
    was = typed.get(reading.source) or f"{reading.value:.1f} {unit}"
    off = "–" if reading.residual is None else f"{reading.residual:+.1f} {unit}"
    return {"names": " – ".join(reading.names), "source": reading.source, "typed": was, "off": off}


def _card(check: CheckResult, doc: Document, typed: Mapping[str, str]) -> dict[str, Any]:
    points = points_of(check.name, doc.points)
    behind = [r for r in doc.readings if points & {name.partition("#")[0] for name in r.names}]
    worst = sorted(behind, key=lambda r: -abs(r.w or 0.0))[:MOST_BEHIND]
    sign = SIGNS[check.verdict]
    readings = [_shown(r, typed) for r in worst]
    return {"check": check, "sign": sign, "readings": readings, "gain": gain(check) if check.next else ""}


def points_of(check: str, points: Sequence[PointResult]) -> set[str]:
    """The points that a figure is of, by its name."""
    family, _, rest = check.partition(".")
    name = rest.rpartition(".")[0]
    if family == "pair":
        return {p.name for p in points if p.pair == name}
    if family == "axle":
        return {p.name for p in points if p.part in (f"axle:{name}", f"face:{name}")}
    if family == "face":
        group, _, side = name.rpartition(".")
        return {p.name for p in points if p.part == f"face:{group}" and p.side == side}
    if family == "rail":
        return {p.name for p in points if p.part == "rail" and p.side == name}
    if family == "rails":
        return {p.name for p in points if p.part == "rail"}
    if family == "cross":
        return {p.name for p in points if p.pair and rest in _joined(p.pair, points)}
    if family == "chart":
        return {p.name for p in points if p.name == name or rest in (f"{p.name}.{q.name}" for q in points)}
    if check == "body.twist":
        return _ends(points)
    return set()


def _ends(points: Sequence[PointResult]) -> set[str]:
    """The foremost and the rearmost pair."""
    along = {p.pair: p.x for p in points if p.pair and p.x is not None}
    ends = {max(along, key=along.__getitem__), min(along, key=along.__getitem__)} if along else set()
    return {p.name for p in points if p.pair in ends}


def _joined(pair: str, points: Sequence[PointResult]) -> set[str]:
    others = {p.pair for p in points if p.pair}
    return {f"{pair}.{other}" for other in others} | {f"{other}.{pair}" for other in others}


def plan(doc: Document) -> Plan | None:
    """The plan, front up, the car's left on the left. None where nothing has a place."""
    stations = layout.stations(doc)
    faces = [p for p in doc.points if p.part.startswith("face:") and p.x is not None and p.y is not None]
    places = [place for station in stations for place in station.places]
    if not places:
        return None
    xs = [p.x for p in places] + [p.x or 0.0 for p in faces]
    ys = [p.y for p in places] + [p.y or 0.0 for p in faces]
    unit = max(max(xs) - min(xs), max(ys) - min(ys), 1.0) / TALL
    scale = layout.scale_for([(p.x, p.y) for p in places], places, symmetric=doc.frame == "car")
    marks = []
    for place in places:
        shape = layout.ellipse(place.point) or (0.0, 0.0, 0.0)
        marks.append(Mark(
            place.point.name, round(-place.y / unit, 2), round(-place.x / unit, 2), round(-place.off_y / unit, 4),
            round(-place.off_x / unit, 4), round(shape[0] / unit, 4), round(shape[1] / unit, 4), round(-shape[2], 2),
            place.verdict, "end" if place.y > 0 else "start",
        ))  # fmt: skip
    box = (
        round(-max(ys) / unit - 3 * MARGIN), round(-max(xs) / unit - MARGIN),
        round((max(ys) - min(ys)) / unit + 6 * MARGIN), round((max(xs) - min(xs)) / unit + 2 * MARGIN),
    )  # fmt: skip
    dots = [(round(-(p.y or 0.0) / unit, 2), round(-(p.x or 0.0) / unit, 2)) for p in faces]
    return Plan(_apart(marks, scale.factor), _lines(stations), dots, scale.factor, box, doc.frame == "car")


def _apart(marks: Sequence[Mark], factor: int) -> list[Mark]:
    """The marks with their names outwards; inwards where another point or name stands there already.

    Where both sides are taken, the name of a point that is not judged is left out.
    """
    at = {m.name: (m.x + m.off_x * factor, m.y + m.off_y * factor) for m in marks}
    taken = [(x - DOT, x + DOT, y) for x, y in at.values()]
    made = {}
    for mark in sorted(marks, key=lambda m: m.verdict == "no limit"):
        (x, y), wide = at[mark.name], LETTER * len(mark.name)
        left = {"start": x + NAME_OFF, "end": x - NAME_OFF - wide}
        free = [
            named for named in (mark.named, "start" if mark.named == "end" else "end")
            if all(abs(y - v) > LINE or left[named] > end or left[named] + wide < start for start, end, v in taken)
        ]  # fmt: skip
        named = free[0] if free else mark.named if mark.verdict != "no limit" else ""
        if named:
            taken.append((left[named], left[named] + wide, y))
        made[mark.name] = replace(mark, named=named)
    return [made[mark.name] for mark in marks]


def _lines(stations: Sequence[layout.Station]) -> list[tuple[str, str, str]]:
    """(kind, name, name): across each station, and along each rail."""
    lines = [
        ("axle" if s.kind == "axle" else "pair", s.places[0].point.name, s.places[1].point.name)
        for s in stations if len(s.places) == 2
    ]  # fmt: skip
    for side in "LR":
        rail = [p.point.name for s in stations for p in s.places if p.point.part == "rail" and p.point.side == side]
        lines += [("rail", a, b) for a, b in pairwise(rail)]
    return lines


def side_view(doc: Document) -> dict[str, Any] | None:
    """The car from its left: x to the left of the sheet, z up, to scale. None without heights."""
    high = [p for p in doc.points if p.x is not None and p.z is not None]
    if len(high) < 2:
        return None
    xs, zs = [p.x or 0.0 for p in high], [p.z or 0.0 for p in high]
    unit = max(max(xs) - min(xs), 1.0) / TALL
    at = [(round(-(p.x or 0.0) / unit, 2), round(-(p.z or 0.0) / unit, 2)) for p in high]
    named = _named_aslant(high, at)
    marks = [(p.name, x, y, p.side, p.name in named) for p, (x, y) in zip(high, at, strict=True)]
    box = (
        round(-max(xs) / unit - MARGIN), round(-max(zs) / unit - NAMES),
        round(TALL + 2 * MARGIN), round((max(zs) - min(zs)) / unit + NAMES + MARGIN),
    )  # fmt: skip
    rail = [(x, y) for p, (_, x, y, side, _) in zip(high, marks, strict=True) if p.part == "rail" and side == "L"]
    lines = [(*a, *b) for a, b in pairwise(rail)]
    return {"marks": marks, "box": box, "lines": lines}


def _named_aslant(points: Sequence[PointResult], at: Sequence[tuple[float, float]]) -> set[str]:
    """Points of the side view that have room for a name: of the body first, then of what else was measured."""
    taken: list[tuple[float, float, int]] = []
    named = set()
    order = sorted(range(len(points)), key=lambda i: not (points[i].pair or points[i].part))
    for i in order:
        if points[i].side == "R" or points[i].part.startswith("face:"):
            continue
        x, y = at[i]
        along, off = x * math.cos(ASLANT) - y * math.sin(ASLANT), x * math.sin(ASLANT) + y * math.cos(ASLANT)
        long = len(points[i].name)
        if all(abs(off - v) > LINE or along > u + LETTER * n or u > along + LETTER * long for u, v, n in taken):
            taken.append((along, off, long))
            named.add(points[i].name)
    return named
