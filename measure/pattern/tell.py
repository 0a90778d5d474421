"""What would tell rivals apart, and what to mind before believing a pattern."""

from __future__ import annotations

from collections.abc import Sequence

from measure.body.evidence import Evidence, X, Y, Z
from measure.body.explanations import Explanation, tied
from measure.body.movements import Movement
from measure.survey import Surveyed

MOST_NAMED = 8


def would_tell(likely: Sequence[Explanation], moves: Sequence[Movement], seen: Evidence) -> list[str]:
    """What to measure or to find out, so that fewer explanations remain; nothing where there is one."""
    best, others = likely[0], likely[1:]
    told = []
    alike = [e for e in others if tied(e, best)]
    kinds = {moves[k].kind for e in (best, *alike) for k in e.parts}
    if alike and {"sway", "side"} <= kinds:
        where = _stations((best, *alike), moves, ("sway", "side"))
        told.append(
            f"The width of the car at {_listed(where)}: one side moved and both sides moved half as far look alike by "
            "symmetry. Measure the width on an undamaged car of the same kind, or take it from a chart; enter it as "
            "a length in chart.csv, or as y of those points in points.csv."
        )
    if alike and "diamond" in kinds:
        told.append(
            "How long the car should be on either side (x of the points from a chart): one side pushed back and the "
            "other drawn forward look alike by symmetry."
        )
    if any(_complement(moves, best, e) for e in alike):
        told.append(
            "Which half stayed: write trusted = yes at pairs known to be undamaged, or measure a further pair there."
        )
    disputed = _disputed(best, [e for e in others if not tied(e, best)], moves, seen)
    if disputed:
        told.append(
            f"A second drop of the bob, or a second reading, at {_listed(disputed)}: there the explanations differ."
        )
    return told


def _stations(explanations: Sequence[Explanation], moves: Sequence[Movement], kinds: tuple[str, ...]) -> list[str]:
    """The keys of the stations that movements of some kinds begin and end at."""
    parts = [moves[k] for e in explanations for k in e.parts]
    return list(dict.fromkeys(key for m in parts if m.kind in kinds for key in (m.first, m.last)))


def _complement(moves: Sequence[Movement], a: Explanation, b: Explanation) -> bool:
    """Whether two explanations move different ends of the car, alike in all else."""
    ends = [{moves[k].reach for k in e.parts} & {"front", "rear"} for e in (a, b)]
    return bool(ends[0] and ends[1] and ends[0] != ends[1])


def _disputed(best: Explanation, rivals: Sequence[Explanation], moves: Sequence[Movement], seen: Evidence) -> list[str]:
    """Points moved under the best or under a rival but not under both, those most in dispute first."""
    here = {i for k in best.parts for i in moves[k].points}
    count: dict[int, int] = {}
    for rival in rivals:
        for i in here ^ {i for k in rival.parts for i in moves[k].points}:
            count[i] = count.get(i, 0) + 1
    return [seen.names[i] for i in sorted(count, key=lambda i: (-count[i], i))[:MOST_NAMED]]


def cautions(surveyed: Surveyed, seen: Evidence, best: Explanation, moves: Sequence[Movement]) -> list[str]:
    """What to mind, gravest first."""
    standing = surveyed.standing
    told = []
    if standing is not None and not standing.points.scaled:
        told.append("No measured length holds the size of the car: movements in mm are not decided.")
    if len(seen.stations) < 3 and not any(seen.charted):
        told.append("Two pairs alone: any line fits them, so no pattern can be told. Measure a third pair.")
    if standing is not None and standing.chart is not None and standing.chart.rests_on == "disagree":
        told.append(
            "The factory chart does not agree with half of the points and was left out: symmetry alone is used."
        )
    once = [seen.names[i] for k in best.parts for i in moves[k].points if standing and standing.points.dropped_once[i]]
    if once:
        told.append(
            f"{_listed(list(dict.fromkeys(once)))}: a single drop of the bob. A bob dropped wrong looks like a moved "
            "section: drop again before pulling or cutting."
        )
    told += _blind(seen)
    return told


def _blind(seen: Evidence) -> list[str]:
    if all(seen.charted):
        return []
    blind = [
        (seen.charted[Y], "both rails out or in alike"), (seen.charted[X], "shortening"),
        (seen.charted[Z], "sag or kick-up"), (seen.heights, "twist"),
    ]  # fmt: skip
    things = [words for seen_, words in blind if not seen_]
    why = "Without a chart" if not any(seen.charted[a] for a in (X, Y, Z)) else "With what was measured"
    return [f"{why} these cannot be seen: {', '.join(things)}."] if things else []


def _listed(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
