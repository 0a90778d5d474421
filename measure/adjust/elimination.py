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
        Y = np.empty_like(X)
        for members, inverse in self.inverses:
            Y[members] = np.einsum("bij,bj...->bi...", inverse, X[members])
        return Y

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

    def complete_cofactors(self, Q: Array) -> Array:
        """Cofactors (n, n) of the whole from those of the kept (r, r)."""
        n = len(self.out) + len(self.kept)
        crossed = -(self.coupling @ Q)
        own = -(crossed @ self.coupling.T)
        for members, inverse in self.inverses:
            own[members[:, :, None], members[:, None, :]] += inverse
        whole = np.empty((n, n))
        whole[np.ix_(self.kept, self.kept)] = Q
        whole[np.ix_(self.out, self.kept)] = crossed
        whole[np.ix_(self.kept, self.out)] = crossed.T
        whole[np.ix_(self.out, self.out)] = own
        return whole


def eliminate(N: Any, candidates: Index) -> tuple[Elimination, Array] | None:
    """Take out the candidates of a sparse N (n, n) that stand in small blocks: what was done, and the dense rest.

    None where that would leave the matrix much as it was.
    """
    from scipy.sparse.csgraph import connected_components  # only large networks want it

    N = N.T.tocsr()  # symmetric: its columns, as the product leaves them, are its rows
    rows = N[candidates]
    among = rows[:, candidates]
    label = connected_components(among, directed=False)[1]
    size = np.bincount(label)[label]
    blocks = []
    for k in range(1, LARGEST_BLOCK + 1):
        mine = np.flatnonzero(size == k)
        if not len(mine):
            continue
        members = mine[np.argsort(label[mine], kind="stable")].reshape(-1, k)
        block = np.stack([[_entries(among, members[:, i], members[:, j]) for j in range(k)] for i in range(k)])
        block = block.reshape(k, k, -1).transpose(2, 0, 1)
        root = np.sqrt(np.maximum(np.diagonal(block, axis1=1, axis2=2), 1e-300))
        firm = np.linalg.eigvalsh(block / root[:, :, None] / root[:, None, :])[:, 0] > WORST_BLOCK
        blocks.append((members[firm], np.linalg.inv(block[firm])))
    taken = np.concatenate([members.ravel() for members, _ in blocks]) if blocks else candidates[:0]
    if len(taken) < N.shape[0] // 4:
        return None
    out = candidates[taken]
    kept = np.setdiff1d(np.arange(N.shape[0]), out)
    position = np.empty(len(candidates), dtype=np.int64)
    position[taken] = np.arange(len(taken))
    inverses = [(position[members], inverse) for members, inverse in blocks if len(members)]
    between = rows[taken].toarray()[:, kept]
    elimination = Elimination(out, kept, inverses, between)
    coupling = elimination._times_inverse(between)
    return Elimination(out, kept, inverses, coupling), N[kept].toarray()[:, kept] - between.T @ coupling


def _entries(matrix: Any, rows: Index, columns: Index) -> Array:
    """Entries (k,) of a sparse matrix."""
    return np.asarray(matrix[rows, columns]).ravel()
