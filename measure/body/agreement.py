"""The largest set of things that agree within their uncertainty; the others stand aside and are reported.

Used where no member may be trusted beforehand: which pairs carry the centreline, which rises carry the roll, which
points stand still between two surveys. Every set is tried up to EXHAUSTIVE members; beyond that every set
that leaves out a few, and then see `measure.body.concentration`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np
from scipy.special import chdtri

from measure.body.concentration import concentrated_sets
from measure.body.misfit import AGREE, Members
from measure.readings.unknowns import Array, Index

__all__ = ["AGREE", "EXHAUSTIVE", "RIVAL", "Agreement", "largest_agreeing_set"]

RIVAL = 6.0
"""Two sets of one size are rivals while their misfits differ by less: a likelihood ratio of 20 to 1."""
EXHAUSTIVE = 14
MOST_TRIED = 5000
"""Sets of one size that are tried among more members than that."""


@dataclass(frozen=True)
class Agreement:
    """The best set and its rivals of equal size, each a sorted tuple of member numbers; misfits alike.

    `agrees` is False where not even a set with one check to spare agrees; then the best set is all members.
    `as_large` are all agreeing sets of that size but the best, rivals and others alike.
    """

    best: tuple[int, ...]
    rivals: tuple[tuple[int, ...], ...]
    misfit: float
    agrees: bool
    as_large: tuple[tuple[int, ...], ...] = ()


def largest_agreeing_set(
    observed: Array, design: Array, covariance: Array, rows: Sequence[Index] | None = None
) -> Agreement:
    """Search subsets of observed (n,) = design (n, p) @ parameters, covariance (n, n), largest first.

    `rows` are the rows of each member, such as the coordinates of a point; each row is its own where left out. A set
    without a check to spare agrees with anything; it is returned only when nothing larger does, and then with every
    other set of its size as a rival.
    """
    problem = Members.of(observed, design, covariance, rows)
    everything = tuple(range(len(problem)))
    if not everything:
        return Agreement((), (), 0.0, True)
    misfit, freedom = problem.misfit(everything)
    if freedom == 0:
        return Agreement(everything, (), 0.0, True)
    if problem.agree(everything) is not None:
        return Agreement(everything, (), round(misfit, 9), True)
    if len(problem) > EXHAUSTIVE:
        found = _with_few_aside(problem) or _ranked(concentrated_sets(problem))
        return found or Agreement(everything, (), 0.0, False)
    for size in range(len(problem) - 1, 0, -1):
        fits = {s: fit for s in combinations(everything, size) if (fit := problem.agree(s)) is not None}
        found = _ranked(fits)
        if found is not None:
            spare = any(problem.misfit(s)[1] > 0 for s in (found.best, *found.rivals))
            return found if spare else replace(found, agrees=False)
    return Agreement(everything, (), misfit, False)


def _with_few_aside(problem: Members) -> Agreement | None:
    """The best of all sets that leave out so few members that every one can be tried; None where none agrees."""
    n = len(problem)
    for few in range(1, n // 2):
        if comb(n, few) > MOST_TRIED:
            break
        aside = list(combinations(range(n), few))
        nearly = 1.01 * float(chdtri(len(problem.observed) - problem.parameters, AGREE))
        left = [
            tuple(k for k in range(n) if k not in aside[i])
            for i in np.flatnonzero(problem.without_each(aside) < nearly)
        ]
        found = _ranked({s: fit for s in left if (fit := problem.agree(s)) is not None})
        if found is not None:
            return found
    return None


def _ranked(fits: dict[tuple[int, ...], float]) -> Agreement | None:
    """The best of some agreeing sets of one size and its rivals; None where there are none."""
    ranked = sorted((round(misfit, 9), members) for members, misfit in fits.items())
    if not ranked:
        return None
    least, best = ranked[0]
    rivals = tuple(s for misfit, s in ranked[1:] if misfit - least < RIVAL)
    return Agreement(best, rivals, least, True, tuple(s for _, s in ranked[1:]))
