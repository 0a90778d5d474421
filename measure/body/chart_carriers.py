"""Which points of the body carry the chart: those that agree with it, less what stands off it together.

The largest agreeing set (`measure.body.agreement`) has so many checks to spare that it can hide a point 8 mm off, and a
whole section 8 mm off as well. So it is asked again, by what cars do: does one point stand off what the others
foretell, does one end of the car, or one side of an end?
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtri

from measure.body.agreement import largest_agreeing_set
from measure.body.misfit import RANK, Members
from measure.readings.unknowns import Array, Index

DOUBT = 0.05
"""A group is set aside where its shift against all others is this improbable, over all groups asked together."""
LEAST = 1e-3
"""1/mm; a shift whose effect is less than this in sd a mm is not seen at all."""
Set = tuple[int, ...]


def carriers(problem: Members, axes: Index, stations: Array, left: Array, pair: Index) -> tuple[list[Set], bool]:
    """(the sets of members that carry the chart, best first, all of one size; whether they agree).

    axes (n,): 0, 1, 2 for the axis of each row; stations (members,) x, left (members,) y of each member; pair
    (members,): members of one number are a pair.
    """
    sets, agrees = _agreeing_pairs(problem, pair)
    groups = _groups(stations, left)
    if not agrees:  # one side of the whole car, say: try what cars do before every set of points there is
        thinned = _settled(problem, tuple(range(len(problem))), groups, axes)
        sets, agrees = [thinned], problem.agree(thinned) is not None
    if not agrees:
        agreement = largest_agreeing_set(problem.observed, problem.design, problem.covariance, problem.rows)
        sets, agrees = [agreement.best, *agreement.rivals], agreement.agrees
    found = dict.fromkeys(_settled(problem, s, groups, axes) for s in sets)
    for s in list(found):  # of two halves that moved apart, either may have stayed
        rest = tuple(i for i in range(len(problem)) if i not in s)
        if len(rest) == len(s) and problem.agree(rest) is not None:
            found[rest] = None
    most = max(map(len, found))
    return [s for s in found if len(s) == most], agrees


def _agreeing_pairs(problem: Members, pair: Index) -> tuple[list[Set], bool]:
    """Sets of whole pairs that agree: far fewer to try than sets of points. False where most pairs do not."""
    numbers = list(dict.fromkeys(pair.tolist()))
    of = [tuple(np.flatnonzero(pair == number).tolist()) for number in numbers]
    rows = [problem.rows_of(members) for members in of]
    agreement = largest_agreeing_set(problem.observed, problem.design, problem.covariance, rows)
    sets = [tuple(sorted(i for k in s for i in of[k])) for s in (agreement.best, *agreement.rivals)]
    return sets, agreement.agrees and 2 * len(agreement.best) > len(of)


def _groups(stations: Array, left: Array) -> list[Set]:
    """Each point; each end of the car up to half of its points, both sides and either side of it."""
    order = np.argsort(-np.round(stations, 6), kind="stable")
    cuts = np.flatnonzero(np.abs(np.diff(stations[order])) > 1.0) + 1
    groups: dict[Set, None] = dict.fromkeys((int(i),) for i in order)
    for cut in cuts.tolist():
        for end in (order[:cut], order[cut:]):
            for side in (end, end[left[end] > 0], end[left[end] < 0]):
                if len(side) > 1 and 2 * len(side) <= len(order):
                    groups[tuple(sorted(side.tolist()))] = None
    for side in (np.flatnonzero(left > 0), np.flatnonzero(left < 0)):
        groups[tuple(side.tolist())] = None
    return [g for g in groups if 0 < 2 * len(g) <= len(order)]


def _settled(problem: Members, members: Set, groups: list[Set], axes: Index) -> Set:
    """A set less the group that stands off it most, again and again; then with the single points that agree."""
    chosen = set(members)
    level = DOUBT / len(groups)
    while 2 * len(chosen) > len(problem):
        inside = [
            (g, _shift(problem, sorted(chosen), sorted(chosen & set(g)), axes)) for g in groups if chosen & set(g)
        ]
        beyond = [(t - float(chdtri(freedom, level)), g) for g, (t, freedom) in inside if freedom]
        worst = max(beyond, key=lambda each: each[0], default=None)
        if worst is None or worst[0] <= 0 or 2 * len(chosen - set(worst[1])) < len(problem):
            break
        chosen -= set(worst[1])
    for k in range(len(problem)):
        if k not in chosen:
            t, freedom = _shift(problem, sorted(chosen | {k}), [k], axes)
            if freedom and t <= float(chdtri(freedom, DOUBT)):
                chosen.add(k)
    return tuple(sorted(chosen))


def _shift(problem: Members, members: list[int], group: list[int], axes: Index) -> tuple[float, int]:
    """(T-square, degrees of freedom) of one common shift of a group among `members`, along every axis it is held in."""
    i = problem.rows_of(members)
    moved = np.isin(i, problem.rows_of(group))
    columns = np.column_stack([moved & (axes[i] == k) for k in range(3)]).astype(np.float64)
    L = np.linalg.cholesky(problem.covariance[np.ix_(i, i)])
    white = np.linalg.solve(L, np.column_stack([problem.design[i], columns, problem.observed[i]]))
    p = problem.parameters
    u, size, _ = np.linalg.svd(white[:, :p], full_matrices=False)
    q = u[:, size > RANK * size[0]]
    rest = white[:, p:] - q @ (q.T @ white[:, p:])
    u, size, _ = np.linalg.svd(rest[:, :-1], full_matrices=False)
    held = u[:, size > LEAST]
    return float(np.sum((held.T @ rest[:, -1]) ** 2)), held.shape[1]
