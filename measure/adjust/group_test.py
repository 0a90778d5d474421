"""One test for each reading, whatever its rows: a mark's two coordinates are judged together, not axis by axis.

T^2 = v' S^-1 v over the rows of a reading, S the covariance of its residuals, chi-square with as many degrees of
freedom as directions that anything checks (Teunissen, "Testing Theory", 2nd ed., ch. 4; from memory). It is told as
the |w| of the same probability. So turning the axes of a base line or an instrument changes no test.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from scipy.special import chdtrc, ndtri

from measure.adjust.network import NDArrayBool
from measure.adjust.solver import Adjustment
from measure.readings.unknowns import Array, Index

NOTHING = 1e-250
"""Probability below which the tail is not inverted: T itself is near enough."""


def group_tests(adjustment: Adjustment, w: Array, least: float) -> Array:
    """|w| (m,) of each reading's test, on its worst row; its other rows 0.

    `w` (m,) is the standardised residual of each row, 0 where it is not tested; `least` the share of a direction's
    variance that must be checked by others. For readings set aside, w and S are against the rest.
    """
    tests = np.abs(w)
    for rows in _several_rows(adjustment.network.group):
        rows = rows[(tests[rows] > 0).any(axis=1)]
        if len(rows):
            together = _together(adjustment, rows, least)
            worst = np.argmax(tests[rows], axis=1)
            tests[rows] = 0.0
            tests[rows[np.arange(len(rows)), worst]] = together
    return tests


def _together(adjustment: Adjustment, rows: Index, least: float) -> Array:
    """|w| (g,) of readings whose rows are (g, k)."""
    taking_part = adjustment.active[rows[:, 0]]
    size, direction = _spectra(adjustment, rows, taking_part)
    # left out, a direction's variance is the inverse of what it is while it takes part
    checked = np.where(taking_part[:, None], size, 1.0 / np.maximum(size, 1.0)) > least
    residual = adjustment.residual[rows] / np.maximum(adjustment.sd, 1e-12)[rows]
    square = _explained(residual, size, direction, checked)
    freedom = np.maximum(checked.sum(axis=1), 1)
    tail = chdtrc(freedom, square)
    return np.asarray(np.where(tail > NOTHING, -ndtri(np.maximum(tail, NOTHING) / 2), np.sqrt(square)))


def correlations(adjustment: Adjustment, row: int, least: float) -> Array:
    """Correlation (m,) of the test of a row's reading with that of every other that takes part, on all its rows.

    The square is the share of what speaks against the one that a mistake in the other would explain:
    c' S_gh S_hh^-1 S_hg c / c' S_gg c with c = S_gg^-1 v, whichever axes the two are written in.
    """
    group, r = adjustment.network.group, adjustment.redundancy
    mine = np.flatnonzero(group == group[row])
    sd = np.maximum(adjustment.sd, 1e-12)
    residual, A = adjustment.unweighted
    own = _dense(A[mine])
    S = -np.asarray(A @ (adjustment.Q @ own.T)) / np.outer(sd, sd[mine])
    S[mine, np.arange(len(mine))] += 1.0
    size, direction = np.linalg.eigh(S[mine])
    checked = size > least
    c = direction[:, checked] @ ((direction[:, checked].T @ (residual[mine] / sd[mine])) / size[checked])
    whole = float(c @ S[mine] @ c)
    pull = S @ c
    square = np.where(r > least, pull**2 / np.where(r > least, r, 1.0), 0.0)
    for rows in _several_rows(group):
        rows = rows[(r[rows] > least).any(axis=1)]
        if len(rows):
            sizes, axes = _spectra(adjustment, rows, np.ones(len(rows), dtype=bool))
            square[rows] = _explained(pull[rows], sizes, axes, sizes > least)[:, None]
    return np.sqrt(square / whole) if whole > 0 else square


def _several_rows(group: Index) -> Iterator[Index]:
    """Rows (g, k) of the readings that have two, then of those that have three; a reading's rows stand together."""
    first, count = np.unique(group, return_index=True, return_counts=True)[1:]
    for size in (2, 3):
        yield first[count == size][:, None] + np.arange(size)


def _spectra(adjustment: Adjustment, rows: Index, taking_part: NDArrayBool) -> tuple[Array, Array]:
    """Eigenvalues (g, k) and eigenvectors of each reading's whitened residual covariance; rows are (g, k)."""
    spread = _spread(adjustment, rows)
    sign = np.where(taking_part, -1.0, 1.0)  # a reading set aside is compared, not fitted
    size, direction = np.linalg.eigh(np.eye(rows.shape[1]) + sign[:, None, None] * spread)
    return size, direction


def _spread(adjustment: Adjustment, rows: Index) -> Array:
    """Covariance (g, k, k) of each reading's adjusted values, over the sd of its rows (g, k)."""
    A, per_sd = adjustment.unweighted[1], 1.0 / np.maximum(adjustment.sd, 1e-12)
    if isinstance(A, np.ndarray):
        white = A[rows.ravel()].reshape(*rows.shape, -1) * per_sd[rows][:, :, None]
        return np.asarray(white @ adjustment.Q @ np.swapaxes(white, 1, 2))
    parts = []
    for few in np.array_split(rows, 1 + len(rows) // 1000):  # in slices, so that no dense matrix of all rows is made
        sparse = [A[column] for column in few.T]
        moved = [each @ adjustment.Q for each in sparse]
        sums = [[np.asarray(other.multiply(each).sum(axis=1)).ravel() for other in sparse] for each in moved]
        parts.append(np.moveaxis(np.array(sums), 2, 0) * per_sd[few][:, :, None] * per_sd[few][:, None, :])
    return np.concatenate(parts)


def _explained(vectors: Array, size: Array, direction: Array, checked: NDArrayBool) -> Array:
    """Square x' S^-1 x (g,) of vectors (g, k) over the directions that anything checks."""
    along = np.einsum("gkd,gk->gd", direction, vectors)
    return np.asarray(np.sum(np.where(checked, along**2 / np.where(checked, size, 1.0), 0.0), axis=1))


def _dense(A: Any) -> Array:
    return A if isinstance(A, np.ndarray) else np.asarray(A.toarray())
