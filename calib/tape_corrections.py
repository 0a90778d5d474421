"""What temperature, pull and sag do to a steel tape. Every correction is ADDED to the reading.

Convention: reading = zero + (1 + scale) * length. A tape that is warm or pulled hard is long, so it reads
short, and the correction is positive; a tape that hangs reads long, and the correction is negative.

Lengths in mm, any shape; the results broadcast. Not checked: that a pull is above 0.

Source of the formulas: J. Mahun, open-access surveying library, chapter "Taping"; the coefficient of
expansion 1.16e-5 per K is the one of Ghilani and Wolf, "Elementary Surveying".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

ALPHA_STEEL = 1.16e-5
"""Relative growth of steel per K. Workshop steel is often given as 1.15e-5: one per cent less."""

MODULUS_STEEL = 2.0e5
"""Young's modulus of steel, N/mm2."""


def temperature_correction(
    length: ArrayLike, tape_temperature: ArrayLike, body_temperature: ArrayLike, *, alpha: float = ALPHA_STEEL
) -> NDArray[np.float64]:
    """Correction alpha * L * (T_tape - T_body), mm; temperatures in deg C.

    The *difference* counts: body and tape are both steel, and grow together. What comes out is the length
    of the body at the temperature for which the tape is right (20 deg C), to the first order in alpha.
    With the standard temperature in place of the body's this is the surveyor's correction of a distance
    between fixed points.
    """
    warmer = np.asarray(tape_temperature, dtype=np.float64) - np.asarray(body_temperature)
    return np.asarray(alpha * np.asarray(length, dtype=np.float64) * warmer)


def pull_correction(
    length: ArrayLike,
    pull: ArrayLike,
    standard_pull: ArrayLike,
    area: ArrayLike,
    *,
    modulus: float = MODULUS_STEEL,
) -> NDArray[np.float64]:
    """Correction L * (P - P0) / (A * E), mm; pulls in N, area of the cross-section in mm2, E in N/mm2."""
    excess = np.asarray(pull, dtype=np.float64) - np.asarray(standard_pull, dtype=np.float64)
    stiffness = np.asarray(area, dtype=np.float64) * modulus
    return np.asarray(np.asarray(length, dtype=np.float64) * excess / stiffness)


def sag_correction(length: ArrayLike, weight: ArrayLike, pull: ArrayLike) -> NDArray[np.float64]:
    """Correction -w^2 L^3 / (24 P^2), mm, for ONE span held at its two ends; w in N per m, pull P in N.

    Spans held in between are corrected one by one and the corrections summed. Shallow curve: exact to the
    second order in w L / P.
    """
    span = np.asarray(length, dtype=np.float64)
    weight_per_mm = np.asarray(weight, dtype=np.float64) / 1000.0
    return np.asarray(-(weight_per_mm**2) * span**3 / (24.0 * np.asarray(pull, dtype=np.float64) ** 2))
