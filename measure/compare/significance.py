"""Critical values for sums of squares: chi-square, or F where an sd was estimated from few degrees of freedom.

A sum of squares T over k coordinates whose common sd factor was estimated with f degrees of freedom is k times an
F(k, f) variable; with every sd stated it is chi-square with k.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

from scipy.special import chdtrc, chdtri, chndtr, fdtrc, fdtri, ncfdtr

from measure.adjust.critical import FAMILY

POWER = 0.82
"""Aimed at for a stated 80 %: in one case of fifty the search lays a movement of that size on a wrong point."""
STATED = 1e5
"""Degrees of freedom from which an estimated sd is as good as a stated one."""


def each_of(tests: int, family: float = FAMILY) -> float:
    """Chance of a false alarm in one of `tests` tests that together raise one with chance `family` (Sidak)."""
    return float(1 - (1 - family) ** (1 / max(tests, 1)))


def critical_square(k: int, freedom: float, chance: float) -> float:
    """The sum of squares over k coordinates exceeded with this chance where nothing moved."""
    if freedom >= STATED:
        return float(chdtri(k, chance))
    return float(k * fdtri(k, freedom, 1 - chance))


def improbable(square: float, k: int, freedom: float) -> float:
    """Chance of a sum of squares as large or larger where nothing moved."""
    if freedom >= STATED:
        return float(chdtrc(k, square))
    return float(fdtrc(k, freedom, square / k))


@lru_cache(maxsize=256)
def seen_factor(k: int, freedom: float, chance: float) -> float:
    """Movement over its sd, in its direction, that is significant with a little over 80 % power.

    It is the root of the non-centrality.
    """
    square = critical_square(k, freedom, chance)

    def missed(shift: float) -> float:
        if freedom >= STATED:
            return float(chndtr(square, k, shift * shift))
        return float(ncfdtr(k, freedom, shift * shift, square / k))

    low, high = 0.0, 3.0 * sqrt(square) + 10.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if missed(middle) > 1 - POWER else (low, middle)
    return high
