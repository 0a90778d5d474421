"""A straight line through points that are uncertain in both coordinates, with their full covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from measure.readings.unknowns import Array


@dataclass(frozen=True)
class Line:
    """y = offset + slope*x. `covariance` (2, 2) of (offset, slope) a priori; `gain` (2, 2n) their derivatives.

    The gain is by (x1..xn, y1..yn). `misfit` is the weighted sum of squares, `freedom` n - 2.
    """

    offset: float
    slope: float
    covariance: Array
    gain: Array
    misfit: float
    freedom: int


def fit_line(x: Array, y: Array, covariance: Array) -> Line:
    """Least-squares line through (x, y), each (n,), with covariance (2n, 2n) of (x1..xn, y1..yn).

    Gauss-Helmert model iterated to the minimum of the weighted sum of squares; standard errors from the adjusted
    coordinates. Source: York et al., "Unified equations for the slope, intercept, and standard errors of the best
    straight line", Am. J. Phys. 72 (2004) 367-375; general covariance after Neri, Saitta and Chiofalo, J. Phys. E 22
    (1989) 215. Raises ValueError for fewer than two points.
    """
    n = len(x)
    if n < 2:
        raise ValueError("a line needs two points")
    offset, slope = np.linalg.lstsq(np.column_stack([np.ones(n), x]), y, rcond=None)[0]
    x_adjusted = x.astype(float)
    identity = np.eye(n)
    for _ in range(200):
        B = np.hstack([-slope * identity, identity])
        V = B @ covariance @ B.T
        D = np.column_stack([np.ones(n), x_adjusted])
        weighted = np.linalg.solve(V, D)
        N = D.T @ weighted
        gap = y - offset - slope * x
        step = np.linalg.solve(N, weighted.T @ gap)
        offset, slope = offset + step[0], slope + step[1]
        before = x_adjusted
        x_adjusted = x - (covariance @ B.T @ np.linalg.solve(V, gap - D @ step))[:n]
        # with equal weights the first step is nought, but the points have yet to move onto the line
        still = np.max(np.abs(x_adjusted - before)) <= 1e-13 * max(float(np.max(np.abs(x))), 1e-9)
        if still and np.max(np.abs(step / np.maximum(np.abs([offset, slope]), 1e-9))) < 1e-13:
            break
    gap = y - offset - slope * x
    gain = np.linalg.solve(N, weighted.T) @ B
    return Line(
        float(offset), float(slope), np.linalg.inv(N), gain, float(gap @ np.linalg.solve(V, gap)), n - 2
    )  # fmt: skip
