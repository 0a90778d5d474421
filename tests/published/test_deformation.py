"""The congruence sum, its F test and the ellipse test against published figures and a general statistics library.

No free published example of two surveys with its covariance in full was found, so the parts are checked one by one:
- NIST Statistical Reference Datasets, analysis of variance, SiRstv (data and certified values from memory; the sums
  below come out at the certified ones): five means that share one shift are five points of one coordinate, and the
  certified F is the congruence sum over its degrees of freedom.
- R. A. Johnson, D. W. Wichern, "Applied Multivariate Statistical Analysis", Example 5.2, T^2 = 9.74 (from memory).
- statsmodels (Seabold and Perktold, "statsmodels: econometric and statistical modeling with Python", Proc. 9th Python
  in Science Conf., 2010): movements as dummy columns of a generalised least-squares fit, and its Wald and F tests.
"""

from __future__ import annotations

import numpy as np
import pytest

from measure.body.misfit import Members
from measure.compare.congruence import congruent, global_test
from measure.compare.ellipsoid import distances
from measure.compare.movement import movements
from measure.compare.overlay import Pair
from measure.compare.significance import critical_square, improbable
from tests.compare.shapes import car_points, measured, shape

RESISTIVITY = np.array([  # ohm cm, five instruments
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
])  # fmt: skip
CERTIFIED_BETWEEN, CERTIFIED_WITHIN, CERTIFIED_F = 5.11462616000000e-02, 2.16636560000000e-01, 1.18046237440255

SWEAT = np.array([  # rate, sodium, potassium of twenty persons
    [3.7, 48.5, 9.3], [5.7, 65.1, 8.0], [3.8, 47.2, 10.9], [3.2, 53.2, 12.0], [3.1, 55.5, 9.7], [4.6, 36.1, 7.9],
    [2.4, 24.8, 14.0], [7.2, 33.1, 7.6], [6.7, 47.4, 8.5], [5.4, 54.1, 11.3], [3.9, 36.9, 12.7], [4.5, 58.8, 12.3],
    [3.5, 27.8, 9.8], [4.5, 40.2, 8.4], [1.5, 13.5, 10.1], [8.5, 56.4, 7.1], [4.5, 71.6, 8.2], [6.5, 52.8, 10.9],
    [4.1, 44.1, 11.2], [5.5, 40.9, 9.4],
])  # fmt: skip
SWEAT_T2, SWEAT_F = 9.74, 2.44  # printed: T^2, and F(3, 17) at 10 %


def test_the_congruence_sum_gives_the_certified_f() -> None:
    means = RESISTIVITY.mean(axis=1)
    within = float(np.sum((RESISTIVITY - means[:, None]) ** 2))
    assert within == pytest.approx(CERTIFIED_WITHIN, rel=1e-9)
    variance = within / 20
    one_shift = Members.of(means - 196.0, np.ones((5, 1)), np.eye(5) * variance / 5)
    square, freedom = one_shift.misfit(range(5))
    assert freedom == 4
    assert square * variance == pytest.approx(CERTIFIED_BETWEEN, rel=1e-9)
    assert square / freedom == pytest.approx(CERTIFIED_F, rel=1e-9)
    assert improbable(square, freedom, 20.0) == pytest.approx(0.3494, abs=2e-4)  # far from 5 %: nothing moved


def test_the_ellipse_just_reaches_the_printed_t_square() -> None:
    """The nearest point of an ellipse around the mean leaves the origin when the radius passes root T^2."""
    n, k = SWEAT.shape
    off, S = SWEAT.mean(axis=0) - [4.0, 50.0, 10.0], np.cov(SWEAT.T) / n
    t2 = float(off @ np.linalg.solve(S, off))
    assert t2 == pytest.approx(SWEAT_T2, abs=0.005)
    assert distances(off, S, np.sqrt(t2) * (1 - 1e-9))[0] > 0.0
    assert distances(off, S, np.sqrt(t2) * (1 + 1e-9))[0] == 0.0
    assert critical_square(k, n - k, 0.10) / k == pytest.approx(SWEAT_F, abs=0.005)
    critical = (n - 1) / (n - k) * critical_square(k, n - k, 0.10)
    assert distances(off, S, np.sqrt(critical))[0] > 0.0  # rejected at 10 %, as printed


@pytest.mark.parametrize("number", range(3))
def test_movements_are_those_of_a_general_library(number: int) -> None:
    from statsmodels.regression.linear_model import GLS

    rng = np.random.default_rng(number)
    spread = rng.uniform(0.2, 1.0, (16, 3))
    points = car_points()
    points_after = points.copy()
    points_after[12] += [1.0, 6.0, 2.0]
    before, after = measured(shape(points, spread), rng), measured(shape(points_after, 0.6), rng)
    overlay, agreement = congruent(Pair(before, after))
    apart = [k for k in range(16) if k not in agreement.best]
    assert apart == [12]
    # any datum: the pose is free, so the loose pose in our covariance must not matter
    C = overlay.effects @ overlay.effects.T
    whole = GLS(overlay.difference, overlay.design, sigma=C).fit()
    assert global_test(overlay).square == pytest.approx(float(whole.wresid @ whole.wresid), rel=1e-6)
    for k in (0, 5, 12):
        dummies = np.zeros((48, 6))
        columns = {12: slice(0, 3), k: slice(3 * (k != 12), 3 * (k != 12) + 3)}
        for point, where in columns.items():
            dummies[overlay.rows[point], where] = np.eye(3)
        X = np.hstack([overlay.design, dummies[:, : 3 * len(columns)]])
        fit = GLS(overlay.difference, X, sigma=C).fit()
        own = slice(6 + columns[k].start, 6 + columns[k].stop)
        ours = movements(overlay, agreement.best)[k]
        assert ours is not None
        assert ours.vector == pytest.approx(fit.params[own], abs=1e-6)
        assert ours.covariance == pytest.approx(fit.normalized_cov_params[own, own], abs=1e-6)
        t2 = float(ours.vector @ np.linalg.solve(ours.covariance, ours.vector))
        pick = np.eye(X.shape[1])[own]
        # the library tests with the sd estimated from what is left over; ours with it as stated
        tested = fit.f_test(pick)
        assert t2 / 3 / fit.scale == pytest.approx(float(tested.fvalue), rel=1e-6)
        assert improbable(t2 / fit.scale, 3, fit.df_resid) == pytest.approx(float(tested.pvalue), rel=1e-5, abs=1e-12)
