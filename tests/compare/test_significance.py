"""Critical values against the laws they come from."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from measure.compare.significance import POWER, critical_square, each_of, improbable, seen_factor


def test_tabled_values() -> None:
    assert critical_square(3, np.inf, 0.05) == pytest.approx(7.815, abs=5e-4)  # chi-square table
    assert critical_square(2, 10.0, 0.05) == pytest.approx(2 * 4.103, abs=2e-3)  # F table, 2 and 10
    assert improbable(7.815, 3, np.inf) == pytest.approx(0.05, abs=1e-4)
    assert improbable(2 * 4.103, 2, 10.0) == pytest.approx(0.05, abs=1e-4)
    assert each_of(1) == pytest.approx(0.05)
    assert 1 - (1 - each_of(16)) ** 16 == pytest.approx(0.05)


def test_one_coordinate_is_the_normal_test() -> None:
    """Non-centrality of one coordinate: critical value and power of the normal law, the wrong side left out."""
    assert seen_factor(1, np.inf, 0.05) == pytest.approx(1.95996 + float(ndtri(POWER)), abs=1e-3)


@pytest.mark.parametrize(("k", "freedom"), [(3, np.inf), (2, np.inf), (3, 8.0), (2, 25.0)])
def test_the_smallest_movement_seen_is_seen_in_four_of_five(k: int, freedom: float) -> None:
    rng = np.random.default_rng(k)
    n = 200_000
    shifted = rng.standard_normal((n, k))
    shifted[:, 0] += seen_factor(k, freedom, 0.01)
    factor = 1.0 if np.isinf(freedom) else rng.chisquare(freedom, n) / freedom
    seen = np.mean(np.sum(shifted**2, axis=1) / factor > critical_square(k, freedom, 0.01))
    assert seen == pytest.approx(POWER, abs=0.004)


def test_many_degrees_of_freedom_are_as_good_as_stated() -> None:
    assert critical_square(3, 9e4, 0.01) == pytest.approx(critical_square(3, np.inf, 0.01), rel=1e-3)
    assert seen_factor(3, 9e4, 0.01) == pytest.approx(seen_factor(3, np.inf, 0.01), rel=1e-3)
