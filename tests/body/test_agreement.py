"""The search for the largest agreeing set, against a search written apart from it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.special import gammainccinv

from measure.body.agreement import AGREE, EXHAUSTIVE, RIVAL, largest_agreeing_set


def brute(observed: np.ndarray, design: np.ndarray, covariance: np.ndarray) -> tuple[list[tuple[int, ...]], float]:
    """All sets of the largest size that fit, the best first, with misfits by the normal equations."""
    n, p = design.shape
    for size in range(n, p - 1, -1):
        found = []
        for members in combinations(range(n), size):
            i = list(members)
            P = np.linalg.inv(covariance[np.ix_(i, i)])
            A, y = design[i], observed[i]
            v = y - A @ np.linalg.solve(A.T @ P @ A, A.T @ P @ y)
            misfit = float(v @ P @ v)
            if size == p or misfit <= 2.0 * gammainccinv((size - p) / 2.0, AGREE):
                found.append((misfit, members))
        if found:
            least = min(found)[0]
            return [m for f, m in sorted(found) if f - least < RIVAL], least
    raise AssertionError("a set of p members fits anything")


@pytest.mark.parametrize("number", range(40))
def test_it_finds_what_a_search_of_every_set_finds(number: int) -> None:
    rng = np.random.default_rng(number)
    n = int(rng.integers(3, 9))
    design = np.column_stack([np.ones(n), np.sort(rng.uniform(-2500.0, 0.0, n))])
    root = np.eye(n) + 0.3 * rng.standard_normal((n, n))
    covariance = root @ root.T
    observed = design @ [3.0, 0.002] + root @ rng.standard_normal(n)
    observed[rng.choice(n, int(rng.integers(0, n)), replace=False)] += rng.normal(0.0, 12.0)
    expected, misfit = brute(observed, design, covariance)
    found = largest_agreeing_set(observed, design, covariance)
    if len(expected[0]) > 2:  # sets of two fit exactly, in any order
        assert found.best == expected[0]
        assert found.misfit == pytest.approx(misfit, abs=1e-6)
    assert {found.best, *found.rivals} == set(expected)
    assert found.agrees == (len(expected[0]) > 2)


@pytest.mark.parametrize("n", [6, 12, 16, 24])
def test_half_against_half_is_left_open_at_any_number(n: int) -> None:
    observed = np.where(np.arange(n) < n // 2, 0.0, 20.0)
    agreement = largest_agreeing_set(observed, np.ones((n, 1)), np.eye(n))
    halves = {tuple(range(n // 2)), tuple(range(n // 2, n))}
    assert {agreement.best, *agreement.rivals} == halves


@pytest.mark.parametrize("n", [EXHAUSTIVE + 1, 20])
def test_many_members_are_never_carried_by_the_fewer(n: int) -> None:
    rng = np.random.default_rng(n)
    observed = rng.standard_normal(n)
    moved = np.arange(n) >= n - n // 3
    observed[moved] += 25.0
    agreement = largest_agreeing_set(observed, np.ones((n, 1)), np.eye(n))
    assert agreement.agrees
    assert set(agreement.best).isdisjoint(np.flatnonzero(moved))
    assert not agreement.rivals
