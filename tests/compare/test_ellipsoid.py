"""The nearest and farthest point of a region, against the points of its surface tried one by one."""

from __future__ import annotations

import numpy as np
import pytest

from measure.compare.ellipsoid import distances


def tried(middle: np.ndarray, covariance: np.ndarray, radius: float, rng: np.random.Generator) -> tuple[float, float]:
    """Extremes over many points of the surface, then by small steps from the best."""
    value, vector = np.linalg.eigh(covariance)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    u = rng.standard_normal((20000, len(middle)))
    found = []
    for sign in (1.0, -1.0):
        best = u / np.linalg.norm(u, axis=1)[:, None]
        for width in 10.0 ** -np.arange(1.0, 7.0):
            length = sign * np.linalg.norm(middle + radius * best @ root.T, axis=1)
            top = best[np.argmin(length)]
            best = top + width * rng.standard_normal((2000, len(middle)))
            best = np.vstack([top, best / np.linalg.norm(best, axis=1)[:, None]])
        found.append(float(np.linalg.norm(middle + radius * root @ top)))
    inside = float(middle @ np.linalg.pinv(covariance) @ middle) <= radius**2
    return 0.0 if inside else found[0], found[1]


@pytest.mark.parametrize("number", range(12))
def test_it_finds_what_trying_finds(number: int) -> None:
    rng = np.random.default_rng(number)
    k = 2 + number % 2
    root = rng.standard_normal((k, k)) * rng.uniform(0.2, 3.0, k)
    middle = rng.standard_normal(k) * 4.0
    expected = tried(middle, root @ root.T, 2.4, rng)
    assert distances(middle, root @ root.T, 2.4) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("middle", "axes", "least", "greatest"),
    [
        ((10.0, 0.0, 0.0), (2.0, 2.0, 2.0), 8.0, 12.0),  # a ball
        ((1.0, 0.0, 0.0), (2.0, 2.0, 2.0), 0.0, 3.0),  # the origin inside
        ((0.0, 0.0, 0.0), (1.0, 2.0, 3.0), 0.0, 3.0),  # centred: the longest axis
        ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 0.0, 0.0),  # exact, nothing moved
        ((3.0, 4.0, 0.0), (0.0, 0.0, 0.0), 5.0, 5.0),  # exact
        ((5.0, 0.0, 0.0), (0.0, 3.0, 0.0), 5.0, np.hypot(5.0, 3.0)),  # a needle seen from its side
        ((1.0, 0.0, 0.0), (1.0, 3.0, 1.0), 0.0, np.sqrt(81 / 64 + 9 * 63 / 64)),  # farthest off every axis: u_x = 1/8
        ((5.0, 0.0), (1.0, 3.0), 4.0, 6.0 + 0.0),  # 25 / (9 - 1) is beyond the sphere: farthest on the axis
    ],
)
def test_cases_worked_by_hand(
    middle: tuple[float, ...], axes: tuple[float, ...], least: float, greatest: float
) -> None:
    found = distances(np.array(middle), np.diag(np.square(axes)), 1.0)
    if middle == (5.0, 0.0):  # u_x = 5 / 8, u_y the rest: (5 + 5/8)^2 + 9 (1 - 25/64)
        greatest = float(np.sqrt(5.625**2 + 9 * (1 - 25 / 64)))
    assert found == pytest.approx((least, greatest), abs=1e-9)


def test_a_region_turned_is_as_far() -> None:
    rng = np.random.default_rng(5)
    turn = np.linalg.qr(rng.standard_normal((3, 3)))[0]
    middle, covariance = np.array([2.0, -1.0, 3.0]), np.diag([0.3, 2.0, 1.0])
    turned = distances(turn @ middle, turn @ covariance @ turn.T, 2.8)
    assert turned == pytest.approx(distances(middle, covariance, 2.8), abs=1e-9)
