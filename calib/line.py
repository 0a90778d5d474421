"""A straight line through readings that may be correlated, by generalised least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """y = intercept + slope * x.

    `covariance` (2, 2) of (intercept, slope) is a priori: it follows from the stated covariance of the
    readings alone, however well they fit. `residuals` (n,) are line minus reading.
    """

    intercept: float
    slope: float
    covariance: Array
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
    """Fit y = intercept + slope * x with x exact and y of the given covariance.

    x, y: (n,), n >= 2; covariance: (n, n), of the same unit as y squared, positive definite. Not checked:
    that the values are finite. Raises ValueError where all x are equal, numpy's LinAlgError where the
    covariance is not positive definite.

    Source: the Gauss-Markov estimate; with a unit covariance the ordinary line of JCGM 100:2008, H.3.2.
    """
    if np.ptp(x) == 0.0:
        raise ValueError("a line needs two different x")
    root = np.linalg.cholesky(covariance)
    # From the middle of the data intercept and slope hardly disturb each other: no digits are lost.
    middle = float(np.mean(x))
    whitened = solve_triangular(root, np.column_stack([np.ones_like(x), x - middle, y]), lower=True)
    q, r = np.linalg.qr(whitened[:, :2])
    solution = solve_triangular(r, q.T @ whitened[:, 2])
    r_inverse = solve_triangular(r, np.eye(2))
    back = np.array([[1.0, -middle], [0.0, 1.0]])
    intercept, slope = back @ solution
    misfit = whitened[:, 2] - whitened[:, :2] @ solution
    return Line(
        intercept=float(intercept),
        slope=float(slope),
        covariance=back @ (r_inverse @ r_inverse.T) @ back.T,
        residuals=intercept + slope * x - y,
        chi_square=float(misfit @ misfit),
        degrees_of_freedom=len(x) - 2,
    )
