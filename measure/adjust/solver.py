"""Least-squares adjustment of a network: Gauss-Newton, damped only on the way.

The answer is the undamped one: iteration ends on a full step too small to matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from measure.adjust.elimination import eliminate
from measure.adjust.linear import Factor, condition_space, factorise
from measure.adjust.network import NDArrayBool, Network, System
from measure.readings.unknowns import Array, Index, State

STEP_ENOUGH = 1e-8
"""Largest last step in mm, beside what rounding leaves at the network's size."""
ROUNDING = 1e-11
"""What rounding leaves of a step, over the network's size."""
MOST_STEPS = 200
LEAST_DAMPING = 1e-4
"""Damping to begin with where an undamped step is not trusted,"""
NO_DAMPING = 1e-8
"""and under which it is left off again: a long flat valley is walked with less and less."""
POOR = 0.25
"""Share of the promised fall under which an undamped step is not trusted."""


class NotConvergedError(Exception):
    """The readings contradict each other so much that no solution is found."""


@dataclass(frozen=True)
class Adjustment:
    """A solved network. `A` (m, n) and `misclosure` (m,) are whitened by `sd`; rows not active weigh nothing.

    The cofactors are the full marginal covariance of every unknown for the stated sd, in the minimum-norm datum
    over the points.
    """

    network: Network
    state: State
    sd: Array
    active: NDArrayBool
    A: Any
    misclosure: Array
    factor: Factor
    exact_rank: int

    @cached_property
    def Q(self) -> Array:  # noqa: N802 - the cofactor matrix has no other name
        """Covariance of the unknowns (n, n), a priori."""
        return self.factor.cofactors()

    @cached_property
    def unweighted(self) -> tuple[Array, Any]:
        """Observed minus computed (m,) in mm and the unweighted Jacobian (m, n), all rows."""
        computed, A = self.network.jacobian(self.state)
        return self.network.observed - computed, A

    @property
    def residual(self) -> Array:
        """Reading minus adjusted (m,), mm; + reads long."""
        return self.unweighted[0]

    @cached_property
    def adjusted_variance(self) -> Array:
        """Variance (m,) of each row's adjusted value, mm^2."""
        A = self.unweighted[1]
        if isinstance(A, np.ndarray):
            return np.asarray(np.einsum("ij,ij->i", A @ self.Q, A))
        # in slices, so that a large network needs no further matrix of its own size
        parts = [
            np.asarray(A[i : i + 1000].multiply(A[i : i + 1000] @ self.Q).sum(axis=1)).ravel()
            for i in range(0, A.shape[0], 1000)
        ]
        return np.concatenate(parts)

    @cached_property
    def redundancy(self) -> Array:
        """Redundancy number (m,) of each row: 1 - variance of the adjusted value / its own; 0 for rows not active."""
        sd = np.where(self.sd > 0, self.sd, 1.0)
        number = np.clip(1.0 - self.adjusted_variance / sd**2, 0.0, 1.0)
        return np.where(self.active & (self.sd > 0), number, 0.0)

    @property
    def degrees_of_freedom(self) -> int:
        """Rows that count, less what they determine."""
        counted = int(np.sum(self.active & (self.sd > 0)))
        n = self.network.unknowns.size - self.exact_rank
        return counted - (n - self.factor.defect)

    @property
    def sum_of_squares(self) -> float:
        """Sum v'Pv over the active rows."""
        return float(self.misclosure @ self.misclosure)


