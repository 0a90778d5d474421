"""Large networks: points that nothing couples to each other are taken out of the normal equations first.

A point that only photographs or the bob tie to the rest leaves a small block on the diagonal. Solving the rest alone
(Schur complement, Golub and Van Loan, "Matrix Computations", 4th ed., 3.2.6; in photogrammetry the reduced normal
equations, Brown 1958) costs as much as the cameras and what hangs on tapes, however many points there are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from measure.readings.unknowns import Array, Index

LARGEST_BLOCK = 3
"""Unknowns that one block may have: a point's coordinates."""
WORST_BLOCK = 1e-7
"""Smallest eigenvalue of a block, its diagonal made one, that can be inverted without loss."""


@dataclass(frozen=True)
class Elimination:
    """Unknowns `out` (e,), block by block, `kept` (r,) the rest; coupling (e, r) = block^-1 N_out,kept.

    `inverses` are (members, (b, k, k)) for the b blocks of each size k; members (b, k) are positions in `out`.
    """

    out: Index
    kept: Index
    inverses: Sequence[tuple[Index, Array]]
    coupling: Array

    def _times_inverse(self, X: Array) -> Array:
        """block^-1 X for X (e,) or (e, k)."""
        return _blockwise(self.inverses, X)

    def reduced_right(self, right: Array) -> Array:
        """Right side (n,) of the kept unknowns alone."""
        return np.asarray(right[self.kept] - self.coupling.T @ right[self.out])

    def complete(self, kept: Array, right: Array) -> Array:
        """All unknowns (n,) from the solved ones (r,) and the whole right side."""
        whole = np.zeros(len(self.out) + len(self.kept))
        whole[self.kept] = kept
        whole[self.out] = self._times_inverse(right[self.out]) - self.coupling @ kept
        return whole

    def complete_null(self, null: Array) -> Array:
        """Null space (n, d) of the whole from that of the kept (r, d)."""
        whole = np.zeros((len(self.out) + len(self.kept), null.shape[1]))
        whole[self.kept], whole[self.out] = null, -(self.coupling @ null)
        return whole

    def complete_cofactors(self, root: Array) -> Array:
        """Cofactors (n, n) of the whole from a root (r, k) of those of the kept, root root^T."""
        both = np.empty((len(self.out) + len(self.kept), root.shape[1]))
        both[self.out], both[self.kept] = -(self.coupling @ root), root
        Q = both @ both.T  # of a matrix by itself: half the work
        for members, inverse in self.inverses:
            at = self.out[members]
            Q[at[:, :, None], at[:, None, :]] += inverse
        return Q


def _blockwise(blocks: Sequence[tuple[Index, Array]], X: Array) -> Array:
    """A matrix of diagonal blocks times X (e,) or (e, k); the members of like blocks stand together in X."""
    Y = np.empty_like(X)
    for members, block in blocks:
        part = slice(members[0, 0], members[-1, -1] + 1)
        Y[part] = (block @ X[part].reshape(*members.shape, -1)).reshape(X[part].shape)
    return Y


def eliminate(A: Any, candidates: Index) -> tuple[Elimination, Array] | None:
    """Take out the candidates that stand in small blocks of A^T A, of sparse rows A (m, n).

    What was done, and the dense normal matrix of the rest; None where that would leave it much as it was.
    """
    from scipy.sparse.csgraph import connected_components  # only large networks want it

    n = A.shape[1]
    # a lens stands in nearly every row: such columns are multiplied as the dense ones that they are
    full = np.setdiff1d(np.flatnonzero(2 * np.bincount(A.indices, minlength=n) > A.shape[0]), candidates)
    others = np.setdiff1d(np.arange(n), full)
    B, F = A[:, others], A[:, full].toarray()
    Bt = B.T.tocsr()
    N, beside = Bt @ B, Bt @ F
    mine = np.searchsorted(others, candidates)
    rows = N[mine]
    among = rows[:, mine]
    label = connected_components(among, directed=False)[1]
    size = np.bincount(label, minlength=1)[label]
    blocks = []
    for k in range(1, LARGEST_BLOCK + 1):
        alike = np.flatnonzero(size == k)
        if not len(alike):
            continue
        members = alike[np.argsort(label[alike], kind="stable")].reshape(-1, k)
        block = _entries(among, np.repeat(members, k, axis=1), np.tile(members, k)).reshape(-1, k, k)
        root = np.sqrt(np.maximum(np.diagonal(block, axis1=1, axis2=2), 1e-300))
        firm = np.linalg.eigvalsh(block / root[:, :, None] / root[:, None, :])[:, 0] > WORST_BLOCK
        blocks.append((members[firm], np.asarray(np.linalg.inv(block[firm]))))
    taken = np.concatenate([members.ravel() for members, _ in blocks]) if blocks else candidates[:0]
    if len(taken) < n // 4:
        return None
    left = np.setdiff1d(np.arange(len(others)), mine[taken])
    position = np.empty(len(candidates), dtype=np.int64)
    position[taken] = np.arange(len(taken))
    inverses = [(position[members], inverse) for members, inverse in blocks if len(members)]
    between = np.hstack([rows[taken][:, left].toarray(), beside[mine[taken]]])
    rest = np.block([[N[left][:, left].toarray(), beside[left]], [beside[left].T, F.T @ F]])
    # by the roots of the blocks, so that what falls away is a matrix by itself: half the work
    roots = [(members, np.asarray(np.linalg.cholesky(inverse))) for members, inverse in inverses]
    half = _blockwise([(members, np.swapaxes(root, 1, 2)) for members, root in roots], between)
    kept = np.concatenate([others[left], full])
    return Elimination(candidates[taken], kept, inverses, _blockwise(roots, half)), rest - half.T @ half


def _entries(matrix: Any, rows: Index, columns: Index) -> Array:
    """Entries of a sparse matrix, in the shape of `rows` and `columns`."""
    return np.asarray(matrix[rows.ravel(), columns.ravel()]).reshape(rows.shape)
