"""A straight line through points that are uncertain in both coordinates, with their full covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_STEPS = 200


@dataclass(frozen=True)
class Line:
    """y = intercept + slope * x.

    `covariance` (2, 2) of (intercept, slope) is a priori: it follows from the stated covariance of the points alone,
    however well they fit. `gain` (2, 2n): derivatives of (intercept, slope) by (x1..xn, y1..yn). `residuals` (n,) are
    line minus point in y.
    """

    intercept: float
    slope: float
    covariance: Array
    gain: Array
    residuals: Array
    chi_square: float
    degrees_of_freedom: int

    @property
    def sigma0(self) -> float | None:
        """root(chi-square / degrees of freedom), no unit; None where nothing is left over to judge by."""
        if self.degrees_of_freedom < 1:
            return None
        return float(np.sqrt(self.chi_square / self.degrees_of_freedom))

    def at(self, x: float) -> tuple[float, float]:
        """(y, its a priori sd) of the line at x."""
        lever = np.array([1.0, x])
        return self.intercept + self.slope * x, float(np.sqrt(lever @ self.covariance @ lever))


def fit_line(x: Array, y: Array, covariance: Array) -> Line:
    """Least-squares line through (x, y), each (n,), n >= 2.

    `covariance` is (2n, 2n) of (x1..xn, y1..yn), or (n, n) of y alone where x is exact; positive definite in y. Not
    checked: that the values are finite. Raises ValueError for fewer than two points or where all x are equal, numpy's
    LinAlgError where the covariance is not positive definite.

    Gauss-Helmert model iterated to the minimum of the weighted sum of squares; standard errors from the adjusted
    coordinates. Source: York et al., "Unified equations for the slope, intercept, and standard errors of the best
    straight line", Am. J. Phys. 72 (2004) 367-375; general covariance after Neri, Saitta and Chiofalo, J. Phys. E 22
    (1989) 215. With x exact it is the Gauss-Markov estimate, with a unit covariance the line of JCGM 100:2008, H.3.2.
    """
    n = len(x)
    if n < 2 or np.ptp(x) == 0.0:
        raise ValueError("a line needs two different x")
    if len(covariance) == n:
        both = np.zeros((2 * n, 2 * n))
        both[n:, n:] = covariance
        covariance = both
    # From the middle of the data intercept and slope hardly disturb each other: no digits are lost.
    middle = float(np.mean(x))
    u = x - middle
    offset, slope = np.linalg.lstsq(np.column_stack([np.ones(n), u]), y, rcond=None)[0]
    adjusted = u.astype(float)
    identity = np.eye(n)
    for _ in range(MOST_STEPS):
        B = np.hstack([-slope * identity, identity])
        V = np.linalg.cholesky(B @ covariance @ B.T)
        D = np.column_stack([np.ones(n), adjusted])
        gap = y - offset - slope * u
        white = np.linalg.solve(V, np.column_stack([D, gap]))
        Q, R = np.linalg.qr(white[:, :2])
        step = np.linalg.solve(R, Q.T @ white[:, 2])
        offset, slope = offset + step[0], slope + step[1]
        before = adjusted
        adjusted = u - (covariance @ B.T @ np.linalg.solve(V.T, white[:, 2] - white[:, :2] @ step))[:n]
        # with equal weights the first step is nought, but the points have yet to move onto the line
        still = np.max(np.abs(adjusted - before)) <= 1e-13 * max(float(np.max(np.abs(u))), 1e-9)
        if still and np.max(np.abs(step / np.maximum(np.abs([offset, slope]), 1e-9))) < 1e-13:
            break
    misfit = np.linalg.solve(V, y - offset - slope * u)
    back = np.array([[1.0, -middle], [0.0, 1.0]])
    root = back @ np.linalg.solve(R, np.eye(2))
    intercept = offset - slope * middle
    return Line(
        intercept=float(intercept),
        slope=float(slope),
        covariance=root @ root.T,
        gain=root @ np.linalg.solve(V.T, Q).T @ B,
        residuals=intercept + slope * x - y,
        chi_square=float(misfit @ misfit),
        degrees_of_freedom=n - 2,
    )
