"""The car from above for tapping: points and tapes as places on a sheet, front up. Where things stand, nothing more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from measure.job import Job
from measure.report.sketch import sketch_places
from measure.report.words import printable
from measure.result import Document, NextAct
from measure.tape_plan import tapes_to_run
from measure.web.fit import Fit

WIDTH, HEIGHT = 400.0, 760.0
LEFT, RIGHT, TOP, BOTTOM = 90.0, 310.0, 50.0, 725.0


@dataclass(frozen=True)
class Spot:
    """A point on the sheet; `again`: a further drop of the bob there would help most."""

    name: str
    x: float
    y: float
    side: str
    again: bool


@dataclass(frozen=True)
class Line:
    """A tape on the sheet. `state`: todo, fits, off, unchecked or unsolved; `again`: one more reading of a tape."""

    key: str
    start: str
    end: str
    where: str
    line: int
    typed: str
    state: str
    words: str
    helps: bool
    again: bool
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Sketch:
    """Everything drawn, and which tape comes next."""

    spots: list[Spot]
    lines: list[Line]
    next: Line | None
    advice: list[str] = field(default_factory=list)

    @property
    def todo(self) -> list[Line]:
        """Tapes still to run."""
        return [line for line in self.lines if line.state == "todo"]

    @property
    def read(self) -> list[Line]:
        """Tapes with a reading, what does not fit first."""
        return sorted((line for line in self.lines if line.state != "todo"), key=lambda line: line.state != "off")


def sketch(
    job: Job, rows: Sequence[Mapping[str, str | int]], doc: Document | None, fits: Mapping[str, Fit], file: str
) -> Sketch:
    """The sheet of a stage: `rows` are those of its tape table, in its order; without any, those of the plan.

    What fits is drawn first, so that the open tapes and those that are off lie over it.
    """
    places = {name: _on_sheet(place) for name, place in _places(job, doc).items()}
    acts = _acts(doc)
    helping = [act.names for act in acts if act.kind == "tape"]
    again = {name for act in acts if act.kind == "drop" for name in act.names}
    listed: list[Mapping[str, str | int]] = list(rows) or [
        {"from": a, "to": b, "where": "floor", "length": "", "line": 0} for a, b in _plan(job)
    ]
    listed += [
        {"from": a, "to": b, "where": "floor", "length": "", "line": 0, "again": _between(listed, {a, b})}
        for a, b in helping if not _between([row for row in listed if not row["length"]], {a, b})
    ]  # fmt: skip
    lines = [line for row in listed if (line := _line(row, places, fits, helping, file)) is not None]
    todo = [line for line in lines if line.state == "todo"]
    first = next((line for line in todo if line.helps), todo[0] if todo else None)
    spots = [Spot(name, x, y, job.point(name).side, name in again) for name, (x, y) in places.items()]
    lines.sort(key=lambda line: line.state == "off")
    return Sketch(spots, lines, first, [printable(act.act) for act in acts])


def _places(job: Job, doc: Document | None) -> dict[str, tuple[float, float]]:
    """(across, along) in the box from (-1, 0) to (1, 1): as the car was solved, else as listed.

    A point that the readings do not hold yet stands where its place in the list puts it between those they hold.
    """
    listed, _ = sketch_places(job.points)
    solved = [p for p in doc.points if p.name in listed and p.x is not None] if doc and doc.frame == "car" else []
    at = {p.name: (p.x, p.y) for p in solved if p.x is not None and p.y is not None}
    if len({x for x, _ in at.values()}) < 2:
        return listed
    rear, front = min(x for x, _ in at.values()), max(x for x, _ in at.values())
    half = max(max(abs(y) for _, y in at.values()), 1.0)
    placed = {name: (-y / half, (x - rear) / (front - rear)) for name, (x, y) in at.items()}
    known = sorted((listed[name][1], along) for name, (_, along) in placed.items())
    before, after = [a for a, _ in known], [b for _, b in known]
    for name in listed.keys() - placed.keys():
        across, along = listed[name]
        placed[name] = across, float(np.interp(along, before, after))
    return {name: placed[name] for name in listed}


def _plan(job: Job) -> list[tuple[str, str]]:
    return tapes_to_run(job.points)


def _on_sheet(place: tuple[float, float]) -> tuple[float, float]:
    across, along = place
    middle = (LEFT + RIGHT) / 2
    return round(middle + across * (RIGHT - LEFT) / 2, 1), round(BOTTOM - along * (BOTTOM - TOP), 1)


def _acts(doc: Document | None) -> list[NextAct]:
    """What the adviser asks for, each once."""
    return list({c.next.act: c.next for c in doc.checks if c.next}.values()) if doc else []


def _between(rows: Sequence[Mapping[str, str | int]], ends: set[str]) -> bool:
    """Whether one of the rows is a tape between these marks, whichever way round."""
    return any({row["from"], row["to"]} == ends for row in rows)


def _line(
    row: Mapping[str, str | int], places: Mapping[str, tuple[float, float]], fits: Mapping[str, Fit],
    helping: Sequence[Sequence[str]], file: str,
) -> Line | None:  # fmt: skip
    start, end, typed = str(row["from"]), str(row["to"]), str(row["length"])
    one, other = places.get(start.partition("#")[0]), places.get(end.partition("#")[0])
    if one is None or other is None:
        return None
    fit = fits.get(f"{file}:{row['line']}") if typed else None
    state = "todo" if not typed else fit.how if fit else "unsolved"
    helps = not typed and any({start, end} == set(ends) for ends in helping)
    key = f"{row['line']}:{start}:{end}:{row['where']}"
    return Line(
        key, start, end, str(row["where"]) or "floor", int(row["line"]), typed, state, fit.words if fit else "", helps,
        bool(row.get("again")), *one, *other,
    )  # fmt: skip
