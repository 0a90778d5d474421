"""Within, outside or undecided: a guard band of the full expanded uncertainty on both sides.

Decision rule after JCGM 106:2012, 8.3.2 (guarded acceptance) and 8.3.3 (guarded rejection); the guard is u95 itself,
stricter than the default of ISO 14253-1:2017.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

Verdict = Literal["within", "outside", "undecided", "no limit"]


def judge(value: float, u95: float, limit: float | None) -> Verdict:
    """The verdict on one figure; value, u95 and limit in one unit."""
    if limit is None:
        return "no limit"
    if abs(value) + u95 <= limit:
        return "within"
    if abs(value) - u95 > limit:
        return "outside"
    return "undecided"


def agreed(verdicts: Iterable[Verdict]) -> Verdict:
    """What holds under every alternative; undecided where they differ."""
    each = set(verdicts)
    return each.pop() if len(each) == 1 else "undecided"


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict of a whole whose parts are judged: outside as soon as one part is, within only if all are."""
    each = set(verdicts)
    for verdict in ("outside", "undecided", "within"):
        if verdict in each:
            return verdict
    return "no limit"
