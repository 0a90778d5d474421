"""What the readings hold and what they do not: rigid bodies, loose points, and the readings that would fix them.

Two points belong to one body when no motion that the readings allow changes the distance between them. The allowed
motions are the null space of the adjustment; nothing here is guessed from counting readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, count

import numpy as np

from measure.adjust.solver import Adjustment
from measure.readings.kind import point_of
from measure.readings.reading import Reading
from measure.readings.unknowns import Array

MOVES = 1e-5
"""Relative rate of change of a distance above which it counts as free."""
MANY = 80
"""Loose points up to which tapes from one loose part to another are thought of."""


@dataclass(frozen=True)
class Loose:
    """Points that can move together against the body, which way, and the fewest readings that stop it."""

    points: tuple[str, ...]
    direction: str
    fix: tuple[str, ...]


def pieces(readings: Sequence[Reading]) -> list[list[str]]:
    """Points that readings tie together, directly or through others; largest first. Heights tie nothing in plan."""
    home: dict[str, int] = {}
    groups: dict[int, list[str]] = {}
    ties: list[list[str]] = []
    setups: dict[str, list[str]] = {}
    unused = count()
    for r in readings:
        names = list(dict.fromkeys(point_of(n) for n in r.names))
        if r.kind in ("marks", "xyz", "target"):
            setups.setdefault(r.via, []).extend(names)
        elif r.kind not in ("heights", "levels"):
            ties.append(names)
    for names in [*ties, *setups.values()]:
        joined = list(dict.fromkeys(home[n] for n in names if n in home))
        label = joined[0] if joined else next(unused)
        merged = groups.setdefault(label, [])
        for other in joined[1:]:
            merged.extend(groups.pop(other))
        merged.extend(n for n in names if n not in home)
        home.update(dict.fromkeys(merged, label))
    return sorted(groups.values(), key=lambda g: -len(g))


def motions(adjustment: Adjustment) -> Array:
    """Allowed motions (d, points, 3) of the points, mm per unit of each null vector, level part only taken as is."""
    columns = adjustment.network.unknowns.point_columns
    padded = np.vstack([adjustment.factor.null, np.zeros((1, adjustment.factor.defect))])
    return np.moveaxis(padded[columns], 2, 0)


def bodies(adjustment: Adjustment) -> list[list[int]]:
    """Sets of point numbers that cannot move against each other, largest first; a point may stand alone."""
    u = adjustment.network.unknowns
    in_plan = np.flatnonzero(u.point_columns[:, 0] >= 0)
    moves = motions(adjustment)
    if not len(in_plan):
        return []
    stiff = _stiff(adjustment.state.positions[in_plan], moves[:, in_plan])
    left = set(range(len(in_plan)))
    found: list[list[int]] = []
    while left:
        best: list[int] = []
        for seed in sorted(left):
            for other in sorted(j for j in left if j > seed and stiff[seed, j]):
                body = [seed, other]
                for k in sorted(left):
                    if k not in body and stiff[k, body].all():
                        body.append(k)
                if len(body) > len(best):
                    best = body
                if len(best) >= len(left) / 2 + 1:
                    break
            if len(best) >= len(left) / 2 + 1:
                break
        if not best:
            best = [min(left)]
        found.append(sorted(int(in_plan[k]) for k in best))
        left -= set(best)
    return sorted(found, key=lambda body: (-len(body), body))


def _stiff(positions: Array, moves: Array) -> Array:
    """(p, p) whether the plan distance, or the distance in space, of two points is held."""
    scale = max(float(np.max(np.abs(moves), initial=0.0)), 1e-30)
    changes = np.zeros((2, len(positions), len(positions)))
    for use, axes in enumerate((2, 3)):
        leg = positions[:, None, :axes] - positions[None, :, :axes]
        length = np.maximum(np.linalg.norm(leg, axis=2), 1.0)
        for move in moves:
            rate = np.abs(np.einsum("ijk,ijk->ij", leg, move[:, None, :axes] - move[None, :, :axes])) / length
            changes[use] = np.maximum(changes[use], rate)
    return np.asarray((changes < MOVES * scale).any(axis=0))


def loose_parts(adjustment: Adjustment, found: Sequence[Sequence[int]]) -> list[Loose]:
    """The bodies other than the first: how each moves against it, and the floor tapes that would hold it.

    All tapes together are the fewest that hold everything: a part that hangs on another loose part is held by the
    tapes of that one.
    """
    u = adjustment.network.unknowns
    moves = _relative(adjustment, found[0])
    chosen = _fewest_tapes(adjustment.state.positions, found, moves)
    ends = [{a, b} for a, b, _ in chosen]
    words = [f"floor tape {u.points[a]} to {u.points[b]}" for a, b, _ in chosen]
    reports = []
    for body in found[1:]:
        own = _orthonormal(moves[:, list(body)])
        mine = [k for k, tape in enumerate(ends) if tape & set(body)]
        if not mine:
            shares = np.array([share for *_, share in chosen]).reshape(len(chosen), len(moves))
            moved = np.abs(shares @ moves[:, list(body)].reshape(len(moves), -1)).max(axis=1, initial=0.0)
            mine = np.flatnonzero(moved > 1e-6).tolist()
        reports.append(Loose(tuple(u.points[i] for i in body), _direction(own), tuple(words[k] for k in mine)))
    return reports


def _relative(adjustment: Adjustment, main: Sequence[int]) -> Array:
    """Motions (k, points, 2) of all points in plan seen from the main body, orthonormal."""
    moves = motions(adjustment)[:, :, :2]
    in_plan = adjustment.network.unknowns.point_columns[:, 0] >= 0
    xy = adjustment.state.positions[:, :2]
    arm = xy - xy[list(main)].mean(axis=0)
    rows = np.zeros((2 * len(main), 3))
    rows[0::2, 0] = rows[1::2, 1] = 1.0
    rows[0::2, 2], rows[1::2, 2] = -arm[list(main), 1], arm[list(main), 0]
    seen = np.zeros_like(moves)
    for k, move in enumerate(moves):  # take the main body's own shift and turn out of everything
        shift = np.linalg.lstsq(rows, move[list(main)].ravel(), rcond=None)[0]
        rigid = np.column_stack([shift[0] - shift[2] * arm[:, 1], shift[1] + shift[2] * arm[:, 0]])
        seen[k] = np.where(in_plan[:, None], move - rigid, 0.0)
    return _orthonormal(seen)


def _orthonormal(moves: Array) -> Array:
    """Motions (k, points, 2) that span those given; k is the number of freedoms."""
    _, size, Vt = np.linalg.svd(moves.reshape(len(moves), -1), full_matrices=False)
    return Vt[size > 1e-6 * max(float(size[0]) if len(size) else 0.0, 1e-9)].reshape(-1, *moves.shape[1:])


def _direction(moves: Array) -> str:
    """In words, which way a part is free."""
    if len(moves) == 0:
        return "not at all in plan"
    if len(moves) >= 3 or (len(moves) == 2 and moves.shape[1] == 1):
        return "any way"
    mean = moves[0].mean(axis=0)
    if moves.shape[1] > 1 and np.linalg.norm(mean) * np.sqrt(moves.shape[1]) < 0.5:
        return "turning on the spot"
    along, across = np.abs(mean)
    if along > 2.4 * across:
        return "forward and back"
    if across > 2.4 * along:
        return "sideways"
    # the sign of along*across tells the diagonal: x forward, y left
    return "towards front left and rear right" if mean[0] * mean[1] > 0 else "towards front right and rear left"


def _fewest_tapes(positions: Array, found: Sequence[Sequence[int]], moves: Array) -> list[tuple[int, int, Array]]:
    """One tape a freedom, as (point, point, its share of each motion): each takes the freest motion left.

    Greedy over all tapes from part to part; where the parts are many, from a part to the main body only.
    """
    main, parts = found[0], found[1:]
    ends = [(a, b) for part in parts for a in main for b in part]
    if sum(map(len, parts)) <= MANY:
        ends += [(a, b) for one, other in combinations(parts, 2) for a in one for b in other]
    a, b = np.array(ends, dtype=np.int64).reshape(-1, 2).T
    leg = positions[b, :2] - positions[a, :2]
    unit = leg / np.maximum(np.linalg.norm(leg, axis=1), 1.0)[:, None]
    rates = np.einsum("ci,kci->ck", unit, moves[:, b] - moves[:, a])
    chosen: list[tuple[int, int, Array]] = []
    for _ in range(len(moves)):
        size = np.linalg.norm(rates, axis=1)
        best = int(np.argmax(np.round(size, 9)))
        if size[best] < 1e-9:
            break
        direction = rates[best] / size[best]
        chosen.append((int(a[best]), int(b[best]), direction))
        rates = rates - np.outer(rates @ direction, direction)
    return chosen
