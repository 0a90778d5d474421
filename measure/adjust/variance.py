"""When readings scatter more than stated: one factor for each kind of reading that carries redundancy.

Never for the plumb bob, the factory scatter or a tape's scale prior, and never downwards. The factor is the
simplified variance component v'Pv/r of each kind, iterated (Foerstner 1979, as in Niemeier, "Ausgleichungsrechnung",
2nd ed., 9.4; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.special import chdtri

from measure.adjust.critical import sigma0_limits
from measure.adjust.network import NDArrayBool, Network
from measure.adjust.solver import Adjustment, with_sd
from measure.readings.unknowns import Array

COMPONENTS = {
    "floor": "tape",
    "car": "tape",
    "heights": "heights",
    "levels": "levels",
    "marks": "marks",
    "xyz": "xyz",
    "target": "target",
}
ENOUGH = 3.0
"""Redundancy a kind must carry before its scatter is believed."""


@dataclass(frozen=True)
class Scaled:
    """A kind whose stated sd was multiplied by `factor`, estimated with `degrees_of_freedom`."""

    kind: str
    factor: float
    degrees_of_freedom: float


def rows_of(network: Network, component: str) -> NDArrayBool:
    """Rows (m,) of one component."""
    return np.array([COMPONENTS.get(kind) == component for kind in network.kinds])


def components(network: Network) -> list[str]:
    """Components present, in a fixed order."""
    here = {COMPONENTS[kind] for kind in network.kinds if kind in COMPONENTS}
    return sorted(here)


def robust_scatter(adjustment: Adjustment, standardised: Array) -> dict[str, float]:
    """Median-based scatter of w for each component with 15 or more well-checked rows; 1 as stated.

    Source: 1.4826 times the median of absolute values, Hampel 1974.
    """
    found = {}
    for component in components(adjustment.network):
        use = rows_of(adjustment.network, component) & adjustment.active & (adjustment.redundancy > 0.1)
        if use.sum() >= 15:
            found[component] = 1.4826 * float(np.median(np.abs(standardised[use])))
    return found


def scale_components(adjustment: Adjustment, stated: Array) -> tuple[Adjustment, list[Scaled]]:
    """Raise the sd of the kinds that scatter more than stated, if the whole does; else return it as it is.

    `stated` (m,) are the sd as written. Both a priori and a posteriori figures stay visible in the result.
    """
    freedom = adjustment.degrees_of_freedom
    sigma0 = sqrt(adjustment.sum_of_squares / freedom) if freedom > 0 else 0.0
    if sigma0 <= sigma0_limits(freedom)[1]:
        return adjustment, []
    network = adjustment.network
    use = {c: rows_of(network, c) & adjustment.active & ~network.is_exact for c in components(network)}
    factors = dict.fromkeys(use, 1.0)
    chosen = _too_wide(adjustment, use)
    for _ in range(12):
        before = dict(factors)
        for component in chosen:
            redundancy = float(adjustment.redundancy[use[component]].sum())
            square = float(np.sum(adjustment.misclosure[use[component]] ** 2))
            if redundancy > ENOUGH / 2:
                factors[component] = max(1.0, factors[component] * sqrt(square / redundancy))
        sd = stated.copy()
        for component, factor in factors.items():
            sd[use[component]] *= factor
        adjustment = with_sd(adjustment, sd)
        if all(abs(factors[c] - before[c]) < 1e-4 * before[c] for c in factors):
            break
    scaled = [Scaled(c, factors[c], float(adjustment.redundancy[use[c]].sum())) for c in chosen if factors[c] > 1.0]
    return adjustment, scaled


def _too_wide(adjustment: Adjustment, use: dict[str, NDArrayBool]) -> list[str]:
    """Components whose own scatter is significant at 2.5 %; at least the widest that can be estimated."""
    ratio = {}
    for component, rows in use.items():
        redundancy = float(adjustment.redundancy[rows].sum())
        if redundancy >= ENOUGH:
            square = float(np.sum(adjustment.misclosure[rows] ** 2))
            ratio[component] = square / float(chdtri(redundancy, 0.025))
    if not ratio:
        return []
    wide = [c for c, value in ratio.items() if value > 1.0]
    return wide or [max(ratio, key=lambda c: ratio[c])]
