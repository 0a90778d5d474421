"""What moved on a car: the likely explanations of its points, and which pairs stayed under each."""

from __future__ import annotations

from measure.body.chart_fit import ChartFit
from measure.body.evidence import Evidence, evidence
from measure.body.explanations import Explanation, Search
from measure.body.frame import Frame, Pairs
from measure.body.movements import Movement, movements
from measure.body.points import CarPoints
from measure.job import Job


def explained(
    job: Job, points: CarPoints, pairs: Pairs, frame: Frame, fit: ChartFit | None, body_alone: bool = False
) -> tuple[Evidence, list[Movement], Search, list[Explanation]]:
    """The evidence, the movements tried on it, and the likely explanations, best first."""
    seen = evidence(job, points, pairs, frame, fit, body_alone)
    moves = movements(seen)
    search = Search(seen, moves)
    likely = sorted(_without_echoes(search.likely(), moves), key=lambda e: _order(e, moves))
    return seen, moves, search, _fewest(likely)


def _fewest(likely: list[Explanation]) -> list[Explanation]:
    """Without those that add to a better one a part that does not pay."""
    kept: list[Explanation] = []
    for e in likely:
        if not any(other.parts and set(other.parts) < set(e.parts) for other in kept):
            kept.append(e)
    return kept


def _without_echoes(likely: list[Explanation], moves: list[Movement]) -> list[Explanation]:
    """Without what says the same in other words: one whole side forward is the other side pushed back."""

    def echo(e: Explanation) -> bool:
        return any(
            moves[k].kind == "diamond" and moves[k].reach == "all" and size > 0
            for k, size in zip(e.parts, e.sizes, strict=True)
        )

    kept = [e for e in likely if not echo(e)]
    return kept or likely


def _order(e: Explanation, moves: list[Movement]) -> tuple[float, int, int, tuple[int, ...]]:
    """Best first; of what is tied, the plainer: an end of the car, a side over a length, a side back."""
    plain = 0
    for k, size in zip(e.parts, e.sizes, strict=True):
        m = moves[k]
        plain += {"sway": 0 if m.reach != "between" else 2, "side": 1, "diamond": int(size > 0)}.get(m.kind, 0)
    return round(e.score, 6), len(e.parts), plain, e.parts


NEARLY = 2.0
"""Where the best explanation is that nothing moved, others count whose scores are worse by less."""


def pairs_that_stayed(
    job: Job, points: CarPoints, pairs: Pairs, frame: Frame, fit: ChartFit | None
) -> list[tuple[int, ...]]:
    """Sets of pairs (numbers) that no likely explanation moves sideways: that of the best first, then of its rivals.

    None where less than half of the pairs stayed. A section a few millimetres off agrees with a line tilted towards
    it; asked as one movement it stands out.
    """
    # an axle that stands off must not tip the scales between two ways to read the body
    _, moves, _, likely = explained(job, points, pairs, frame, fit, body_alone=True)
    sets = []
    for e in likely:
        if not likely[0].parts and e.score - likely[0].score > NEARLY:
            break
        moved = {i for k in e.parts if moves[k].kind in ("sway", "side") for i in moves[k].points}
        sets.append(tuple(k for k, ends in enumerate(pairs.ends.tolist()) if not moved & set(ends)))
    if 2 * len(sets[0]) < len(pairs.keys):
        return []  # hardly anything stayed: that is no explanation to lean on
    # a rival that only sets aside more than the best does is no other way to read the car
    return [s for s in dict.fromkeys(sets) if s == sets[0] or not likely[0].parts or not set(s) < set(sets[0])]
