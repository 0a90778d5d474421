"""Critical values of the tests, from scipy.special (scipy.stats would double the start-up time)."""

from __future__ import annotations

from math import sqrt

from scipy.special import chdtri, ndtri, stdtrit

FAMILY = 0.05
"""Chance that a clean sheet raises any suspect at all."""
FINDABLE = float(ndtri(1 - 0.001 / 2) + ndtri(0.80))
"""4.13: shift of w found with 80 % power at 0.1 % (Baarda 1968, root of the non-centrality)."""
K95 = float(ndtri(0.975))


def normal_critical(tests: int, family: float = FAMILY) -> float:
    """Two-sided critical |w| so that `tests` tests together raise one false alarm with chance `family` (Sidak)."""
    each = 1 - (1 - family) ** (1 / max(tests, 1))
    return float(ndtri(1 - each / 2))


def tau_critical(tests: int, freedom: float, family: float = FAMILY) -> float:
    """As `normal_critical` for residuals over an sd estimated from them with `freedom` degrees of freedom.

    Pope, "The statistics of residuals and the detection of outliers", NOAA TR NOS 65 NGS 1 (1976):
    tau = sqrt(f) t / sqrt(f - 1 + t^2), t Student's with f - 1.
    """
    each = 1 - (1 - family) ** (1 / max(tests, 1))
    if freedom <= 1:
        return 1.0
    t = float(stdtrit(freedom - 1, 1 - each / 2))
    return sqrt(freedom) * t / sqrt(freedom - 1 + t * t)


def sigma0_limits(freedom: int) -> tuple[float, float]:
    """Bounds of sigma0 (95 %) where every sd is as stated: root(chi-square/f)."""
    if freedom < 1:
        return 0.0, float("inf")
    return sqrt(float(chdtri(freedom, 0.975)) / freedom), sqrt(float(chdtri(freedom, 0.025)) / freedom)


def coverage_factor(freedom: float) -> float:
    """Factor k of a 95 % interval: 1.96, or Student's t where an sd was estimated with `freedom` degrees of freedom."""
    return float(stdtrit(freedom, 0.975)) if freedom < 1e5 else K95
