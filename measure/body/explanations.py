"""Which few movements explain the evidence: least squares with full covariance, and a price for every part.

The misfit of an explanation is its sum of squares, chi-square distributed where it is true; its score adds PRICE for
each part. One movement picked from J falls by chance as much as the largest of J squares of normal figures, hence
2 ln J (the Bonferroni or "RIC" penalty: Foster and George, Annals of Statistics 22 (1994) 1947-1975) and something
over, chosen by simulation (tests/benchmarks/patterns.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from scipy.special import chdtrc

from measure.body.evidence import Evidence
from measure.body.movements import Movement
from measure.readings.unknowns import Array, Index

SPARE = 3.0
"""Added to 2 ln J: the price of a part."""
RIVAL = 6.0
"""Explanations count as rivals while their scores differ by less: a likelihood ratio of 20 to 1."""
MOST_PARTS = 4
BEAM = 20
"""Explanations of so many parts that are extended by one more."""
MOST_PAIRS = 500
ALIKE = 0.97
"""A movement that correlates more with others is not put beside them: they would pull against each other."""
TIED = 1e-6
LEAST = 1e-9


@dataclass(frozen=True)
class Explanation:
    """`parts`: numbers into the movements, ascending; `sizes` mm and their sd; `misfit` chi-square; `score`."""

    parts: tuple[int, ...]
    sizes: tuple[float, ...]
    sd: tuple[float, ...]
    misfit: float
    score: float


class Search:
    """The evidence whitened, and cleared of what a rigid move of the car would do."""

    def __init__(self, seen: Evidence, moves: Sequence[Movement]) -> None:
        self.root = L = np.linalg.cholesky(seen.covariance)
        columns = seen.functional @ np.array([m.field for m in moves]).T if moves else np.zeros((len(seen.rows), 0))
        white = np.linalg.solve(L, np.column_stack([seen.free, columns, seen.observed]))
        q = seen.free.shape[1]
        u, size, _ = np.linalg.svd(white[:, :q], full_matrices=False)
        self.free = u[:, size > LEAST * max(float(size[0]), LEAST)] if len(size) else u
        rest = white[:, q:] - self.free @ (self.free.T @ white[:, q:])
        self.columns, self.observed = rest[:, :-1], rest[:, -1]
        self.freedom = len(seen.rows) - self.free.shape[1]
        self.normal = self.columns.T @ self.columns
        self.right = self.columns.T @ self.observed
        self.total = float(self.observed @ self.observed)
        size = np.sqrt(np.diag(self.normal))
        self.usable: Index = np.flatnonzero(size > 1e-3)  # 1/mm: a movement nothing measured sees
        self.price = 2.0 * log(max(self._different(), 1)) + SPARE

    def _different(self) -> int:
        """How many movements the evidence can tell apart: those alike in all they do count once."""
        unit = self.columns[:, self.usable] / np.sqrt(np.diag(self.normal)[self.usable])
        signs = np.sign(unit[np.argmax(np.abs(np.round(unit, 9)), axis=0), np.arange(unit.shape[1])])
        return len({tuple(np.round(column, 6) + 0.0) for column in (unit * signs).T})

    def explain(self, parts: tuple[int, ...]) -> Explanation:
        """The sizes that suit some parts best."""
        i = np.array(parts, dtype=np.int64)
        if not len(i):
            return Explanation((), (), (), self.total, self.total)
        spread = np.linalg.inv(self.normal[np.ix_(i, i)])
        sizes = spread @ self.right[i]
        misfit = max(self.total - float(sizes @ self.right[i]), 0.0)
        return Explanation(
            parts, tuple(sizes.tolist()), tuple(np.sqrt(np.diag(spread)).tolist()), misfit,
            misfit + self.price * len(parts),
        )  # fmt: skip

    def likely(self) -> list[Explanation]:
        """The explanations whose scores lie within RIVAL of the best, best first; fewer parts first where tied."""
        found = {parts: self.explain(parts) for parts in [(), *((int(j),) for j in self.usable)]}
        layer = self._pairs(min(e.score for e in found.values()) + RIVAL)
        for _ in range(2, MOST_PARTS + 1):
            made = {parts: self.explain(parts) for parts in layer}
            if not made:
                break  # a further part does not pay
            found |= made
            best = sorted(made, key=lambda p: (round(made[p].score, 6), p))[:BEAM]
            layer = self._extended([made[p] for p in best], min(e.score for e in found.values()) + RIVAL)
        least = min(e.score for e in found.values())
        return sorted(
            (e for e in found.values() if e.score - least < RIVAL),
            key=lambda e: (round(e.score, 6), len(e.parts), e.parts),
        )

    def _pairs(self, most: float) -> list[tuple[int, ...]]:
        """Pairs of movements whose score is below `most`, all pairs tried at once."""
        j = self.usable
        A, b = self.normal[np.ix_(j, j)], self.right[j]
        d = np.diag(A)
        determinant = np.outer(d, d) - A**2
        apart = determinant > (1.0 - ALIKE**2) * np.outer(d, d)
        gain = np.where(apart, np.outer(b**2, d) + np.outer(d, b**2) - 2 * np.outer(b, b) * A, 0.0)
        score = self.total - gain / np.where(apart, determinant, 1.0) + 2 * self.price
        rows, columns = np.nonzero(np.triu(apart & (score < most), k=1))
        order = np.lexsort((columns, rows, np.round(score[rows, columns], 6)))[:MOST_PAIRS]
        return [(int(j[rows[k]]), int(j[columns[k]])) for k in order]

    def _extended(self, best: Sequence[Explanation], most: float) -> list[tuple[int, ...]]:
        """Each explanation with one part more that the others do not make up, where it scores below `most`."""
        made: dict[tuple[int, ...], None] = {}
        d = np.diag(self.normal)[self.usable]
        for base in best:
            i = np.array(base.parts)
            shared = self.normal[np.ix_(i, self.usable)]
            alone = d - np.sum(shared * np.linalg.solve(self.normal[np.ix_(i, i)], shared), axis=0)
            apart = alone > (1.0 - ALIKE**2) * d
            gain = (self.right[self.usable] - np.array(base.sizes) @ shared) ** 2 / np.where(apart, alone, 1.0)
            for k in self.usable[apart & (base.score + self.price - gain < most)]:
                made[tuple(sorted((*base.parts, int(k))))] = None
        return list(made)

    def improbable(self, explanation: Explanation) -> float:
        """How probable a misfit of this size or more is, were the explanation true."""
        freedom = self.freedom - len(explanation.parts)
        return float(chdtrc(freedom, explanation.misfit)) if freedom > 0 else 1.0

    def left_over(self, explanation: Explanation) -> tuple[Array, Array]:
        """(shift in mm, its normalised value), each (r,): what every row would still be off, were it wrong alone."""
        i = np.array(explanation.parts, dtype=np.int64)
        u = np.linalg.svd(self.columns[:, i], full_matrices=False)[0] if len(i) else np.zeros((len(self.observed), 0))
        taken = np.hstack([self.free, u])
        weighted = np.linalg.solve(self.root.T, np.column_stack([
            self.observed - u @ (u.T @ self.observed), np.eye(len(self.observed)) - taken @ taken.T,
        ]))  # fmt: skip
        spread = np.maximum(np.sum(weighted[:, 1:] ** 2, axis=1), LEAST)
        return weighted[:, 0] / spread, weighted[:, 0] / np.sqrt(spread)


def tied(a: Explanation, b: Explanation) -> bool:
    """Whether nothing measured can tell two explanations apart."""
    return len(a.parts) == len(b.parts) and abs(a.misfit - b.misfit) < TIED * (1.0 + abs(a.misfit))
