"""A straight line with errors in both coordinates: Pearson's data with York's weights.

K. Pearson, "On lines and planes of closest fit to systems of points in space", Philosophical Magazine 2 (1901)
559-572 (data); D. York, "Least-squares fitting of a straight line", Can. J. Phys. 44 (1966) 1079-1086 (weights =
1/variance, uncorrelated); D. York, N. M. Evensen, M. Lopez Martinez, J. De Basabe Delgado, "Unified equations for the
slope, intercept, and standard errors of the best straight line", Am. J. Phys. 72 (2004) 367-375 (standard errors; the
paper itself not seen). Read in the documentation of the Kapteyn package and the tests of the R package bfsl. Further
digits: own York iteration, effective variance and full errors-in-variables fit, which agree to 1e-11. Standard errors
of other formulae differ by 1 % (first order at the observed data) and 22 % (scaled by the fit).
"""

import numpy as np
import pytest

from measure.line import Line, fit_line

DATA = np.array(  # x, weight of x, y, weight of y
    [
        (0.0, 1000.0, 5.9, 1.0),
        (0.9, 1000.0, 5.4, 1.8),
        (1.8, 500.0, 4.4, 4.0),
        (2.6, 800.0, 4.6, 8.0),
        (3.3, 200.0, 3.5, 20.0),
        (4.4, 80.0, 3.7, 20.0),
        (5.2, 60.0, 2.8, 70.0),
        (6.1, 20.0, 2.8, 70.0),
        (6.5, 1.8, 2.4, 100.0),
        (7.4, 1.0, 1.5, 500.0),
    ]
)
X, Y = DATA[:, 0], DATA[:, 2]


def york() -> Line:
    return fit_line(X, Y, np.diag(np.concatenate([1 / DATA[:, 1], 1 / DATA[:, 3]])))


def test_published_digits() -> None:
    line = york()
    assert line.intercept == pytest.approx(5.47991022403, abs=5e-12)
    assert line.slope == pytest.approx(-0.48053340745, abs=5e-12)
    se = np.sqrt(np.diag(line.covariance))
    assert se[0] == pytest.approx(0.294970735, abs=6e-10)
    assert se[1] == pytest.approx(0.0579850090, abs=6e-11)
    assert line.degrees_of_freedom == 8
    assert line.chi_square / 8 == pytest.approx(1.483294149, abs=5e-10)


def test_computed_digits() -> None:
    line = york()
    se = np.sqrt(np.diag(line.covariance))
    assert line.intercept == pytest.approx(5.479910224033, rel=1e-12)
    assert line.slope == pytest.approx(-0.480533407446, rel=2e-12)
    assert se == pytest.approx([0.294970735493, 0.057985009001], rel=2e-11)
    assert line.covariance[0, 1] == pytest.approx(-0.016472544658, rel=1e-10)
    assert line.covariance[0, 1] / se.prod() == pytest.approx(-0.963088137508, rel=1e-11)
    assert line.chi_square == pytest.approx(11.866353194061, rel=1e-12)
    scaled = se * np.sqrt(line.chi_square / line.degrees_of_freedom)
    assert scaled == pytest.approx([0.359246522551, 0.070620269529], rel=1e-10)


def test_a_library_that_stops_early_agrees_as_far_as_it_goes() -> None:
    """GTC 1.5.1, line_fit_wtls: estimates to 4e-8; its standard errors are those of the other formula, 1 % lower."""
    line = york()
    assert line.intercept == pytest.approx(5.479910183690, abs=1e-7)
    assert line.slope == pytest.approx(-0.480533399192, abs=1e-7)
    assert line.chi_square == pytest.approx(11.866353194061, rel=1e-12)
    assert np.sqrt(np.diag(line.covariance)) == pytest.approx([0.291933498977, 0.057616740769], rel=0.011)


def test_unweighted_orthogonal_line() -> None:
    """Pearson's own line: equal weights, perpendicular distances. 5.7857 and -0.546 as he is quoted, by hand."""
    line = fit_line(X, Y, np.eye(20))
    assert line.intercept == pytest.approx(5.784043774530, rel=1e-11)
    assert line.slope == pytest.approx(-0.545561197521, rel=1e-11)
    assert line.chi_square == pytest.approx(0.618572759437, rel=1e-11)
    assert line.slope == pytest.approx(-0.546, abs=0.0005)
    assert line.intercept == pytest.approx(5.7857, abs=0.002)
    assert line.intercept + line.slope * 3.82 == pytest.approx(3.70, abs=1e-12)  # through the centroid


def test_a_scale_of_all_variances_moves_nothing_but_the_errors() -> None:
    line = york()
    wide = fit_line(X, Y, 25.0 * np.diag(np.concatenate([1 / DATA[:, 1], 1 / DATA[:, 3]])))
    assert (wide.intercept, wide.slope) == pytest.approx((line.intercept, line.slope), rel=1e-12)
    np.testing.assert_allclose(wide.covariance, 25.0 * line.covariance, rtol=1e-10)
    assert wide.chi_square == pytest.approx(line.chi_square / 25.0, rel=1e-12)
