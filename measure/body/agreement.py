"""The largest set of things that agree within their uncertainty; the others stand aside and are reported.

Used where no member may be trusted beforehand: which pairs carry the centreline, which rises carry the roll.
Exhaustive up to EXHAUSTIVE members, beyond that by leaving out the worst one at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.special import chdtri

from measure.readings.unknowns import Array

AGREE = 0.01
"""A set agrees unless its misfit is this improbable (chi-square)."""
RIVAL = 6.0
"""Two sets of one size are rivals while their misfits differ by less: a likelihood ratio of 20 to 1."""
EXHAUSTIVE = 14


@dataclass(frozen=True)
class Agreement:
    """The best set and its rivals of equal size, each a sorted tuple of member numbers; misfits alike.

    `agrees` is False where not even a set with one check to spare agrees; then the best set is all members.
    """

    best: tuple[int, ...]
    rivals: tuple[tuple[int, ...], ...]
    misfit: float
    agrees: bool


def largest_agreeing_set(observed: Array, design: Array, covariance: Array) -> Agreement:
    """Search subsets of observed (n,) = design (n, p) @ parameters, covariance (n, n), largest first.

    A set of p members or fewer agrees with anything; it is returned only when nothing larger does, and then with every
    other set of its size as a rival.
    """
    n, p = design.shape
    everything = tuple(range(n))
    if n <= p:
        return Agreement(everything, (), 0.0, True)
    if n > EXHAUSTIVE:
        return _leave_out_worst(observed, design, covariance)
    for size in range(n, p - 1, -1):
        limit = float(chdtri(size - p, AGREE)) if size > p else np.inf
        fits = [(_misfit(s, observed, design, covariance), s) for s in combinations(range(n), size)]
        fits = sorted((round(m, 9), s) for m, s in fits if m <= limit)
        if fits:
            misfit, best = fits[0]
            rivals = tuple(s for m, s in fits[1:] if m - misfit < RIVAL)
            return Agreement(best, rivals, misfit, size > p or n == p)
    return Agreement(everything, (), _misfit(everything, observed, design, covariance), False)


def _misfit(members: tuple[int, ...], observed: Array, design: Array, covariance: Array) -> float:
    i = np.array(members)
    D, seen = design[i], observed[i]
    L = np.linalg.cholesky(covariance[np.ix_(i, i)])
    white = np.linalg.solve(L, np.column_stack([D, seen]))
    q = np.linalg.qr(white[:, :-1])[0]
    rest = white[:, -1] - q @ (q.T @ white[:, -1])
    return float(rest @ rest)


def _leave_out_worst(observed: Array, design: Array, covariance: Array) -> Agreement:
    """One agreeing set, and as its rival one among those it leaves out, should that be as large."""
    everything = range(len(observed))
    one = _thinned(everything, observed, design, covariance)
    if one is None:
        return Agreement(tuple(everything), (), 0.0, False)
    other = _thinned([i for i in everything if i not in one[1]], observed, design, covariance)
    if other is None or len(other[1]) < len(one[1]):
        return Agreement(one[1], (), one[0], True)
    if len(other[1]) > len(one[1]):
        return Agreement(other[1], (), other[0], True)
    best, rival = sorted((one, other))
    return Agreement(best[1], (rival[1],), best[0], True)


def _thinned(
    among: Sequence[int], observed: Array, design: Array, covariance: Array
) -> tuple[float, tuple[int, ...]] | None:
    """(misfit, members) that agree once the worst one at a time is left out; None where no set larger than p does."""
    members = list(among)
    p = design.shape[1]
    while len(members) > p + 1:
        misfit = _misfit(tuple(members), observed, design, covariance)
        if misfit <= float(chdtri(len(members) - p, AGREE)):
            return misfit, tuple(members)
        i = np.array(members)
        inverse = np.linalg.inv(covariance[np.ix_(i, i)])
        D = design[i]
        PD = inverse @ D
        R = inverse - PD @ np.linalg.solve(D.T @ PD, PD.T)
        w = np.abs(R @ observed[i]) / np.sqrt(np.maximum(np.diag(R), 1e-30))
        members.pop(int(np.argmax(w)))
    return None
