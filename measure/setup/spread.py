"""Expanded uncertainty from independent sources, in one direction and in the plane."""

from __future__ import annotations

from math import atan2, degrees, log, sqrt

import numpy as np

from measure.adjust.critical import K95, coverage_factor
from measure.readings.unknowns import Array

IN_PLANE = sqrt(-2 * log(0.05))
"""2.45: half axis of the region that holds 95 % in the plane, in sd."""


def factor(row: Array, freedom: Array) -> float:
    """Coverage factor of a figure with effects row (s,), each source of which has its freedom (s,).

    Welch-Satterthwaite (JCGM 100:2008 G.4.1); sources that share one estimated sd count as one component.
    """
    estimated = np.isfinite(freedom)
    if not estimated.any():
        return K95
    total = sum(float(np.sum(row[freedom == f] ** 2)) ** 2 / float(f) for f in np.unique(freedom[estimated]))
    return coverage_factor(float(np.sum(row**2)) ** 2 / total) if total > 0 else K95


def expanded(row: Array, freedom: Array) -> float:
    """u95 of a figure with effects row (s,)."""
    return factor(row, freedom) * float(np.linalg.norm(row))


def ellipse(rows: Array, freedom: Array) -> tuple[float, float, float]:
    """Half axes (mm) of the 95 % region of a place with effects rows (2, s), and degrees of the longer from x to y."""
    C = rows @ rows.T
    middle, apart = (C[0, 0] + C[1, 1]) / 2, float(np.hypot((C[0, 0] - C[1, 1]) / 2, C[0, 1]))
    angle = 0.5 * atan2(2 * C[0, 1], C[0, 0] - C[1, 1])
    along = np.array([np.cos(angle), np.sin(angle)]) @ rows
    k = IN_PLANE * factor(along, freedom) / K95
    return k * sqrt(max(middle + apart, 0.0)), k * sqrt(max(middle - apart, 0.0)), degrees(angle)
