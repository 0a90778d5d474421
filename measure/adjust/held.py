"""What the readings hold and what they do not: rigid bodies, loose points, and the readings that would fix them.

Two points belong to one body when no motion that the readings allow changes the distance between them. The allowed
motions are the null space of the adjustment; nothing here is guessed from counting readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.adjust.solver import Adjustment
from measure.readings.kind import point_of
from measure.readings.reading import Reading
from measure.readings.unknowns import Array

MOVES = 1e-6
"""Relative rate of change of a distance above which it counts as free."""


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
    for r in readings:
        names = list(dict.fromkeys(point_of(n) for n in r.names))
        if r.kind in ("marks", "xyz"):
            setups.setdefault(r.via, []).extend(names)
        elif r.kind not in ("heights", "levels"):
            ties.append(names)
    for names in [*ties, *setups.values()]:
        joined = list(dict.fromkeys(home[n] for n in names if n in home))
        label = joined[0] if joined else len(home) + len(groups)
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
    """The bodies other than the first: how each moves against it, and the floor tapes that would hold it."""
    u = adjustment.network.unknowns
    main = list(found[0])
    positions = adjustment.state.positions
    reports = []
    for body in found[1:]:
        moves = _relative(adjustment, main, body)
        chosen = _fewest_tapes(positions, main, body, moves)
        reports.append(Loose(
            tuple(u.points[i] for i in body), _direction(moves),
            tuple(f"floor tape {u.points[a]} to {u.points[b]}" for a, b in chosen),
        ))  # fmt: skip
    return reports


def _relative(adjustment: Adjustment, main: Sequence[int], body: Sequence[int]) -> Array:
    """Motions (k, body, 2) of a body in plan seen from the main body, orthonormal."""
    moves = motions(adjustment)[:, :, :2]
    xy = adjustment.state.positions[:, :2]
    centre = xy[list(main)].mean(axis=0)
    arm = xy - centre
    seen = []
    for move in moves:  # take the main body's own shift and turn out of everything
        rows = np.zeros((2 * len(main), 3))
        rows[0::2, 0] = rows[1::2, 1] = 1.0
        rows[0::2, 2], rows[1::2, 2] = -arm[list(main), 1], arm[list(main), 0]
        shift = np.linalg.lstsq(rows, move[list(main)].ravel(), rcond=None)[0]
        rigid = np.column_stack([shift[0] - shift[2] * arm[:, 1], shift[1] + shift[2] * arm[:, 0]])
        seen.append((move - rigid)[list(body)].ravel())
    stacked = np.array(seen).reshape(len(moves), -1)
    _, size, Vt = np.linalg.svd(stacked, full_matrices=False)
    return Vt[size > 1e-6 * max(float(size[0]) if len(size) else 0.0, 1e-9)].reshape(-1, len(body), 2)


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


def _fewest_tapes(positions: Array, main: Sequence[int], body: Sequence[int], moves: Array) -> list[tuple[int, int]]:
    """Greedy over all tapes from the part to the main body: each takes the freest motion left. One tape a freedom."""
    ends = np.array([(a, k) for a in main for k in range(len(body))]).reshape(-1, 2)
    leg = positions[np.array(body)[ends[:, 1]], :2] - positions[ends[:, 0], :2]
    unit = leg / np.maximum(np.linalg.norm(leg, axis=1), 1.0)[:, None]
    rates = np.einsum("ci,kci->ck", unit, moves[:, ends[:, 1]])
    chosen = []
    for _ in range(len(moves)):
        size = np.linalg.norm(rates, axis=1)
        best = int(np.argmax(np.round(size, 9)))
        if size[best] < 1e-9:
            break
        chosen.append((int(ends[best, 0]), int(body[ends[best, 1]])))
        direction = rates[best] / size[best]
        rates = rates - np.outer(rates @ direction, direction)
    return chosen
