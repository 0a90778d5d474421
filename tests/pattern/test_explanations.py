"""The search for few movements: against plain least squares, by brute force."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from measure.body.evidence import evidence
from measure.body.explanations import RIVAL, Search
from measure.body.movements import Movement, movements
from measure.body.stand import stand
from tests.pattern.damaged import KINDS_OF_A_CHART, Sheet, damage, guess, measured, sheet


@pytest.fixture(scope="module")
def charted() -> Sheet:
    return sheet(chart=True)


def searched(of: Sheet, kind: str, seed: int) -> tuple[Search, list[Movement]]:
    rng = np.random.default_rng([5, seed])
    standing = stand(of.job, measured(of, damage(of, kind, rng, 9.0), rng))
    assert standing is not None
    seen = evidence(of.job, standing.points, standing.centreline.pairs, standing.frame, standing.chart)
    moves = movements(seen)
    search = Search(seen, moves)
    # the same by a plain solve with all parameters at once, nothing projected out
    P = np.linalg.inv(seen.covariance)
    for parts in [(), (3,), (10, 40), (0, 60, 100)]:
        A = np.column_stack(
            [
                seen.free,
                seen.functional
                @ np.array([m.field for m in moves])[list(parts)].T.reshape(seen.functional.shape[1], -1),
            ]
        )
        N = A.T @ P @ A
        sizes = np.linalg.pinv(N, rcond=1e-12) @ (A.T @ P @ seen.observed)
        rest = seen.observed - A @ sizes
        e = search.explain(parts)
        assert e.misfit == pytest.approx(rest @ P @ rest, rel=1e-6)
        assert e.sizes == pytest.approx(sizes[seen.free.shape[1] :], rel=1e-5, abs=1e-6)
        assert e.score == pytest.approx(e.misfit + search.price * len(parts))
    return search, moves


def test_the_search_is_least_squares_and_misses_no_pair(charted: Sheet) -> None:
    search, _ = searched(charted, "sway", 1)
    likely = search.likely()
    least = likely[0].score
    found = {e.parts for e in likely}
    every = [
        search.explain((int(a), int(b)))
        for a, b in combinations(search.usable.tolist()[:60], 2)
        if _apart(search, a, b)
    ]
    for e in every:
        if e.score < least + RIVAL - 1e-6:
            assert e.parts in found


def _apart(search: Search, a: int, b: int) -> bool:
    A = search.normal
    return bool(A[a, b] ** 2 < 0.97**2 * A[a, a] * A[b, b])


def test_left_over_rows_are_those_of_each_row_alone(charted: Sheet) -> None:
    """The normalised value of a row is that of its own shift added as one more parameter."""
    rng = np.random.default_rng(3)
    standing = stand(charted.job, measured(charted, damage(charted, "straight", rng, 0.0), rng))
    assert standing is not None
    seen = evidence(charted.job, standing.points, standing.centreline.pairs, standing.frame, standing.chart)
    search = Search(seen, movements(seen))
    size, w = search.left_over(search.explain((2,)))
    P = np.linalg.inv(seen.covariance)
    column = seen.functional @ movements(seen)[2].field
    for row in (0, 7, 30):
        A = np.column_stack([seen.free, column, np.eye(len(seen.rows))[row]])
        N = np.linalg.pinv(A.T @ P @ A, rcond=1e-12)
        shift = (N @ (A.T @ P @ seen.observed))[-1]
        assert size[row] == pytest.approx(shift, rel=1e-5)
        assert w[row] == pytest.approx(shift / np.sqrt(N[-1, -1]), rel=1e-5)


@pytest.mark.parametrize("kind", KINDS_OF_A_CHART)
def test_what_a_car_was_damaged_by_is_among_the_movements(charted: Sheet, kind: str) -> None:
    """Without noise the right part alone is left, and its size is what was built in."""
    for seed in range(4):
        rng = np.random.default_rng([9, seed])
        exact = damage(charted, kind, rng, 20.0)
        points = measured(charted, exact, rng)
        quiet = type(points)(
            points.names, (charted.design + exact) @ charted.network_from_car.T, points.sources, points.height_known,
            points.assumed_heights, points.dropped_once,
        )  # fmt: skip
        made = guess(charted, quiet)
        best = made.likely[0]
        assert made.kinds(best) == [{"swing": "sway"}.get(kind, kind)]
        assert abs(best.sizes[0]) == pytest.approx(20.0, abs=0.6)
        assert best.misfit < 2.0
