"""Members that should agree under one set of parameters, and how badly any set of them misses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import chdtri

from measure.readings.unknowns import Array, Index

AGREE = 0.01
"""A set agrees unless its misfit is this improbable (chi-square)."""
RANK = 1e-10
"""Share of the largest singular value under which a parameter counts as not held by a set."""


@dataclass(frozen=True)
class Members:
    """observed (n,) = design (n, p) @ parameters with covariance (n, n); `rows` are those of each member."""

    observed: Array
    design: Array
    covariance: Array
    rows: tuple[Index, ...]

    @staticmethod
    def of(observed: Array, design: Array, covariance: Array, rows: Sequence[Index] | None = None) -> Members:
        """Each row its own member where `rows` is left out. Columns of the design are brought to one size."""
        size = np.linalg.norm(design, axis=0)
        each = [np.array([i]) for i in range(len(observed))] if rows is None else [np.asarray(r) for r in rows]
        return Members(observed, design / np.where(size > 0, size, 1.0), covariance, tuple(each))

    def __len__(self) -> int:
        return len(self.rows)

    @cached_property
    def parameters(self) -> int:
        """Number of parameters."""
        return int(self.design.shape[1])

    def rows_of(self, members: Sequence[int]) -> Index:
        """Rows of several members, one after the other."""
        return np.concatenate([self.rows[i] for i in members])

    def misfit(self, members: Sequence[int]) -> tuple[float, int]:
        """(sum of squares, degrees of freedom) of a set under the parameters that suit it best."""
        i = self.rows_of(members)
        L = np.linalg.cholesky(self.covariance[np.ix_(i, i)])
        white = np.linalg.solve(L, np.column_stack([self.design[i], self.observed[i]]))
        u, size, _ = np.linalg.svd(white[:, :-1], full_matrices=False)
        q = u[:, size > RANK * size[0]]
        rest = white[:, -1] - q @ (q.T @ white[:, -1])
        return float(rest @ rest), len(i) - q.shape[1]

    def without_each(self, aside: Sequence[tuple[int, ...]]) -> Array:
        """Sums of squares (k,) of all members but those set aside, all sets in one go.

        Setting rows aside is giving each an unknown of its own: Omega - q' R^-1 q over those rows, where
        R = P - P D (D'PD)^-1 D'P and q = R y (Baarda, "A testing procedure for use in geodetic networks", 1968; from
        memory). Where what is left does not hold all parameters the figure is not to be relied on: see `misfit`.
        """
        P = np.linalg.inv(self.covariance)
        PD = P @ self.design
        R = P - PD @ np.linalg.pinv(self.design.T @ PD, rcond=RANK, hermitian=True) @ PD.T
        q = R @ self.observed
        whole = float(self.observed @ q)
        rows = [self.rows_of(each) for each in aside]
        left = np.zeros(len(rows))
        for size in {len(r) for r in rows}:
            which = [k for k, r in enumerate(rows) if len(r) == size]
            i = np.array([rows[k] for k in which])
            block = R[i[:, :, None], i[:, None, :]] + 1e-12 * np.max(np.diag(R)) * np.eye(size)
            left[which] = whole - np.einsum("ki,ki->k", q[i], np.linalg.solve(block, q[i][:, :, None])[:, :, 0])
        return left

    def agree(self, members: Sequence[int]) -> float | None:
        """The misfit of a set that agrees, None for one that does not; without a check to spare any set agrees."""
        misfit, freedom = self.misfit(members)
        return misfit if freedom == 0 or misfit <= float(chdtri(freedom, AGREE)) else None
