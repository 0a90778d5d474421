"""The movements a damaged car is explained by: each one parameter, a size in mm, and a group of points it moves.

    sway        a section to one side, shifted or swung about the station where it begins
    side        one rail, or a length of it, out or in
    diamond     one side pushed back against the other, all of it or one end
    twist       a turn about the car's length that grows from a station to an end
    bend        an end, or a length between, up or down: sag and kick-up
    shortening  an end towards the other or away from it
    axle        the axle to one side, or out of square, on a body that stayed

As the car as a whole may stand anywhere, an end moved one way and the rest moved the other way are one and the same:
the smaller part is called moved; of two halves, both are named.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from measure.body.evidence import Evidence, X, Y, Z
from measure.readings.unknowns import Array, Index

Kind = Literal["sway", "side", "diamond", "twist", "bend", "shortening", "axle"]
SIDES = (("L", 0), ("R", 1))


@dataclass(frozen=True)
class Movement:
    """A movement of size 1 mm: `field` (3n,). `first`, `last`: stations of the part that moved, front first.

    `form`: "shift" or "swing" (grows from a hinge); for an axle "sideways" or "square". `side` L, R or blank. `hinge`:
    the station a swing, a twist or a bend grows from. `turn`: rad a mm.
    """

    kind: Kind
    form: str
    side: str
    first: str
    last: str
    reach: str  # "front" or "rear" where it reaches that end, "all", or "between"
    hinge: str
    points: tuple[int, ...]
    field: Array
    turn: float = 0.0

    @property
    def moved(self) -> int:
        """How many points it moves."""
        return len(self.points)


def movements(seen: Evidence) -> list[Movement]:
    """All movements that the evidence can speak of and that take no trusted point along."""
    made = [*_sections(seen), *_sides(seen), *_diamonds(seen), *_twists(seen), *_axles(seen)]
    return [m for m in made if not seen.held & set(m.points)]


@dataclass(frozen=True)
class _Section:
    first: int
    last: int
    points: Index
    reach: str


def _section(seen: Evidence, first: int, last: int, side: str = "") -> _Section:
    """The body's points from one station to another, of one side or both; points between stations go to the nearer."""
    x = np.array([s[3] for s in seen.stations])
    nearest = np.argmin(np.abs(seen.xyz[seen.body, X][:, None] - x), axis=1)
    take = (nearest >= first) & (nearest <= last)
    if side:
        member = {s[1 if side == "L" else 2] for s in seen.stations}
        other = {s[2 if side == "L" else 1] for s in seen.stations}
        left = np.sign(seen.xyz[seen.body, Y]) == (1 if side == "L" else -1)
        take &= np.array(
            [i in member or (i not in other and bool(mine)) for i, mine in zip(seen.body, left, strict=True)]
        )
    end = len(x) - 1
    reach = "all" if (first, last) == (0, end) else "front" if first == 0 else "rear" if last == end else "between"
    return _Section(first, last, seen.body[take], reach)


def _runs(seen: Evidence, most: int) -> Iterator[tuple[int, int]]:
    """(first, last) of every length of the car of at most so many stations, the whole of it left out."""
    m = len(seen.stations)
    for first in range(m):
        for last in range(first, min(m, first + most)):
            if (first, last) != (0, m - 1):
                yield first, last


def _made(
    seen: Evidence, kind: Kind, form: str, side: str, section: _Section, field: Array, hinge: int | None = None,
    turn: float = 0.0,
) -> Movement:  # fmt: skip
    keys = [s[0] for s in seen.stations]
    return Movement(
        kind, form, side, keys[section.first], keys[section.last], section.reach,
        "" if hinge is None else keys[hinge], tuple(section.points.tolist()), field.ravel(), turn,
    )  # fmt: skip


