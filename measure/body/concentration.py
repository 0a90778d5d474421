"""Agreeing sets among many members, where trying every set would take too long.

From many small beginnings: the parameters that suit a few members put all others in an order, nearest first; the
longest beginning of that order that agrees is a new set, and so on. These are the concentration steps of Rousseeuw and
Van Driessen, "Computing LTS regression for large data sets", Data Mining and Knowledge Discovery 12 (2006) 29-45,
with the largest agreeing set in place of a fixed half.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, islice
from math import comb

import numpy as np
from scipy.special import chdtri

from measure.body.misfit import AGREE, RANK, Members
from measure.readings.unknowns import Array

BEGINNINGS = 300
FEWER_BEGINNINGS = 60
MANY = 40
"""Members beyond which there are fewer beginnings: each costs more."""
STEPS = 5

Set = tuple[int, ...]


def concentrated_sets(problem: Members) -> dict[Set, float]:
    """The largest agreeing sets found, all of one size, with their misfits; empty where none has a check to spare."""
    found: dict[Set, float] = {}
    for beginning in _beginnings(problem):
        members: Set = beginning
        for _ in range(STEPS):
            grown = _longest_agreeing(problem, _nearest_first(problem, members))
            if grown == members or grown in found:
                break
            members = grown
        misfit, freedom = problem.misfit(members)
        if freedom > 0 and misfit <= float(chdtri(freedom, AGREE)):
            found[members] = misfit
    largest = _largest(found)
    for members in sorted(largest)[:STEPS]:
        found |= _with_one_more_or_other(problem, members)
    return _largest(found)


def _largest(found: dict[Set, float]) -> dict[Set, float]:
    most = max(map(len, found), default=0)
    return {members: misfit for members, misfit in found.items() if len(members) == most}


def _beginnings(problem: Members) -> Iterator[Set]:
    """Sets just large enough to hold the parameters, evenly out of all there are."""
    n, widest = len(problem), max(map(len, problem.rows))
    size = max(2, -(-problem.parameters // min(2, widest)))
    step = max(1, comb(n, size) // (BEGINNINGS if n <= MANY else FEWER_BEGINNINGS))
    return islice(combinations(range(n), size), step // 2, None, step)


def _nearest_first(problem: Members, members: Set) -> list[int]:
    """All members by their distance from what `members` foretell, over the sd of both."""
    i = problem.rows_of(members)
    inverse = np.linalg.inv(problem.covariance[np.ix_(i, i)])
    weighted = problem.design[i].T @ inverse
    spread = np.linalg.pinv(weighted @ problem.design[i], rcond=RANK, hermitian=True)
    off = problem.observed - problem.design @ (spread @ (weighted @ problem.observed[i]))
    far = []
    for rows in problem.rows:
        D = problem.design[rows]
        C = problem.covariance[np.ix_(rows, rows)] + D @ spread @ D.T
        far.append(float(off[rows] @ np.linalg.solve(C, off[rows])) / len(rows))
    return [int(k) for k in np.argsort(np.round(far, 9), kind="stable")]


def _longest_agreeing(problem: Members, order: Sequence[int]) -> Set:
    """The longest beginning of an order that agrees: all beginnings share one Cholesky factor."""
    i = problem.rows_of(order)
    L = np.linalg.cholesky(problem.covariance[np.ix_(i, i)])
    white = np.linalg.solve(L, np.column_stack([problem.design[i], problem.observed[i]]))
    ends = np.cumsum([len(problem.rows[k]) for k in order])
    sums = np.cumsum(white[:, :, None] * white[:, None, :], axis=0)[ends - 1]
    misfit, rank = _rest(sums)
    freedom = ends - rank
    agrees = np.flatnonzero((freedom <= 0) | (misfit <= chdtri(np.maximum(freedom, 1), AGREE)))
    return tuple(sorted(order[: int(agrees[-1]) + 1])) if len(agrees) else tuple(order[:1])


def _rest(sums: Array) -> tuple[Array, Array]:
    """Misfits and ranks from normal equations (k, p + 1, p + 1) with the observed in the last row and column."""
    value, vector = np.linalg.eigh(sums[:, :-1, :-1])
    held = value > RANK * value[:, -1:]
    along = np.einsum("kij,ki->kj", vector, sums[:, :-1, -1])
    explained = np.sum(np.where(held, along**2 / np.where(held, value, 1.0), 0.0), axis=1)
    return sums[:, -1, -1] - explained, held.sum(axis=1)


def _with_one_more_or_other(problem: Members, members: Set) -> dict[Set, float]:
    """Agreeing sets with one member more, or else with one exchanged."""
    others = [k for k in range(len(problem)) if k not in members]
    larger = [(*members, k) for k in others]
    exchanged = [(*(m for m in members if m != out), k) for out in members for k in others]
    for changed in (larger, exchanged):
        tried = {tuple(sorted(s)): problem.agree(s) for s in changed}
        agreeing = {s: misfit for s, misfit in tried.items() if misfit is not None}
        if agreeing:
            return agreeing
    return {}
