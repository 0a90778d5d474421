"""The agreeing set where a member is a point of several coordinates, against a search written apart from it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.special import gammainccinv

from measure.body.agreement import RIVAL, largest_agreeing_set
from measure.body.concentration import concentrated_sets
from measure.body.misfit import AGREE, Members
from measure.rotation import cross_matrices


def problem(rng: np.random.Generator, n: int, moved: int, plan: bool = False):  # type: ignore[no-untyped-def]
    """(observed, design, covariance, rows): n points under a small pose, the last `moved` of them elsewhere."""
    place = rng.uniform(-1.0, 1.0, (n, 3)) * [2.5, 0.6, 0.3]
    design = np.concatenate([np.broadcast_to(np.eye(3), (n, 3, 3)), -cross_matrices(place)], axis=2)
    if plan:
        design = design[:, :2][:, :, [0, 1, 5]]
    axes = design.shape[1]
    design = design.reshape(axes * n, -1)
    root = np.eye(axes * n) + 0.2 * rng.standard_normal((axes * n, axes * n)) / np.sqrt(axes * n)
    observed = design @ rng.standard_normal(design.shape[1]) * 3.0 + root @ rng.standard_normal(axes * n)
    observed[axes * (n - moved) :] += np.tile(rng.normal(0.0, 12.0, axes), moved)
    return observed, design, root @ root.T, [np.arange(axes * k, axes * (k + 1)) for k in range(n)]


def brute(observed, design, covariance, rows) -> tuple[set[tuple[int, ...]], float]:  # type: ignore[no-untyped-def]
    for size in range(len(rows), 1, -1):
        found = []
        for members in combinations(range(len(rows)), size):
            i = np.concatenate([rows[k] for k in members])
            P = np.linalg.inv(covariance[np.ix_(i, i)])
            A, y = design[i], observed[i]
            v = y - A @ (np.linalg.pinv(A.T @ P @ A, rcond=1e-9) @ (A.T @ P @ y))
            freedom = len(i) - int(np.linalg.matrix_rank(A))
            if (misfit := float(v @ P @ v)) <= 2.0 * gammainccinv(freedom / 2.0, AGREE):
                found.append((misfit, members))
        if found:
            least = min(found)[0]
            return {members for misfit, members in found if misfit - least < RIVAL}, least
    raise AssertionError("two points agree but for their distance")


@pytest.mark.parametrize("plan", [False, True])
@pytest.mark.parametrize("number", range(10))
def test_it_finds_what_a_search_of_every_set_finds(number: int, plan: bool) -> None:
    rng = np.random.default_rng(number)
    made = problem(rng, int(rng.integers(4, 9)), int(rng.integers(0, 4)), plan)
    expected, misfit = brute(*made)
    found = largest_agreeing_set(*made)
    assert {found.best, *found.rivals} == expected
    assert found.misfit == pytest.approx(misfit, abs=1e-6)


@pytest.mark.parametrize("plan", [False, True])
@pytest.mark.parametrize("number", range(12))
def test_concentration_finds_the_same_among_few(number: int, plan: bool) -> None:
    rng = np.random.default_rng(100 + number)
    made = problem(rng, 9, 1 + number % 4, plan)
    expected, _ = brute(*made)
    found = concentrated_sets(Members.of(*made))
    assert min(found, key=lambda s: found[s]) in expected
    assert len(next(iter(found))) == len(next(iter(expected)))


@pytest.mark.parametrize(("n", "moved"), [(16, 3), (16, 7), (24, 10), (40, 15)])
def test_many_points(n: int, moved: int) -> None:
    made = problem(np.random.default_rng(n), n, moved)
    found = largest_agreeing_set(*made)
    assert found.agrees
    assert set(found.best) <= set(range(n - moved))
    assert len(found.best) >= n - moved - 1


def test_sets_left_aside_all_at_once() -> None:
    made = Members.of(*problem(np.random.default_rng(3), 10, 2))
    aside = [(0,), (8, 9), (1, 5), (7,)]
    one_by_one = [made.misfit([k for k in range(10) if k not in each])[0] for each in aside]
    assert made.without_each(aside) == pytest.approx(one_by_one, rel=1e-7)
