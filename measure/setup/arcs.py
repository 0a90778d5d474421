"""How to mark a hole with a tape: two arcs from two plumb marks, and a third length as a check.

With unit vectors u from the marks to the hole, a mark that stands e from where it is thought and a length that is d
off move the crossing P by  P_moved = U^-1 (u_a . e_a + d_a, u_b . e_b + d_b),  U the two rows u_a, u_b. A rigid move of
the marks moves P with them, so effects counted in the car's axes go straight through.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, degrees, hypot

import numpy as np

from calib.tape_class import LIMITS
from measure.job import Job
from measure.readings.unknowns import Array
from measure.units import MM_PER_INCH

MOST_SKEW = 0.5
"""|cosine| of the angle at which the arcs may cross: 60 to 120 degrees."""
SHORTEST, LONGEST = 100.0, 5000.0
"""mm, arcs that a tape on the floor can strike."""
TOLD_APART = 50.0
"""mm by which the check must differ between the two places where the arcs cross."""
AS_GOOD = 1.03
"""Arcs whose ellipse is at most so many times the smallest are as good: the shortest tapes are taken."""
MM_STEP = 0.5
INCH_STEP = MM_PER_INCH / 32


@dataclass(frozen=True)
class Crossing:
    """Two arcs and their check: numbers of marks `a`, `b`, `third` (None where none checks), all lengths in mm.

    `moves` (2, 2): columns say how the crossing moves, in the car's axes, for a mm more of each arc; `toward` (m, 2)
    unit vectors from every mark to the hole, in the car; `tape_sd` (2,) of the arcs.
    """

    a: int
    b: int
    third: int | None
    lengths: tuple[float, float]
    third_length: float
    third_sd: float
    moves: Array
    toward: Array
    tape_sd: Array
    left: bool
    angle: float

    def effects(self, lines: Array) -> Array:
        """Effects (2, s) on the crossing, in the car, of those on the marks' plumb lines (m, 2, s)."""
        along = np.stack([self.toward[i] @ lines[i] for i in (self.a, self.b)])
        return np.asarray(self.moves @ along)


def step_of(units: str) -> float:
    """What lengths are given to: half a millimetre, or a 32nd of an inch; mm."""
    return INCH_STEP if units == "in" else MM_STEP


def rounded(length: float, units: str) -> float:
    """A length to the nearest half millimetre or 32nd of an inch, mm."""
    step = step_of(units)
    return round(length / step) * step


def tape_sd(job: Job, length: Array) -> Array:
    """Standard deviation of an arc struck with the tape, mm: a reading, the class, and the rounding of what is told."""
    a, b = LIMITS[job.sd.tape_class]
    metres = np.array([ceil(each / 1000.0) for each in np.ravel(length)]).reshape(np.shape(length))
    return np.sqrt(job.sd.tape**2 + (a**2 + (b * metres) ** 2) / 3 + step_of(job.units) ** 2 / 12)


