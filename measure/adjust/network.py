"""All rows of one stage as one system: residuals, Jacobian, weights, exact conditions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure.readings.reading import Block, Row
from measure.readings.unknowns import NOWHERE, Array, Index, State, Unknowns

NDArrayBool = NDArray[np.bool_]

DENSE_LIMIT = 2_000_000
"""Entries of the Jacobian up to which a dense matrix is quicker than a sparse one."""


@dataclass(frozen=True)
class System:
    """The rows linearised at a state: A whitened by the sd (m, n), misclosure/sd (m,).

    `exact` (k, n) and `gap` (k,) are the rows of sd 0, held as conditions.
    """

    A: Any  # dense array or scipy.sparse.csr_matrix, both with @
    misclosure: Array
    exact: Array
    gap: Array


class Network:
    """The rows of a stage, vectorised. Row order is that of the blocks."""

    def __init__(self, unknowns: Unknowns, blocks: Sequence[Block]) -> None:
        self.unknowns = unknowns
        self.blocks = tuple(blocks)
        self.rows: tuple[Row, ...] = tuple(row for block in blocks for row in block.rows)
        self.observed = np.concatenate([b.observed for b in blocks]) if blocks else np.zeros(0)
        self.sd = np.concatenate([b.sd for b in blocks]).astype(float) if blocks else np.zeros(0)
        self.is_exact = self.sd == 0
        self.tested = np.array([row.tested for row in self.rows], dtype=bool)
        numbers: dict[int, int] = {}
        self.group = np.array([numbers.setdefault(id(r.reading), len(numbers)) for r in self.rows], dtype=np.int64)
        """Rows of one reading share a number: they are set aside together."""
        points = unknowns.point_columns.ravel()
        self.datum: Index = points[points >= 0]

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kind of each row."""
        return tuple(row.reading.kind for row in self.rows)

    def computed(self, state: State) -> Array:
        """What each row would read at this state (m,)."""
        return np.concatenate([block.linearise(state)[0] for block in self.blocks])

    def jacobian(self, state: State) -> tuple[Array, Any]:
        """Computed values (m,) and unweighted Jacobian (m, n), dense or sparse by size."""
        parts = [block.linearise(state) for block in self.blocks]
        computed = np.concatenate([part[0] for part in parts])
        columns = np.concatenate([part[2].ravel() for part in parts])
        values = np.concatenate([part[1].ravel() for part in parts])
        counts = np.concatenate([np.full(len(part[2]), part[2].shape[1]) for part in parts])
        if np.any(columns == NOWHERE):
            keep = columns != NOWHERE
            counts = np.add.reduceat(keep, np.cumsum(counts) - counts, dtype=np.int64)
            columns, values = columns[keep], values[keep]
        shape = (len(computed), self.unknowns.size)
        if shape[0] * shape[1] > DENSE_LIMIT:
            from scipy.sparse import csr_matrix  # heavy, and only large networks want it

            return computed, csr_matrix((values, columns, np.append(0, np.cumsum(counts))), shape=shape)
        A = np.zeros(shape)
        np.add.at(A, (np.repeat(np.arange(len(counts)), counts), columns), values)
        return computed, A

    def linearise(self, state: State, sd: Array, active: NDArrayBool) -> System:
        """Whitened system at a state; rows not active weigh nothing."""
        computed, A = self.jacobian(state)
        difference = self.observed - computed
        weight = np.where(active & ~self.is_exact, 1.0 / np.where(self.is_exact, 1.0, sd), 0.0)
        bound = self.is_exact & active
        if isinstance(A, np.ndarray):
            exact = A[bound]
            return System(A * weight[:, None], difference * weight, exact, difference[bound])
        exact = A[np.flatnonzero(bound)].toarray()
        A.data *= np.repeat(weight, np.diff(A.indptr))
        return System(A, difference * weight, exact, difference[bound])
