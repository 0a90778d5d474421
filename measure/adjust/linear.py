"""Normal equations of a free network: rank, null space, minimum-norm step and cofactors.

Cholesky with complete pivoting of the normal matrix scaled to a unit diagonal (LAPACK dpstrf; Higham,
"Accuracy and Stability of Numerical Algorithms", 2nd ed., ch. 10) reveals the rank. The basic solution is
carried to the minimum-norm datum over the datum's coordinates by an S-transformation (Baarda, "S-transformations
and criterion matrices", 1973). Rows of sd 0 are conditions, met exactly by the null-space method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack, qr, solve_triangular

from measure.adjust.elimination import Elimination
from measure.readings.unknowns import Array, Index

RANK_TOLERANCE = 1e-11
"""Smallest pivot of the unit-diagonal normal matrix that still holds an unknown."""


@dataclass(frozen=True)
class Factor:
    """A factorised normal matrix N (n, n) with its null space G (n, d), orthonormal columns."""

    upper: Array  # (r, r) Cholesky factor of the held part, scaled and pivoted
    order: Index  # pivot order
    scale: Array  # root of the diagonal of N
    null: Array  # (n, d)
    datum: Index  # columns whose norm the datum keeps least
    free: Array | None  # (n, f) steps that keep the exact rows; None where there are none
    before: Elimination | None = None  # what was taken out first; the factor is then of the rest

    @property
    def defect(self) -> int:
        """Number of directions that no reading holds."""
        return int(self.null.shape[1])

    def project(self, X: Array) -> Array:
        """S-transform (n,) or (n, k): take out the null space so that the datum's part has least norm."""
        if not self.defect:
            return X
        H = self.null[self.datum]
        return np.asarray(X - self.null @ np.linalg.lstsq(H, X[self.datum], rcond=1e-10)[0])

    def solve(self, right: Array) -> Array:
        """Minimum-norm least-squares step (n,) for the right side A^T P l (n,)."""
        whole = right
        if self.before is not None:
            right = self.before.reduced_right(right)
        right = right if self.free is None else self.free.T @ right
        held = self.order[: len(self.upper)]
        half = solve_triangular(self.upper, right[held] / self.scale[held], trans="T")
        step = np.zeros(len(self.scale))
        step[held] = solve_triangular(self.upper, half) / self.scale[held]
        if self.before is not None:
            step = self.before.complete(step, whole)
        return self.project(step if self.free is None else self.free @ step)

    def cofactors(self) -> Array:
        """Full cofactor matrix Q (n, n) in the minimum-norm datum."""
        n, r = len(self.scale), len(self.upper)
        held = self.order[:r]
        if self.before is not None:
            root = np.zeros((n, r))
            if r:
                root[held] = np.triu(lapack.dtrtri(self.upper)[0]) / self.scale[held][:, None]
            Q = self.before.complete_cofactors(root)
        else:
            Q = np.zeros((n, n))
            if r:
                inverse, _ = lapack.dpotri(self.upper, lower=0)
                inverse /= self.scale[held][:, None]
                inverse /= self.scale[held]
                Q[np.ix_(held, held)] = np.triu(inverse) + np.triu(inverse, 1).T
        if self.free is not None:
            Q = self.free @ Q @ self.free.T
        if self.defect:
            self._project_both_sides(Q)
        return Q

    def _project_both_sides(self, Q: Array) -> None:
        """S Q S^T in place, in slices, so that a large network needs no second matrix of its size."""
        G = self.null
        P = np.linalg.pinv(G[self.datum], rcond=1e-10)
        M = P @ Q[self.datum]
        W = M - 0.5 * (M[:, self.datum] @ P.T) @ G.T
        left, right = np.hstack([G, W.T]), np.vstack([W, G.T])
        for first in range(0, len(Q), 500):
            Q[first : first + 500] -= left[first : first + 500] @ right


def factorise(N: Array, datum: Index, free: Array | None = None, before: Elimination | None = None) -> Factor:
    """Factorise N (n, n), symmetric and non-negative; of the rest alone where something was taken out `before`.

    `datum` are the columns that share the minimum norm; `free` (n, f) spans the steps that exact rows allow.
    """
    if free is not None:
        N = free.T @ N @ free
    scale = np.sqrt(np.diag(N))
    scale = np.where(scale == 0, 1.0, scale)
    packed, order, rank, _ = lapack.dpstrf(N / scale / scale[:, None], tol=RANK_TOLERANCE, lower=0, overwrite_a=1)
    order = order.astype(np.int64) - 1
    upper = packed[:rank, :rank]  # the triangle below is left over and never read
    n = len(scale)
    null = np.zeros((n, n - rank))
    if rank < n:
        null[order[rank:]] = np.eye(n - rank)
        if rank:
            held = order[:rank]
            null[held] = -solve_triangular(upper, packed[:rank, rank:])
            # once more on what is left: a weakly held direction (the size of photographs) costs half the digits
            left = (N[held] @ (null / scale[:, None])) / scale[held][:, None]
            null[held] -= solve_triangular(upper, solve_triangular(upper, left, trans="T"))
        null /= scale[:, None]
    if free is not None:
        null = free @ null
    if before is not None:
        null = before.complete_null(null)
    return Factor(upper, order, scale, np.linalg.qr(null)[0], datum, free, before)


def condition_space(exact: Array) -> tuple[Array, Array]:
    """Steps that keep the exact rows: (Z, pseudo), exact @ Z = 0 and pseudo @ gap the step that closes a gap.

    Column-pivoted QR of exact^T (Golub and Van Loan, "Matrix Computations", 4th ed., 6.2): exact is (k, n),
    Z (n, n - rank), pseudo (n, k).
    """
    Q, R, order = qr(exact.T, pivoting=True)
    diagonal = np.abs(np.diag(R))
    rank = int(np.sum(diagonal > 1e-9 * diagonal[0]))
    pseudo = np.zeros((exact.shape[1], exact.shape[0]))
    pseudo[:, order[:rank]] = np.linalg.solve(R[:rank, :rank], Q[:, :rank].T).T
    return Q[:, rank:], pseudo