def best_crossing(job: Job, hole: Array, xy: Array, lines: Array, plan: Array) -> Crossing | None:
    """The two marks whose arcs place a hole best; None where no two cross at 60 to 120 degrees.

    hole (2,) and marks xy (m, 2) on the floor; effects `lines` (m, 2, s) in the car on the plumb lines over the marks
    at the hole's height; `plan` (2, 2) turns a direction on the floor into the car's axes. Best: the error ellipse
    with the smallest larger axis, or nearly so and short tapes.
    """
    leg = hole - xy
    length = np.linalg.norm(leg, axis=1)
    toward = leg @ plan.T
    toward = toward / np.maximum(np.linalg.norm(toward, axis=1), 1e-9)[:, None]
    sd = tape_sd(job, length)
    i, j = np.triu_indices(len(xy), 1)
    there = (length >= SHORTEST) & (length <= LONGEST)
    cosine = np.sum(toward[i] * toward[j], axis=1)
    usable = there[i] & there[j] & (np.abs(cosine) <= MOST_SKEW)
    i, j, cosine = i[usable], j[usable], cosine[usable]
    if not len(i):
        return None
    along = np.einsum("mk,mks->ms", toward, lines)
    gram = along @ along.T
    det = toward[i, 0] * toward[j, 1] - toward[i, 1] * toward[j, 0]
    ci = np.column_stack([toward[j, 1], -toward[j, 0]]) / det[:, None]
    cj = np.column_stack([-toward[i, 1], toward[i, 0]]) / det[:, None]
    vi, vj, vij = gram[i, i] + sd[i] ** 2, gram[j, j] + sd[j] ** 2, gram[i, j]
    xx, yy = (ci[:, k] ** 2 * vi + cj[:, k] ** 2 * vj + 2 * ci[:, k] * cj[:, k] * vij for k in (0, 1))
    both = ci[:, 0] * ci[:, 1] * vi + cj[:, 0] * cj[:, 1] * vj + (ci[:, 0] * cj[:, 1] + cj[:, 0] * ci[:, 1]) * vij
    larger = (xx + yy) / 2 + np.hypot((xx - yy) / 2, both)
    good = np.flatnonzero(larger <= larger.min() * AS_GOOD)
    best = int(good[np.argmin(np.round(length[i[good]] + length[j[good]], 6))])
    a, b = int(i[best]), int(j[best])
    moves = np.column_stack([ci[best], cj[best]])
    third, third_sd = _third(a, b, hole, xy, toward, moves, lines, sd, there)
    return Crossing(
        a, b, third, (float(length[a]), float(length[b])), float(length[third]) if third is not None else 0.0, third_sd,
        moves, toward, sd[[a, b]], _is_left(xy[a], xy[b], hole), degrees(float(np.arccos(cosine[best]))),
    )  # fmt: skip


def _is_left(a: Array, b: Array, place: Array) -> bool:
    """Whether a place lies to the left of the line from a to b, seen from above."""
    way, arm = b - a, place - a
    return bool(way[0] * arm[1] - way[1] * arm[0] > 0)


def widest_angle(hole: Array, xy: Array) -> float:
    """The best angle (degrees, at most 90) at which arcs from any two marks cross at a hole."""
    leg = hole - xy
    length = np.linalg.norm(leg, axis=1)
    leg = leg[length >= SHORTEST] / length[length >= SHORTEST, None]
    if len(leg) < 2:
        return 0.0
    i, j = np.triu_indices(len(leg), 1)
    return degrees(float(np.arcsin(np.max(np.abs(leg[i, 0] * leg[j, 1] - leg[i, 1] * leg[j, 0])))))


def _third(
    a: int, b: int, hole: Array, xy: Array, toward: Array, moves: Array, lines: Array, sd: Array, there: Array
) -> tuple[int | None, float]:
    """The mark whose length shows a slip of either arc best, and the sd of that length about what is told."""
    base = (xy[b] - xy[a]) / np.linalg.norm(xy[b] - xy[a])
    arm = hole - xy[a]
    mirrored = xy[a] + 2 * base * (base @ arm) - arm
    crossing = np.stack([toward[k] @ lines[k] for k in (a, b)])
    best: tuple[float, int | None, float] = (0.0, None, 0.0)
    for c in range(len(xy)):
        apart = abs(np.linalg.norm(mirrored - xy[c]) - np.linalg.norm(hole - xy[c]))
        if c in (a, b) or not there[c] or apart < TOLD_APART:
            continue
        answers = toward[c] @ moves
        own = toward[c] @ lines[c] - answers @ crossing
        spread = hypot(float(np.linalg.norm(own)), float(np.linalg.norm(answers * sd[[a, b]])), float(sd[c]))
        shows = round(float(np.min(np.abs(answers))) / spread, 9)
        if shows > best[0]:
            best = shows, c, spread
    return best[1], best[2]
