"""The nearest and the farthest point of an ellipsoid from the origin.

The ellipsoid is {m + r L u : |u| <= 1}, L L' the covariance. With semi-axes a and centre c along them, the extremes of
the sum of (c + a u)^2 on |u| = 1 satisfy u = c a / (k - a^2), where k solves the secular equation
sum (c a)^2 / (k - a^2)^2 = 1: above the largest a^2 for the farthest, below nought for the nearest (Gander, Golub and
von Matt, "A constrained eigenvalue problem", Linear Algebra Appl. 114/115 (1989) 815-839).
"""

from __future__ import annotations

import numpy as np

from measure.readings.unknowns import Array

HALVINGS = 200


def distances(middle: Array, covariance: Array, radius: float) -> tuple[float, float]:
    """(least, greatest) length of a vector in the region of `radius` sd around middle (k,)."""
    value, vector = np.linalg.eigh(covariance)
    a = radius * np.sqrt(np.maximum(value, 0.0))
    c = vector.T @ middle
    return _nearest(c, a), _farthest(c, a)


def _nearest(c: Array, a: Array) -> float:
    flat = a == 0
    if not c[flat].any() and float(np.sum((c[~flat] / a[~flat]) ** 2)) <= 1.0:
        return 0.0
    ca = c * a
    if not ca.any():
        return float(np.linalg.norm(c))
    low, high = 0.0, float(np.linalg.norm(ca))
    for _ in range(HALVINGS):
        k = (low + high) / 2
        if k in (low, high):
            break
        low, high = (k, high) if float(np.sum((ca / (k + a**2)) ** 2)) > 1.0 else (low, k)
    return float(np.linalg.norm(c - a * ca / (high + a**2)))


def _farthest(c: Array, a: Array) -> float:
    widest = int(np.argmax(a))
    if a[widest] == 0:
        return float(np.linalg.norm(c))
    ca, top = c * a, a[widest] ** 2
    low, high = top + abs(ca[widest]), top + float(np.linalg.norm(ca))
    for _ in range(HALVINGS):
        k = (low + high) / 2
        if k in (low, high):
            break
        gap = np.where(ca != 0, k - a**2, 1.0)
        low, high = (k, high) if float(np.sum((ca / gap) ** 2)) > 1.0 else (low, k)
    gap = high - a**2
    u = np.where(gap > 0, ca / np.where(gap > 0, gap, 1.0), 0.0)
    # where the centre has no part along the widest axis, the region may still be farthest there
    u[widest] = 0.0
    u[widest] = np.copysign(np.sqrt(max(1.0 - float(u @ u), 0.0)), ca[widest])
    return float(np.linalg.norm(c + a * u))