def solve(network: Network, start: State, sd: Array | None = None, active: NDArrayBool | None = None) -> Adjustment:
    """Adjust from starting values; sd (m,) and active (m,) default to all rows as stated.

    Damping after Nielsen, "Damping parameter in Marquardt's method", IMM-REP-1999-05, scaled as in More, "The
    Levenberg-Marquardt algorithm", 1978 (both from memory); it ends undamped. Raises NotConvergedError. Does not
    check that the readings hold every point: see `measure.adjust.held`.
    """
    sd = network.sd if sd is None else sd
    active = np.ones(len(sd), dtype=bool) if active is None else active
    state = start
    system = network.linearise(state, sd, active)
    cost = _cost(system)
    damping, harder, widest = 0.0, 2.0, np.zeros(network.unknowns.size)
    extent = sum(float(np.max(np.abs(at), initial=0.0)) for at in (start.marks, start.positions, start.origins))
    enough = STEP_ENOUGH + ROUNDING * extent
    for _ in range(MOST_STEPS):
        step, factor, exact_rank = _step(network, system, damping, widest)
        last = np.max(np.abs(step), initial=0.0) < enough
        trial = state.moved(step)
        trial_system = network.linearise(trial, sd, active)
        trial_cost = _cost(trial_system)
        gain = _gain(system, step, cost, trial_cost)
        if not gain > (POOR if damping == 0.0 else 0.0) and not last:  # so written that a NaN is refused too
            damping, harder = max(harder * damping, LEAST_DAMPING), 2.0 * harder
            if damping > 1e12:
                break
            continue
        state, system, cost = trial, trial_system, trial_cost
        if damping == 0.0 and last:
            if np.max(np.abs(system.gap), initial=0.0) > 100.0 * enough:
                break  # exact rows that contradict each other
            return Adjustment(network, state, sd, active, system.A, system.misclosure, factor, exact_rank)
        damping *= max(0.1, 1.0 - (2.0 * gain - 1.0) ** 3)
        damping = damping if damping > NO_DAMPING else 0.0
        harder = 2.0
    raise NotConvergedError


def _cost(system: System) -> float:
    # an exact row that is not yet met outweighs everything else
    return float(system.misclosure @ system.misclosure + 1e6 * (system.gap @ system.gap))


def _gain(system: System, step: Array, cost: float, trial_cost: float) -> float:
    """Fall of the cost over the fall that the linear model promised; 1 where rounding hides both."""
    left = system.misclosure - system.A @ step
    gap = system.gap - system.exact @ step
    promised = cost - float(left @ left + 1e6 * (gap @ gap))
    if promised > 1e-9 * cost + 1e-12:
        return (cost - trial_cost) / promised
    return 1.0 if trial_cost <= cost * (1 + 1e-9) + 1e-12 else -1.0


def _step(network: Network, system: System, damping: float, widest: Array) -> tuple[Array, Factor, int]:
    """A step; `widest` (n,) is the largest diagonal seen, kept up to date here and damped by (More 1978)."""
    misclosure = system.misclosure
    free, towards, exact_rank = None, None, 0
    if len(system.exact):
        free, pseudo = condition_space(system.exact)
        exact_rank = len(free) - free.shape[1]
        towards = pseudo @ system.gap
        misclosure = misclosure - system.A @ towards
    factor = _factor(system.A, network.datum, free, damping, widest)
    step = factor.solve(system.A.T @ misclosure)
    if towards is not None:
        step = factor.project(step + towards)
    return step, factor, exact_rank


def _factor(A: Any, datum: Index, free: Array | None, damping: float, widest: Array) -> Factor:
    """The normal matrix of the rows, damped, and factorised by the way that its size asks for."""
    if isinstance(A, np.ndarray):
        N = A.T @ A
        np.maximum(widest, N.diagonal(), out=widest)
        return factorise(N + np.diag(damping * widest) if damping else N, datum, free)
    from scipy.sparse import diags, vstack  # only large networks want it

    np.maximum(widest, np.bincount(A.indices, A.data**2, len(widest)), out=widest)
    if damping:
        A = vstack([A, diags(np.sqrt(damping * widest))], format="csr")
    taken = eliminate(A, datum) if free is None else None
    if taken is None:
        return factorise((A.T @ A).toarray(), datum, free)
    before, rest = taken
    return factorise(rest, datum, None, before)


def at_state(adjustment: Adjustment, active: NDArrayBool) -> Adjustment:
    """The geometry of other rows where the network stands, not solved: for redundancies and correlations only."""
    network = adjustment.network
    system = network.linearise(adjustment.state, adjustment.sd, active)
    _, factor, exact_rank = _step(network, system, 0.0, np.zeros(network.unknowns.size))
    return Adjustment(network, adjustment.state, adjustment.sd, active, system.A, system.misclosure, factor, exact_rank)


def with_rows(adjustment: Adjustment, active: NDArrayBool) -> Adjustment:
    """The same network solved with other rows, from where it stands."""
    return solve(adjustment.network, adjustment.state, adjustment.sd, active)


def with_sd(adjustment: Adjustment, sd: Array) -> Adjustment:
    """The same network solved with other standard deviations, from where it stands."""
    return solve(adjustment.network, adjustment.state, sd, adjustment.active)
