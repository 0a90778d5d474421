"""The calibration of a thermometer by a straight line, against JCGM 100:2008 (GUM), Annex H.3.

The data of table H.6 as printed, the prediction of H.3.4; results at the published digits, and to nine digits
from two independent computations (own least squares and a public uncertainty library).
"""

import numpy as np
import pytest

from calib.tape_check import KnownLength, check_tape
from measure.line import Line, fit_line

T0 = 20.0
DATA = np.array(  # t deg C, correction b deg C
    [
        (21.521, -0.171),
        (22.012, -0.169),
        (22.512, -0.166),
        (23.003, -0.159),
        (23.507, -0.164),
        (23.999, -0.165),
        (24.513, -0.156),
        (25.002, -0.157),
        (25.503, -0.159),
        (26.010, -0.161),
        (26.511, -0.160),
    ]
)


def fitted(t0: float) -> Line:
    return fit_line(DATA[:, 0] - t0, DATA[:, 1], np.eye(len(DATA)))


def test_published_digits() -> None:
    line = fitted(T0)
    s = line.sigma0
    assert s is not None
    sd = np.sqrt(np.diag(line.covariance)) * s
    assert line.intercept == pytest.approx(-0.1712, abs=0.00005)
    assert sd[0] == pytest.approx(0.0029, abs=0.00005)
    assert line.slope == pytest.approx(0.00218, abs=0.000005)
    assert sd[1] == pytest.approx(0.00067, abs=0.000005)
    assert line.covariance[0, 1] * s**2 / (sd[0] * sd[1]) == pytest.approx(-0.930, abs=0.0005)
    assert s == pytest.approx(0.0035, abs=0.00005)
    assert line.degrees_of_freedom == 9
    b30, u30 = line.at(30.0 - T0)
    assert b30 == pytest.approx(-0.1494, abs=0.00005)
    assert u30 * s == pytest.approx(0.0041, abs=0.00005)


def test_computed_digits() -> None:
    line = fitted(T0)
    s = line.sigma0
    assert s == pytest.approx(0.003497563964, rel=1e-9)
    assert line.intercept == pytest.approx(-0.171203790131, rel=1e-9)
    assert line.slope == pytest.approx(0.002182697739887, rel=1e-9)
    assert np.sqrt(line.covariance[0, 0]) * s == pytest.approx(0.002877597835, rel=1e-9)
    assert np.sqrt(line.covariance[1, 1]) * s == pytest.approx(0.000667938773, rel=1e-9)
    b30, u30 = line.at(10.0)
    assert b30 == pytest.approx(-0.149376812732, rel=1e-9)
    assert u30 * s == pytest.approx(0.004138595753, rel=1e-9)


def test_at_the_mean_intercept_and_slope_are_uncorrelated() -> None:
    line = fitted(24.0085)
    assert line.intercept == pytest.approx(-0.1625, abs=0.00005)
    assert line.intercept == pytest.approx(-0.162454446241, rel=1e-9)
    assert np.sqrt(line.covariance[0, 0]) * line.sigma0 == pytest.approx(0.001054555214, rel=1e-9)
    root = np.sqrt(np.diag(line.covariance))
    assert abs(line.covariance[0, 1] / (root[0] * root[1])) < 1e-4


def test_the_tape_check_fits_the_same_line() -> None:
    """As if 1.521 mm were read 1.350 mm: the same figures come out of the tape check."""
    lengths = DATA[:, 0] - T0
    rows = [
        KnownLength(known=x, reading=x + b, known_sd=0.0, sd=0.001) for x, b in zip(lengths, DATA[:, 1], strict=True)
    ]
    tape = check_tape(rows)
    assert tape.zero == pytest.approx(-0.171203790131, rel=1e-9)
    assert tape.scale == pytest.approx(0.002182697739887, rel=1e-9)
    assert tape.passed is False  # 0.0035 is no 0.001
    assert tape.zero_sd == pytest.approx(0.002877597835, rel=1e-9)
    assert tape.scale_sd == pytest.approx(0.000667938773, rel=1e-9)