def _sections(seen: Evidence) -> Iterator[Movement]:
    """Both sides together: sideways; up and down, and along, where a chart says what would be right."""
    m, (along, _, high) = len(seen.stations), seen.charted
    for first, last in _runs(seen, m // 2):
        section = _section(seen, first, last)
        if not len(section.points):
            continue
        for axis, kind, wanted in ((Y, "sway", True), (Z, "bend", high), (X, "shortening", along)):
            if wanted and (kind != "shortening" or section.reach != "between"):
                field = np.zeros_like(seen.xyz)
                field[section.points, axis] = 1.0
                yield _made(seen, kind, "shift", "", section, field)  # type: ignore[arg-type]
    for hinge in range(1, m - 1):
        behind, ahead = m - 1 - hinge, hinge
        for section in (_section(seen, hinge + 1, m - 1), _section(seen, 0, hinge - 1)):
            size = section.last - section.first + 1
            if size < 2 or size > min(behind, ahead) or not len(section.points):
                continue  # one station alone is a shift; the larger part is said to have stayed
            yield from _swung(seen, hinge, section, high)


def _swung(seen: Evidence, hinge: int, section: _Section, high: bool) -> Iterator[Movement]:
    """A section turned about its hinge: 1 mm at its far end, sideways or up."""
    x0, P = seen.stations[hinge][3], seen.xyz[section.points]
    far = seen.stations[0 if section.reach == "front" else -1][3] - x0
    field = np.zeros_like(seen.xyz)
    field[section.points, Y], field[section.points, X] = (P[:, X] - x0) / far, -P[:, Y] / far
    yield _made(seen, "sway", "swing", "", section, field, hinge, 1.0 / far)
    if high:
        z0 = float(seen.xyz[[seen.stations[hinge][1], seen.stations[hinge][2]], Z].mean())
        field = np.zeros_like(seen.xyz)
        field[section.points, Z], field[section.points, X] = (P[:, X] - x0) / far, -(P[:, Z] - z0) / far
        yield _made(seen, "bend", "swing", "", section, field, hinge, -1.0 / far)


def _sides(seen: Evidence) -> Iterator[Movement]:
    m = len(seen.stations)
    # by symmetry alone a rail moved over most of its length is the rest of the car moved the other way
    runs = [*_runs(seen, m if seen.charted[1] else m // 2), *([(0, m - 1)] if seen.charted[1] else [])]
    for first, last in runs:
        for side, _ in SIDES:
            section = _section(seen, first, last, side)
            if len(section.points):
                field = np.zeros_like(seen.xyz)
                field[section.points, Y] = 1.0
                yield _made(seen, "side", "shift", side, section, field)


def _diamonds(seen: Evidence) -> Iterator[Movement]:
    m = len(seen.stations)
    for first, last in [(0, m - 1), *((0, k) for k in range(m - 1)), *((k, m - 1) for k in range(1, m))]:
        for side, _ in SIDES:
            section = _section(seen, first, last, side)
            if len(section.points):
                field = np.zeros_like(seen.xyz)
                field[section.points, X] = 1.0
                yield _made(seen, "diamond", "shift", side, section, field)


def _twists(seen: Evidence) -> Iterator[Movement]:
    """1 mm of rise between left and right at the pair where the twist ends."""
    if not seen.heights:
        return
    m = len(seen.stations)
    z0 = float(seen.xyz[seen.body, Z].mean())
    for hinge in range(m):
        for section, end in ((_section(seen, hinge + 1, m - 1), m - 1), (_section(seen, 0, hinge - 1), 0)):
            if end == hinge or not len(section.points):
                continue
            _, left, right, x1 = seen.stations[end]
            width = float(seen.xyz[left, Y] - seen.xyz[right, Y])
            P, x0 = seen.xyz[section.points], seen.stations[hinge][3]
            grown = (P[:, X] - x0) / (x1 - x0) / width
            field = np.zeros_like(seen.xyz)
            field[section.points, Y], field[section.points, Z] = -grown * (P[:, Z] - z0), grown * P[:, Y]
            yield _made(seen, "twist", "swing", "", section, field, hinge, 1.0 / width)


def _axles(seen: Evidence) -> Iterator[Movement]:
    for name, left, right in seen.axles:
        for form in ("sideways", "square"):
            field = np.zeros_like(seen.xyz)
            if form == "sideways":
                field[[left, right], Y] = 1.0
            else:
                field[left, X], field[right, X] = 0.5, -0.5
            width = float(seen.xyz[left, Y] - seen.xyz[right, Y])
            yield Movement(
                "axle", form, "", name, name, "", "", (left, right), field.ravel(),
                -1.0 / width if form == "square" else 0.0,
            )  # fmt: skip
