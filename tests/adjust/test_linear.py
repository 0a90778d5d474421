"""Rank, null space, minimum norm and cofactors of normal matrices against numpy's SVD and pseudo-inverse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.adjust.linear import condition_space, factorise

Array = np.ndarray
sizes = st.tuples(st.integers(2, 14), st.integers(0, 5), st.integers(0, 2**32))


def normals(n: int, defect: int, rng: np.random.Generator, m: int = 0) -> tuple[Array, Array]:
    """A (m, n) of rank n - defect with columns of very different size, and A^T A."""
    defect = min(defect, n)
    A = rng.standard_normal((m or 2 * n + 3, n - defect)) @ rng.standard_normal((n - defect, n))
    A = A * 10.0 ** rng.uniform(-2, 2, n)  # radians beside millimetres
    return A, A.T @ A


def null_space(A: Array) -> Array:
    norm = np.where(np.linalg.norm(A, axis=0) > 0, np.linalg.norm(A, axis=0), 1.0)
    _, s, Vt = np.linalg.svd(A / norm)
    rank = int(np.sum(s > 1e-9 * max(s[0], 1e-300))) if len(s) else 0
    return np.linalg.qr(Vt[rank:].T / norm[:, None])[0] if rank < A.shape[1] else np.zeros((A.shape[1], 0))


def same_span(a: Array, b: Array) -> bool:
    return a.shape == b.shape and bool(np.allclose(a @ (a.T @ b), b, atol=1e-6))


def inner(A: Array, datum: Array) -> Array:
    """Cofactors of the inner-constraint solution over some unknowns: bordered matrix, Q block of its inverse."""
    G = null_space(A)
    n, d = G.shape
    H = np.zeros((n, d))
    H[datum] = G[datum]
    bordered = np.block([[A.T @ A, H], [H.T, np.zeros((d, d))]])
    return np.linalg.inv(bordered)[:n, :n]


@settings(max_examples=60, deadline=None)
@given(sizes)
def test_rank_and_null_space_are_those_of_the_svd(size: tuple[int, int, int]) -> None:
    n, defect, seed = size
    A, N = normals(n, defect, np.random.default_rng(seed))
    factor = factorise(N, np.arange(n))
    assert factor.defect == min(defect, n)
    assert same_span(factor.null, null_space(A))
    np.testing.assert_allclose(factor.null.T @ factor.null, np.eye(factor.defect), atol=1e-10)


@settings(max_examples=60, deadline=None)
@given(sizes)
def test_the_step_over_all_is_the_pseudo_inverse_s(size: tuple[int, int, int]) -> None:
    n, defect, seed = size
    rng = np.random.default_rng(seed)
    A = rng.standard_normal((2 * n + 3, max(n - defect, 0))) @ rng.standard_normal((max(n - defect, 0), n))
    b = rng.standard_normal(len(A))
    factor = factorise(A.T @ A, np.arange(n))
    if np.linalg.cond(A[:, : max(n - defect, 1)]) > 1e4:
        return
    np.testing.assert_allclose(factor.solve(A.T @ b), np.linalg.pinv(A, rcond=1e-9) @ b, atol=1e-5)
    Q = factor.cofactors()
    np.testing.assert_allclose(Q, np.linalg.pinv(A, rcond=1e-9) @ np.linalg.pinv(A, rcond=1e-9).T, rtol=1e-4, atol=1e-5)
    np.testing.assert_array_equal(Q, Q.T) if not factor.defect else np.testing.assert_allclose(Q, Q.T, atol=1e-8)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 3))
def test_the_norm_is_least_over_the_datum_only(seed: int, defect: int) -> None:
    rng = np.random.default_rng(seed)
    n = 10
    A = rng.standard_normal((25, n - defect)) @ rng.standard_normal((n - defect, n))
    datum = np.array([0, 2, 3, 5, 8])
    b = rng.standard_normal(25)
    factor = factorise(A.T @ A, datum)
    if np.linalg.cond(null_space(A)[datum]) > 100:
        return
    x = factor.solve(A.T @ b)
    free = np.linalg.pinv(A, rcond=1e-9) @ b
    G = null_space(A)
    np.testing.assert_allclose(A @ x, A @ free, atol=1e-6)  # a least-squares solution
    np.testing.assert_allclose(G[datum].T @ x[datum], 0.0, atol=1e-6)  # and the one of least norm there
    expected = inner(A, datum)
    np.testing.assert_allclose(factor.cofactors(), expected, rtol=1e-4, atol=1e-5 * np.max(np.abs(expected)))


def test_an_unknown_that_no_row_touches_is_a_defect_and_stays_put() -> None:
    A = np.array([[1.0, 0.0, -1.0], [1.0, 0.0, 1.0]])
    factor = factorise(A.T @ A, np.array([0, 2]))
    assert factor.defect == 1
    np.testing.assert_allclose(np.abs(factor.null[:, 0]), [0.0, 1.0, 0.0])
    np.testing.assert_allclose(factor.solve(A.T @ np.array([1.0, 3.0])), [2.0, 0.0, 1.0], atol=1e-12)
    assert np.all(factor.cofactors()[1] == 0.0)


def test_nothing_held_at_all() -> None:
    factor = factorise(np.zeros((3, 3)), np.arange(3))
    assert factor.defect == 3
    np.testing.assert_array_equal(factor.solve(np.zeros(3)), np.zeros(3))
    np.testing.assert_array_equal(factor.cofactors(), np.zeros((3, 3)))


def test_weakly_held_is_held_and_its_doubt_shown() -> None:
    """A direction held 10^4 times worse than the others is no defect: nothing is damped away."""
    A = np.array([[1.0, 0.0], [1.0, 1e-4]])
    factor = factorise(A.T @ A, np.arange(2))
    assert factor.defect == 0
    np.testing.assert_allclose(factor.cofactors(), np.linalg.inv(A.T @ A), rtol=1e-6)


@settings(max_examples=60, deadline=None)
@given(sizes, st.integers(1, 4), st.integers(0, 2))
def test_exact_rows_are_met_and_the_rest_is_least_squares(size: tuple[int, int, int], k: int, twice: int) -> None:
    n, defect, seed = size
    rng = np.random.default_rng(seed)
    n += k + 3
    A = rng.standard_normal((2 * n, n - defect)) @ rng.standard_normal((n - defect, n))
    exact = rng.standard_normal((k, n))
    exact = np.vstack([exact, *(exact[:1] * 2.0 for _ in range(twice))])  # said twice, without contradiction
    gap = exact @ rng.standard_normal(n)
    b = rng.standard_normal(len(A))
    Z, pseudo = condition_space(exact)
    assert Z.shape == (n, n - k)
    np.testing.assert_allclose(exact @ Z, 0.0, atol=1e-9)
    np.testing.assert_allclose(exact @ (pseudo @ gap), gap, atol=1e-8)
    factor = factorise(A.T @ A, np.arange(n), Z)
    towards = pseudo @ gap
    x = factor.project(factor.solve(A.T @ (b - A @ towards)) + towards)
    np.testing.assert_allclose(exact @ x, gap, atol=1e-6)
    joint = np.vstack([A, exact])
    assert factor.defect == n - np.linalg.matrix_rank(joint, tol=1e-8 * np.linalg.norm(joint))
    # least squares under conditions: the gradient is a combination of the exact rows
    gradient = A.T @ (A @ x - b)
    np.testing.assert_allclose(Z.T @ gradient, 0.0, atol=1e-6)
    Q = factor.cofactors()
    np.testing.assert_allclose(exact @ Q, 0.0, atol=1e-6)  # what is exact has no variance
    if not factor.defect:
        np.testing.assert_allclose(Q, Z @ np.linalg.inv(Z.T @ A.T @ A @ Z) @ Z.T, rtol=1e-5, atol=1e-7)
    else:
        np.testing.assert_allclose(factor.null.T @ x, 0.0, atol=1e-6)


@pytest.mark.parametrize("n", [499, 505])
def test_small_and_large_give_full_symmetric_cofactors(n: int) -> None:
    rng = np.random.default_rng(n)
    A = rng.standard_normal((2 * n, n))
    Q = factorise(A.T @ A, np.arange(n)).cofactors()
    np.testing.assert_array_equal(Q, Q.T)
    np.testing.assert_allclose(Q @ (A.T @ A), np.eye(n), atol=1e-7)
